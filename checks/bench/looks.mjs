// How the page looks and is named, and pictures to look at.
import assert from "node:assert/strict";
import { small } from "./lessons.mjs";

export const SIZES = {
  desktop: { viewport: { width: 1280, height: 900 } },
  dark: { viewport: { width: 1280, height: 900 }, colorScheme: "dark" },
  wide: { viewport: { width: 1720, height: 1000 } },
  phone: { viewport: { width: 360, height: 740 }, deviceScaleFactor: 2, isMobile: true, hasTouch: true },
  "phone-dark": { viewport: { width: 360, height: 740 }, deviceScaleFactor: 2, isMobile: true, hasTouch: true, colorScheme: "dark" },
};

// What tells most, for every run; LOOKS=all goes through all of them.
const FEW = process.env.LOOKS === "all" ? SIZES : { desktop: SIZES.desktop, dark: SIZES.dark, phone: SIZES.phone };

export const axeOn = async (page) => {
  const found = await page.evaluate(() => axe.run(document, { resultTypes: ["violations"] }));
  return { rules: found.passes.length, bad: found.violations.map((v) => `${v.impact}: ${v.id} (${v.nodes.length}, ${v.nodes[0].html.slice(0, 140)})`).filter((b) => !b.startsWith("minor")) };
};

// Buttons and the like that a finger would miss.
export const tooSmall = (page) =>
  page.evaluate(() => [...document.querySelectorAll("button, select, nav a, .positions label, input[type=range]")]
    .filter((e) => e.getClientRects().length).map((e) => ({ box: e.getBoundingClientRect(), html: e.outerHTML.slice(0, 60) }))
    .filter(({ box }) => box.width < 24 || box.height < 24).map(({ html }) => html));

export const looks = {
  async "axe finds nothing serious, critical or moderate"(desk, { axe }) {
    let rules = 0;
    for (const [size, options] of Object.entries(FEW)) {
      await desk(null, async ({ page }) => {
        await page.evaluate(axe);
        let found = await axeOn(page);
        rules = found.rules;
        assert.deepEqual(found.bad, [], size);
        await page.locator(".slot.struck").first().click();
        await page.waitForSelector("#hand-words [data-pin]");
        await page.click("#show-text");
        await page.locator("lesson-text textarea").press("q");
        await page.waitForSelector("#problems:not([hidden])");
        found = await axeOn(page);
        assert.deepEqual(found.bad, [], `${size}, text and problems`);
      }, options);
    }
    return `${rules} rules passed in ${Object.keys(FEW).length} looks`;
  },

  async "at phone width and at 200 % nothing scrolls sideways, and all that is touched is large enough"(desk) {
    for (const options of [SIZES.phone, { ...SIZES.phone, viewport: { width: 320, height: 640 } }, { viewport: { width: 640, height: 450 }, deviceScaleFactor: 2 }]) {
      await desk(null, async ({ page }) => {
        const { width } = options.viewport;
        await page.locator(".slot.struck").first().click();
        await page.waitForTimeout(400);
        const wide = await page.evaluate(() => document.documentElement.scrollWidth);
        assert.ok(wide <= width, `${wide} px wide at ${width}`);
        assert.deepEqual(await tooSmall(page), []);
      }, options);
    }
  },

  "without motion wished for, nothing glides": (desk) =>
    desk(small, async ({ page }) => {
      assert.equal(await page.evaluate(() => [...document.querySelectorAll("*")].filter((e) => parseFloat(getComputedStyle(e).transitionDuration) > 0).length), 0);
    }, { reducedMotion: "reduce" }),

  "for left-handed players the necks are mirrored": (desk) =>
    desk(small, async ({ page }) => {
      await page.locator(".slot.struck").first().click();
      await page.waitForSelector("#neck .held");
      const x = () => page.locator("#neck .held .dot").first().evaluate((e) => Number(e.getAttribute("cx")));
      const before = await x();
      const grid = await page.locator(".grips svg").first().innerHTML();
      await page.locator("#left-handed").check();
      await page.waitForFunction((to) => Math.abs(Number(document.querySelector("#neck .held .dot")?.getAttribute("cx")) - to) < 0.5, 1000 - before, { timeout: 30000 });
      assert.notEqual(await page.locator(".grips svg").first().innerHTML(), grid);
    }),

  async "pictures to look at"(desk, { out }) {
    for (const [size, options] of Object.entries(FEW)) {
      await desk(null, async ({ page, faults }) => {
        await page.waitForSelector("#record-rows:not([hidden])", { timeout: 60000 });
        await page.screenshot({ path: `${out}/${size}-opened.png` });
        await page.locator(".slot.struck").first().click();
        await page.waitForSelector("#hand-words [data-pin]");
        await page.screenshot({ path: `${out}/${size}-slot.png` });
        if (size.startsWith("phone")) await page.screenshot({ path: `${out}/${size}-long.png`, clip: { x: 0, y: 0, width: 360, height: 3000 }, fullPage: true });
        await page.click("#show-text");
        await page.waitForTimeout(300);
        await page.screenshot({ path: `${out}/${size}-text.png` });
        assert.deepEqual(faults, []);
      }, { ...options, record: true });
    }
  },
};
