// What the page knows of the lesson, and how it hears of changes: requests one way, server-sent events the other.
// From: the server's answers. An update says from which version to which; they are taken in that order, whichever comes first.

const own = Array.from(crypto.getRandomValues(new Uint8Array(8)), (b) => (b % 36).toString(36)).join("");
const listeners = new Map();

export const model = { version: 0, text: "", passages: [], problems: [] };

export function on(event, go) {
  if (!listeners.has(event)) listeners.set(event, []);
  listeners.get(event).push(go);
}

function tell(event, data) {
  for (const go of listeners.get(event) ?? []) go(data);
}

// A short word to the reader, at the head of the page.
export function say(words) {
  document.getElementById("said").textContent = words;
}

export class Refused extends Error {
  constructor(status, { found = "the bench does not answer", right = "" } = {}) {
    super(right ? `${found}: ${right}` : found);
    this.status = status;
  }
}

async function answer(response) {
  const type = response.headers.get("content-type") ?? "";
  const body = type.includes("json") ? await response.json() : {};
  if (!response.ok) throw new Refused(response.status, body);
  return body;
}

const reach = (path, options) =>
  fetch(path, options).catch(() => {
    throw new Refused(0, { found: "the bench does not answer", right: "what is saved is in the lesson file; open it again" });
  });

export const read = async (path) => answer(await reach(path));

export const send = async (path, body = {}) =>
  answer(await reach(path, { method: "POST", headers: { "content-type": "application/json", "x-window": own }, body: JSON.stringify(body) }));

// A form with a file in it.
export const sendForm = async (path, form) => answer(await reach(path, { method: "POST", body: form }));

// ------------------------------------------------------------------ updates

const early = new Map();

export const splice = (text, [start, end, put]) => text.slice(0, start) + put + text.slice(end);

// The one piece in which two texts differ.
export function between(a, b) {
  if (a === b) return null;
  let start = 0;
  const least = Math.min(a.length, b.length);
  while (start < least && a.charCodeAt(start) === b.charCodeAt(start)) start++;
  let end = 0;
  while (end < least - start && a.charCodeAt(a.length - 1 - end) === b.charCodeAt(b.length - 1 - end)) end++;
  // No cut through a pair of surrogates.
  const low = (t, i) => i > 0 && i < t.length && (t.charCodeAt(i) & 0xfc00) === 0xdc00;
  while (low(a, start) || low(b, start)) start--;
  while (end > 0 && (low(a, a.length - end) || low(b, b.length - end))) end--;
  return [start, a.length - end, b.slice(start, b.length - end)];
}

export function take(update) {
  if (update.version <= model.version) {
    if (update.version === model.version) state(update);
    return;
  }
  if (String(update.look) !== String(model.look)) {
    refresh(false);
    return;
  }
  if (update.from !== model.version) {
    early.set(update.from, update);
    if (early.size > 4) refresh(false);
    return;
  }
  if (update.splice) model.text = splice(model.text, update.splice);
  model.version = update.version;
  model.hand = update.hand ?? null;
  state(update);
  tell("update", update);
  const next = early.get(model.version);
  if (next) {
    early.delete(model.version);
    take(next);
  }
}

function state(update) {
  for (const key of ["title", "needs", "problems", "stale", "undo", "redo", "saved", "conflict", "gone", "fault", "checked"]) if (key in update) model[key] = update[key];
  tell("state", update);
}

// Everything anew: when the page opens, and when news were missed. Where another window said how wide it is, this one shows what is drawn for that: two that each ask
// for their own width would never rest.
export async function refresh(own = true) {
  early.clear();
  const wish = new URLSearchParams();
  if (own) {
    wish.set("narrow", matchMedia("(max-width: 40rem)").matches);
    wish.set("left", Boolean(document.getElementById("left-handed")?.checked));
  }
  const all = await read(`/state?${wish}`);
  model.text = all.text;
  model.version = all.version;
  model.look = all.look;
  state(all);
  tell("update", all);
}

export function listen() {
  const events = new EventSource("/events");
  const lost = () => say("The bench does not answer. What is saved is in the lesson file; this page goes on when the bench does.");
  let was = false;
  events.addEventListener("open", () => {
    if (was) {
      say("");
      refresh().catch(lost);
    }
    was = true;
  });
  events.addEventListener("error", lost);
  events.addEventListener("update", (e) => {
    const update = JSON.parse(e.data);
    if (update.by !== own) take(update);
  });
  events.addEventListener("saving", (e) => {
    Object.assign(model, JSON.parse(e.data));
    tell("state", model);
  });
  events.addEventListener("look", () => refresh(false).catch(lost));
  for (const name of ["making", "checking", "checked", "listening", "taking"]) events.addEventListener(name, (e) => tell(name, JSON.parse(e.data)));
}

// ------------------------------------------------------------------ what is done goes out one after the other

let last = Promise.resolve();
let waiting = 0;

// Whether an answer that changes the lesson is still to come.
export const busy = () => waiting > 0;

// Sends something that changes the lesson; the answer is taken in before the next is sent. Where nothing is under way it is sent before this returns.
export function change(path, body) {
  const go = async () => {
    const update = await send(path, typeof body === "function" ? body() : body);
    take(update);
    return update;
  };
  const free = waiting++ === 0;
  const mine = (free ? go() : last.then(go, go)).finally(() => --waiting || tell("idle"));
  last = mine.catch(() => {});
  return mine;
}

export const undo = () => change("/undo").catch((e) => say(e.message));
export const redo = () => change("/redo").catch((e) => say(e.message));
