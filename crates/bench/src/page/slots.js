// The cursor on the slots: keys and clicks become tokens of the lesson's text. From: the page's rows and the lesson's own tokens.
import { change, on, say } from "./link.js";
import { barsOf, passageOf } from "./sheet.js";

const sheet = document.getElementById("passages");
let cursor = null;
// Which string figures go to, by passage and part.
const inHand = new Map();
// Figures typed at the cursor so far: 1, then 12.
let figures = "";
let copied = null;

export const at = () => cursor;
const moved = () => document.dispatchEvent(new CustomEvent("cursor-moved", { detail: cursor }));
const place = ({ passage, part, bar, slot }) => ({ passage, part, bar, slot });

const barNode = (passage, number) => barsOf(passage).find((b) => b.dataset.bar === String(number));
const rowNodes = (bar) => [...bar.querySelectorAll(".row")];

function rowNode(c) {
  const bar = c && barNode(c.passage, c.bar);
  return bar && rowNodes(bar).find((r) => r.dataset.part === c.part && (r.dataset.row ?? null) === c.row);
}

// The cell that holds the slot: a bracket takes several.
function cellNode(c) {
  const row = rowNode(c);
  return row && ([...row.children].reverse().find((cell) => Number(cell.dataset.slot) <= c.slot) ?? row.firstElementChild);
}

// Notes of one token stand one over the other.
const tokenIn = (cell) => [...cell.childNodes].filter((n) => n.nodeType === Node.TEXT_NODE).map((n) => n.data.trim()).filter(Boolean).join("+");
const tokenAt = (c) => {
  const cell = cellNode(c);
  return cell ? tokenIn(cell) : "";
};

function ofCell(cell) {
  const row = cell.parentElement;
  return {
    passage: cell.closest(".passage").dataset.passage,
    part: row.dataset.part,
    row: row.dataset.row ?? null,
    bar: Number(cell.closest(".bar").dataset.bar),
    slot: Number(cell.dataset.slot),
  };
}

let marked = null;

function mark(cell, focus) {
  if (marked && marked !== cell) {
    marked.classList.remove("here");
    marked.tabIndex = -1;
    marked.removeAttribute("aria-label");
  }
  marked = cell;
  if (!cell) return;
  cell.classList.add("here");
  cell.tabIndex = 0;
  const token = tokenAt(cursor);
  cell.setAttribute("aria-label", `slot ${cursor.slot}: ${token === "." || !token ? "silence" : token === "-" ? "rings on" : token}${cell.dataset.finding ? `, finding ${cell.dataset.finding}` : ""}`);
  if (focus) {
    cell.focus({ preventScroll: true });
    keepInView(cell);
  }
}

function keepInView(cell) {
  const box = cell.closest(".bar").getBoundingClientRect();
  const floor = document.querySelector(".ledge").getBoundingClientRect().top;
  const sticks = getComputedStyle(document.querySelector(".ledge")).position === "fixed";
  const low = sticks ? floor : innerHeight;
  if (box.top < 0) scrollBy({ top: box.top - 12 });
  else if (box.bottom > low) scrollBy({ top: Math.min(box.top - 12, box.bottom - low + 12) });
}

export function go(to, focus = true) {
  const cell = cellNode(to);
  if (!cell) return false;
  const before = cursor;
  cursor = ofCell(cell);
  if (!before || ["passage", "part", "row", "bar", "slot"].some((k) => before[k] !== cursor[k])) {
    figures = "";
    moved();
  }
  mark(cell, focus);
  return true;
}

// The cell so many slots on or back, over bar lines.
function cellBy(by) {
  const cells = [...rowNode(cursor).children];
  const i = cells.indexOf(cellNode(cursor)) + by;
  if (i >= 0 && i < cells.length) return cells[i];
  const bars = barsOf(cursor.passage);
  const next = bars[bars.findIndex((b) => b.dataset.bar === String(cursor.bar)) + (by > 0 ? 1 : -1)];
  if (!next) return null;
  const row = rowNodes(next).find((r) => r.dataset.part === cursor.part && (r.dataset.row ?? null) === cursor.row);
  return (row && (by > 0 ? row.firstElementChild : row.lastElementChild)) ?? null;
}

