// Plays the passage under the cursor round and round: its parts in three positions, the record with them, a click, a count-in.
// From: the samples of one passage at one tempo, all of one length, and the first frame of each bar.
//
// A round is cut out once and goes round on the audio clock by itself, so that nothing drifts however long it plays. All sounds of a
// round begin at the same moment of that clock.
import { one } from "./dom.js";
import { model, on, say } from "./link.js";
import { barsOf, ids, passageOf } from "./sheet.js";

// Linear gains of the three positions.
const GAINS = { out: 0, under: 0.35, front: 1 };
// The end of a round is blended into what comes before its beginning.
const SEAM_S = 0.008;
const RAMP_S = 0.015;
const SOON_S = 0.08;
// Volume 100 lies here: full level is out of reach.
const TOP_GAIN = 0.8;

let context = null;
let playing = null;
let asked = 0;
let shown = null;
const positions = new Map();
// The record in place of a passage.
export const RECORD = "the record";
let recordBars = [];
const loaded = new Map();

// ------------------------------------------------------------------ sounds

// A passage's sounds out of the server's bytes: { rate, frames, countIn, bars, parts, sounds: [count-in, click, part…] }.
export function unpack(bytes) {
  const view = new DataView(bytes);
  const length = view.getUint32(0, true);
  const head = JSON.parse(new TextDecoder().decode(new Uint8Array(bytes, 4, length)));
  let offset = 4 + length;
  const next = (frames) => {
    const samples = new Int16Array(bytes, offset, frames * 2);
    offset += frames * 4;
    const sides = [new Float32Array(frames), new Float32Array(frames)];
    for (let i = 0; i < frames; i++) {
      sides[0][i] = samples[2 * i] / 32767;
      sides[1][i] = samples[2 * i + 1] / 32767;
    }
    return sides;
  };
  const sounds = [next(head.countIn), next(head.frames)];
  for (const _ of head.parts) sounds.push(next(head.frames));
  return { ...head, sounds };
}

// The bars from `a` to `b` (frames) as a round. Where they are not the whole, the last milliseconds go over into what leads into `a`.
export function cut(side, a, b, rate) {
  const round = side.slice(a, b);
  if (a === 0 && b === side.length) return round;
  const seam = Math.min(Math.round(SEAM_S * rate), b - a);
  for (let i = 0; i < seam; i++) {
    const t = (i + 1) / (seam + 1);
    const lead = side[(a - seam + i + side.length) % side.length];
    round[b - a - seam + i] = round[b - a - seam + i] * Math.sqrt(1 - t) + lead * Math.sqrt(t);
  }
  return round;
}

// How the record is to be heard: all of it or taken apart, at its own pitch or at concert pitch.
const heardAs = () => `${one("apart").value === "all" ? "" : `&apart=${encodeURIComponent(one("apart").value)}`}${one("concert").checked ? "&concert=yes" : ""}`;

export async function load(passage, percent) {
  const how = passageOf(passage)?.quotes ? heardAs() : "";
  const key = `${percent} ${passage} ${versions.get(passage) ?? 0} ${how}`;
  if (!loaded.has(key)) {
    if (loaded.size > 5) loaded.delete(loaded.keys().next().value);
    loaded.set(
      key,
      fetch(`/sound?passage=${encodeURIComponent(passage)}&percent=${percent}${how}`).then(async (r) => {
        if (!r.ok) throw new Error((await r.json()).found);
        return unpack(await r.arrayBuffer());
      }),
    );
    loaded.get(key).catch(() => loaded.delete(key));
  }
  return loaded.get(key);
}

// The record was listened to: what was laid by less is laid anew.
export const forget = () => loaded.clear();

// Bars of the record: only those that go round are fetched.
export async function loadBeside(path) {
  const r = await fetch(path);
  if (!r.ok) throw new Error((await r.json()).found);
  return unpack(await r.arrayBuffer());
}
const loadRecord = (from, to, percent) => loadBeside(`/record-sound?from=${from}&to=${to}&percent=${percent}${heardAs()}`);

// How often a passage changed: its sounds are another's then.
const versions = new Map();

// ------------------------------------------------------------------ the graph, the same for the loudspeaker and for a look at the samples

function buffer(context, sides, rate) {
  const b = context.createBuffer(2, Math.max(1, sides[0].length), rate);
  sides.forEach((s, c) => b.copyToChannel(s, c));
  return b;
}

