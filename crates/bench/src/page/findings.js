// What a check against the record found: a list, most serious first, and each finding beside its bar, to be listened to, accepted or kept as written.
// From: the server's last check; how each finding stands to the text of now comes with every update.
import { make, one } from "./dom.js";
import { change, model, on, read, say, send } from "./link.js";
import { beside, hearBeside, load, loadBeside } from "./play.js";
import { barsOf, passageOf } from "./sheet.js";
import { at, go } from "./slots.js";

const box = one("findings");
const AFTER = { accepted: "accepted", "as written": "kept as written", changed: "changed since it was heard: check again" };
let all = null;
const cards = [];
const entries = [];
let here = -1;
let checking = false;
let asked = 0;
// Passages that are listened to.
let there = 0;

const standing = (n) => (model.checked?.run === all.run ? model.checked.standing[n] : all.standing[n]);
const placeOf = (f) => [f.title || f.passage, f.part].filter(Boolean).join(", ");

// ------------------------------------------------------------------ checking

async function check() {
  if (checking) return;
  checking = true;
  box.hidden = false;
  one("check").disabled = true;
  one("check-part").hidden = false;
  one("check-part").value = 0;
  one("check-says").textContent = "Listening to the record.";
  box.scrollIntoView({ block: "nearest" });
  try {
    const first = at()?.passage ?? "";
    const found = await send(`/check?first=${encodeURIComponent(first)}`);
    checking = false;
    // Whoever went on meanwhile to what was found first stays there.
    const went = document.activeElement;
    const n = Math.max(cards.findIndex((c) => c.card.contains(went)), entries.findIndex((e) => e.button === went));
    const mine = all?.findings[n];
    const inList = n >= 0 && entries[n].button === went;
    show(found);
    const now = mine ? again(mine) : -1;
    if (now < 0) one("findings-title").focus({ preventScroll: true });
    else if (inList) entries[now].button.focus({ preventScroll: true });
    else cards[now].card.focus({ preventScroll: true });
  } catch (e) {
    one("check-says").textContent = `Nothing was checked: ${e.message}.`;
  } finally {
    checking = false;
    one("check").disabled = false;
    one("check-part").hidden = true;
  }
}
one("check").addEventListener("click", check);
on("checking", ({ part, what, run, passages }) => {
  if (!checking) return;
  one("check-part").value = part;
  one("check-says").textContent = `${what}.`;
  if (passages && (run !== all?.run || passages > there)) fetchAll(run);
});

// All, or while a check goes on what it has so far.
async function fetchAll(run = null) {
  const mine = ++asked;
  const found = await read("/check").catch(() => null);
  if (mine !== asked || !found || (run !== null && (found.run !== run || !checking))) return;
  if (run !== null || found.run !== all?.run) show(found);
}
// Another window checked.
on("checked", ({ run }) => !checking && run !== all?.run && fetchAll());

// ------------------------------------------------------------------ the list

// What comes to a run that goes on is put behind what it had: numbers and focus stay.
function show(found) {
  asked++;
  const kept = all?.run === found.run ? Math.min(cards.length, found.findings.length) : 0;
  all = found;
  there = all.passages.filter((p) => !p.waiting).length;
  if (!kept) here = -1;
  box.hidden = false;
  one("see-report").hidden = false;
  for (const card of cards.splice(kept)) card.row.remove();
  for (const entry of entries.splice(kept)) entry.item.remove();
  all.findings.slice(kept).forEach((f, i) => {
    const n = kept + i;
    const since = make("span", { class: "since" });
    const button = make("button", { type: "button" }, make("span", { class: "which" }, String(n + 1)), " ", make("span", { class: "lead" }, placeOf(f)), ` ${f.words}. `, since);
    button.addEventListener("click", () => goTo(n));
    cards.push(makeCard(f, n));
    entries.push({ item: make("li", {}, button), button, since });
    one("finding-list").append(entries[n].item);
  });
  one("fared-list").replaceChildren(...all.passages.flatMap((p) => [make("dt", {}, p.title || p.id), make("dd", {}, `${[p.words, ...p.limits].map((w) => w[0].toUpperCase() + w.slice(1)).join(". ")}.`)]));
  if (!checking) one("fared").open = !all.findings.length || all.passages.some((p) => !p.record);
  stand();
}

