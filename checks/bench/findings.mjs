// What a check finds, worked on with the keyboard: listened to, accepted, kept as written, gone stale; the report; how all of it looks. The record plays what the
// lesson says before a wrong fret is typed into it.
import assert from "node:assert/strict";
import { heardBars } from "./lessons.mjs";
import { SIZES, axeOn, tooSmall } from "./looks.mjs";
import { slot, tokens, until } from "./work.mjs";

// A wrong fret on the third beat of the first bar, then the check, by keys.
async function checked(page, fret = "5") {
  await slot(page, "line", 1, 5).click();
  await page.waitForSelector("#neck .spot");
  await page.keyboard.type(fret);
  await until("the wrong fret", async () => (await tokens(page, "line", 1)).includes(`4:${fret} `));
  await page.keyboard.press("Control+Enter");
  await until("findings", async () => (await page.locator("#finding-list button").count()) > 0 && !(await page.locator("#check").isDisabled()), 60000);
}

const standing = (page, n = 0) => page.locator(".finding").nth(n).getAttribute("data-standing");
const focused = (page, css) => page.evaluate((css) => document.activeElement?.closest?.(css) !== null, css);

export const findings = {
  "checked by a key; a finding is gone to, heard, kept as written, taken back, accepted, all by keyboard": (desk) =>
    desk(heardBars, async ({ page, file, faults }) => {
      await checked(page);
      // The check may be done before the text is saved.
      await until("the wrong fret saved", async () => file() !== heardBars);
      const wrong = file();
      const first = page.locator("#finding-list button").first();
      assert.match(await first.innerText(), /Bar 1, beat 3: G3 \(string 4 fret 5\) is written, the record has F#3, fret 4 \(.*(sure|guess)\)/);
      assert.equal(await slot(page, "line", 1, 5).getAttribute("data-finding"), "1");
      for (let n = 0; n < 40 && !(await first.evaluate((b) => b === document.activeElement)); n++) await page.keyboard.press("Tab");
      await page.keyboard.press("Enter");
      await until("its card", () => focused(page, ".finding"));
      // The card stands under the line of bars that it speaks of, and is named for those who do not see it.
      assert.ok(await page.locator(".finding").first().evaluate((c) => c.closest(".finding-row").previousElementSibling.querySelector('.bar[data-bar="1"]') !== null));
      assert.match(await page.locator(".finding").first().getAttribute("aria-label"), /^Finding 1, .*line: Bar 1, beat 3/);
      // The neck shows the stroke that is spoken of.
      await until("the neck there", async () => (await page.locator('#neck .spot[data-string="4"][data-fret="5"] .held').count()) === 1);
      const sounds = [];
      page.on("response", (r) => /\/(check\/)?sound/.test(r.url()) && sounds.push(`${r.status()} ${new URL(r.url()).pathname}`));
      await page.keyboard.press("r");
      await until("the record", async () => /bar \d, round \d/.test(await page.locator("#place").innerText()));
      assert.equal(await page.locator('.finding [aria-pressed="true"]').innerText(), "Hear the record");
      assert.equal(await page.locator(".rows .bar.lit").count(), 1);
      await page.keyboard.press("p");
      await until("the parts", async () => (await page.locator('.finding [aria-pressed="true"]').innerText()) === "Hear the parts" && sounds.includes("200 /sound"));
      await until("sounding", async () => /bar \d, round \d/.test(await page.locator("#place").innerText()));
      await page.keyboard.press("p");
      await until("stopped", async () => (await page.locator("#go").innerText()) === "Play" && (await page.locator('.finding [aria-pressed="true"]').count()) === 0);
      assert.deepEqual(sounds, ["200 /check/sound", "200 /sound"]);

      await page.keyboard.press("w");
      await until("as written", async () => (await standing(page)) === "as written" && file().includes('heard="as written at slot 5"'));
      assert.ok(file().includes("// the first"));
      assert.equal(await page.locator("[data-finding='1']").count(), 0);
      await page.keyboard.press("Control+z");
      await until("open again", async () => (await standing(page)) === "open" && file() === wrong);
      await page.keyboard.press("a");
      await until("accepted", async () => (await standing(page)) === "accepted" && file() === heardBars);
      assert.equal((await tokens(page, "line", 1)).split(" ")[4], "4:4");
      assert.ok(await focused(page, ".finding"));
      await page.keyboard.press("Escape");
      await until("back at the slot", () => focused(page, ".slot"));
      await page.keyboard.press("Control+z");
      await until("the other text", () => file() === wrong);
      await page.keyboard.press("Control+ArrowDown");
      await until("to the finding again", () => focused(page, ".finding"));
      assert.deepEqual(faults, []);
    }, { record: true }),

  "what is typed over a finding lays it aside; another check hears it anew": (desk) =>
    desk(heardBars, async ({ page, file }) => {
      await checked(page);
      await slot(page, "line", 2, 3).click();
      await page.keyboard.type("3");
      await until("told", async () => (await page.locator("#check-says").innerText()).includes("has changed since"));
      assert.equal(await standing(page), "open", "another stroke changed");
      await slot(page, "line", 1, 5).click();
      await page.keyboard.type("7");
      await until("laid aside", async () => (await standing(page)) === "changed");
      assert.match(await page.locator(".finding").first().innerText(), /check again/);
      for (const name of ["Accept", "As written"]) assert.ok(await page.locator(".finding").first().getByRole("button", { name }).isDisabled());
      await until("the file", () => file().includes("4:7"));
      await page.click("#check");
      await until("heard anew", async () => !(await page.locator("#check").isDisabled()) && (await standing(page)) === "open" && (await page.locator("#finding-list").innerText()).includes("fret 7"), 60000);
      await page.click("#findings-away");
      assert.equal(await page.locator("#findings:visible, .finding-row:visible, [data-finding]").count(), 0);
    }, { record: true }),

  "a second window sees the findings, and what became of them": (desk) =>
    desk(heardBars, async ({ page, context, server }) => {
      const other = await context.newPage();
      await other.goto(new URL(server.address).origin);
      await other.waitForSelector(".slot");
      await checked(page);
      await until("in the other window", async () => (await other.locator("#finding-list button").count()) === (await page.locator("#finding-list button").count()));
      await other.locator(".finding").first().getByRole("button", { name: "Accept" }).click();
      await until("in the first", async () => (await standing(page)) === "accepted");
      await page.reload();
      await until("after a reload", async () => (await standing(page)) === "accepted");
    }, { record: true }),

  "without a record each passage is held against itself, and that is said": (desk) =>
    desk(heardBars, async ({ page }) => {
      await page.click("#check");
      await until("told", async () => (await page.locator("#check-says").innerText()).includes("against itself alone"));
      assert.match(await page.locator("#fared-list").innerText(), /audio\/bars\.flac is not in the lesson's folder: checked against itself alone, nothing to mend/i);
    }, { faulty: true }),

  "with errors nothing is checked, and that is said": (desk) =>
    desk(heardBars.replace("tempo 100", "tempo 1"), async ({ page }) => {
      await page.click("#check");
      await until("told", async () => (await page.locator("#check-says").innerText()).includes("the lesson has errors"));
    }, { faulty: true }),

  "hostile words in a finding stay words": (desk) =>
    desk(heardBars.replace('"line"', '"<img src=x onerror=window.bad=1>"').replace("Two bars heard", "<script>window.bad=1</script>"), async ({ page, context, faults }) => {
      await slot(page, "<img src=x onerror=window.bad=1>", 1, 5).click();
      await page.waitForSelector("#neck .spot");
      await page.keyboard.type("5");
      await page.keyboard.press("Control+Enter");
      await page.waitForSelector(".finding", { timeout: 60000 });
      assert.match(await page.locator(".finding").first().innerText(), /<img src=x/);
      const report = await context.newPage();
      await report.goto(new URL("/findings", page.url()).href);
      assert.match(await report.locator("article h2").first().innerText(), /<script>.*<img src=x/);
      for (const p of [page, report]) {
        assert.equal(await p.evaluate(() => window.bad), undefined);
        assert.equal(await p.locator("img, main script").count(), 0);
      }
      assert.deepEqual(faults, []);
    }, { record: true }),

  "the report draws what the record holds under the notes, and sounds": (desk) =>
    desk(heardBars, async ({ page, context }) => {
      await checked(page);
      // Listened to from the first on: a page that is only just opening cannot be asked to load once more.
      const faults = [];
      context.on("console", (m) => m.page() !== page && ["error", "warning"].includes(m.type()) && faults.push(m.text()));
      const [report] = await Promise.all([context.waitForEvent("page"), page.click("#see-report")]);
      await report.waitForURL("**/findings", { waitUntil: "load" });
      const strip = report.locator("article .strip").first();
      assert.equal(await strip.locator(".written.it").count(), 1);
      assert.equal(await strip.locator(".heard.it").count(), 1);
      // The ink is darkest where the record sounds, a semitone under the box of the wrong note.
      const [box, ring] = [await strip.locator(".written.it").boundingBox(), await strip.locator(".heard.it").boundingBox()];
      assert.ok(ring.y + ring.height / 2 > box.y + box.height / 2, "the ring lies lower");
      for (const audio of await report.locator("audio").all()) {
        const length = await audio.evaluate((a) => new Promise((done, failed) => { a.addEventListener("loadedmetadata", () => done(a.duration)); a.addEventListener("error", () => failed(new Error(a.error.message))); a.load(); a.preload = "auto"; }));
        assert.ok(Math.abs(length - 4.8) < 0.15, `${length} s`);
      }
      assert.deepEqual(faults, []);
    }, { record: true }),

  async "findings and report pass axe, at phone width nothing scrolls sideways, all that is touched is large enough"(desk, { axe, out }) {
    for (const [size, options] of Object.entries(SIZES)) {
      await desk(heardBars, async ({ page, context }) => {
        await checked(page);
        await page.keyboard.press("Control+ArrowDown");
        await page.evaluate(axe);
        assert.deepEqual((await axeOn(page)).bad, [], size);
        await page.screenshot({ path: `${out}/${size}-findings.png` });
        if (size.startsWith("phone")) await page.screenshot({ path: `${out}/${size}-findings-long.png`, fullPage: true });
        const report = await context.newPage();
        await report.goto(new URL("/findings", page.url()).href);
        await report.evaluate(axe);
        assert.deepEqual((await axeOn(report)).bad, [], `${size}, report`);
        await report.screenshot({ path: `${out}/${size}-report.png`, fullPage: true });
        for (const p of [page, report]) {
          const wide = await p.evaluate(() => document.documentElement.scrollWidth);
          assert.ok(wide <= options.viewport.width, `${wide} px wide at ${options.viewport.width}`);
          assert.deepEqual(await tooSmall(p), [], size);
        }
        if (size === "desktop") await report.pdf({ path: `${out}/report.pdf`, format: "A4" });
      }, { ...options, record: true });
    }
  },
};
