// The shelf as a page, with the program that users run: looking for a chord, a passage like another, a pupil's wish, another lesson opened.
import assert from "node:assert/strict";
import fs from "node:fs";
import os from "node:os";
import path from "node:path";
import { open, serve } from "./browser.mjs";
import { SIZES, axeOn, tooSmall } from "./looks.mjs";
import { until } from "./work.mjs";

export const shelf = {
  async "the shelf beside the lesson: found, asked for, opened"(_, { axe, browser, program, out }) {
    const dir = fs.mkdtempSync(path.join(os.tmpdir(), "shelf-"));
    for (const name of ["ferry-road", "net-loft", "lantern-stairs"]) {
      fs.mkdirSync(`${dir}/${name}`);
      fs.copyFileSync(`demo/${name}/lesson.kdl`, `${dir}/${name}/lesson.kdl`);
    }
    const server = await serve(program, ["open", `${dir}/ferry-road`]);
    const { page, close, faults } = await open(browser, server.address);
    const body = () => page.locator("main").innerText();
    try {
      await page.waitForSelector(".passage .slot");
      const title = await page.locator("#title").innerText();
      await page.click("text=Shelf");
      await page.waitForSelector("h1:has-text('The shelf')");
      assert.match(await body(), new RegExp(`All lessons below .*${path.basename(dir)}`));

      // By keyboard: the words, Enter, what is found.
      await page.getByLabel("Look for").focus();
      await page.keyboard.type("rootless ninth");
      await page.keyboard.press("Enter");
      await page.waitForSelector(".hits li");
      assert.match(await page.locator(".hits li").first().innerText(), /without its root/);
      await page.screenshot({ path: `${out}/shelf.png`, fullPage: true });
      const first = await page.locator(".hits li p").first().innerText();
      await page.locator(".hits li").first().getByText("Passages like it").click();
      await page.waitForSelector("h2:has-text('Most like')");
      assert.ok((await page.locator(".hits li").count()) > 1);
      assert.ok(!(await page.locator(".hits").innerText()).includes(first), "a passage is not its own like");

      // Words that are no query: the place is shown.
      await page.getByLabel("Look for").fill("tempo fast");
      await page.keyboard.press("Enter");
      await page.waitForSelector("pre.fault");
      assert.match(await page.locator("pre.fault").innerText(), /tempo fast\n +\^/);

      // What pupils asked for is a plain file beside the lessons.
      for (const lines of ["rootless ninths\nwashboard in seven", "- washboard in seven"]) {
        await page.getByLabel("Asked for, a line each").fill(lines);
        const loaded = page.waitForEvent("load");
        await page.click("text=Write it down");
        await loaded;
      }
      assert.match(await body(), /No lesson yet\s+washboard in seven, 2 times, last on \d{4}-\d\d-\d\d; no lesson has/);
      assert.match(await body(), /There already\s+rootless ninths, once: \S+\//);
      assert.match(fs.readFileSync(`${dir}/requests.txt`, "utf8"), /^\d{4}-\d\d-\d\d 1x rootless ninths\n\d{4}-\d\d-\d\d 2x washboard in seven\n$/);
      await page.getByLabel("Asked for, a line each").fill("a wish -> ");
      await page.click("text=Write it down");
      await until("the fault", async () => /nothing stands after ->/.test(await page.locator("#said").innerText()));
      faults.splice(0, faults.length, ...faults.filter((f) => !/status of 422/.test(f)));

      for (const [size, options] of Object.entries(SIZES)) {
        await page.emulateMedia({ colorScheme: options.colorScheme ?? "light" });
        await page.setViewportSize(options.viewport);
        await page.goto(`${new URL(server.address).origin}/shelf?words=rootless+ninth`);
        await page.evaluate(axe);
        assert.deepEqual((await axeOn(page)).bad, [], size);
        assert.deepEqual(await tooSmall(page), [], size);
        assert.ok(await page.evaluate(() => document.documentElement.scrollWidth <= innerWidth), `${size} scrolls sideways`);
        if (size === "phone-dark") await page.screenshot({ path: `${out}/shelf-phone.png`, fullPage: true });
      }

      // Another lesson takes the bench, and the first one can be had back.
      await page.goto(`${new URL(server.address).origin}/shelf?words=rootless+ninth`);
      const other = page.locator(".hits button[data-folder]:not([data-folder='ferry-road'])").first();
      const wanted = await page.locator(".hits li:has(button[data-folder]:not([data-folder='ferry-road'])) b").first().innerText();
      await other.click();
      await page.waitForSelector(".passage .slot");
      await until("the other lesson", async () => (await page.locator("#title").innerText()) === wanted);
      assert.notEqual(wanted, title);
      assert.deepEqual(faults, []);
    } finally {
      await close();
      await server.kill();
      fs.rmSync(dir, { recursive: true, force: true });
    }
  },
};