// The same finding in another run's list: which, or -1.
const again = (f) => all.findings.findIndex((g) => ["passage", "part", "bar", "slot", "words"].every((key) => g[key] === f[key]));

one("finding-list").addEventListener("keydown", (event) => {
  const by = { ArrowDown: 1, ArrowUp: -1 }[event.key];
  const i = entries.findIndex((e) => e.button === event.target);
  if (!by || i < 0 || event.ctrlKey || event.altKey || event.metaKey) return;
  event.preventDefault();
  entries[Math.min(entries.length - 1, Math.max(0, i + by))].button.focus();
});

function summary() {
  const n = all.findings.length;
  const open = all.findings.filter((_, i) => standing(i) === "open").length;
  const records = all.passages.filter((p) => p.record).length;
  const changed = (model.checked?.run === all.run ? model.checked.changed : all.changed).some(Boolean);
  const heard = !records ? "No passage has its record in the lesson's folder: each was checked against itself alone." : records < all.passages.length ? `${records} of ${all.passages.length} passages were held against their record, the others against themselves alone.` : "";
  const found = !records ? "" : !n ? "Nothing was found against what is written." : `${n} finding${n === 1 ? "" : "s"}, most serious first${open < n ? `; ${open} open` : ""}.`;
  return [found, heard, changed ? "The text has changed since: what a finding says holds only where its own stroke stayed. Check again to hear it all." : ""].filter(Boolean).join(" ");
}

// How the findings stand now, in list, cards and slots.
function stand() {
  if (!all) return;
  if (!checking) {
    const words = summary();
    if (one("check-says").textContent !== words) one("check-says").textContent = words;
  }
  all.findings.forEach((f, n) => {
    const now = standing(n);
    const after = AFTER[now] ?? "";
    const { card, since, accept, keep } = cards[n];
    if (card.dataset.standing !== now) {
      card.dataset.standing = now;
      entries[n].item.dataset.standing = now;
      since.textContent = entries[n].since.textContent = after && `${after[0].toUpperCase()}${after.slice(1)}.`;
      accept.disabled = now !== "open" || !f.offer;
      keep.disabled = now !== "open" || f.whole;
    }
  });
  place();
}

// ------------------------------------------------------------------ beside the bars

function makeCard(f, n) {
  const button = (words, key, name, go) => {
    const b = make("button", { type: "button", "aria-keyshortcuts": key, "aria-label": `${words}, finding ${n + 1}${name}` }, words);
    b.addEventListener("click", go);
    return b;
  };
  const record = button("Hear the record", "R", "", () => hear(n, "record"));
  const parts = button("Hear the parts", "P", "", () => hear(n, "parts"));
  for (const b of [record, parts]) b.setAttribute("aria-pressed", "false");
  const accept = button("Accept", "A", f.offer ? `: ${f.offer}` : "", () => settle(n, "accept"));
  const keep = button("As written", "W", "", () => settle(n, "as-written"));
  const since = make("span", { class: "since" });
  const offer = f.offer ? `Accept ${f.offer}.` : f.whole ? "This is of the whole: look at tuning, tempo and place first." : `For your own hand: ${f.by_hand}.`;
  const card = make(
    "div",
    { class: "finding", role: "group", tabindex: "-1", "aria-label": `Finding ${n + 1}, ${placeOf(f)}: ${f.words}` },
    make("p", {}, make("span", { class: "which" }, String(n + 1)), " ", make("b", {}, f.part ?? f.title), ` ${f.words}. `, since),
    make("p", { class: "quiet" }, offer),
    make("p", { class: "views" }, record, " ", parts, " ", accept, " ", keep),
  );
  const row = make("div", { class: "finding-row", role: "rowgroup" }, make("div", { role: "row" }, make("div", { role: "gridcell" }, card)));
  card.addEventListener("focusin", () => (here = n));
  card.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const then = { r: record, p: parts, a: accept, w: keep }[event.key.toLowerCase()];
    if (then) {
      event.preventDefault();
      if (!event.repeat && !then.disabled) then.click();
    } else if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      event.preventDefault();
      step(event.key === "ArrowDown" ? 1 : -1);
    } else if (event.key === "Escape") {
      event.preventDefault();
      if (at()) go(at());
    }
  });
  return { row, card, since, record, parts, accept, keep };
}

const barOf = (f, number) => barsOf(f.passage).find((b) => b.dataset.bar === String(number));

