// A lesson worked on with mouse and keyboard; what counts is the lesson file.
import assert from "node:assert/strict";
import fs from "node:fs";
import { folderWith, open, serve } from "./browser.mjs";
import { sixByFour, small } from "./lessons.mjs";

export const slot = (page, part, bar, n, row = "") => page.locator(`.bar[data-bar="${bar}"] .row[data-part="${part}"]${row && `[data-row="${row}"]`} .slot[data-slot="${n}"]`).first();
export const tokens = (page, part, bar) => page.locator(`.bar[data-bar="${bar}"] .row[data-part="${part}"]`).first().locator(".slot").evaluateAll((cells) => cells.map((c) => [...c.childNodes].filter((n) => n.nodeType === 3).map((n) => n.data).join("+")).join(" "));

export async function until(what, so, limit = 15000) {
  const end = Date.now() + limit;
  let last;
  while (Date.now() < end) {
    try {
      last = await so();
      if (last) return last;
    } catch (e) {
      last = e.message;
    }
    await new Promise((r) => setTimeout(r, 25));
  }
  assert.fail(`not within ${limit} ms: ${what} (${JSON.stringify(last)?.slice(0, 300)})`);
}

export const work = {
  "a bar is typed at its slots: letters, x, ., - and figures": (desk) =>
    desk(small, async ({ page, file, faults }) => {
      await slot(page, "chop", 2, 1).click();
      await page.keyboard.type("a-xb.");
      await until("five tokens", async () => (await tokens(page, "chop", 2)) === "a - x b . . . .");
      await slot(page, "floor", 2, 1).click();
      await page.waitForSelector("#neck .spot");
      await page.keyboard.type("3 1 12");
      await until("three frets", async () => (await tokens(page, "floor", 2)) === "3:3 3:1 3:12 . . . . .");
      await page.keyboard.press("Shift+ArrowDown");
      await page.keyboard.press("ArrowRight");
      await page.keyboard.type("5-");
      await until("a string lower", async () => (await tokens(page, "floor", 2)) === "3:3 3:1 3:12 4:5 - . . .");
      await page.keyboard.press("Backspace");
      await until("the file", () => file() === small.replace('". . . .  . . . ."', '"a - x b  . . . ."').replace('". . . .  . . . ."', '"3:3 3:1 3:12 4:5  - . . ."'));
      assert.match(file(), /\/\/ Eb, or Cm7/);
      assert.deepEqual(faults, []);
    }),

  "the tab, the names and the saved file follow each key": (desk) =>
    desk(small, async ({ page, file }) => {
      const before = await page.locator(".set .system").first().innerHTML();
      await slot(page, "chop", 2, 1).click();
      await until("silence at hand", async () => (await page.locator("#hand-words").innerText()).includes("Nothing sounds"));
      await page.keyboard.type("a");
      await page.keyboard.press("ArrowLeft");
      await until("its name", async () => (await page.locator("#hand-words .names button").count()) > 0);
      assert.notEqual(await page.locator(".set .system").first().innerHTML(), before);
      assert.equal(await page.locator("#neck .held").count(), 3);
      await until("saved", async () => (await page.locator("#saving").innerText()) === "saved" && file().includes("a . . .  . . . ."));
    }),

  "a token is written by hand, and a wrong one says what would be right": (desk) =>
    desk(small, async ({ page }) => {
      await slot(page, "chop", 2, 1).click();
      await page.keyboard.press("Enter");
      await page.keyboard.type("a43@99'");
      await page.keyboard.press("Enter");
      await until("an answer", async () => (await page.locator("#said").innerText()).length > 10);
      assert.equal(await tokens(page, "chop", 1), "a . x x . a x .");
      await page.locator("input.token").fill("a43@1'");
      await page.keyboard.press("Enter");
      await until("the token", async () => (await tokens(page, "chop", 2)).startsWith("a43@1' ."));
      assert.ok(await slot(page, "chop", 2, 1).evaluate((e) => e === document.activeElement));
    }, { faulty: true }),

  "the neck is clicked: a note, one beside it, one taken away": (desk) =>
    desk(small, async ({ page }) => {
      await slot(page, "chop", 2, 1).click();
      const spot = (s, f) => page.locator(`#neck .spot[data-string="${s}"][data-fret="${f}"] .ground`);
      await page.waitForSelector("#neck .spot");
      await spot(3, 7).click();
      await until("one", async () => (await tokens(page, "chop", 2)).startsWith("3:7 "));
      await until("its dot", async () => (await page.locator("#neck .held").count()) === 1);
      await spot(1, 7).click();
      await until("two", async () => (await tokens(page, "chop", 2)).startsWith("1:7+3:7 "));
      await until("their dots", async () => (await page.locator("#neck .held").count()) === 2);
      await page.locator('#neck .spot[data-string="3"][data-fret="7"]').click({ force: true });
      await until("one again", async () => (await tokens(page, "chop", 2)).startsWith("1:7 "));
    }),

  "a bar is copied, moved along the neck, played again": (desk) =>
    desk(small, async ({ page, file }) => {
      await slot(page, "chop", 1, 3).click();
      await page.keyboard.press("Control+c");
      await page.keyboard.press("Control+ArrowRight");
      await page.keyboard.press("Control+v");
      await until("the copy", async () => (await tokens(page, "chop", 2)) === "a . x x . a x .");
      await page.keyboard.press("Alt+ArrowUp");
      await page.keyboard.press("Alt+ArrowUp");
      await until("two frets up", async () => (await tokens(page, "chop", 2)) === "a@2 . x x . a@2 x .");
      await page.keyboard.press("Alt+ArrowDown");
      await until("the file", () => file().includes('"a@1 . x x . a@1 x ."'));
    }),

  "another place is chosen, a name is fixed, both in the text": (desk) =>
    desk(small, async ({ page, file }) => {
      await slot(page, "chop", 1, 1).click();
      const move = page.locator("#hand-words [data-move]").first();
      const frets = await move.getAttribute("data-move");
      await move.click();
      await until("the grip elsewhere", () => file().includes(`grip "a" "${frets}" // Eb, or Cm7`));
      const name = page.locator("#hand-words [data-pin]").nth(1);
      const text = await name.getAttribute("data-pin");
      await name.click();
      await until("the name", () => file().includes(`grip "a" "${frets}" name="${text}" // Eb, or Cm7`));
      await until("marked as fixed", async () => (await page.locator(`#hand-words [data-pin="${text}"]`).getAttribute("aria-pressed")) === "true");
      assert.match(await page.locator(".over .name, .grips").first().innerText(), /./);
      await page.locator(`#hand-words [data-pin="${text}"]`).click();
      await until("left to the computer again", () => !file().includes("name="));
    }),

  "text and page are one: problems are underlined as they are typed, undo goes across both": (desk) =>
    desk(small, async ({ page, file }) => {
      await page.click("#show-text");
      const area = page.locator("lesson-text textarea");
      assert.equal(await area.inputValue(), small);
      await area.evaluate((a) => a.setSelectionRange(a.value.indexOf("a . x x  . a x .") + 5, a.value.indexOf("a . x x  . a x .") + 5));
      await page.keyboard.type("q");
      await until("an underline", async () => (await page.locator(".under .error").count()) === 1);
      const mark = await page.locator(".under .error").boundingBox();
      const field = await page.locator(".field").boundingBox();
      assert.ok(mark.y > field.y && mark.y < field.y + field.height && mark.width > 3);
      await until("its words", async () => (await page.locator("#problem-list").innerText()).includes("bar 1"));
      assert.ok(await page.locator('.bar[data-bar="1"]').first().evaluate((b) => b.classList.contains("faulty")));
      await page.keyboard.press("Backspace");
      await until("mended", async () => (await page.locator(".under .error, #problem-list .error").count()) === 0 && (await area.inputValue()) === small);
      await slot(page, "chop", 2, 1).click();
      await page.keyboard.type("b");
      await until("in the pane", async () => (await area.inputValue()).includes('"b . . .'));
      await page.keyboard.press("Control+z");
      await until("taken back", async () => (await area.inputValue()) === small);
      await page.keyboard.press("Control+Shift+z");
      await until("done again", async () => (await area.inputValue()).includes('"b . . .'));
      await area.focus();
      await page.keyboard.press("Control+z");
      await until("taken back from the text", () => file() === small);
    }),

  // Of what changed the page gets single elements: after fifty random acts it must be what a page opened then would be, and a second one beside it, too.
  "what is mended piece by piece is what is drawn anew": (desk) =>
    desk(sixByFour(), async ({ page, context, server, faults }) => {
      const second = await context.newPage();
      await second.goto(`${new URL(server.address).origin}/`);
      await second.waitForSelector(".passage .slot");
      await page.bringToFront();
      let seed = 11;
      const dice = (n) => (seed = (seed * 48271) % 0x7fffffff) % n;
      let asked = 0;
      for (const p of [page, second]) p.on("request", (r) => (asked += new URL(r.url()).pathname === "/state"));
      const rows = page.locator("#passage-p2 .row:has(.slot)");
      for (let i = 0; i < 50; i++) {
        const cells = rows.nth(dice(await rows.count())).locator(".slot");
        await cells.nth(dice(await cells.count())).click();
        await page.keyboard.press(["a", "b", "c", "x", ".", "-", "5", "Delete", "Alt+ArrowUp", "Control+z", "Control+y", "7"][dice(12)]);
      }
      await page.click("#undo");
      // What lies under the page's own cursor is marked; that is no part of the drawing.
      const drawn = (p) => p.evaluate(() => [...document.querySelectorAll(".passage")].flatMap((s) => [".head", ".bar", ".system", ".grips"].flatMap((k) => [...s.querySelectorAll(k)])).map((n) => {
        const copy = n.cloneNode(true);
        for (const c of copy.querySelectorAll(".slot")) {
          c.classList.remove("here");
          c.removeAttribute("aria-label");
          c.tabIndex = -1;
        }
        return copy.innerHTML.replaceAll(' class=""', "");
      }));
      let fresh = null;
      await until("pages that agree", async () => {
        const third = await context.newPage();
        await third.goto(`${new URL(server.address).origin}/`);
        await third.waitForSelector(".passage .slot");
        fresh = await drawn(third);
        await third.close();
        const [one, two] = [await drawn(page), await drawn(second)];
        return JSON.stringify(one) === JSON.stringify(fresh) && JSON.stringify(two) === JSON.stringify(fresh);
      }, 8000);
      assert.ok(fresh.length > 40, `only ${fresh.length} pieces were compared`);
      assert.equal(asked, 0, "a page asked for everything");
      // A narrow window beside them: all draw for its width, and rest.
      const narrow = await context.newPage();
      await narrow.setViewportSize({ width: 400, height: 800 });
      await narrow.goto(`${new URL(server.address).origin}/`);
      await narrow.waitForSelector(".passage .slot");
      await until("the wide ones to follow", async () => (await page.locator(".system svg").first().getAttribute("width")) === "330pt");
      await page.waitForTimeout(500);
      assert.ok(asked <= 4, `${asked} times everything was asked for`);
      assert.deepEqual(faults, []);
    }),

  "fast typing in the text arrives whole": (desk) =>
    desk(small, async ({ page, file }) => {
      await page.click("#show-text");
      const area = page.locator("lesson-text textarea");
      await area.evaluate((a) => a.setSelectionRange(a.value.length, a.value.length));
      const words = "// what a guitarist says, ♭ and 𝄞 too: it swings. ".repeat(6);
      await page.keyboard.type(words, { delay: 2 });
      await until("the file", () => file() === small + words);
      assert.equal(await area.inputValue(), small + words);
    }),

  "another program's edit shows at once; a conflict shows both and merges nothing": (desk) =>
    desk(small, async ({ page, dir, file }) => {
      const start = Date.now();
      fs.writeFileSync(`${dir}/lesson.kdl`, small.replace("Verse", "Refrain"));
      await until("the new title", async () => (await page.locator("#title-verse").innerText()) === "Refrain");
      const ms = Date.now() - start;
      await slot(page, "chop", 2, 1).click();
      await page.keyboard.type("a");
      await until("saved", () => file().includes('"a . . .  . . . ."'));
      const theirs = small.replace("tempo 120", "tempo 66");
      fs.writeFileSync(`${dir}/lesson.kdl`, theirs);
      await page.waitForSelector("#conflict:not([hidden])");
      const shown = await page.locator("#versions").innerText();
      assert.ok(shown.includes("tempo 66") && shown.includes("tempo 120") && shown.includes("a . . ."), shown);
      await new Promise((r) => setTimeout(r, 1300));
      assert.equal(file(), theirs);
      await page.keyboard.press("Enter");
      await until("ours in the file", () => file().includes('"a . . .') && file().includes("tempo 120"));
      await until("the page at work again", async () => page.locator("#conflict").isHidden());
      return `another program's edit shown after ${ms} ms`;
    }),

  async "killed at any moment, what was typed a second ago is there; undo goes on after a restart"(_, { browser, example }) {
    const dir = folderWith(small);
    let server = await serve(example, [dir]);
    let bench = await open(browser, server.address, { faulty: true });
    await slot(bench.page, "chop", 2, 1).click();
    for (let i = 0; i < 6; i++) await bench.page.keyboard.type(i % 2 ? "a" : "b");
    await bench.page.waitForTimeout(1000);
    await server.kill();
    await bench.close();
    assert.ok(fs.readFileSync(`${dir}/lesson.kdl`, "utf8").includes('"b a b a  b a . ."'));
    server = await serve(example, [dir]);
    bench = await open(browser, server.address);
    await bench.page.waitForSelector(".slot");
    for (let i = 0; i < 6; i++) await bench.page.click("#undo");
    await until("the first text", () => fs.readFileSync(`${dir}/lesson.kdl`, "utf8") === small);
    assert.ok(await bench.page.locator("#undo").isDisabled());
    await bench.close();
    await assert.rejects(serve(example, [dir]), /another bench/);
    await server.stop();
    fs.rmSync(dir, { recursive: true });
  },

  "by keyboard alone: from the head to a slot, a token, its name, playing": (desk) =>
    desk(small, async ({ page, file }) => {
      let stops = 0;
      while (!(await page.evaluate(() => document.activeElement?.classList.contains("slot"))) && stops++ < 20) await page.keyboard.press("Tab");
      assert.ok(stops < 20, "no slot within twenty stops");
      await page.keyboard.press("ArrowRight");
      await page.keyboard.type("b");
      await until("the token", () => file().includes('"a b x x'));
      await page.keyboard.press("ArrowLeft");
      await page.waitForSelector("#hand-words [data-pin]");
      for (stops = 0; !(await page.evaluate(() => document.activeElement?.dataset.pin)) && stops < 40; stops++) await page.keyboard.press("Tab");
      const name = await page.evaluate(() => document.activeElement.dataset.pin);
      await page.keyboard.press("Enter");
      await until("the name", () => file().includes(`name="${name}"`));
      await until("back at the slot", () => page.evaluate(() => document.activeElement?.classList.contains("slot")));
      await page.keyboard.press("Control+Space");
      await until("playing", async () => /round 1|count-in/.test(await page.locator("#place").innerText()), 15000);
      await page.keyboard.press("Control+Space");
      await until("stopped", async () => (await page.locator("#go").innerText()) === "Play");
      // The neck, too.
      for (stops = 0; !(await page.evaluate(() => document.activeElement?.classList.contains("spot"))) && stops < 60; stops++) await page.keyboard.press("Tab");
      await page.keyboard.press("ArrowDown");
      await page.keyboard.press("ArrowRight");
      await page.keyboard.press("Enter");
      await until("a place beside the grip", () => /bar "a [^ ]*2:1/.test(file()));
    }),

  async "without a lesson: one is begun, and it is a lesson"(_, { browser, example }) {
    const shelf = fs.mkdtempSync("/tmp/shelf-");
    const server = await serve(example, ["--shelf", shelf]);
    const { page, close, faults } = await open(browser, server.address);
    await page.getByLabel("Title").fill("Rain on the roof");
    await page.keyboard.press("Enter");
    await page.waitForSelector(".passage .slot");
    assert.equal(await page.locator("h1").innerText(), "Rain on the roof");
    assert.ok(fs.existsSync(`${shelf}/rain-on-the-roof/lesson.kdl`));
    assert.deepEqual(faults, []);
    await close();
    await server.stop();
    fs.rmSync(shelf, { recursive: true });
  },

  "made from the page, with what is shown, and looked at in place": (desk) =>
    desk(small, async ({ page, dir, faults }) => {
      await slot(page, "chop", 2, 1).click();
      await page.keyboard.type("b");
      await page.click("#make");
      await until("it to be made", async () => (await page.locator("#made-what").innerText()).startsWith("Made 1 file "));
      // Made of the text with the key just typed.
      assert.ok(fs.readFileSync(`${dir}/lesson.kdl`, "utf8").includes('"b . . .'));
      await page.click("#see-page");
      const frame = page.frameLocator("#made-view iframe");
      await frame.locator("svg").first().waitFor();
      assert.equal(await frame.locator("h1").innerText(), "Small");
      // What is shown there has no origin of its own, so no way to the bench.
      assert.equal(await page.frames()[1].evaluate(() => self.origin), "null");
      assert.equal(await page.frames()[1].evaluate(() => fetch("/state").then((r) => r.status, () => "refused")), "refused");
      await page.click("#see-none");
      assert.equal(await page.locator("#made").isHidden(), true);
      assert.deepEqual(faults.filter((f) => !f.includes("/state") && !f.includes("Content Security Policy") && !f.includes("violates")), []);
    }),

  "with errors nothing is made, and that is said": (desk) =>
    desk(small.replace("tempo 120", "tempo 1"), async ({ page, dir }) => {
      await page.click("#make");
      await until("an honest answer", async () => (await page.locator("#made-what").innerText()).includes("the lesson has errors"));
      assert.equal(fs.existsSync(`${dir}/pack`), false);
    }, { faulty: true }),

  "a passage of hostile words stays words": (desk) =>
    desk(small.replace("Verse", '<img src=x onerror=\\"window.bad=1\\"><script>window.bad=1</script>').replaceAll('"chop"', '"<b onmouseover=window.bad=1>"'), async ({ page, faults }) => {
      await page.locator(".slot").first().click();
      await page.waitForTimeout(300);
      await page.mouse.move(60, 420);
      assert.equal(await page.evaluate(() => window.bad), undefined);
      assert.equal(await page.locator("main img, main script, #hand-words b b").count(), 0);
      assert.deepEqual(faults, []);
    }),
};
