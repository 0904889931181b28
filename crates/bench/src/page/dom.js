// Elements by their id, and new ones; choices that the browser keeps.

export const one = (id) => document.getElementById(id);

export function make(name, attributes = {}, ...children) {
  const e = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) e.setAttribute(key, value);
  e.append(...children);
  return e;
}

// What is kept under a key, after `value` was where one is given; null where nothing is. Without storage a choice lasts as long as the page.
export function stored(key, value) {
  try {
    if (value !== undefined) localStorage.setItem(key, value);
    return localStorage.getItem(key);
  } catch (_) {
    return null;
  }
}
