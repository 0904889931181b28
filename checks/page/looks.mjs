// How the page looks and is named: for any page, the one of steady tones or a real pack's.
import assert from "node:assert/strict";

const SIZES = {
  desktop: { viewport: { width: 1280, height: 900 } },
  dark: { viewport: { width: 1280, height: 900 }, colorScheme: "dark" },
  phone: { viewport: { width: 360, height: 740 }, deviceScaleFactor: 2, isMobile: true, hasTouch: true },
  "phone-dark": { viewport: { width: 360, height: 740 }, deviceScaleFactor: 2, isMobile: true, hasTouch: true, colorScheme: "dark" },
};

async function eachPassage(page, look) {
  const links = page.locator(".passages a");
  for (let i = 0; i < (await links.count()); i++) {
    await links.nth(i).click();
    await page.waitForTimeout(200);
    await look(i);
  }
}

export const looks = {
  async "axe finds nothing serious, critical or moderate"(open, { axe }) {
    let rules = 0;
    for (const [size, options] of Object.entries(SIZES)) {
      const { page, close } = await open({ options });
      await page.evaluate(axe);
      await eachPassage(page, async (i) => {
        const found = await page.evaluate(() => axe.run(document, { resultTypes: ["violations"] }));
        rules = found.passes.length;
        const bad = found.violations.map((v) => `${v.impact}: ${v.id} (${v.nodes.length}, ${v.nodes[0].html.slice(0, 100)})`);
        assert.deepEqual(bad.filter((b) => !b.startsWith("minor")), [], `${size}, passage ${i + 1}`);
      });
      await close();
    }
    return `${rules} rules passed on each passage in four looks`;
  },

  async "at phone width nothing scrolls sideways, and all that is touched is large enough"(open) {
    for (const width of [320, 360, 430]) {
      const { page, close } = await open({ options: { ...SIZES.phone, viewport: { width, height: 740 } } });
      await eachPassage(page, async () => {
        const wide = await page.evaluate(() => document.documentElement.scrollWidth);
        assert.ok(wide <= width, `${wide} px wide at ${width}`);
        const small = await page.evaluate(() => [...document.querySelectorAll("button, select, .passages a, .positions label, .steps label, .line label, input[type=range], input[type=number]")]
          .filter((e) => e.getClientRects().length)
          .map((e) => ({ box: e.getBoundingClientRect(), html: e.outerHTML.slice(0, 60) }))
          .filter(({ box }) => box.width < 24 || box.height < 24).map(({ html }) => html));
        assert.deepEqual(small, []);
      });
      const high = await page.locator(".stand").evaluate((e) => e.getBoundingClientRect().height);
      assert.ok(high <= 150, `the ledge is ${high} px high`);
      await close();
    }
  },

  async "without motion wished for, nothing glides"(open) {
    const { page } = await open({ options: { reducedMotion: "reduce" } });
    const moving = await page.evaluate(() => [...document.querySelectorAll("*")].filter((e) => parseFloat(getComputedStyle(e).transitionDuration) > 0).length);
    assert.equal(moving, 0);
  },

  async "prints the music of all passages and none of the controls"(open, { pictures }) {
    const { page } = await open();
    await page.emulateMedia({ media: "print" });
    assert.equal(await page.locator(".stand").isVisible(), false);
    assert.equal(await page.locator(".practice").isVisible(), false);
    const passages = page.locator("section.passage");
    for (let i = 0; i < (await passages.count()); i++) assert.ok(await passages.nth(i).isVisible(), `passage ${i + 1}`);
    await page.pdf({ path: `${pictures}-print.pdf`, format: "A4", printBackground: true });
  },

  async "pictures to look at"(open, { pictures }) {
    for (const [size, options] of Object.entries(SIZES)) {
      const { page, faults, close } = await open({ options });
      const cell = page.locator(".choices:not([hidden]) .cells button").nth(1);
      if (await cell.count()) await cell.click();
      await page.evaluate(() => scrollTo(0, 0));
      await page.click("#go");
      await page.waitForFunction(() => { const { place } = partwright.here(); return place && !place.counting; }, null, { timeout: 20000 });
      await page.waitForTimeout(300);
      await page.screenshot({ path: `${pictures}-${size}.png` });
      if (size === "phone") await page.screenshot({ path: `${pictures}-${size}-long.png`, fullPage: true });
      assert.deepEqual(faults, []);
      await close();
    }
  },
};
