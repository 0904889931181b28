// What must hold for the page of any pack, whatever it sounds like.
import assert from "node:assert/strict";
import { render } from "./browser.mjs";
import { RATE, above, db, difference, peak } from "./measure.mjs";

export const real = {
  async "every passage sounds at every tempo, goes round, and is silent when all parts rest"(open) {
    const { page, faults } = await open();
    const passages = await page.evaluate(() => partwright.figures.passages.map((p) => ({ name: p.name, parts: p.parts.length, bars: p.bars.length, steps: p.steps.map((s) => ({ percent: s.percent, rate: s.rate, borders: s.borders })) })));
    let loudest = 0;
    for (const [passage, { name, parts, bars, steps }] of passages.entries()) {
      for (const [step, { percent, rate, borders }] of steps.entries()) {
        assert.equal(rate, RATE, `${name} at ${percent} %: rate`);
        assert.equal(borders.length, bars + 1);
        const seconds = borders.at(-1) / rate;
        const fast = step === steps.length - 1;
        const [x] = await render(page, { passage, seconds: fast ? seconds + 2.2 : 3, choices: { step, countIn: "never" }, place: { bar: 0, fraction: 1e-9 } });
        assert.ok(peak(x, 0.2) > 0.005, `${name} at ${percent} %: peak ${peak(x)}`);
        if (fast) {
          const left = difference(x, x.subarray(borders.at(-1)), 0.1, 2);
          assert.ok(left < 1e-5, `${name}: the second round differs by ${left}`);
        }
        const [loud] = fast ? await render(page, { passage, seconds: seconds + 0.1, choices: { step, countIn: "never", volume: 100 } }) : [x];
        loudest = Math.max(loudest, peak(loud));
      }
      const [still] = await render(page, { passage, seconds: 2, choices: { countIn: "never", positions: Array(parts).fill("rests") } });
      assert.equal(peak(still), 0, `${name}: silent`);
    }
    assert.ok(loudest <= 0.981, `peak at volume 100: ${loudest}`);
    assert.deepEqual(faults, []);
    return `${passages.length} passages, highest peak at volume 100: ${db(loudest).toFixed(1)} dB`;
  },

  async "each part can be left out alone"(open) {
    const { page } = await open();
    const passages = await page.evaluate(() => partwright.figures.passages.map((p) => ({ name: p.name, parts: p.parts, stems: p.steps[0].stems })));
    for (const [passage, { name, parts, stems }] of passages.entries()) {
      for (const part of parts.keys()) {
        if (!stems.includes(part)) continue;
        const positions = parts.map((_, i) => (i === part ? "joins" : "rests"));
        const seconds = await page.evaluate((p) => partwright.figures.passages[p].steps.at(-1).borders.at(-1) / 48000, passage);
        const [x] = await render(page, { passage, seconds, choices: { countIn: "never", positions } });
        assert.ok(peak(x) > 0.001, `${name}, ${parts[part].name}: alone it is silent`);
      }
    }
  },

  async "the seams of all two-bar cells are no sharper than the music"(open) {
    const { page } = await open();
    const passages = await page.evaluate(() => partwright.figures.passages.map((p) => ({ name: p.name, borders: p.steps.at(-1).borders })));
    let worst = -Infinity;
    for (const [passage, { name, borders }] of passages.entries()) {
      for (let from = 0; from + 2 < borders.length; from += 2) {
        const length = (borders[from + 2] - borders[from]) / RATE;
        const [x] = await render(page, { passage, seconds: length * 2 + 0.1, choices: { countIn: "never", from, to: from + 2 } });
        // The last 10 ms before the seam, where the blend lies, against the sharpest 10 ms of the same loop.
        const seam = 0.05 + length;
        let sharpest = 0;
        for (let t = 0.1; t < length; t += 0.05) sharpest = Math.max(sharpest, above(x, t, t + 0.01, 6000));
        const over = db(above(x, seam - 0.009, seam - 0.001, 6000)) - db(sharpest);
        worst = Math.max(worst, over);
        assert.ok(over < 0, `${name}, bars from ${from + 1}: ${over} dB over the sharpest stroke`);
      }
    }
    return `at most ${worst.toFixed(1)} dB against the sharpest stroke`;
  },
};
