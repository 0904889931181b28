// What the loudspeaker would get: samples of the player's own graph, rendered off line.
import assert from "node:assert/strict";
import { small } from "./lessons.mjs";

const render = (page, options) =>
  page.evaluate(async (options) => {
    const { rate, bars, samples } = await partwright.rendered(options);
    return { rate, bars, left: Array.from(samples[0]), right: Array.from(samples[1]) };
  }, options);

const rms = (s) => Math.sqrt(s.reduce((n, x) => n + x * x, 0) / s.length);
const off = (a, b) => a.reduce((m, x, i) => Math.max(m, Math.abs(x - b[i])), 0);

export const sounds = {
  "a round comes back to the sample, a hundred times": (desk) =>
    desk(small, async ({ page }) => {
      // One bar at 120: two seconds a round; the last of a hundred rounds against the second.
      const drift = await page.evaluate(async () => {
        const { bars, samples } = await partwright.rendered({ passage: "verse", from: 0, to: 1, seconds: 200 });
        const n = bars[1] - bars[0];
        let most = 0;
        for (const s of samples) for (let i = 0; i < n; i++) most = Math.max(most, Math.abs(s[n + i] - s[99 * n + i]));
        return { most, n, loud: samples[0].slice(n, 2 * n).reduce((m, x) => Math.max(m, Math.abs(x)), 0) };
      });
      assert.equal(drift.n, 96000);
      assert.ok(drift.loud > 0.05, `silent: ${drift.loud}`);
      assert.ok(drift.most < 1e-6, `differs by ${drift.most}`);
      return `largest difference of round 100 to round 2: ${drift.most}`;
    }),

  "no click where a round of some bars closes": (desk) =>
    desk(small, async ({ page }) => {
      const { bars, left } = await render(page, { passage: "verse", from: 0, to: 1, seconds: 6 });
      const n = bars[1] - bars[0];
      // Steps from sample to sample at the seam, against the largest anywhere in the round.
      const step = (from, to) => { let m = 0; for (let i = from + 1; i < to; i++) m = Math.max(m, Math.abs(left[i] - left[i - 1])); return m; };
      const [seam, inside] = [step(2 * n - 40, 2 * n + 3), step(n + 3000, 2 * n - 3000)];
      assert.ok(seam <= inside, `${seam} at the seam, ${inside} inside`);
      return `largest step ${seam.toFixed(4)} at the seam, ${inside.toFixed(4)} inside`;
    }),

  "parts sum to the mix, the positions weigh them, the count-in comes before": (desk) =>
    desk(small, async ({ page }) => {
      const of = (gains, more = {}) => render(page, { passage: "verse", seconds: 4, gains, ...more });
      const [both, chop, floor] = [await of([1, 1]), await of([1, 0]), await of([0, 1])];
      assert.ok(rms(chop.left) > 0.005 && rms(floor.left) > 0.005);
      assert.ok(off(both.left, chop.left.map((x, i) => x + floor.left[i])) < 1e-5);
      const counted = await of([1, 1], { countIn: true, seconds: 6 });
      // Four beats at 120.
      assert.ok(off(counted.left.slice(96000), both.left.slice(0, 192000)) < 1e-5, "the passage begins right behind the count-in");
      assert.ok(rms(counted.left.slice(0, 96000)) > 0.001);
      const slow = await of([1, 1], { tempo: 25 });
      assert.deepEqual(slow.bars.map((b) => b / 4), both.bars);
    }),

  "tempo, bars, positions and volume are set by hand while it plays": (desk) =>
    desk(small, async ({ page, faults }) => {
      await page.locator(".slot").first().click();
      await page.click("#go");
      await page.waitForFunction(() => /bar \d/.test(document.getElementById("place").textContent), null, { timeout: 30000 });
      assert.equal(await page.locator(".rows .bar.lit").count(), 1);
      await page.selectOption("#from", { label: "2" });
      await page.waitForFunction(() => /bar 2, round/.test(document.getElementById("place").textContent), null, { timeout: 30000 });
      await page.locator("#tempo").focus();
      for (let i = 0; i < 8; i++) await page.keyboard.press("ArrowLeft");
      assert.equal(await page.locator("#tempo-says").innerText(), "60 %");
      await page.locator('#positions fieldset').nth(1).locator('input[value="under"]').check();
      // No count-in in between: what is played goes on in its bar, however long its way to the loudspeaker is.
      const said = await page.evaluate(async () => {
        const said = new Set();
        for (const end = performance.now() + 1500; performance.now() < end; await new Promise(requestAnimationFrame)) said.add(document.getElementById("place").textContent);
        return [...said];
      });
      assert.ok(said.length > 0 && said.every((s) => /^bar 2, round/.test(s)), said.join("; "));
      await page.click("#go");
      assert.equal(await page.locator(".rows .bar.lit").count(), 0);
      assert.deepEqual(faults, []);
    }),

  "the record stands in bars, a bar of it goes round slowed down at its pitch": (desk) =>
    desk(null, async ({ page, faults }) => {
      await page.waitForSelector("#record-rows:not([hidden])", { timeout: 90000 });
      const bars = page.locator(".record-bar");
      assert.ok((await bars.count()) > 20, `${await bars.count()} bars`);
      const widths = await bars.evaluateAll((list) => list.map((b) => b.getBoundingClientRect().width));
      assert.ok(Math.max(...widths) - Math.min(...widths) < 1, "equal bars");
      assert.ok((await page.locator(".record-bar.quoted").count()) > 10);
      await bars.nth(7).click();
      await page.keyboard.press("Shift+ArrowRight");
      assert.equal(await page.locator('.record-bar[aria-selected="true"]').count(), 2);
      assert.deepEqual([await page.locator("#from option:checked").innerText(), await page.locator("#to option:checked").innerText()], ["8", "9"]);
      // The strongest partial of a slowed stretch is where it is at full tempo.
      const peaks = await page.evaluate(async () => {
        const bins = async (percent) => {
          const bytes = await (await fetch(`/record-sound?from=7&to=9&percent=${percent}`)).arrayBuffer();
          const length = new DataView(bytes).getUint32(0, true);
          const head = JSON.parse(new TextDecoder().decode(new Uint8Array(bytes, 4, length)));
          const samples = new Int16Array(bytes, 4 + length + head.frames * 4, head.frames * 2);
          const level = (hz) => {
            let [re, im] = [0, 0];
            for (let i = 0; i < head.frames; i += 2) {
              const a = (2 * Math.PI * hz * i) / head.rate;
              re += samples[2 * i] * Math.cos(a);
              im += samples[2 * i] * Math.sin(a);
            }
            return Math.hypot(re, im);
          };
          let [best, at] = [0, 0];
          for (let cents = 0; cents <= 2400; cents += 20) {
            const l = level(55 * 2 ** (cents / 1200));
            if (l > best) [best, at] = [l, cents];
          }
          return { at, frames: head.frames };
        };
        return [await bins(100), await bins(50)];
      });
      assert.ok(Math.abs(peaks[1].frames - 2 * peaks[0].frames) <= 2, JSON.stringify(peaks));
      assert.ok(Math.abs(peaks[0].at - peaks[1].at) <= 40, JSON.stringify(peaks));
      await page.keyboard.press("Control+Space");
      await page.waitForFunction(() => /bar [89], round/.test(document.getElementById("place").textContent), null, { timeout: 30000 });
      assert.equal(await page.locator(".record-bar.lit").count(), 1);
      // Five beats tapped: the counting obeys them.
      for (let i = 0; i < 5; i++) {
        await page.keyboard.press("t");
        await page.waitForTimeout(540);
      }
      await page.keyboard.press("Control+Space");
      await page.click("#tap-use");
      await page.waitForFunction(() => document.getElementById("tap-says").textContent.startsWith("The bars obey"), null, { timeout: 90000 });
      const record = () => page.evaluate(async () => (await fetch("/record")).json());
      const { told: { taps }, beats } = await record();
      assert.ok(taps.length >= 4, JSON.stringify(taps));
      for (const t of taps) assert.ok(beats.some((b) => Math.abs(b - t) < 0.03), `no beat at ${t}`);
      // What the beat could be instead is counted by once it is chosen, and let go of like taps.
      const later = beats.slice(0, -1).map((b, i) => (b + beats[i + 1]) / 2);
      await page.route("**/record", async (route) => {
        const answer = await route.fetch();
        const heard = await answer.json();
        await route.fulfill({ response: answer, json: { ...heard, others: heard.told.taps.length ? [] : [{ words: "half a beat later", beats: later }] } });
      });
      await page.click("#tap-none");
      await page.click("#beat-others button");
      await page.waitForFunction(() => document.getElementById("tap-says").textContent.startsWith("Counted by that beat"), null, { timeout: 90000 });
      assert.ok(await page.locator("#beat-others").isHidden());
      const moved = (await record()).beats;
      const inside = later.filter((t) => Math.abs(moved.reduce((best, b) => (Math.abs(b - t) < Math.abs(best - t) ? b : best), 0) - t) < 0.03).length;
      assert.ok(inside > 0.97 * later.length, `${inside} of ${later.length}`);
      await page.click("#tap-none");
      await page.waitForFunction(() => document.getElementById("tap-says").textContent.startsWith("Counted as it is heard"), null, { timeout: 90000 });
      assert.ok(await page.locator("#beat-others button").isVisible());
      await page.unroute("**/record");
      // Bars begin a beat later, and are counted in threes; let go of, they are as before.
      const says = (start) => page.waitForFunction((s) => document.getElementById("tap-says").textContent.startsWith(s), start, { timeout: 90000 });
      const before = await record();
      const places = (r) => r.bars.slice(0, -1).map((bar) => r.beats.findIndex((b) => Math.abs(b - bar) < 0.002));
      await page.click("#bars-later");
      await says("Bars begin a beat later");
      const shifted = await record();
      assert.deepEqual(new Set(places(shifted).map((p) => p % 4)), new Set(places(before).map((p) => (p + 1) % 4)));
      await page.selectOption("#bars-meter", "3/4");
      await says("Counted in 3/4");
      const threes = await record();
      assert.equal(threes.meter, "3/4");
      assert.ok(places(threes).slice(1).every((p, i) => p - places(threes)[i] === 3), JSON.stringify(places(threes)));
      await page.click("#tap-none");
      await says("Counted as it is heard");
      assert.deepEqual((await record()).bars, before.bars);
      assert.equal(await page.locator("#bars-meter").inputValue(), "");
      assert.deepEqual(faults, []);
    }, { record: true }),
};