// Sets a round going at time `at`, `into` frames from its beginning. Gives what stops it, and its gains.
export function setGoing(context, out, sound, { from, to, at, into = 0, countIn, gains, click }) {
  const [a, b] = [sound.bars[from], sound.bars[to]];
  const sources = [];
  const part = sound.parts.map(() => context.createGain());
  const clicks = context.createGain();
  const all = context.createGain();
  part.forEach((g, i) => (g.gain.value = gains[i]));
  clicks.gain.value = click ? 1 : 0;
  all.gain.value = click ? 10 ** (sound.clickHeadroomDb / 20) : 1;
  all.connect(out);
  const round = (sides, gain) => {
    const source = context.createBufferSource();
    source.buffer = buffer(context, sides.map((s) => cut(s, a, b, sound.rate)), sound.rate);
    source.loop = true;
    source.connect(gain).connect(all);
    sources.push(source);
    return source;
  };
  let music = at;
  if (countIn) {
    const source = context.createBufferSource();
    source.buffer = buffer(context, sound.sounds[0], sound.rate);
    source.connect(all);
    source.start(at);
    sources.push(source);
    // On a whole frame, so that no sound is moved between samples.
    music = Math.round((at + sound.countIn / sound.rate) * sound.rate) / sound.rate;
  }
  round(sound.sounds[1], clicks).start(music, into / sound.rate);
  part.forEach((gain, i) => round(sound.sounds[2 + i], gain).start(music, into / sound.rate));
  const ramp = (param, value) => {
    const now = context.currentTime;
    param.cancelScheduledValues(now);
    param.setValueAtTime(param.value, now);
    param.linearRampToValueAtTime(value, now + RAMP_S);
  };
  return {
    music,
    counted: countIn,
    sound,
    from,
    to,
    length: b - a,
    gain: (i, value) => part[i] && ramp(part[i].gain, value),
    click: (yes) => {
      ramp(clicks.gain, yes ? 1 : 0);
      ramp(all.gain, yes ? 10 ** (sound.clickHeadroomDb / 20) : 1);
    },
    stop: (when = context.currentTime) => {
      all.gain.cancelScheduledValues(when);
      all.gain.setValueAtTime(all.gain.value, when);
      all.gain.linearRampToValueAtTime(0, when + RAMP_S);
      for (const s of sources) s.stop(when + RAMP_S + 0.01);
    },
  };
}

// ------------------------------------------------------------------ controls

const percent = () => Number(one("tempo").value);
const volume = () => (Number(one("volume").value) / 100) ** 2 * TOP_GAIN;
const span = () => ({ from: Number(one("from").value), to: Number(one("to").value) + 1 });
const positionOf = (part) => positions.get(`${shown}/${part}`) ?? "front";
let out = null;

// What goes round: bars that are chosen, or a stretch beside them (what a finding speaks of).
let aside = null;
export const beside = () => aside?.key ?? null;
const chosen = () => ({
  passage: shown,
  // Of the record only the chosen bars are there.
  first: shown === RECORD ? span().from : 0,
  span: span(),
  load: (percent) => (shown === RECORD ? loadRecord(span().from, span().to, percent) : load(shown, percent)),
  gain: (part) => GAINS[positionOf(part)],
});
function setAside(what) {
  if (aside === what) return;
  aside = what;
  document.dispatchEvent(new CustomEvent("beside"));
}

// Plays a stretch beside what is chosen, round and round without a count-in; asked for again, it stops. `what`: key, passage, span and first (bars by index), load,
// and gain where not all of it is to sound.
export function hearBeside(what) {
  const same = aside?.key === what.key;
  halt();
  if (same) return;
  setAside({ gain: () => 1, ...what });
  begin(null, false);
}

// The clock that all is played on, set going. The page asks for it on the first sound.
export function clock() {
  context ??= new AudioContext({ sampleRate: 48000 });
  context.resume();
  return context;
}

function outlet() {
  if (!out) {
    out = context.createGain();
    out.connect(context.destination);
  }
  out.gain.value = volume();
  return out;
}

// How loud it plays (a linear gain), and how late, in seconds, by the browser's own figure.
export const level = { volume, latency: () => (context?.outputLatency || 0) + (context?.baseLatency || 0) };

async function begin(place = null, countIn = one("count-in").checked) {
  const press = ++asked;
  const what = aside ?? chosen();
  clock();
  one("go").textContent = "Stop";
  one("go").classList.add("on");
  const slow = setTimeout(() => say("Playing it in."), 500);
  let sound;
  try {
    sound = await what.load(percent());
    say("");
    if (!aside) one("apart-says").textContent = sound.apart ? `${sound.apart[0].toUpperCase()}${sound.apart.slice(1)}.` : "";
  } catch (e) {
    if (press === asked) {
      say(e.message);
      halt();
    }
    return;
  } finally {
    clearTimeout(slow);
  }
  if (press !== asked) return;
  outlet();
  const { first } = what;
  const [from, to] = [what.span.from - first, what.span.to - first];
  if (!(to < sound.bars.length)) return halt();
  const at = Math.ceil((context.currentTime + SOON_S) * sound.rate) / sound.rate;
  const bar = place ? place.bar - first : -1;
  const inside = bar >= from && bar < to;
  const into = inside ? Math.round(sound.bars[bar] + place.share * (sound.bars[bar + 1] - sound.bars[bar])) - sound.bars[from] : 0;
  playing?.stop(at);
  playing = setGoing(context, out, sound, { from, to, at, into, countIn: countIn && sound.countIn > 0, gains: sound.parts.map((p, i) => what.gain(p, sound.inMix.includes(i))), click: one("click").checked });
  Object.assign(playing, { into, first, passage: what.passage });
  requestAnimationFrame(follow);
}

