// What the page of steady tones must render. Each check: a name, and a function that throws or gives the figures to print.
// Tones, levels and bars are those of crates/pack/examples/page_fixture.rs.
import assert from "node:assert/strict";
import { render } from "./browser.mjs";
import { RATE, above, db, difference, peak, quietest, tone } from "./measure.mjs";

const HZ = { chop: 440, line: 1100, floor: 110, plain: 1700 };
const GUIDE = (bar) => 2400 + 200 * bar;
const LEVEL = 0.12;
const START_GAIN = 0.8 * 0.6 ** 2;
// A change is heard this long after it was asked for.
const SOON = 0.05;
const BEAT = (percent) => 60 / (132 * (percent / 100));
const BAR = (percent) => 4 * BEAT(percent);
const LADDER = [60, 75, 90, 100];
const ALL = ["joins", "joins", "joins", "joins", "rests"];
const ONLY = (part) => ALL.map((_, i) => (i === part ? "joins" : "rests"));
const close = (a, b, by, what) => assert.ok(Math.abs(a - b) <= by, `${what}: ${a}, wanted ${b} within ${by}`);
const shown = (x) => `${x.toFixed(1)} dB`;

export const hearing = {
  async "a part left out is gone, and the rest stays as it was"({ page }) {
    const [left, right] = await render(page, { seconds: 4, choices: { countIn: "never" }, changes: [{ at: 2, choices: { positions: ["joins", "rests", "joins", "joins", "rests"] } }] });
    const before = db(tone(left, 0.5, 1.9, HZ.line)), after = db(tone(left, 2.1, 3.9, HZ.line));
    close(before, db(LEVEL * START_GAIN), 0.1, "line before, dB");
    assert.ok(after < -110, `line after: ${after} dB`);
    for (const hz of [HZ.chop, HZ.floor]) close(db(tone(left, 2.1, 3.5, hz)), db(tone(left, 0.5, 1.9, hz)), 0.05, `${hz} Hz, dB`);
    close(db(tone(right, 0.5, 1.9, HZ.chop)) - db(tone(left, 0.5, 1.9, HZ.chop)), db(0.3), 0.1, "seat of the chop, dB");
    assert.ok(db(tone(left, 0.5, 1.9, HZ.plain)) < -110, "the easier part rests at first");
    return `${shown(before)} → ${shown(after)}`;
  },

  async "dropping a part and taking it up again loses no sample of the place"({ page }) {
    const choices = { countIn: "never" };
    const plain = await render(page, { seconds: 4, choices });
    const changed = await render(page, { seconds: 4, choices, changes: [{ at: 1, choices: { positions: ONLY(2) } }, { at: 2, choices: { positions: ALL } }] });
    assert.ok(difference(plain[0], changed[0], 1.2, 1.9) > 0.01, "it did change");
    const left = difference(plain[0], changed[0], 2.1, 4);
    assert.ok(left < 1e-6, `largest difference afterwards: ${left}`);
    return `largest difference afterwards ${left.toExponential(1)}`;
  },

  async "a change of gain makes no click"({ page }) {
    const [x] = await render(page, { seconds: 3, choices: { countIn: "never", positions: ["joins", "joins", "joins", "rests", "rests"] }, changes: [{ at: 1.5, choices: { positions: ["rests", "joins", "joins", "rests", "rests"] } }] });
    const level = db(above(x, 1.48, 1.54, 4000));
    assert.ok(level < -75, `above 4 kHz: ${level} dB`);
    return `above 4 kHz ${shown(level)}`;
  },

  async "a part that leads is louder, and the others step back"({ page }) {
    const [x] = await render(page, { seconds: 4, choices: { countIn: "never" }, changes: [{ at: 2, choices: { positions: ["joins", "leads", "joins", "joins", "rests"] } }] });
    const gain = (hz) => db(tone(x, 2.1, 3.9, hz)) - db(tone(x, 0.5, 1.9, hz));
    assert.ok(gain(HZ.line) > 2.5, `line: ${gain(HZ.line)} dB`);
    assert.ok(gain(HZ.chop) < -5 && gain(HZ.floor) < -5, `others: ${gain(HZ.chop)} dB`);
    return `line +${shown(gain(HZ.line))}, others ${shown(gain(HZ.chop))}`;
  },

  async "it starts quiet and never reaches full level"({ page }) {
    const choices = { countIn: "never", positions: ONLY(2) };
    const level = async (volume) => db(tone((await render(page, { seconds: 2, choices: { ...choices, ...volume } }))[0], 0.5, 1.9, HZ.floor) / LEVEL);
    const [start, top] = [await level({}), await level({ volume: 100 })];
    close(start, db(START_GAIN), 0.1, "at the start, dB");
    close(top, db(0.8), 0.1, "at the top, dB");
    // Far more than any pack holds: what is too loud for the rail must not pass it.
    const [x] = await render(page, { seconds: 1.5, choices: { countIn: "never", volume: 1000, positions: ALL } });
    assert.ok(peak(x) > 0.9 && peak(x) <= 0.981, `peak ${peak(x)}`);
    return `${shown(start)} at the start, ${shown(top)} at the top; peak when driven too hard ${peak(x).toFixed(3)}`;
  },

  async "each tempo has its own length, goes round without a gap and keeps its pitch"({ page }) {
    const figures = [];
    for (const [step, percent] of LADDER.entries()) {
      const length = 6 * BAR(percent);
      // As the fixture chooses it: one cycle more than a multiple of 6.
      const chop = (Math.round((HZ.chop * length) / 6) * 6 + 1) / length;
      const [x] = await render(page, { seconds: length + 4, choices: { step, countIn: "never" } });
      const start = SOON;
      for (let bar = 0; bar < 6; bar++) {
        const mid = start + BAR(percent) * (bar + 0.5);
        assert.ok(db(tone(x, mid - 0.3, mid + 0.3, GUIDE(bar))) > -32, `bar ${bar + 1} at ${percent} %`);
      }
      close(db(tone(x, start + 0.5, start + 2.5, chop)), db(LEVEL * START_GAIN), 0.15, `pitch at ${percent} %, dB`);
      const frames = Math.round(length * RATE);
      const late = x.subarray(frames);
      // From where the first round has become as the others.
      const left = difference(x, late, 0.35, 3.5);
      assert.ok(left < 1e-6, `second round at ${percent} %: ${left}`);
      figures.push(`${percent} %: ${frames}`);
    }
    return `frames a round, ${figures.join(", ")}`;
  },

  async "a change of tempo keeps bar and fraction"({ page }) {
    const figures = [];
    for (const [from, to] of [[0, 3], [3, 1]]) {
      const [x] = await render(page, { seconds: 10, choices: { step: from, countIn: "never", positions: ONLY(3) }, changes: [{ at: 4, choices: { step: to } }] });
      const bars = 4 / BAR(LADDER[from]);
      // The next two bar lines, if the place was kept to the frame.
      for (const k of [1, 2]) {
        const expected = 4 + SOON + (Math.floor(bars) + k - bars) * BAR(LADDER[to]);
        const found = quietest(x, expected - 0.15, expected + 0.15);
        close(found, expected, 0.002, `bar line ${k} after ${LADDER[from]} → ${LADDER[to]} %, s`);
        figures.push(`${((found - expected) * 1000).toFixed(2)} ms`);
        const bar = (Math.floor(bars) + k) % 6;
        assert.ok(db(tone(x, expected + 0.2, expected + 0.6, GUIDE(bar))) > -32, `bar ${bar + 1} follows`);
      }
    }
    return `bar lines off by ${figures.join(", ")}`;
  },

  async "a change of tempo makes no click"({ page }) {
    const [x] = await render(page, { seconds: 4, choices: { step: 0, countIn: "never", positions: ["joins", "joins", "joins", "rests", "rests"] }, changes: [{ at: 2, choices: { step: 3 } }] });
    const level = db(above(x, 2.02, 2.08, 4000));
    assert.ok(level < -70, `above 4 kHz: ${level} dB`);
    return `above 4 kHz ${shown(level)}`;
  },

  async "a loop of some bars plays those bars and no other"({ page }) {
    const [x] = await render(page, { seconds: 9, choices: { from: 2, to: 4, countIn: "never" } });
    for (let k = 0; k < 4; k++) {
      const mid = SOON + BAR(100) * (k + 0.5);
      const bar = 2 + (k % 2);
      for (let other = 0; other < 6; other++) {
        const level = db(tone(x, mid - 0.3, mid + 0.3, GUIDE(other)));
        assert.ok(other === bar ? level > -32 : level < -90, `bar ${other + 1} in place ${k + 1}: ${level} dB`);
      }
    }
  },

  async "the seam of a loop lies under the noise floor"({ page }) {
    // RMS of the rounding noise of 16-bit sound: a step of 1/32768 over the root of 12.
    const floor = db(1 / 32768 / Math.sqrt(12));
    const positions = ["joins", "joins", "joins", "rests", "rests"];
    const [whole] = await render(page, { seconds: 12, choices: { countIn: "never", positions } });
    let worst = -Infinity, raw = Infinity;
    for (const [from, to] of [[0, 2], [1, 2], [2, 5], [3, 6]]) {
      const length = (to - from) * BAR(100);
      const [x] = await render(page, { seconds: SOON + length + 1, choices: { countIn: "never", positions, from, to } });
      const seam = SOON + length;
      worst = Math.max(worst, db(above(x, seam - 0.015, seam + 0.015, 4000)));
      // The same bars simply cut and put end to end: what the blend is for.
      const [a, b] = [from, to].map((bar) => Math.round((SOON + bar * BAR(100)) * RATE));
      const cut = Float32Array.from({ length: 4800 }, (_, n) => (n < 2400 ? whole[b - 2400 + n] : whole[a + n - 2400]));
      raw = Math.min(raw, db(above(cut, 0.035, 0.065, 4000)));
    }
    const round = db(above(whole, SOON + 6 * BAR(100) - 0.015, SOON + 6 * BAR(100) + 0.015, 4000));
    assert.ok(raw > floor + 20, `unblended, the seam would show: ${raw} dB`);
    assert.ok(worst < floor, `seam ${worst} dB, floor ${floor} dB`);
    assert.ok(round < floor, `seam of the whole passage ${round} dB`);
    return `above 4 kHz: seam ${shown(worst)}, whole passage ${shown(round)}; 16-bit noise ${shown(floor)}; unblended at least ${shown(raw)}`;
  },

  async "the tempo rises after so many rounds"({ page }) {
    for (const countIn of ["never", "first"]) {
      const lead = (percent) => (countIn === "first" ? BAR(percent) : 0);
      const length = LADDER.reduce((sum, percent) => sum + lead(percent) + 2 * BAR(percent), 0);
      const [x] = await render(page, { seconds: length + 4, choices: { step: 0, from: 1, to: 2, rise: true, rounds: 2, countIn } });
      let start = SOON;
      for (const [step, percent] of LADDER.entries()) {
        if (countIn === "first") {
          for (let beat = 0; beat < 4; beat++) {
            const t = start + beat * BEAT(percent);
            assert.ok(db(tone(x, t, t + 0.02, 8000)) > -36, `count-in, beat ${beat + 1} at ${percent} %`);
          }
          const still = db(tone(x, start + 0.1, start + BAR(percent) - 0.1, HZ.chop));
          assert.ok(still < -90, `music rests while it counts: ${still} dB`);
          start += BAR(percent);
        }
        // Twice the bar, each time between two silences of the guide at the bar lines.
        for (const round of [0, 1]) {
          const mid = start + (round + 0.5) * BAR(percent);
          assert.ok(db(tone(x, mid - 0.3, mid + 0.3, GUIDE(1))) > -32, `round ${round + 1} at ${percent} %`);
          const line = start + (round + 1) * BAR(percent);
          if (step + 1 < LADDER.length || round === 0) {
            const next = db(tone(x, line - 0.005, line + 0.005, GUIDE(1)));
            assert.ok(next < db(tone(x, mid - 0.005, mid + 0.005, GUIDE(1))) - 12, `bar line after round ${round + 1} at ${percent} %`);
          }
        }
        start += 2 * BAR(percent);
      }
      // The fastest stays.
      assert.ok(db(tone(x, start + 0.5 * BAR(100) - 0.3, start + 0.5 * BAR(100) + 0.3, GUIDE(1))) > -32, "the fastest goes on");
    }
  },

  async "the first round begins from silence, later ones with what rings"({ page }) {
    // The fixture's heads are silent for an eighth of a second and then as long the tone itself.
    const heard = async (choices, place, at) => {
      const [x] = await render(page, { seconds: at + 1, choices: { positions: ONLY(2), ...choices }, place });
      return [[0.01, 0.11], [0.13, 0.23], [0.3, 0.9]].map(([from, to]) => db(tone(x, at + from, at + to, HZ.floor)));
    };
    const silent = (levels) => levels[0] < levels[2] - 30;
    const first = await heard({ countIn: "never" }, null, SOON);
    assert.ok(silent(first), `first round: ${first}`);
    close(first[1], first[2], 0.3, "after the silence, dB");
    assert.ok(silent(await heard({ countIn: "first" }, null, SOON + BAR(100))), "after a count-in");
    assert.ok(silent(await heard({ countIn: "each", to: 1 }, null, SOON + 3 * BAR(100))), "after the next count-in");
    for (const [choices, place, at, what] of [
      [{ countIn: "never" }, null, SOON + 6 * BAR(100), "second round"],
      [{ countIn: "never", to: 1 }, null, SOON + BAR(100), "second round of one bar"],
      [{ countIn: "never", from: 1 }, null, SOON, "another bar"],
      [{ countIn: "never" }, { bar: 0, fraction: 1e-9 }, SOON, "dropped into"],
    ]) {
      const levels = await heard(choices, place, at);
      close(levels[0], levels[2], 0.3, `${what}, dB`);
    }
    return `first ${shown(first[0])}, then ${shown(first[2])}`;
  },

  async "the passage's first stroke passes into the round without an edge"({ page }) {
    const positions = ["joins", "joins", "joins", "rests", "rests"];
    const [x] = await render(page, { seconds: 1, choices: { countIn: "never", positions } });
    // The head ends after a quarter of a second.
    const level = db(above(x, SOON + 0.23, SOON + 0.26, 4000));
    assert.ok(level < -85, `above 4 kHz: ${level} dB`);
    const [dropped] = await render(page, { seconds: 1, choices: { countIn: "never", positions }, place: { bar: 0, fraction: 1e-9 } });
    const left = difference(x, dropped, 0.35, 0.9);
    assert.ok(left < 1e-6, `the round is not in its place: ${left}`);
    return `above 4 kHz ${shown(level)}`;
  },

  async "with the click on, or a part lifted, the top of the volume comes down"({ page }) {
    const top = async (choices) => db(tone((await render(page, { seconds: 2, choices: { countIn: "never", volume: 100, ...choices } }))[0], 0.5, 1.9, HZ.floor) / LEVEL);
    // The fixture says: 6 dB less than full scale with the click.
    close(await top({ positions: ONLY(2) }), db(0.8), 0.1, "at the top, dB");
    close(await top({ positions: ONLY(2), click: true }), -6, 0.1, "at the top with the click, dB");
    close(await top({ positions: ["joins", "joins", "leads", "joins", "rests"] }), 0, 0.1, "at the top and lifted, dB");
  },

  async "the count-in counts when it was asked to"({ page }) {
    const bar = BAR(100);
    const heard = async (countIn) => {
      const [x] = await render(page, { seconds: 4 * bar + 0.5, choices: { countIn, from: 1, to: 2 } });
      const counts = [0, 1, 2, 3].map((k) => db(tone(x, SOON + k * bar, SOON + k * bar + 0.02, 8000)) > -36);
      const music = [0, 1, 2, 3].map((k) => db(tone(x, SOON + (k + 0.3) * bar, SOON + (k + 0.7) * bar, GUIDE(1))) > -40);
      return { counts, music };
    };
    assert.deepEqual(await heard("never"), { counts: [false, false, false, false], music: [true, true, true, true] });
    assert.deepEqual(await heard("first"), { counts: [true, false, false, false], music: [false, true, true, true] });
    assert.deepEqual(await heard("each"), { counts: [true, false, true, false], music: [false, true, false, true] });
  },

  async "the click is heard when asked for, on every beat"({ page }) {
    const beats = async (click) => {
      const [x] = await render(page, { seconds: 4, choices: { countIn: "never", click } });
      return [0, 1, 2, 3, 4, 5].map((k) => db(tone(x, SOON + k * BEAT(100), SOON + k * BEAT(100) + 0.02, 7000)));
    };
    assert.ok((await beats(false)).every((level) => level < -80), "off");
    assert.ok((await beats(true)).every((level) => level > -36), "on");
  },

  async "bars before a pickup and bars of unequal length are found"({ page }) {
    const [x] = await render(page, { passage: 1, seconds: 3, choices: { countIn: "never", from: 0, to: 2, positions: ONLY(3) } });
    assert.ok(db(tone(x, SOON + 0.05, SOON + BEAT(100) - 0.05, GUIDE(0))) > -36, "pickup");
    assert.ok(db(tone(x, SOON + BEAT(100) + 0.3, SOON + BEAT(100) + 1, GUIDE(1))) > -32, "bar 1");
    assert.ok(db(tone(x, SOON + BEAT(100) + BAR(100) + 0.05, SOON + 2 * BEAT(100) + BAR(100) - 0.05, GUIDE(0))) > -36, "pickup again");
  },

  async "stopping is soft and leaves silence"({ page }) {
    const [x] = await render(page, { seconds: 3, choices: { countIn: "never", positions: ["joins", "joins", "joins", "rests", "rests"] }, changes: [{ at: 2, choices: { stop: true } }] });
    assert.ok(peak(x, 1, 1.9) > 0.02, "it played");
    assert.equal(peak(x, 2.05, 3), 0);
    const level = db(above(x, 1.99, 2.04, 4000));
    assert.ok(level < -70, `above 4 kHz: ${level} dB`);
    return `above 4 kHz ${shown(level)}`;
  },

  async "coded sounds decode to their stated length"({ opus }) {
    const lengths = await opus.evaluate(async () => {
      const given = partwright.sounds;
      const found = [];
      for (const step of partwright.figures.passages[0].steps) {
        const base64 = await new Promise((arrive) => {
          partwright.sounds = (_, base64) => arrive(base64);
          const script = document.createElement("script");
          script.src = step.script;
          document.head.append(script);
        });
        const context = new OfflineAudioContext(2, 1, step.rate);
        for (const text of base64.stems) {
          const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
          found.push([(await context.decodeAudioData(bytes.buffer)).length, step.borders.at(-1) + step.overlapFrames]);
        }
      }
      partwright.sounds = given;
      return found;
    });
    assert.equal(lengths.length, 20);
    for (const [found, stated] of lengths) assert.equal(found, stated);
    return `${lengths.length} stems`;
  },
};