function step(by) {
  const cell = cellBy(by);
  return cell ? go(ofCell(cell)) : false;
}

// To the row above or below, at the same share of the bar.
function climb(by) {
  const bar = barNode(cursor.passage, cursor.bar);
  const rows = rowNodes(bar);
  const from = rowNode(cursor);
  const row = rows[rows.indexOf(from) + by];
  if (!row) return;
  const share = [...from.children].indexOf(cellNode(cursor)) / from.childElementCount;
  go(ofCell(row.children[Math.min(row.childElementCount - 1, Math.round(share * row.childElementCount))]));
}

function bar(by) {
  const bars = barsOf(cursor.passage);
  const i = bars.findIndex((b) => b.dataset.bar === String(cursor.bar)) + by;
  if (bars[i]) go({ ...cursor, bar: Number(bars[i].dataset.bar), slot: 1 });
}

// What lies where the cursor goes on, `next` or where it is then, comes along with the answer. It is sent before the page moves the cursor: focus and the look whether all
// is in view take some milliseconds.
function act(what, next = null) {
  const sent = change("/act", () => ({ ...what, then: cursor && place(next ?? cursor) }));
  next = null;
  return sent.then(
    (update) => {
      say(update.played > 1 ? `This bar is played ${update.played} times: all of them changed.` : "");
      return true;
    },
    (e) => {
      say(e.message);
      moved();
      return false;
    },
  );
}

export const put = (token, where = cursor, next = null) => act({ do: "token", at: place(where), row: where.row, with: token }, next);
export const pin = (name) => act({ do: "pin", at: place(cursor), name });
export const move = (frets) => act({ do: "move", at: place(cursor), frets });
export const again = () => act({ do: "again", at: place(cursor) });

const partKey = () => `${cursor.passage}/${cursor.part}`;

export function stringInHand() {
  if (!cursor) return 1;
  const here = /(\d):/.exec(tokenAt(cursor));
  if (here && !figures) return Number(here[1]);
  if (inHand.has(partKey())) return inHand.get(partKey());
  for (const b of barsOf(cursor.passage)) {
    const found = /(\d):\d/.exec(rowNodes(b).find((r) => r.dataset.part === cursor.part)?.textContent ?? "");
    if (found) return Number(found[1]);
  }
  return 1;
}

function takeString(by) {
  const strings = document.getElementById("neck").strings;
  if (!strings) return;
  inHand.set(partKey(), Math.min(strings, Math.max(1, stringInHand() + by)));
  figures = "";
  document.dispatchEvent(new CustomEvent("string-taken", { detail: inHand.get(partKey()) }));
  say(`String ${inHand.get(partKey())} in hand.`);
}

function figure(digit) {
  const neck = document.getElementById("neck");
  if (!neck.strings) return;
  const string = figures ? inHand.get(partKey()) : inHand.get(partKey()) ?? stringInHand();
  inHand.set(partKey(), string);
  const longer = figures + digit;
  figures = Number(longer) <= neck.frets ? longer : digit;
  put(`${string}:${Number(figures)}`);
}

// A place on the neck was chosen: alone in an empty slot, else beside what is held on the other strings.
export function choosePlace(string, fret) {
  if (!cursor) return;
  const marks = document.getElementById("neck").marks.filter((m) => m.string !== string);
  const there = document.getElementById("neck").marks.some((m) => m.string === string && m.fret === fret);
  const rings = ["-", ".", "", "x"].includes(tokenAt(cursor));
  const held = rings ? [] : marks;
  const places = there && !rings ? held : [...held, { string, fret }];
  inHand.set(partKey(), string);
  put(places.length ? places.sort((a, b) => b.string - a.string).map((m) => `${m.string}:${m.fret}`).join("+") : ".");
}

// ------------------------------------------------------------------ the token itself, written by hand