// Once through the chosen bars of a passage behind a count-in, for playing in: one part keeps silent. Gives the bars, and where on the clock the first one begins.
export async function once({ silent }) {
  halt();
  const press = ++asked;
  const [passage, tempo, { from, to }] = [shown, percent(), span()];
  if (!passage || passage === RECORD) throw new Error("This is the record: go to a slot of the part that you want to play in");
  const sound = await load(passage, tempo);
  if (press !== asked || !(to < sound.bars.length)) throw new Error("It was stopped before it began");
  const at = Math.ceil((clock().currentTime + SOON_S) * sound.rate) / sound.rate;
  const mine = setGoing(context, outlet(), sound, { from, to, at, countIn: true, gains: sound.parts.map((p) => (p === silent ? 0 : GAINS[positionOf(p)])), click: one("click").checked });
  playing = Object.assign(mine, { into: 0, first: 0, passage });
  const seconds = mine.length / sound.rate;
  mine.stop(mine.music + seconds - RAMP_S);
  one("go").textContent = "Stop";
  one("go").classList.add("on");
  requestAnimationFrame(follow);
  return { passage, percent: tempo, from, to, rate: sound.rate, music: mine.music, seconds, starts: sound.bars.slice(from, to + 1).map((b) => b - sound.bars[from]), isOn: () => playing === mine };
}

export function halt() {
  asked++;
  playing?.stop();
  playing = null;
  setAside(null);
  one("go").textContent = "Play";
  one("go").classList.remove("on");
  light(-1);
  document.dispatchEvent(new CustomEvent("halted"));
}

// Where the loudspeaker is: bar, and share of it. Before the first sound comes out, where it will begin.
function where() {
  if (!playing) return null;
  const { sound, from, to, length, first } = playing;
  const seconds = context.currentTime - (context.outputLatency || 0) - playing.music;
  if (seconds < 0 && playing.counted) return { bar: from + first, share: 0, counting: true, round: 1 };
  const frames = Math.floor(Math.max(0, seconds) * sound.rate) + playing.into;
  const at = sound.bars[from] + (frames % length);
  let bar = from;
  while (bar + 1 < to && sound.bars[bar + 1] <= at) bar++;
  return { bar: bar + first, share: (at - sound.bars[bar]) / (sound.bars[bar + 1] - sound.bars[bar]), counting: false, round: 1 + Math.floor(frames / length) };
}

const nodes = (id) => (id === RECORD ? recordBars : barsOf(id));

// How far into its bars the record is, as bar and share of it; null while it does not play.
export const recordAt = () => (playing?.passage === RECORD ? where() : null);

let lit = -1;
function light(bar) {
  if (bar === lit) return;
  lit = bar;
  for (const old of document.querySelectorAll(".lit")) old.classList.remove("lit");
  if (bar < 0 || !playing) return;
  nodes(playing.passage)[bar]?.classList.add("lit");
  for (const g of passageOf(playing.passage)?.section.querySelectorAll("g.bar[data-played]") ?? []) g.classList.toggle("lit", g.dataset.played.split(" ").includes(String(bar)));
}

function follow() {
  if (!playing) {
    one("place").textContent = "";
    return;
  }
  const w = where();
  light(w.counting ? -1 : w.bar);
  const number = playing.passage === RECORD ? w.bar + 1 : nodes(playing.passage)[w.bar]?.dataset.bar ?? "";
  one("place").textContent = w.counting ? "count-in" : `bar ${number}, round ${w.round}`;
  requestAnimationFrame(follow);
}

// ------------------------------------------------------------------ by foot

export const isOn = () => Boolean(playing) || one("go").classList.contains("on");
export const shownNow = () => shown;
export const now = () => (playing ? where() : null);
// To the beginning of the bar, or of the one before where it has only just begun; not before the first that goes round.
export function backBar() {
  const w = now();
  if (!w) return;
  const early = w.share * (playing.sound.bars[w.bar - playing.first + 1] - playing.sound.bars[w.bar - playing.first]) < 0.7 * playing.sound.rate;
  begin({ bar: Math.max(playing.from + playing.first, w.bar - (early ? 1 : 0)), share: 0 }, false);
}
export const fromStart = () => begin();
// Another passage; where one sounded, it goes on with that.
export function onto(id, sounding) {
  showPassage(id);
  if (sounding) begin();
}

