// The record under the hand: one seat of it, its form, and the view for a foot pedal.
import assert from "node:assert/strict";
import fs from "node:fs";
import { folderWith, open, serve } from "./browser.mjs";
import { axeOn, tooSmall } from "./looks.mjs";
import { until } from "./work.mjs";

// The demo with its record, opened in the program that users run.
async function withRecord({ browser, example, program }, go) {
  const dir = folderWith();
  await (await serve(example, ["--record", dir])).stop();
  const server = await serve(program, ["open", dir]);
  const bench = await open(browser, server.address);
  try {
    await bench.page.waitForSelector("#record-rows:not([hidden])", { timeout: 120000 });
    return await go({ ...bench, dir });
  } finally {
    await bench.close();
    await server.kill();
    fs.rmSync(dir, { recursive: true, force: true });
  }
}

const text = (page, id) => page.locator(`#${id}`).innerText();

export const record = {
  "one seat of the record is let through, its bars are found again, and a foot works it": (_, tools) =>
    withRecord(tools, async ({ page, faults }) => {
      // A passage's own place is chosen by key; the bars that sound like it are marked, and gone to by keys.
      const own = page.locator("#form-passages button", { hasText: /^Chorus/ }).first();
      await own.focus();
      await page.keyboard.press("Enter");
      await until("its other places", async () => (await page.locator("#form-places button").count()) > 1);
      const [places, marked] = [await page.locator("#form-places button").allInnerTexts(), await page.locator(".record-bar.alike").count()];
      assert.ok(marked > (await page.locator('.record-bar[aria-selected="true"]').count()), places.join("; "));
      const chosen = () => page.locator('.record-bar[aria-selected="true"] .number').allInnerTexts();
      const before = await chosen();
      await page.keyboard.press("n");
      const next = await chosen();
      assert.ok(next.length === before.length && next[0] !== before[0], `${before} ${next}`);
      await until("its places", async () => (await page.locator("#form-places button", { hasText: "these" }).innerText()).includes(` ${next[0]} `));
      // Both are the same music, so none is barer.
      await page.keyboard.press("b");
      await until("a word", async () => (await text(page, "said")).includes("None of these places is barer"));
      assert.ok((await page.locator(".record-bar.alike").count()) >= 2 * next.length);
      await page.screenshot({ path: `${tools.out}/record-form.png` });

      // One seat alone: by how much is said, and it is heard on its side.
      const seat = await page.locator("#apart option").evaluateAll((list) => list.find((o) => o.value.startsWith("only:-"))?.value);
      assert.ok(seat, "somebody sits on the left");
      await page.selectOption("#apart", seat);
      await page.locator("#concert").check();
      const asked = [];
      page.on("request", (r) => r.url().includes("/record-sound") && asked.push(new URL(r.url()).search));
      await page.keyboard.press("Control+Space");
      await until("how well", async () => /an estimated -?\d+ dB/.test(await text(page, "apart-says")), 60000);
      assert.ok(asked.every((a) => a.includes(`apart=${encodeURIComponent(seat)}`) && a.includes("concert=yes")) && asked.length === 1, asked.join(" "));
      await page.screenshot({ path: `${tools.out}/record-seat.png` });
      await page.evaluate(tools.axe);
      assert.deepEqual((await axeOn(page)).bad, []);

      // By foot: two keys and nothing else.
      await page.keyboard.press("Alt+p");
      await until("the view", () => page.locator("#pedal").isVisible());
      assert.equal(await text(page, "pedal-go"), "Stop");
      await page.keyboard.press("PageDown");
      await until("silence", async () => (await text(page, "pedal-go")) === "Play");
      await page.keyboard.press("PageUp");
      await until("a passage", async () => (await text(page, "pedal-title")) !== "The record");
      const title = await text(page, "pedal-title");
      await page.keyboard.press("PageUp");
      await until("the next", async () => (await text(page, "pedal-title")) !== title);
      await page.keyboard.press("PageDown");
      await until("bar 2", async () => (await text(page, "pedal-bar")) === "2", 30000);
      await page.screenshot({ path: `${tools.out}/pedal.png` });
      await page.keyboard.press("PageUp");
      await until("a bar back", async () => (await text(page, "pedal-bar")) === "1");
      await until("bar 2 again", async () => (await text(page, "pedal-bar")) === "2", 30000);
      await page.keyboard.press("PageUp");
      await page.keyboard.press("PageUp");
      await until("from the start", async () => (await text(page, "pedal-bar")) === "count-in");
      assert.deepEqual((await axeOn(page)).bad, []);
      assert.ok((await page.locator("#pedal .pedal-keys button").evaluateAll((list) => list.every((b) => b.getBoundingClientRect().height >= 80))), "large targets");
      // Other keys, and back.
      await page.selectOption("#pedal-pair", "sideways");
      await page.locator("#pedal-go").focus();
      await page.keyboard.press("ArrowRight");
      await until("silence", async () => (await text(page, "pedal-go")) === "Play");
      await page.keyboard.press("Escape");
      await until("the page", () => page.locator("#pedal").isHidden());
      // On a phone.
      await page.setViewportSize({ width: 360, height: 740 });
      await page.locator("#form-places button").first().scrollIntoViewIfNeeded();
      assert.ok((await page.evaluate(() => document.documentElement.scrollWidth)) <= 360, "nothing scrolls sideways");
      assert.deepEqual(await tooSmall(page), []);
      await page.screenshot({ path: `${tools.out}/record-phone.png` });
      await page.click("#pedal-open");
      assert.ok(await page.locator("#pedal").evaluate((p) => p.scrollWidth <= 360));
      await page.screenshot({ path: `${tools.out}/pedal-phone.png` });
      assert.deepEqual(faults, []);
      return places.join("; ");
    }),
};
