// Joins the page's pieces: passages, slots, neck and names at hand, text, playing, making, conflicts.
import { one, stored } from "./dom.js";
import { busy, listen, model, on, read, redo, refresh, say, send, undo } from "./link.js";
import { at, choosePlace, go, move, pin, stringInHand } from "./slots.js";
import { showPassage, toggle, rendered } from "./play.js";
import { ids } from "./sheet.js";
import "./findings.js";
import "./record.js";
import "./taking.js";
import "./pedal.js";
import "./text.js";
import "./neck.js";

const words = (e) => say(e.message);

// ------------------------------------------------------------------ head

one("undo").addEventListener("click", undo);
one("redo").addEventListener("click", redo);
one("show-text").addEventListener("click", () => {
  const hidden = (one("text-leaf").hidden = !one("text-leaf").hidden);
  one("show-text").setAttribute("aria-pressed", String(!hidden));
  one("sheet").classList.toggle("with-text", !hidden);
  if (hidden) return;
  document.querySelector("lesson-text").opened();
  document.querySelector("lesson-text").area.focus();
});
const left = one("left-handed");
left.checked = stored("left-handed") === "yes";
left.addEventListener("change", () => {
  stored("left-handed", left.checked ? "yes" : "no");
  refresh().then(hand).catch(words);
});

on("state", () => {
  one("undo").disabled = !model.undo;
  one("redo").disabled = !model.redo;
  one("undo").title = model.undo ? `take back: ${model.undo}` : "";
  one("redo").title = model.redo ? `do again: ${model.redo}` : "";
  if (model.title !== undefined) {
    one("title").textContent = model.title || "Lesson without a title";
    document.title = `${model.title} · Partwright`;
  }
  const state = model.fault ?? (model.conflict ? "not saved: choose a version" : model.gone ? "the lesson file is gone" : model.saved ? "saved" : "saving");
  if (one("saving").textContent !== state) one("saving").textContent = state;
  problems();
  conflict();
});

on("update", () => {
  const list = one("contents");
  const titles = ids().map((id) => [id, one(`title-${id}`)?.textContent ?? id]);
  if (list.dataset.of === JSON.stringify(titles)) return;
  list.dataset.of = JSON.stringify(titles);
  list.replaceChildren(
    ...titles.map(([id, title]) => {
      const item = document.createElement("li");
      const link = Object.assign(document.createElement("a"), { href: `#passage-${id}`, textContent: title });
      link.addEventListener("click", () => showPassage(id));
      item.append(link);
      return item;
    }),
  );
});

// ------------------------------------------------------------------ problems

let listed = "";
function problems() {
  const key = JSON.stringify([model.problems, model.stale]);
  if (key === listed) return;
  listed = key;
  const list = model.problems ?? [];
  const errors = list.filter((p) => p.error).length;
  one("problems").hidden = !list.length;
  one("problem-count").textContent = [errors && `${errors} to mend`, list.length - errors && `${list.length - errors} to look at`].filter(Boolean).join(", ") + (model.stale ? " (the passages stand as they last could be read)" : "");
  one("problem-list").replaceChildren(
    ...list.map((p) => {
      const item = document.createElement("li");
      item.className = p.error ? "error" : "remark";
      const button = Object.assign(document.createElement("button"), { type: "button" });
      const place = [p.passage, p.part, p.bar !== null && p.part && `bar ${p.bar}`].filter(Boolean).join(", ");
      button.append(Object.assign(document.createElement("span"), { className: "lead", textContent: `${place ? `${place}, ` : ""}line ${p.line}` }), ` ${p.found}. `, Object.assign(document.createElement("i"), { textContent: `${p.right}.` }));
      button.addEventListener("click", () => {
        if (one("text-leaf").hidden) one("show-text").click();
        document.querySelector("lesson-text").goTo(p.from, p.to);
      });
      item.append(button);
      return item;
    }),
  );
  for (const old of document.querySelectorAll(".bar.faulty")) old.classList.remove("faulty");
  for (const p of list) if (p.error && p.bar !== null) document.querySelector(`#passage-${p.passage} .bar[data-bar="${p.bar}"]`)?.classList.add("faulty");
}

// ------------------------------------------------------------------ conflict