export const toggle = () => (playing || one("go").classList.contains("on") ? halt() : begin());
const again = () => playing && begin(where(), false);

// The record's bars that were chosen are what Play plays.
export function showRecord(bars, from, to) {
  if (aside) halt();
  recordBars = bars;
  showBars(RECORD, bars, bars.map((_, i) => String(i + 1)), [RECORD]);
  one("from").value = from;
  one("to").value = to;
  again();
}

// The passage that Play plays: the one under the cursor.
export function showPassage(id) {
  const bars = barsOf(id);
  if (!bars.length) return;
  const parts = [...new Set([...bars[0].querySelectorAll(".row")].map((r) => r.dataset.part))];
  if (passageOf(id).quotes) parts.push(RECORD);
  showBars(id, bars, bars.map((b) => b.dataset.bar), parts);
}

function showBars(id, bars, names, parts) {
  const numbers = names.join(" ");
  if (id !== shown) {
    if (playing) halt();
    shown = id;
    one("from").dataset.numbers = "";
  }
  if (one("from").dataset.numbers !== numbers) {
    const kept = one("from").dataset.numbers ? span() : null;
    one("from").dataset.numbers = numbers;
    for (const select of [one("from"), one("to")]) select.replaceChildren(...names.map((n, i) => new Option(n, i)));
    one("from").value = kept ? Math.min(kept.from, bars.length - 1) : 0;
    one("to").value = kept && kept.to < bars.length ? Math.max(kept.to - 1, 0) : bars.length - 1;
  }
  one("heard-as").hidden = !parts.includes(RECORD);
  const box = one("positions");
  if (box.dataset.parts === `${id} ${parts.join("/")}`) return;
  box.dataset.parts = `${id} ${parts.join("/")}`;
  box.replaceChildren(
    ...parts.map((part, i) => {
      const set = document.createElement("fieldset");
      const legend = document.createElement("legend");
      legend.textContent = part;
      set.append(legend);
      for (const [value, word] of [["out", "out"], ["under", "under"], ["front", "in front"]]) {
        const label = document.createElement("label");
        const input = Object.assign(document.createElement("input"), { type: "radio", name: `position-${i}`, value, checked: positionOf(part) === value });
        input.addEventListener("change", () => {
          positions.set(`${shown}/${part}`, value);
          if (playing) playing.gain(playing.sound.parts.indexOf(part), GAINS[value]);
        });
        const text = document.createElement("span");
        text.textContent = word;
        label.append(input, text);
        set.append(label);
      }
      return set;
    }),
  );
}

one("go").addEventListener("click", toggle);
one("tempo").addEventListener("input", () => {
  one("tempo-says").textContent = `${percent()} %`;
});
one("tempo").addEventListener("change", again);
one("volume").addEventListener("input", () => out && out.gain.setTargetAtTime(volume(), context.currentTime, RAMP_S));
for (const id of ["apart", "concert"]) {
  one(id).addEventListener("change", () => {
    one("apart-says").textContent = "";
    again();
  });
}
one("click").addEventListener("change", () => playing?.click(one("click").checked));
for (const id of ["from", "to"]) {
  one(id).addEventListener("change", () => {
    // The border that was moved stays; the other makes room.
    if (aside) halt();
    if (span().from >= span().to) one(id === "from" ? "to" : "from").value = one(id).value;
    again();
  });
}
let wait = 0;
on("update", (update) => {
  for (const { id, pieces } of update.passages) if (pieces) versions.set(id, (versions.get(id) ?? 0) + 1);
  const here = shown && (shown === RECORD || ids().includes(shown)) ? shown : ids()[0];
  if (here && here !== RECORD) showPassage(here);
  if (playing && update.passages.some((p) => p.id === playing.passage && p.pieces) && !model.problems.some((p) => p.error)) {
    clearTimeout(wait);
    wait = setTimeout(again, 500);
  }
});

// For a look from outside: what the loudspeaker would get, as samples, from the same graph.
export async function rendered({ passage, tempo = 100, from = 0, to = null, seconds, countIn = false, gains = null, click = false }) {
  const sound = unpack(await (await fetch(`/sound?passage=${encodeURIComponent(passage)}&percent=${tempo}`)).arrayBuffer());
  const offline = new OfflineAudioContext(2, Math.round(seconds * sound.rate), sound.rate);
  setGoing(offline, offline.destination, sound, { from, to: to ?? sound.bars.length - 1, at: 0, countIn, gains: gains ?? sound.parts.map(() => 1), click });
  const result = await offline.startRendering();
  return { rate: sound.rate, bars: sound.bars, samples: [0, 1].map((c) => result.getChannelData(c)) };
}
