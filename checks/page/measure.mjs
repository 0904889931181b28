// Figures of rendered samples. Times in seconds, levels in dB of full scale, rate 48 kHz.
export const RATE = 48000;
export const db = (x) => 20 * Math.log10(Math.max(x, 1e-12));
const at = (seconds) => Math.round(seconds * RATE);

// Amplitude of the tone at `hz` between two times: one bin of a Fourier transform under a Hann window.
export function tone(samples, from, to, hz) {
  const [a, b] = [at(from), at(to)];
  let re = 0, im = 0, weight = 0;
  for (let n = a; n < b; n++) {
    const w = 0.5 - 0.5 * Math.cos((2 * Math.PI * (n - a)) / (b - a));
    const p = (2 * Math.PI * hz * n) / RATE;
    re += w * samples[n] * Math.cos(p);
    im += w * samples[n] * Math.sin(p);
    weight += w;
  }
  return (2 * Math.hypot(re, im)) / weight;
}

export const peak = (samples, from = 0, to = samples.length / RATE) => {
  let most = 0;
  for (let n = at(from); n < at(to); n++) most = Math.max(most, Math.abs(samples[n]));
  return most;
};

// RMS of what lies above `hz`: a Blackman-windowed sinc high-pass of 511 taps.
export function above(samples, from, to, hz) {
  const half = 255;
  const taps = Float64Array.from({ length: 2 * half + 1 }, (_, i) => {
    const k = i - half;
    const c = (2 * hz) / RATE;
    const ideal = k === 0 ? 1 - c : -Math.sin(Math.PI * c * k) / (Math.PI * k);
    return ideal * (0.42 + 0.5 * Math.cos((Math.PI * k) / half) + 0.08 * Math.cos((2 * Math.PI * k) / half));
  });
  let sum = 0;
  const [a, b] = [at(from), at(to)];
  for (let n = a; n < b; n++) {
    let v = 0;
    for (let i = 0; i < taps.length; i++) v += taps[i] * (samples[n + i - half] ?? 0);
    sum += v * v;
  }
  return Math.sqrt(sum / (b - a));
}

export const difference = (a, b, from, to) => {
  let most = 0;
  for (let n = at(from); n < at(to); n++) most = Math.max(most, Math.abs(a[n] - b[n]));
  return most;
};

// The moment between two times at which `samples` are quietest over 4 ms.
export function quietest(samples, from, to) {
  const wide = at(0.002);
  let best = Infinity, when = 0;
  for (let n = at(from); n < at(to); n += 12) {
    let sum = 0;
    for (let k = -wide; k < wide; k++) sum += samples[n + k] ** 2;
    if (sum < best) { best = sum; when = n / RATE; }
  }
  return when;
}