// Cards under the line of bars that theirs stands in, in the order of the bars; a ring around each stroke that is spoken of.
function place() {
  for (const old of document.querySelectorAll(".slot[data-finding]")) delete old.dataset.finding;
  if (!all) return;
  const order = all.findings.map((f, n) => n).sort((a, b) => all.findings[a].bar - all.findings[b].bar || all.findings[a].slot - all.findings[b].slot || a - b);
  const last = new Map();
  for (const n of order) {
    const f = all.findings[n];
    const line = barOf(f, f.bar)?.closest(".bars");
    const { row } = cards[n];
    if (box.hidden || !line) {
      row.remove();
      continue;
    }
    const before = last.get(line) ?? line;
    if (before.nextElementSibling !== row) before.after(row);
    last.set(line, row);
    if (standing(n) !== "open" || f.whole) continue;
    for (const number of f.bars) {
      const cells = [...(barOf(f, number)?.querySelectorAll(".row") ?? [])].filter((r) => r.dataset.part === f.part).map((r) => [...r.children].reverse().find((c) => Number(c.dataset.slot) <= f.slot));
      for (const cell of cells) if (cell) cell.dataset.finding = [...(cell.dataset.finding?.split(" ") ?? []), n + 1].join(" ");
    }
  }
}

function goTo(n) {
  const f = all?.findings[n];
  if (!f) return;
  here = n;
  box.hidden = false;
  place();
  // The neck and the names are those of the stroke that is spoken of.
  go({ passage: f.passage, part: f.part ?? barsOf(f.passage)[0]?.querySelector(".row")?.dataset.part, row: null, bar: f.bar, slot: f.slot }, false);
  if (!cards[n].row.isConnected) return say(`Finding ${n + 1}: its bar is not there any more.`);
  cards[n].card.scrollIntoView({ block: "center" });
  cards[n].card.focus({ preventScroll: true });
}

// To the next finding of the list, the one before; those that are settled are passed by.
function step(by) {
  if (!all?.findings.length) return say("There are no findings.");
  const open = all.findings.map((_, n) => n).filter((n) => standing(n) === "open");
  const next = by > 0 ? open.find((n) => n > here) ?? open[0] : open.findLast((n) => n < here) ?? open.at(-1);
  if (next === undefined) return say("All findings are settled, or have changed.");
  goTo(next);
}

// ------------------------------------------------------------------ what is done about one

async function settle(n, how) {
  const f = all.findings[n];
  try {
    await change("/check/settle", { run: all.run, finding: n, how });
    say(`Finding ${n + 1} ${how === "accept" ? `accepted: ${f.offer}` : "kept as written"}. Undo takes it back.`);
    cards[n].card.focus({ preventScroll: true });
  } catch (e) {
    say(e.message);
  }
}

function hear(n, of) {
  const f = all.findings[n];
  const span = { from: f.from, to: f.to };
  const what =
    of === "record"
      ? { first: f.from, load: (percent) => loadBeside(`/check/sound?run=${all.run}&finding=${n}&percent=${percent}`) }
      : { first: 0, load: (percent) => load(f.passage, percent), gain: (part, inMix) => (inMix ? 1 : 0) };
  hearBeside({ key: `${all.run} ${n} ${of}`, passage: f.passage, span, ...what });
}
document.addEventListener("beside", () => {
  cards.forEach(({ record, parts }, n) => {
    for (const [button, of] of [[record, "record"], [parts, "parts"]]) button.setAttribute("aria-pressed", String(beside() === `${all.run} ${n} ${of}`));
  });
});

// ------------------------------------------------------------------ events

on("state", () => {
  if (model.checked && model.checked.run !== all?.run && !checking) fetchAll();
});
on("update", stand);
document.addEventListener("laid-out", place);
one("findings-away").addEventListener("click", () => {
  box.hidden = true;
  place();
  one("check").focus();
});
document.addEventListener("keydown", (event) => {
  const command = (event.ctrlKey || event.metaKey) && !event.altKey && !event.shiftKey;
  if (!command) return;
  if (event.key === "Enter") {
    event.preventDefault();
    if (!event.repeat) check();
  } else if ((event.key === "ArrowDown" || event.key === "ArrowUp") && !event.target.closest?.("textarea, input, select")) {
    event.preventDefault();
    step(event.key === "ArrowDown" ? 1 : -1);
  }
});
