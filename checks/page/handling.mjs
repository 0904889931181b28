// How the page behaves under mouse and keyboard. Each check opens a page of its own.
import assert from "node:assert/strict";

const where = (page) => page.evaluate(() => partwright.here());
const step = (place, bars) => place.bar + place.fraction + bars * place.round;

async function until(page, what, ask, ms = 30000) {
  const end = Date.now() + ms;
  for (;;) {
    const found = await ask();
    if (found) return found;
    assert.ok(Date.now() < end, `${what}: not within ${ms} ms; now at ${JSON.stringify(await where(page))}`);
    await page.waitForTimeout(20);
  }
}

const sounding = (page) => until(page, "music sounds", async () => {
  const { heard } = await where(page);
  return heard && !heard.counting && heard;
});

// Places read twice with the audio clock of each, to compare how far it went with how far it should have gone.
const clocked = (page) => page.evaluate(() => {
  const { place, state } = partwright.here();
  return { place, state, now: performance.now() / 1000 };
});

const visible = (selector) => `.choices:not([hidden]) ${selector}`;

async function noCountIn(page) {
  await page.click('label:has(input[name="count-in"][value="never"])');
}

export const handling = {
  async "opens from disk with its words as text and nothing asked of the network"(open) {
    const { page, faults } = await open();
    assert.equal(await page.locator("h1").count(), 1);
    const links = await page.locator(".passages a").allTextContents();
    assert.ok(links.some((t) => t.includes('<b>"ferry" & bell</b><img src=x onerror=alert(1)>')), links.join("; "));
    assert.equal(await page.locator("main b, main img, main i, dd script").count(), 0);
    await page.click(".passages li:nth-child(2) a");
    assert.ok((await page.locator("section.passage:not([hidden]) h2").textContent()).includes("<img src=x"));
    assert.ok((await page.locator("dd").textContent()).includes("<script>alert(2)</script>"));
    assert.deepEqual(faults, []);
  },

  async "no sound is loaded before it is asked for"(open) {
    const { page, faults, requests } = await open();
    const loaded = () => requests.filter((url) => url.includes("/audio/")).map((url) => url.split("/").pop());
    await page.waitForTimeout(300);
    assert.deepEqual(loaded(), []);
    await page.click("#go");
    await until(page, "it plays", async () => (await where(page)).playing);
    assert.deepEqual(loaded(), ["verse-at-100.js"]);
    assert.deepEqual(faults, []);
  },

  async "the bar being played is lit, in both drawings and in time"(open) {
    const { page, faults } = await open();
    await noCountIn(page);
    await page.click("#go");
    await sounding(page);
    const seen = await page.evaluate(async () => {
      const seen = [];
      const end = performance.now() + 5000;
      while (performance.now() < end) {
        await new Promise((r) => requestAnimationFrame(r));
        await new Promise((r) => setTimeout(r, 0));
        const { heard: place } = partwright.here();
        // Counted in the drawing itself: the fixture draws each bar once, in order.
        const which = (kind) => [...document.querySelectorAll(`section.passage:not([hidden]) ${kind} .bar`)].flatMap((g, i) => (g.classList.contains("lit") ? [i] : []));
        const [lit, narrow] = [which(".wide"), which(".narrow")];
        if (place) seen.push({ bar: place.bar, fraction: place.fraction, lit, narrow });
      }
      return seen;
    });
    // Away from the bar lines, where a frame or the way to the loudspeaker may lie between.
    const clear = seen.filter((s) => s.fraction > 0.15 && s.fraction < 0.9);
    assert.ok(new Set(clear.map((s) => s.bar)).size >= 3, `bars met: ${[...new Set(clear.map((s) => s.bar))]}`);
    for (const s of clear) {
      assert.deepEqual(s.lit, [s.bar]);
      assert.deepEqual(s.narrow, s.lit);
    }
    assert.deepEqual(faults, []);
    return `${clear.length} looks`;
  },

  async "mouse: parts, tempo, cells and bars change while it plays, and the place is kept"(open) {
    const { page, faults } = await open();
    await noCountIn(page);
    await page.click("#go");
    await sounding(page);
    const before = await clocked(page);
    await page.click(visible('label:has(input[data-part="1"][value="rests"])'));
    await page.click(visible('label:has(input[data-part="0"][value="leads"])'));
    const after = await clocked(page);
    assert.deepEqual(after.state.positions, ["leads", "rests", "joins", "joins", "rests"]);
    const bars = step(after.place, 6) - step(before.place, 6);
    const expected = (after.now - before.now) / (240 / 132);
    assert.ok(Math.abs(bars - expected) < 0.1, `went ${bars} bars in the time of ${expected}`);

    await page.click(visible(".tempo label:nth-child(1)"));
    await until(page, "60 %", async () => (await where(page)).place.step === 0);
    const slow = await clocked(page);
    const least = step(after.place, 6) % 6 + ((slow.now - after.now) / (240 / 132)) * 0.55;
    const most = step(after.place, 6) % 6 + (slow.now - after.now) / (240 / 132) + 0.1;
    const at = slow.place.bar + slow.place.fraction;
    assert.ok([0, 6].some((turn) => at + turn > least - 0.1 && at + turn < most), `at ${at}, between ${least} and ${most}`);

    await page.click(visible('.cells button[data-from="4"]'));
    assert.deepEqual((await where(page)).state.from, 4);
    await until(page, "bar 5", async () => [4, 5].includes((await where(page)).place?.bar));
    assert.equal(await page.locator(visible('.cells button[aria-pressed="true"]')).textContent(), "5–6");
    assert.equal(await page.locator("section.passage:not([hidden]) .wide .bar.round").count(), 2);

    await page.locator("section.passage:not([hidden]) .wide .bar").nth(1).click({ position: { x: 30, y: 40 } });
    await until(page, "bar 2", async () => (await where(page)).place?.bar === 1);
    assert.equal((await where(page)).state.to, 6, "a bar outside the loop opens it");

    await page.click("#go");
    assert.equal((await where(page)).playing, false);
    assert.match(await page.textContent("#where"), /from bar/);
    await page.click("#top");
    assert.match(await page.textContent("#where"), /bars 1 to 6/);
    assert.deepEqual(faults, []);
  },

  async "the easier way and the part itself do not sound at once"(open) {
    const { page } = await open();
    const position = (part) => page.locator(visible(`input[data-part="${part}"]:checked`)).getAttribute("value");
    await page.click(visible('label:has(input[data-part="4"][value="joins"])'));
    assert.equal(await position(1), "rests");
    await page.click(visible('label:has(input[data-part="1"][value="leads"])'));
    assert.equal(await position(4), "rests");
    assert.match(await page.textContent("#said"), /line, plain rests/);
  },

  async "live, the tempo rises and the page says so"(open) {
    const { page, faults } = await open();
    await noCountIn(page);
    await page.click(visible(".tempo label:nth-child(3)"));
    await page.selectOption(visible("select.to"), "1");
    await page.fill("#rise-rounds", "1");
    await page.click('label:has(#rise)');
    await page.click("#go");
    await until(page, "100 %", async () => (await where(page)).place?.step === 3);
    await until(page, "said", async () => /Now at 100/.test(await page.textContent("#said")));
    assert.equal(await page.locator(visible(".tempo input:checked")).getAttribute("value"), "3");
    assert.deepEqual(faults, []);
  },

  async "keyboard alone reaches and works everything, and the focus shows"(open) {
    const { page, faults } = await open();
    const wanted = await page.evaluate(() => {
      const shown = (e) => e.getClientRects().length > 0 && !e.closest("[hidden]");
      const groups = new Set();
      return [...document.querySelectorAll("a[href], button, input, select, [tabindex='0']")].filter((e) => {
        if (!shown(e) || e.disabled) return false;
        if (e.type !== "radio") return true;
        return !groups.has(e.name) && groups.add(e.name);
      }).length;
    });
    const reached = new Set();
    for (let i = 0; i < wanted + 5; i++) {
      await page.keyboard.press("Tab");
      const focus = await page.evaluate(() => {
        const e = document.activeElement;
        if (e === document.body) return null;
        const outline = (x) => x && getComputedStyle(x).outlineStyle !== "none" && parseFloat(getComputedStyle(x).outlineWidth) >= 2;
        return { key: e.type === "radio" ? e.name : [...document.querySelectorAll("*")].indexOf(e), shows: outline(e) || outline(e.nextElementSibling), html: e.outerHTML.slice(0, 80) };
      });
      if (!focus) continue;
      assert.ok(focus.shows, `focus does not show on ${focus.html}`);
      reached.add(focus.key);
    }
    assert.equal(reached.size, wanted, "everything that can be worked is reached by Tab");

    const press = async (selector, ...keys) => {
      await page.focus(selector);
      for (const key of keys) await page.keyboard.press(key);
    };
    await press('input[name="count-in"]:checked', "ArrowUp");
    await press(visible('input[name="tempo-0"]:checked'), "ArrowLeft", "ArrowLeft");
    await press(visible('input[name="part-0-1"]:checked'), "ArrowRight");
    await press(visible('.cells button[data-from="2"]'), "Space");
    await press("#volume", "ArrowRight");
    await press("#rise", "Space");
    await press("#click", "Space");
    await press("#go", "Enter");
    await until(page, "it plays", async () => (await where(page)).place);
    const { state } = await where(page);
    assert.deepEqual(state, { step: 1, from: 2, to: 4, positions: ["joins", "rests", "joins", "joins", "rests"], click: true, countIn: "never", rise: true, rounds: 4, volume: 61 });

    await press("section.passage:not([hidden]) .music", "ArrowRight");
    const first = await until(page, "a bar on", async () => (await where(page)).place?.bar === 3);
    assert.ok(first);
    await page.keyboard.press("Space");
    assert.equal((await where(page)).playing, false);
    await page.keyboard.press("Home");
    assert.match(await page.textContent("#where"), /from bar 3/);
    await press(visible("select.from"), "ArrowUp");
    assert.match(await page.textContent("#where"), /bars? 2 to 4|from bar 3/);
    await press(".passages li:nth-child(2) a", "Enter");
    // The address changes first, the page after it.
    await until(page, "the bridge is shown", async () => (await page.locator("section.passage:not([hidden])").getAttribute("id")) === "bridge");
    await press("#go", "Space");
    await until(page, "the bridge plays", async () => (await where(page)).playing);
    assert.deepEqual(faults, []);
    return `${wanted} stops`;
  },

  async "a sound that is missing is said, and nothing breaks"(open) {
    const { page } = await open({ without: "audio/verse-at-75.js" });
    await page.click(visible(".tempo label:nth-child(2)"));
    await page.click("#go");
    await until(page, "said", async () => /audio\/verse-at-75\.js could not be read/.test(await page.textContent("#said")));
    assert.equal(await page.textContent("#go .word"), "Play");
    await page.click(visible(".tempo label:nth-child(4)"));
    await page.click("#go");
    await until(page, "it plays", async () => (await where(page)).playing);
  },
};
