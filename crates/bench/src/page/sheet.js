// Lays the passages out: slots in rows of equal bars, grips, tab, and how the parts fit. From: the pieces that updates bring; a piece that did
// not change is not touched.
import { make } from "./dom.js";
import { on, read, refresh, say } from "./link.js";

const sheet = document.getElementById("passages");
const shown = new Map();

// A slot is at least this wide, so that a place such as 5:7 stands in it.
const SLOT_PX = 27;
const LABEL_PX = 74;

// Markup from the server: everything in it that came from a lesson is escaped there.
function fill(node, markup) {
  node.innerHTML = markup;
  return node;
}

function makePassage(id) {
  const section = make("section", { class: "passage", id: `passage-${id}`, "data-passage": id, "aria-labelledby": `title-${id}`, tabindex: "-1" });
  const parts = {
    head: make("div", { class: "head" }),
    rows: make("div", { class: "rows", role: "grid", "aria-labelledby": `title-${id}` }),
    set: make("div", { class: "set", tabindex: "0", role: "group", "aria-label": "As printed" }),
    grips: make("div", { class: "grips" }),
    fit: make("div", { class: "fit", tabindex: "0", role: "group", "aria-label": "How the parts fit" }),
  };
  const more = make("details", {}, make("summary", {}, "How the parts fit"), parts.fit);
  section.append(parts.head, parts.rows, parts.set, parts.grips, more);
  const passage = { section, parts, more, pieces: new Map(), labels: null, per: 0, fitDue: true, fitAsked: 0 };
  more.addEventListener("toggle", () => passage.fitDue && drawFit(passage));
  return passage;
}

// How the parts fit is drawn while it is looked at, a round trip behind the tab: a key must not wait for it.
async function drawFit(passage) {
  passage.fitDue = true;
  if (!passage.more.open) return;
  const asked = ++passage.fitAsked;
  try {
    const { markup } = await read(`/fit?${new URLSearchParams({ passage: passage.section.dataset.passage })}`);
    if (asked !== passage.fitAsked) return;
    fill(passage.parts.fit, markup);
    passage.fitDue = false;
  } catch (e) {
    if (asked === passage.fitAsked) say(e.message);
  }
}

const kindOf = (key) => key.split("-")[0];

// What changed inside a piece: children of the element that the path leads to give way to others. A page that cannot follow asks for everything.
function patch(node, patches) {
  for (const [path, from, count, markup] of patches) {
    const parent = path.reduce((n, i) => n.children[i], node);
    const fresh = fill(parent.cloneNode(false), markup);
    const next = parent.children[from + count] ?? null;
    for (const old of [...parent.children].slice(from, from + count)) old.remove();
    for (const child of [...fresh.children]) parent.insertBefore(child, next);
  }
}

// Takes a passage's pieces over; true when its bars must be laid out in lines again.
function takePieces(passage, pieces) {
  const old = passage.pieces;
  passage.pieces = new Map();
  let lay = false;
  const sets = [];
  for (const [key, markup, patches] of pieces) {
    let piece = old.get(key);
    const kind = kindOf(key);
    if (!piece) {
      piece = { node: kind === "bar" ? make("div", { class: "bar", role: "rowgroup" }) : kind === "set" ? make("div", { class: "system" }) : null, markup: null };
      lay ||= kind === "bar";
    }
    const node = piece.node ?? passage.parts[kind];
    if (patches || (markup !== undefined && markup !== piece.markup)) {
      piece.markup = patches ? null : markup;
      if (kind === "labels") {
        passage.labels = markup;
        lay = true;
      } else if (kind === "fit") passage.more.hidden = !markup;
      else if (patches) patch(node, patches);
      else fill(node, markup);
      if (kind === "bar") node.dataset.bar = node.querySelector(".number").textContent;
      if (kind === "head") passage.quotes = Boolean(node.querySelector(".quotes"));
    }
    if (kind === "set") sets.push(piece.node);
    passage.pieces.set(key, piece);
  }
  if (sets.length !== passage.parts.set.childElementCount || sets.some((n, i) => n !== passage.parts.set.children[i])) passage.parts.set.replaceChildren(...sets);
  return lay || [...old.keys()].some((key) => kindOf(key) === "bar" && !passage.pieces.has(key));
}

const bars = (passage) => [...passage.pieces].filter(([key]) => kindOf(key) === "bar").map(([, piece]) => piece.node);

// How many bars stand on a line: as many as keep their slots legible.
function barsPerLine(passage) {
  const most = Math.max(1, ...bars(passage).map((bar) => Math.max(0, ...[...bar.querySelectorAll(".row")].map((r) => r.childElementCount))));
  const room = passage.parts.rows.clientWidth - LABEL_PX;
  const fit = Math.floor(room / (most * SLOT_PX));
  return fit >= 8 ? 8 : fit >= 4 ? 4 : fit >= 2 ? 2 : 1;
}

function layOut(passage) {
  const list = bars(passage);
  const per = barsPerLine(passage);
  passage.per = per;
  const lines = [];
  for (let i = 0; i < list.length; i += per) {
    const labels = fill(make("div", { class: "labels", role: "presentation", "aria-hidden": "true" }), passage.labels ?? "");
    const line = make("div", { class: "bars", role: "presentation", "data-per": per }, labels, ...list.slice(i, i + per));
    lines.push(line);
  }
  passage.parts.rows.replaceChildren(...lines);
  document.dispatchEvent(new CustomEvent("laid-out", { detail: passage.section.dataset.passage }));
}

on("update", (update) => {
  const focus = document.activeElement?.closest?.(".slot");
  const order = update.passages.map((p) => p.id);
  for (const id of [...shown.keys()].filter((id) => !order.includes(id))) {
    shown.get(id).section.remove();
    shown.delete(id);
  }
  document.getElementById("waiting")?.remove();
  for (const [i, { id, pieces }] of update.passages.entries()) {
    let passage = shown.get(id);
    if (!passage) {
      passage = makePassage(id);
      shown.set(id, passage);
    }
    if (sheet.children[i] !== passage.section) sheet.insertBefore(passage.section, sheet.children[i] ?? null);
    if (!pieces) continue;
    try {
      if (takePieces(passage, pieces)) layOut(passage);
    } catch {
      // What changed does not fit what stands here.
      return refresh(false).catch((e) => say(e.message));
    }
    drawFit(passage);
  }
  if ((focus && !focus.isConnected) || !document.activeElement || document.activeElement === document.body) document.dispatchEvent(new CustomEvent("cursor-lost", { detail: Boolean(focus) }));
});

let width = 0;
new ResizeObserver(() => {
  if (sheet.clientWidth === width) return;
  width = sheet.clientWidth;
  for (const passage of shown.values()) if (barsPerLine(passage) !== passage.per) layOut(passage);
}).observe(sheet);

export const passageOf = (id) => shown.get(id);
export const barsOf = (id) => (shown.has(id) ? bars(shown.get(id)) : []);
export const ids = () => [...shown.keys()];
