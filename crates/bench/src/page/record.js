// The record in rows of equal bars, its loudness inside each; bars chosen here go round. From: what the server heard of it.
import { one } from "./dom.js";
import { model, on, read, say, send } from "./link.js";
import { forget, recordAt, showRecord } from "./play.js";

const SVG = "http://www.w3.org/2000/svg";
const rows = document.getElementById("record-rows");
const facts = document.getElementById("record-facts");
let cells = [];
let from = 0;
let to = 0;
let at = 0;
let named = null;
let starts = [];
let beats = [];
let told = { taps: [], bars: [], meter: null };

// A bar's loudness as one line of ink over the bar's foot, rising with it.
function ink(loud) {
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("viewBox", `0 0 ${loud.length} 10`);
  svg.setAttribute("preserveAspectRatio", "none");
  svg.setAttribute("aria-hidden", "true");
  const path = document.createElementNS(SVG, "path");
  path.setAttribute("d", `M0 10${loud.map((l, i) => `V${(10 - 9.4 * l).toFixed(2)}H${i + 1}`).join("")}V10Z`);
  svg.append(path);
  return svg;
}

function show(heard) {
  cells = heard.loud.map((loud, i) => {
    const middle = (heard.bars[i] + heard.bars[i + 1]) / 2;
    const quotes = heard.quoted.filter((q) => q.from <= middle && middle < q.to);
    const first = quotes.find((q) => !(i > 0 && (heard.bars[i - 1] + heard.bars[i]) / 2 >= q.from));
    const cell = document.createElement("div");
    cell.className = quotes.length ? "record-bar quoted" : "record-bar";
    cell.setAttribute("role", "option");
    cell.tabIndex = -1;
    const number = Object.assign(document.createElement("span"), { className: "number", textContent: i + 1 });
    cell.append(number);
    if (quotes.length) cell.title = quotes.map((q) => q.title).join(", ");
    const quote = first && `${first.title}${first.barest ? ", barest here" : first.time > 1 ? ", again" : ""}`;
    if (first) cell.append(" ", Object.assign(document.createElement("span"), { className: "quote", textContent: quote }));
    cell.append(ink(loud));
    cell.setAttribute("aria-label", quote ? `bar ${i + 1} ${quote}` : `bar ${i + 1}${quotes.length ? `, in ${quotes.map((q) => q.title).join(", ")}` : ""}`);
    return cell;
  });
  rows.replaceChildren(...cells);
  rows.hidden = false;
  forget();
  starts = heard.bars;
  document.getElementById("taps").hidden = false;
  offerBeats(heard.others);
  offerApart(heard.seats ?? []);
  showPassages(heard.quoted);
  ({ beats, told } = heard);
  document.getElementById("tap-none").hidden = !told.taps.length && !told.bars.length && !told.meter;
  document.getElementById("bars-meter").value = told.meter ?? "";
  const cents = heard.cents === null || heard.cents === undefined ? null : heard.cents === 0 ? "at concert pitch" : `${Math.abs(heard.cents)} cent${Math.abs(heard.cents) === 1 ? "" : "s"} ${heard.cents < 0 ? "under" : "over"} concert pitch`;
  facts.textContent = [heard.file, heard.tempo && `about ${heard.tempo} a minute${heard.sure < 0.3 ? ", not sure" : ""}`, heard.meter, heard.key && `likely ${heard.key}`, cents, `${cells.length} bars`].filter(Boolean).join(" · ");
  choose(0, 0, false);
}

function choose(a, b, focus = true) {
  [from, to] = [Math.min(a, b), Math.max(a, b)];
  at = b;
  cells.forEach((c, i) => {
    c.setAttribute("aria-selected", String(i >= from && i <= to));
    c.tabIndex = i === at ? 0 : -1;
  });
  if (focus) {
    cells[at].focus({ preventScroll: true });
    showRecord(cells, from, to);
    comeBack();
  }
}

// ------------------------------------------------------------------ the seats that were heard

