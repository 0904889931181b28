// Playing a part in: an input is chosen, the delay measured, the bars recorded with a count-in and written out; what is taken over goes into the text.
// From: the passage under the cursor and the bars at the foot of the page; samples of the input; what the server makes of them.
import { make, one, stored } from "./dom.js";
import { change, model, on, say, send, sendForm } from "./link.js";
import { beside, halt, hearBeside, level, once } from "./play.js";
import { closeInput, gather, inputs, isOpen, measureDelay, onBlock, openInput, wav, wordsFor } from "./input.js";
import { at, go } from "./slots.js";

const box = one("taking");
const tell = (words) => (one("taking-says").textContent = words);

// Longest recording, as the server takes it.
const LONGEST_S = 290;
// What rings on behind the last bar is recorded too.
const TAIL_S = 0.4;
const SILENT = 0.001;
const CLIPPED = 0.99;

let input = null;
let busy = false;
let found = null;
let stopRecording = null;

// ------------------------------------------------------------------ the input

const measured = new Map();
// Seconds, for this input in this browser; null where it was not measured.
function delay() {
  const kept = measured.get(input?.id) ?? parseFloat(stored(`delay ${input?.id}`));
  return Number.isFinite(kept) ? kept : null;
}
const ms = (s) => `${Math.round(s * 1000)} ms`;

function sayDelay() {
  one("taking-delay").disabled = !isOpen() || busy;
  if (!input) one("taking-delay-says").textContent = "How long a sound takes out and in again: listen to an input first.";
  else if (delay() !== null) one("taking-delay-says").textContent = `${ms(delay())}, measured with this input in this browser.`;
  else one("taking-delay-says").textContent = `Not measured: the browser's own figure, ${ms(guessed())}, is gone by. To measure it, lead the output back into the input, or hold the headphones to the microphone.`;
}
const guessed = () => level.latency() + (input?.latency || 0.01);

async function listen(id = one("taking-input").value) {
  tell("");
  try {
    input = await openInput(id);
  } catch (e) {
    input = null;
    closeInput();
    showInput();
    tell(wordsFor(e));
    return false;
  }
  const list = await inputs().catch(() => []);
  one("taking-input").replaceChildren(new Option("the browser's own choice", ""), ...list.map((d, i) => new Option(d.label || `input ${i + 1}`, d.deviceId)));
  one("taking-input").value = id;
  showInput();
  if (input.filtered) tell("The browser filters this input all the same: strokes may sound weaker than they are.");
  return true;
}

function showInput() {
  one("taking-listen").textContent = isOpen() ? "Listening" : "Listen";
  one("taking-listen").setAttribute("aria-pressed", String(isOpen()));
  if (!isOpen()) {
    one("taking-level").value = 0;
    one("taking-level-says").textContent = "not listening";
  }
  sayDelay();
}
function deaf() {
  closeInput();
  input = null;
  showInput();
}
one("taking-listen").addEventListener("click", () => (isOpen() ? busy || deaf() : listen()));
one("taking-input").addEventListener("change", () => isOpen() && !busy && listen());
document.addEventListener("input-lost", () => {
  if (stopRecording) halt();
  input = null;
  showInput();
  tell("The input is gone: plug it in again and choose it here.");
});

// The level of the last half second, as a bar and as a word; the word only when it changes, for those who hear it read.
let peaks = [];
onBlock(({ samples }) => {
  let peak = 0;
  for (const s of samples) peak = Math.max(peak, Math.abs(s));
  peaks = [...peaks.slice(-11), peak];
  const most = Math.max(...peaks);
  // 60 dB from end to end.
  one("taking-level").value = Math.max(0, 1 + Math.log10(Math.max(most, 1e-6)) / 3);
  const word = most >= CLIPPED ? "too loud: turn the input down" : most > 0.05 ? "good" : most > SILENT * 5 ? "soft" : "silent";
  if (one("taking-level-says").textContent !== word) one("taking-level-says").textContent = word;
});