let against = false;
async function conflict() {
  if (Boolean(model.conflict) === against) return;
  against = Boolean(model.conflict);
  one("conflict").hidden = !against;
  for (const part of document.querySelectorAll("header, #sheet, footer")) part.inert = against;
  if (!against) return;
  const { lines } = await read("/conflict").catch(() => ({ lines: [] }));
  const near = (i) => lines.slice(Math.max(0, i - 2), i + 3).some(([kind]) => kind !== "both");
  const shown = [];
  let gap = false;
  lines.forEach(([kind, text], i) => {
    if (!near(i)) {
      gap = true;
      return;
    }
    if (gap) shown.push(Object.assign(document.createElement("div"), { className: "gap", textContent: "…" }));
    gap = false;
    const row = Object.assign(document.createElement("div"), { className: kind });
    row.append(Object.assign(document.createElement("span"), { className: "whose", textContent: { here: "here", file: "in the file", both: "" }[kind] }), Object.assign(document.createElement("code"), { textContent: text || " " }));
    shown.push(row);
  });
  one("versions").replaceChildren(...shown);
  one("keep-here").focus();
}
for (const keep of ["here", "file"]) one(`keep-${keep}`).addEventListener("click", () => send("/conflict", { keep }).then(refresh).catch(words));
one("conflict").addEventListener("keydown", (event) => {
  if (event.key !== "Tab") return;
  const stops = [one("versions"), one("keep-here"), one("keep-file")];
  event.preventDefault();
  stops[(stops.indexOf(document.activeElement) + (event.shiftKey ? stops.length - 1 : 1)) % stops.length].focus();
});

// ------------------------------------------------------------------ at hand

let asked = 0;
// What lies here is to be asked for when the answers under way are in.
let later = false;

async function hand() {
  const c = at();
  const now = ++asked;
  if (!c) return;
  showPassage(c.passage);
  let found = model.hand;
  const mine = found && ["passage", "part", "bar", "slot"].every((k) => found.at[k] === c[k]);
  // A key that is under way mostly brings along what lies here.
  later = !mine && busy();
  if (later) return;
  model.hand = null;
  if (!mine) {
    try {
      found = await read(`/hand?${new URLSearchParams({ passage: c.passage, part: c.part, bar: c.bar, slot: c.slot })}`);
    } catch (e) {
      return words(e);
    }
  }
  if (now !== asked) return;
  if (found.text) document.querySelector("lesson-text").point(found.text[0], found.text[1]);
  one("neck").show(found.neck, left.checked);
  one("neck").inHand(found.neck ? stringInHand() : 0);
  if (one("hand-words").dataset.html !== found.html) {
    one("hand-words").dataset.html = found.html;
    one("hand-words").innerHTML = found.html;
  }
}
document.addEventListener("cursor-moved", hand);
on("idle", () => later && hand());
document.addEventListener("string-taken", ({ detail }) => one("neck").inHand(detail));
one("neck").addEventListener("place", ({ detail: { string, fret } }) => choosePlace(string, fret));
one("hand-words").addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  const back = () => go(at());
  if (button.dataset.pin) pin(button.getAttribute("aria-pressed") === "true" ? null : button.dataset.pin).then(back);
  if (button.dataset.move) move(button.dataset.move).then(back);
});

// ------------------------------------------------------------------ making

const made = one("made");
// News of a making that has ended already are late.
let making = false;
const view = (path, title) => {
  const frame = document.createElement("iframe");
  frame.src = `/pack/${made.dataset.pack}/${path}`;
  frame.title = title;
  one("made-view").replaceChildren(frame);
};
one("make").addEventListener("click", async () => {
  made.hidden = false;
  making = true;
  one("make").disabled = true;
  one("made-part").hidden = false;
  one("made-part").value = 0;
  one("made-what").textContent = "Making the pack.";
  try {
    const { files } = await send("/make").finally(() => (making = false));
    const has = (name) => files.some((f) => f === name || f.endsWith(`/${name}`));
    one("made-what").textContent = `Made ${files.length} file${files.length === 1 ? "" : "s"} in the folder pack.`;
    one("see-handout").hidden = !has("handout.pdf");
    one("see-page").hidden = !has("index.html");
  } catch (e) {
    one("made-what").textContent = `Nothing was made: ${e.message}.`;
  } finally {
    one("made-part").hidden = true;
    one("make").disabled = false;
  }
});
on("making", ({ part, what }) => {
  if (!making) return;
  one("made-part").value = part;
  one("made-what").textContent = what;
});
one("see-handout").addEventListener("click", () => view("handout.pdf", "Handout"));
one("see-page").addEventListener("click", () => view("index.html", "Pupil's page"));
one("see-none").addEventListener("click", () => {
  one("made-view").replaceChildren();
  made.hidden = true;
  one("make").focus();
});

// ------------------------------------------------------------------ keys that hold everywhere

document.addEventListener("keydown", (event) => {
  const command = (event.ctrlKey || event.metaKey) && !event.altKey;
  if (command && event.key.toLowerCase() === "z") {
    event.preventDefault();
    event.shiftKey ? redo() : undo();
  } else if (command && event.key === " ") {
    event.preventDefault();
    if (!event.repeat) toggle();
  }
});

// For a look from outside; nothing here changes anything.
window.partwright = { rendered, version: () => model.version };

refresh().then(listen).catch(words);
