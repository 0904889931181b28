// A view to play to with both hands full: the bar in large figures, few large targets, two keys for a foot.
// From: what goes round, and where it is; the titles, bars and names on the page.
import { one, stored } from "./dom.js";
import { backBar, fromStart, isOn, now, onto, RECORD, shownNow, toggle } from "./play.js";
import { barsOf, ids } from "./sheet.js";
import { go } from "./slots.js";

const box = one("pedal");
// Keys that pedals send, the one that goes on second. common practice.
const KEYS = { page: ["PageUp", "PageDown"], sideways: ["ArrowLeft", "ArrowRight"], updown: ["ArrowUp", "ArrowDown"] };
// Two steps on one pedal within this time are one double step.
const TWICE_MS = 450;

const kept = stored("pedal keys");
one("pedal-pair").value = kept in KEYS ? kept : "page";
one("pedal-pair").addEventListener("change", () => stored("pedal keys", one("pedal-pair").value));

const put = (id, words) => one(id).textContent !== words && (one(id).textContent = words);

function show() {
  if (box.hidden) return;
  const id = shownNow();
  const w = now();
  const bars = id === RECORD ? [] : barsOf(id);
  const [from, to] = ["from", "to"].map((end) => one(end).selectedOptions[0]?.textContent ?? "");
  const bar = w && !w.counting ? w.bar : Number(one("from").value);
  const number = id === RECORD ? bar + 1 : bars[bar]?.dataset.bar ?? "";
  put("pedal-title", id === RECORD ? "The record" : one(`title-${id}`)?.textContent ?? "");
  put("pedal-bar", w?.counting ? "count-in" : String(number));
  put("pedal-of", from === to ? `bar ${from} round and round` : `of bars ${from} to ${to}`);
  put("pedal-names", [...(bars[bar]?.querySelectorAll(".over .name") ?? [])].map((n) => n.textContent).join("  "));
  put("pedal-tempo", `${one("tempo").value} %`);
  put("pedal-go", isOn() ? "Stop" : "Play");
  box.classList.toggle("sounds", Boolean(w));
  requestAnimationFrame(show);
}

const rest = () => document.querySelectorAll("header, #sheet, footer, .skip, .problems, .made, .care, .keys");
function open() {
  box.hidden = false;
  for (const part of rest()) part.inert = true;
  one("pedal-go").focus();
  show();
}
function close() {
  box.hidden = true;
  for (const part of rest()) part.inert = false;
  one("pedal-open").focus();
}

function next() {
  const list = ids();
  const id = list[(list.indexOf(shownNow()) + 1) % list.length];
  if (!id) return;
  const sounding = isOn();
  // The cursor goes along, so that the page behind shows the same.
  const row = barsOf(id)[0]?.querySelector(".row");
  if (row) go({ passage: id, part: row.dataset.part, row: row.dataset.row ?? null, bar: Number(barsOf(id)[0].dataset.bar), slot: 1 }, false);
  onto(id, sounding);
}

let stepped = 0;
function back() {
  if (!isOn()) return next();
  const twice = performance.now() - stepped < TWICE_MS;
  stepped = twice ? 0 : performance.now();
  twice ? fromStart() : backBar();
}

one("pedal-open").addEventListener("click", open);
one("pedal-close").addEventListener("click", close);
one("pedal-go").addEventListener("click", toggle);
one("pedal-back").addEventListener("click", backBar);
one("pedal-start").addEventListener("click", fromStart);
one("pedal-next").addEventListener("click", next);

box.addEventListener("keydown", (event) => {
  if (event.key === "Escape") {
    event.preventDefault();
    return close();
  }
  if (event.key !== "Tab") return;
  const stops = [...box.querySelectorAll("button, select")];
  event.preventDefault();
  stops[(stops.indexOf(document.activeElement) + (event.shiftKey ? stops.length - 1 : 1)) % stops.length].focus();
});
document.addEventListener(
  "keydown",
  (event) => {
    if (event.altKey && !event.ctrlKey && !event.metaKey && !event.shiftKey && event.code === "KeyP") {
      event.preventDefault();
      if (!event.repeat && one("conflict").hidden) box.hidden ? open() : close();
      return;
    }
    if (box.hidden || event.ctrlKey || event.altKey || event.metaKey || event.target === one("pedal-pair")) return;
    const [behind, forth] = KEYS[one("pedal-pair").value];
    if (event.key !== behind && event.key !== forth) return;
    event.preventDefault();
    event.stopPropagation();
    if (event.repeat) return;
    event.key === forth ? toggle() : back();
  },
  true,
);