one("taking-delay").addEventListener("click", async () => {
  busy = true;
  halt();
  sayDelay();
  tell("Clicks go out; leave the strings alone.");
  const seconds = await measureDelay(level.volume()).catch(() => null);
  busy = false;
  if (seconds !== null && input) {
    measured.set(input.id, seconds);
    stored(`delay ${input.id}`, seconds.toFixed(5));
    tell("Measured.");
  } else tell("The delay could not be measured: the clicks did not come back clearly. Lead the output back into the input, or turn the volume up, and measure again.");
  sayDelay();
});

// ------------------------------------------------------------------ recording

function sayFor() {
  const c = at();
  if (box.hidden) return;
  const [from, to] = ["from", "to"].map((id) => one(id).selectedOptions[0]?.textContent);
  one("taking-for").textContent = c ? `${c.part}, ${from === to ? `bar ${from}` : `bars ${from} to ${to}`} at ${one("tempo").value} % of the tempo, behind a count-in; the part itself keeps silent meanwhile. Bars, tempo and click are those at the foot. Wear headphones, or the loudspeaker is heard as playing.` : "Go to a slot of the part that you want to play in.";
  one("taking-record").disabled = !c;
}

async function record() {
  if (stopRecording) return halt();
  if (busy) return;
  const c = at();
  if (!c) return tell("Go to a slot of the part that you want to play in.");
  if (!isOpen() && !(await listen())) return;
  busy = true;
  drop();
  sayDelay();
  let stop = () => {};
  const stopped = new Promise((done) => (stop = done));
  try {
    const play = await once({ silent: c.part });
    const { rate, music, seconds } = play;
    if (seconds > LONGEST_S) {
      halt();
      return tell(`These bars take ${(seconds / 60).toFixed(1)} minutes: choose fewer, five minutes at most.`);
    }
    stopRecording = stop;
    one("taking-record").textContent = "Stop";
    tell("Recording.");
    const late = delay() ?? guessed();
    const end = (music + seconds) * rate;
    const off = onBlock((b) => b.first >= end && play.isOn() && halt());
    // Also where Play is pressed meanwhile.
    document.addEventListener("halted", stop, { once: true });
    const taken = await gather(() => end + (late + TAIL_S) * rate, stopped.then(() => new Promise((r) => setTimeout(r, (late + TAIL_S) * 1000))));
    off();
    document.removeEventListener("halted", stop);
    if (play.isOn()) halt();
    await hand(taken, { ...play, part: c.part, at: music + late - taken.first / rate });
  } catch (e) {
    tell(`${e.message}.`);
  } finally {
    stopRecording = null;
    busy = false;
    one("taking-record").textContent = "Record";
    sayDelay();
  }
}
one("taking-record").addEventListener("click", record);

// The recording to the server, and what it made of it to the page.
async function hand(taken, play) {
  const peak = taken.samples.reduce((m, s) => Math.max(m, Math.abs(s)), 0);
  // Stopped early, only bars that were begun count.
  const lasted = taken.samples.length / play.rate - play.at - TAIL_S - 0.05;
  const begun = play.starts.slice(0, -1).filter((s) => s / play.rate < lasted).length;
  if (!begun) return tell("Stopped before the first bar: nothing is kept.");
  play.to = play.from + begun;
  play.starts = play.starts.slice(0, begun + 1);
  if (peak < SILENT) return tell("Nothing came in: look whether the right input is chosen, its lead is in and its level is up.");
  tell("Writing it out.");
  one("taking-part").hidden = false;
  one("taking-part").value = 0;
  try {
    const form = new FormData();
    form.append("take", wav(taken.samples, play.rate), `${play.passage}-${play.part}.wav`);
    const { takes } = await sendForm("/takes", form);
    const answer = await send("/takes/written", { file: takes[0], passage: play.passage, part: play.part, from: play.from, to: play.to, percent: play.percent, at: play.at });
    if (peak >= CLIPPED) answer.remarks.unshift("the input was too loud: turn it down and play it again");
    if (!taken.whole) answer.remarks.unshift("the machine lost some of the sound: what is written may be late there");
    found = { ...answer, ...play, samples: taken.samples, file: takes[0] };
    tell(`Written out; the recording is kept as ${takes[0]}. Nothing in the lesson has changed yet.`);
    showFound();
  } finally {
    one("taking-part").hidden = true;
  }
}
on("taking", ({ part }) => (one("taking-part").value = part));

// ------------------------------------------------------------------ taking over