const seatWords = (a) => (Math.abs(a) < 0.08 ? "the centre" : `${a < 0 ? "left" : "right"} ${Math.abs(a).toFixed(2)}`);
function offerApart(seats) {
  const list = document.getElementById("apart");
  const kept = list.value;
  const of = seats.length > 1 ? seats : [];
  list.replaceChildren(
    new Option("all of it", "all"),
    ...of.map(([a, share]) => new Option(`${seatWords(a)} alone (${Math.round(share * 100)} % of it)`, `only:${a}`)),
    ...of.map(([a]) => new Option(`all but ${seatWords(a)}`, `without:${a}`)),
    new Option("what rings", "tones"),
    new Option("what strikes", "strokes"),
  );
  list.value = [...list.options].some((o) => o.value === kept) ? kept : "all";
}

// ------------------------------------------------------------------ its form: where bars come back, and where least sounds in them

const barsWords = (a, b) => (b - a === 1 ? `bar ${a + 1}` : `bars ${a + 1} to ${b}`);
function placeButton(words, a, b) {
  const button = Object.assign(document.createElement("button"), { type: "button", textContent: words });
  button.addEventListener("click", () => {
    anchor = a;
    choose(a, b - 1);
    cells[a].scrollIntoView({ block: "nearest" });
  });
  return button;
}

// The lesson's own places, by their bars.
function showPassages(quoted) {
  const found = quoted.map((q) => {
    const inside = starts.slice(0, -1).map((s, i) => (s + starts[i + 1]) / 2).flatMap((middle, i) => (q.from <= middle && middle < q.to ? [i] : []));
    return inside.length ? placeButton(`${q.title}, ${barsWords(inside[0], inside.at(-1) + 1)}${q.barest ? ", barest" : ""}`, inside[0], inside.at(-1) + 1) : null;
  });
  document.getElementById("form-passages").replaceChildren(...found.filter(Boolean));
  document.getElementById("form").hidden = false;
  document.getElementById("form-says").textContent = "Choose bars to see where they come back.";
  document.getElementById("form-places").replaceChildren();
  alike = [];
}

let alike = [];
let asked = 0;
// Emptier than the others by this much of all that may sound, or none is called so.
const BARER = 0.03;
function barestOf(places) {
  const sorted = [...places].sort((a, b) => a.full - b.full);
  return sorted.length > 1 && sorted[0].full < sorted[1].full - BARER ? sorted[0] : null;
}
async function comeBack() {
  const mine = ++asked;
  await new Promise((r) => setTimeout(r, 120));
  if (mine !== asked) return;
  const { places } = await read(`/record/alike?from=${from}&to=${to + 1}`).catch(() => ({ places: [] }));
  if (mine !== asked) return;
  alike = places;
  const barest = barestOf(places);
  cells.forEach((c, i) => {
    c.classList.toggle("alike", places.some((p) => p.from <= i && i < p.to));
    c.classList.toggle("bare", Boolean(barest) && barest.from <= i && i < barest.to);
  });
  document.getElementById("form-says").textContent = places.length > 1 ? `${barsWords(from, to + 1)[0].toUpperCase()}${barsWords(from, to + 1).slice(1)} come${to === from ? "s" : ""} back:` : "Nothing else sounds like these bars.";
  document.getElementById("form-places").replaceChildren(...(places.length > 1 ? places : []).map((p) => placeButton(`${barsWords(p.from, p.to)}${p.from === from ? ", these" : `, ${Math.round(p.alike * 100)} % alike`}${p === barest ? ", barest" : ""}`, p.from, p.to)));
}

// To the next place that sounds alike, or to the one where least else sounds.
function toAlike(key) {
  if (alike.length < 2) return say("Nothing else sounds like these bars.");
  const p = key === "b" ? barestOf(alike) : alike.find((p) => p.from > from) ?? alike[0];
  if (!p) return say("None of these places is barer than the others.");
  anchor = p.from;
  choose(p.from, p.to - 1);
  cells[p.from].scrollIntoView({ block: "nearest" });
}