function write() {
  const cell = cellNode(cursor);
  const where = { ...cursor };
  const input = document.createElement("input");
  input.className = "token";
  input.value = tokenAt(cursor);
  input.setAttribute("aria-label", `Token at slot ${where.slot} of ${where.part}, bar ${where.bar}`);
  input.spellcheck = false;
  input.autocapitalize = "off";
  cell.append(input);
  input.select();
  const close = () => {
    input.remove();
    go(where);
  };
  input.addEventListener("keydown", async (event) => {
    event.stopPropagation();
    if (event.key === "Escape") close();
    if (event.key !== "Enter") return;
    event.preventDefault();
    const value = input.value.trim();
    input.disabled = true;
    if (value && (await put(value, where))) {
      close();
    } else {
      input.disabled = false;
      input.focus();
      input.setAttribute("aria-invalid", "true");
    }
  });
  input.addEventListener("blur", () => !input.disabled && input.remove());
}

function copy() {
  const row = rowNode(cursor);
  copied = [...row.children].map((cell) => tokenIn(cell) || ".").join(" ");
  say(`Bar ${cursor.bar} of ${cursor.part} copied.`);
}

function paste() {
  if (copied === null) return say("Nothing is copied yet.");
  act({ do: "line", at: place(cursor), row: cursor.row, line: copied });
}

// ------------------------------------------------------------------ events

sheet.addEventListener("pointerdown", (event) => {
  const cell = event.target.closest(".slot");
  if (!cell || event.target.closest("input")) return;
  event.preventDefault();
  go(ofCell(cell));
});
sheet.addEventListener("dblclick", (event) => event.target.closest(".slot") && !event.target.closest("input") && write());
sheet.addEventListener("focusin", (event) => {
  const cell = event.target.closest(".slot");
  if (cell && event.target === cell) go(ofCell(cell), false);
});

sheet.addEventListener("keydown", (event) => {
  if (!event.target.classList?.contains("slot") || event.isComposing) return;
  const { key } = event;
  const plain = !event.ctrlKey && !event.metaKey && !event.altKey;
  const command = (event.ctrlKey || event.metaKey) && !event.altKey;
  const done = () => event.preventDefault();
  if (command && key.toLowerCase() === "c" && getSelection().isCollapsed) return done(), copy();
  if (command && key.toLowerCase() === "v") return done(), paste();
  if (event.altKey && (key === "ArrowUp" || key === "ArrowDown")) return done(), act({ do: "shift", at: place(cursor), by: key === "ArrowUp" ? 1 : -1 });
  if (command && key === "ArrowLeft") return done(), bar(-1);
  if (command && key === "ArrowRight") return done(), bar(1);
  if (!plain) return;
  if (event.shiftKey && (key === "ArrowUp" || key === "ArrowDown")) return done(), takeString(key === "ArrowUp" ? -1 : 1);
  const arrows = { ArrowLeft: () => step(-1), ArrowRight: () => step(1), ArrowUp: () => climb(-1), ArrowDown: () => climb(1), Home: () => go({ ...cursor, slot: 1 }), End: () => go({ ...cursor, slot: 999 }), " ": () => step(1), Enter: write };
  if (arrows[key]) return done(), arrows[key]();
  if (key === "Backspace") return done(), put("."), step(-1);
  if (key === "Delete") return done(), put(".");
  if (/^[0-9]$/.test(key) && cursor.row === null) return done(), figure(key);
  if (key.length === 1 && (/^[a-z.-]$/.test(key) || (key === ">" && cursor.row !== null))) {
    done();
    if (figures) step(1);
    const next = cellBy(1);
    put(key === ">" ? ">x" : key, cursor, next && ofCell(next));
    step(1);
  }
});

// After the rows were laid out anew the cursor is where it was.
document.addEventListener("cursor-lost", ({ detail }) => {
  if (!cursor) return;
  const cell = cellNode(cursor);
  if (cell) mark(cell, detail);
});
on("update", () => {
  if (!cursor) {
    const first = sheet.querySelector(".slot");
    if (first) first.tabIndex = 0;
    return;
  }
  const cell = cellNode(cursor);
  if (!cell) {
    if (!passageOf(cursor.passage)) cursor = null;
  } else if (!cell.classList.contains("here")) mark(cell, document.activeElement === document.body);
  moved();
});