function showFound() {
  one("taken").hidden = !found;
  if (!found) return;
  one("taken-remarks").replaceChildren(...found.remarks.map((r) => make("li", {}, `${r[0].toUpperCase()}${r.slice(1)}.`)));
  // Markup from the server: everything in it that came from a lesson is escaped there.
  one("taken-drawn").innerHTML = found.drawn;
  one("taken-drawn").hidden = !found.drawn;
  one("taken-bars").replaceChildren(
    ...found.bars.map((b) => {
      const button = make("button", { type: "button", "aria-label": `Take over bar ${b.bar}` }, "Take over");
      button.disabled = b.line === null;
      button.addEventListener("click", () => takeOver([b]).then((yes) => yes && Object.assign(button, { disabled: true, textContent: "Taken over" })));
      const row = (word, line) => make("span", { class: "taken-line" }, make("span", { class: "lead" }, word), " ", make("code", {}, line));
      return make("li", {}, make("b", {}, `bar ${b.bar}`), b.guess ? " ?" : "", " ", row("now", b.now || "silent"), " ", row("as played", b.line ?? "does not fit its slots"), " ", button);
    }),
  );
  one("taken-all").focus({ preventScroll: true });
  box.scrollIntoView({ block: "nearest" });
}

async function takeOver(bars) {
  try {
    await change("/takes/accept", { passage: found.passage, part: found.part, grips: found.grips, bars: bars.map(({ bar, line, guess }) => ({ bar, line, guess })) });
    say("Taken over. Undo takes it back.");
    return true;
  } catch (e) {
    say("");
    tell(`${e.message}.`);
    return false;
  }
}
one("taken-all").addEventListener("click", async () => {
  const { passage, part } = found;
  const bars = found.bars.filter((b) => b.line !== null);
  if (!bars.length || !(await takeOver(bars))) return;
  tell(`Taken over: ${bars.length === 1 ? "one bar" : `${bars.length} bars`} of ${part}.`);
  drop();
  go({ passage, part, row: null, bar: bars[0].bar, slot: 1 });
});

function drop() {
  if (found && beside() === found.file) halt();
  found = null;
  showFound();
}
one("taken-none").addEventListener("click", () => {
  tell(`Dropped; the recording is still in ${found.file}.`);
  drop();
  one("taking-record").focus();
});

// The recording round and round, from its first bar on.
one("taken-hear").addEventListener("click", () => {
  const { samples, rate, starts, passage, from, to, at: lead, file } = found;
  const begin = Math.round(lead * rate);
  const frames = starts.at(-1);
  const side = Float32Array.from({ length: frames }, (_, i) => samples[begin + i] ?? 0);
  const none = new Float32Array(frames);
  const sound = { rate, frames, countIn: 0, bars: starts, parts: ["take"], inMix: [0], clickHeadroomDb: 0, sounds: [[none, none], [none, none], [side, side]] };
  hearBeside({ key: file, passage, span: { from, to }, first: from, load: async () => sound });
});
document.addEventListener("beside", () => one("taken-hear").setAttribute("aria-pressed", String(Boolean(found) && beside() === found.file)));

// ------------------------------------------------------------------ in and out of sight

export function playIn() {
  if (box.hidden) {
    box.hidden = false;
    one("play-in").setAttribute("aria-expanded", "true");
    sayFor();
    sayDelay();
    one("taking-title").focus({ preventScroll: true });
    box.scrollIntoView({ block: "nearest" });
  } else record();
}
function away() {
  if (stopRecording) halt();
  drop();
  deaf();
  tell("");
  box.hidden = true;
  one("play-in").setAttribute("aria-expanded", "false");
  at() ? go(at()) : one("play-in").focus();
}
one("taking-away").addEventListener("click", away);
one("play-in").addEventListener("click", () => (box.hidden ? playIn() : away()));
document.addEventListener("cursor-moved", sayFor);
for (const id of ["from", "to", "tempo"]) one(id).addEventListener("change", sayFor);
on("update", sayFor);
document.addEventListener("keydown", (event) => {
  if (!event.altKey || event.ctrlKey || event.metaKey || event.shiftKey || event.code !== "KeyR" || model.conflict) return;
  event.preventDefault();
  if (!event.repeat) playIn();
});
