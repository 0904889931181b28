// A microphone or interface as samples on the player's clock, and how long a sound takes out through the loudspeaker and in again.
// From: the browser's input with all its filters off, and for the delay: clicks that come back.
import { clock } from "./play.js";

// Clicks that measure the delay: so many, so far apart, and how many have to agree, how closely.
const CLICKS = 6;
const APART_S = 0.55;
const REACH_S = 0.5;
const AGREE = 5;
const WITHIN_S = 0.0015;
// A click stands out from what else comes in by this much.
const STANDS_OUT = 8;

let stream = null;
let node = null;
let listeners = new Set();

export const isOpen = () => stream !== null;

// What went wrong, in words for a player.
export function wordsFor(error) {
  switch (error.name) {
    case "NotAllowedError":
    case "SecurityError":
      return "The browser may not listen: allow this page the microphone (by the sign beside the address), then try again.";
    case "NotFoundError":
    case "OverconstrainedError":
      return "No such input is there: plug the interface or microphone in, and choose it here.";
    case "NotReadableError":
    case "AbortError":
      return "The input cannot be opened: another program may hold it. Close that, then try again.";
    default:
      return error.message;
  }
}

// Opens an input. Gives what the browser says of it.
export async function openInput(id) {
  if (!navigator.mediaDevices?.getUserMedia || !window.AudioWorkletNode) throw new Error("This browser hands no sound in: use a current one.");
  closeInput();
  const context = clock();
  const off = { echoCancellation: false, noiseSuppression: false, autoGainControl: false };
  const found = await navigator.mediaDevices.getUserMedia({ audio: id ? { deviceId: { exact: id }, ...off } : off });
  openInput.ready ??= context.audioWorklet.addModule("/bench/recorder.js").catch((e) => {
    openInput.ready = null;
    throw e;
  });
  await openInput.ready.catch((e) => {
    found.getTracks().forEach((t) => t.stop());
    throw e;
  });
  stream = found;
  node = new AudioWorkletNode(context, "recorder", { numberOfInputs: 1, numberOfOutputs: 1 });
  node.port.onmessage = ({ data }) => listeners.forEach((go) => go(data));
  const source = context.createMediaStreamSource(stream);
  // Only what leads to the loudspeaker is run; nothing of it is to be heard.
  const silent = context.createGain();
  silent.gain.value = 0;
  source.connect(node).connect(silent).connect(context.destination);
  const [track] = stream.getAudioTracks();
  track.addEventListener("ended", () => {
    closeInput();
    document.dispatchEvent(new CustomEvent("input-lost"));
  });
  const is = track.getSettings();
  return { id: is.deviceId ?? id, label: track.label, filtered: ["echoCancellation", "noiseSuppression", "autoGainControl"].some((k) => is[k] === true), latency: is.latency ?? 0 };
}

export function closeInput() {
  stream?.getTracks().forEach((t) => t.stop());
  node?.disconnect();
  stream = node = null;
}

export const inputs = async () => (await navigator.mediaDevices.enumerateDevices()).filter((d) => d.kind === "audioinput" && d.deviceId);

// Told of each block: { first, samples }. Gives what stops it.
export function onBlock(go) {
  listeners.add(go);
  return () => listeners.delete(go);
}

// Gathers blocks until one ends behind `until()` (frames of the clock). `whole` is false where the machine lost some of the sound.
export function gather(until, stopped = new Promise(() => {})) {
  return new Promise((done) => {
    const blocks = [];
    const end = () => {
      off();
      const first = blocks[0]?.first ?? 0;
      const last = blocks.at(-1);
      const samples = new Float32Array(last ? last.first + last.samples.length - first : 0);
      for (const b of blocks) samples.set(b.samples, b.first - first);
      const got = blocks.reduce((n, b) => n + b.samples.length, 0);
      done({ first, samples, whole: got === samples.length });
    };
    const off = onBlock((b) => {
      blocks.push(b);
      if (b.first + b.samples.length >= until()) end();
    });
    stopped.then(end);
  });
}

// ------------------------------------------------------------------ the delay

// A click that nothing else sounds like: a fall from 5 to 1 kHz within 8 ms.
export function chirp(rate) {
  const n = Math.round(0.008 * rate);
  let phase = 0;
  return Float32Array.from({ length: n }, (_, i) => {
    phase += (2 * Math.PI * (5000 - (4000 * i) / n)) / rate;
    return Math.sin(phase) * Math.sin((Math.PI * i) / n) ** 2;
  });
}

// Where the click lies in the samples, in frames from their beginning; null where it does not stand out.
export function findChirp(samples, click) {
  let [best, at, sum] = [0, 0, 0];
  const lags = samples.length - click.length;
  for (let lag = 0; lag < lags; lag++) {
    let c = 0;
    for (let i = 0; i < click.length; i++) c += samples[lag + i] * click[i];
    sum += c * c;
    if (Math.abs(c) > best) [best, at] = [Math.abs(c), lag];
  }
  return lags > 0 && best > 0 && best > STANDS_OUT * Math.sqrt(sum / lags) ? at : null;
}

// Plays clicks and measures when they come back, in seconds; null where too few came back, or at odds with each other.
export async function measureDelay(volume) {
  const context = clock();
  const rate = context.sampleRate;
  const click = chirp(rate);
  const sound = context.createBuffer(1, click.length, rate);
  sound.copyToChannel(click, 0);
  const out = context.createGain();
  out.gain.value = volume;
  out.connect(context.destination);
  const begin = Math.ceil((context.currentTime + 0.3) * rate);
  const times = Array.from({ length: CLICKS }, (_, i) => begin + Math.round(i * APART_S * rate));
  for (const t of times) {
    const source = context.createBufferSource();
    source.buffer = sound;
    source.connect(out);
    source.start(t / rate);
  }
  const { first, samples } = await gather(() => times.at(-1) + (REACH_S + 0.05) * rate, new Promise((late) => setTimeout(late, (CLICKS * APART_S + REACH_S + 3) * 1000)));
  out.disconnect();
  const found = times.map((t) => findChirp(samples.subarray(Math.max(0, t - first), Math.max(0, t - first + Math.round(REACH_S * rate))), click)).filter((n) => n !== null);
  found.sort((a, b) => a - b);
  const middle = found[Math.floor(found.length / 2)];
  return found.filter((n) => Math.abs(n - middle) <= WITHIN_S * rate).length >= AGREE ? middle / rate : null;
}

// ------------------------------------------------------------------ the file

// One channel as WAV, 24 bits.
export function wav(samples, rate) {
  const bytes = new Uint8Array(44 + 3 * samples.length);
  const view = new DataView(bytes.buffer);
  const word = (at, text) => [...text].forEach((c, i) => (bytes[at + i] = c.charCodeAt(0)));
  word(0, "RIFF");
  view.setUint32(4, bytes.length - 8, true);
  word(8, "WAVEfmt ");
  [[16, 16, 4], [20, 1, 2], [22, 1, 2], [24, rate, 4], [28, 3 * rate, 4], [32, 3, 2], [34, 24, 2]].forEach(([at, value, size]) => (size === 4 ? view.setUint32(at, value, true) : view.setUint16(at, value, true)));
  word(36, "data");
  view.setUint32(40, 3 * samples.length, true);
  samples.forEach((s, i) => {
    const v = Math.round(Math.max(-1, Math.min(1, s)) * 0x7fffff);
    bytes[44 + 3 * i] = v;
    bytes[45 + 3 * i] = v >> 8;
    bytes[46 + 3 * i] = v >> 16;
  });
  return new Blob([bytes], { type: "audio/wav" });
}