let anchor = 0;
rows.addEventListener("click", (event) => {
  const i = cells.indexOf(event.target.closest(".record-bar"));
  if (i < 0) return;
  if (!event.shiftKey) anchor = i;
  choose(anchor, i);
});
rows.addEventListener("keydown", (event) => {
  if (event.key.toLowerCase() === "t" && !event.ctrlKey && !event.altKey && !event.metaKey) {
    event.preventDefault();
    if (!event.repeat) tap();
    return;
  }
  if (/^[nb]$/i.test(event.key) && !event.ctrlKey && !event.altKey && !event.metaKey) {
    event.preventDefault();
    return toAlike(event.key.toLowerCase());
  }
  const line = getComputedStyle(rows).gridTemplateColumns.split(" ").length;
  const by = { ArrowLeft: -1, ArrowRight: 1, ArrowUp: -line, ArrowDown: line, Home: -at, End: cells.length - 1 - at }[event.key];
  if (by === undefined || event.ctrlKey || event.altKey || event.metaKey) return;
  event.preventDefault();
  const next = Math.min(cells.length - 1, Math.max(0, at + by));
  if (!event.shiftKey) anchor = next;
  choose(anchor, next);
});

// ------------------------------------------------------------------ beats tapped to the record

let taps = [];

function tap() {
  const now = recordAt();
  if (!now) {
    one("tap-says").textContent = "Play some bars of the record first.";
    return;
  }
  taps.push(starts[now.bar] + now.share * (starts[now.bar + 1] - starts[now.bar]));
  one("tap-use").hidden = taps.length < 4;
  one("tap-says").textContent = taps.length < 4 ? `${taps.length} tapped; four at least.` : `${taps.length} tapped.`;
}
one("tap").addEventListener("pointerdown", (event) => {
  event.preventDefault();
  tap();
});
one("tap").addEventListener("keydown", (event) => {
  if ((event.key === "Enter" || event.key === " ") && !event.ctrlKey) {
    event.preventDefault();
    if (!event.repeat) tap();
  }
});

async function count(how, what, done) {
  taps = [];
  one("tap-use").hidden = true;
  one("tap-says").textContent = "Counting anew.";
  try {
    await send(how, what);
    show(await read("/record"));
    one("tap-says").textContent = done;
  } catch (e) {
    say(e.message);
    one("tap-says").textContent = "";
  }
}
one("tap-use").addEventListener("click", () => count("/taps", { beats: taps }, "The bars obey the taps now."));
one("tap-none").addEventListener("click", () => count("/taps", { beats: [] }, "Counted as it is heard."));

// What the beat could be instead: its beats become the taps.
function offerBeats(others) {
  const buttons = others.map((o) => {
    const button = Object.assign(document.createElement("button"), { type: "button", textContent: o.words });
    button.addEventListener("click", () => count("/taps", { beats: o.beats }, `Counted by that beat now: ${o.words}.`));
    return button;
  });
  one("beat-others").hidden = !buttons.length;
  one("beat-others").replaceChildren("Or is the beat ", ...buttons.flatMap((b, i) => (i ? [" or ", b] : [b])), "?");
}

// Where bars begin, from one beat to the next, and in which meter.
one("bars-later").addEventListener("click", () => {
  const second = starts[1] ?? Infinity;
  const later = beats.find((b) => b > starts[0] + 0.02 && b <= second + 0.02);
  if (later !== undefined) count("/counted", { bars: [later], meter: told.meter }, "Bars begin a beat later now.");
});
one("bars-meter").addEventListener("change", () => {
  const meter = one("bars-meter").value || null;
  count("/counted", { bars: [], meter }, meter ? `Counted in ${meter} now.` : "Counted in the meter that is heard.");
});

// Which places the lesson quotes; when they change, the bars are named anew.
const quotes = () => [...model.text.matchAll(/^\s*record\s.*$/gm)].join("\n");

async function listen() {
  const now = quotes();
  if (now === named) return;
  named = now;
  const heard = await read("/record").catch((e) => ({ why: `${e.message}.` }));
  if (!heard.why) return show(heard);
  rows.hidden = true;
  document.getElementById("taps").hidden = true;
  one("beat-others").hidden = true;
  document.getElementById("form").hidden = true;
  cells = [];
  facts.textContent = heard.why;
}
on("listening", ({ part }) => {
  if (rows.hidden) facts.textContent = `Listening to the record: ${Math.round(part * 100)} %`;
});
let wait = 0;
on("update", () => {
  clearTimeout(wait);
  wait = setTimeout(listen, named === null ? 0 : 800);
});
