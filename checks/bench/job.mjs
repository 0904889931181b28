// The whole job in one go, as a new user does it, with the program that users run: a record in bars, a bar of it slowly, two bars by keyboard, their name, another
// place on the neck, the check, a finding accepted, the pack, the handout.
import assert from "node:assert/strict";
import fs from "node:fs";
import { folderWith, open, serve } from "./browser.mjs";
import { slot, tokens, until } from "./work.mjs";

// The first two bars of the demo's verse, to be written anew: grip b has a wrong fret, F for E.
const TYPED = `
  passage "mine" title="My two bars" {
    tempo 98
    swing 54 of="1/16"
    key "A dorian"
    record "audio/ferry-road.flac" from="0:09.8" to="0:14.7"
    part "chop" instrument="guitar" seat="left" {
      grip "a" "x x 5 5 5 x"
      grip "b" "x x 4 5 6 x"
      rest
      rest
    }
  }
`;

export const job = {
  async "the whole job, from a record to the handout"(_, { browser, example, program, out }) {
    const dir = folderWith();
    // The record is played from the demo's own passages; what made it is not needed any more then.
    await (await serve(example, ["--record", dir])).stop();
    fs.rmSync(`${dir}/.partwright`, { recursive: true, force: true });
    const server = await serve(program, ["open", dir]);
    const { page, close, faults } = await open(browser, server.address);
    const file = () => fs.readFileSync(`${dir}/lesson.kdl`, "utf8");
    const times = [];
    let since = Date.now();
    const done = (what) => {
      times.push(`${what} ${((Date.now() - since) / 1000).toFixed(1)} s`);
      since = Date.now();
    };
    try {
      await page.waitForSelector("#record-rows:not([hidden])", { timeout: 120000 });
      done("record in bars");

      // A bar of the record, round and round at 60 %.
      const asked = [];
      page.on("response", (r) => r.url().includes("/record-sound") && asked.push(`${r.status()} ${new URL(r.url()).search}`));
      await page.locator(".record-bar").nth(5).click();
      await page.locator("#tempo").focus();
      for (let n = 0; n < 8; n++) await page.keyboard.press("ArrowLeft");
      assert.equal(await page.locator("#tempo-says").innerText(), "60 %");
      await page.locator(".record-bar").nth(5).focus();
      await page.keyboard.press("Control+Space");
      await until("the second round", async () => /^bar 6, round 2$/.test(await page.locator("#place").innerText()), 30000);
      assert.deepEqual(asked, ["200 ?from=5&to=6&percent=60"]);
      await page.keyboard.press("Control+Space");
      await until("silence", async () => (await page.locator("#go").innerText()) === "Play");
      done("a bar of it twice");

      // A passage of two bars is typed into the text, then its strokes at the slots.
      await page.click("#show-text");
      const area = page.locator("lesson-text textarea");
      await area.evaluate((a) => a.setSelectionRange(a.value.lastIndexOf("}"), a.value.lastIndexOf("}")));
      await page.keyboard.insertText(TYPED);
      await page.waitForSelector("#passage-mine .slot");
      await page.click("#show-text");
      const mine = page.locator("#passage-mine");
      await slot(mine, "chop", 1, 1).click();
      await page.keyboard.type("a.xx.xaxxax.xxaxb.xx.xbxxbx.xxb-");
      await until("two bars", async () => (await tokens(mine, "chop", 1)) === "a . x x . x a x x a x . x x a x" && (await tokens(mine, "chop", 2)) === "b . x x . x b x x b x . x x b -");
      await slot(mine, "chop", 1, 1).click();
      await until("its names", async () => {
        const names = await page.locator("#hand-words [data-pin]").evaluateAll((list) => list.map((b) => b.dataset.pin));
        return names.includes("Am7") && names.includes("C/G");
      });
      // Elsewhere on the neck, and back.
      const elsewhere = page.locator("#hand-words [data-move]").first();
      const frets = await elsewhere.getAttribute("data-move");
      await elsewhere.focus();
      await page.keyboard.press("Enter");
      await until("another place", () => file().includes(`grip "a" "${frets}"\n      grip "b" "x x 4 5 6 x"`));
      await page.keyboard.press("Control+z");
      await until("back", () => file().includes('grip "a" "x x 5 5 5 x"\n      grip "b" "x x 4 5 6 x"'));
      done("two bars and their name");

      await page.keyboard.press("Control+Enter");
      await until("findings", async () => (await page.locator("#finding-list button").count()) > 0 && !(await page.locator("#check").isDisabled()), 120000);
      done("check");
      const wrong = page.locator("#finding-list button", { hasText: /My two bars.*string 2 fret 6.*the record has E4/ }).first();
      await wrong.focus();
      await page.keyboard.press("Enter");
      await until("its card", () => page.evaluate(() => document.activeElement.classList.contains("finding")));
      await page.screenshot({ path: `${out}/job-finding.png` });
      const offer = await page.evaluate(() => document.activeElement.innerText);
      await page.keyboard.press("r");
      await until("heard", async () => /bar \d, round 1/.test(await page.locator("#place").innerText()), 30000);
      await page.keyboard.press("a");
      await until("accepted", () => page.evaluate(() => document.activeElement.closest(".finding")?.dataset.standing === "accepted"));
      await until(`the text (${offer})`, () => /grip "b" "x x 4 5 6 x"\n[^]*bar "[^"]*4:4\+3:5\+2:5/.test(file().slice(file().indexOf('passage "mine"'))));
      await page.keyboard.press("Control+Space");
      done("a finding accepted");

      await page.click("#make");
      await until("the pack", async () => /^Made \d+ files/.test(await page.locator("#made-what").innerText()), 400000);
      done("pack");
      await page.click("#see-handout");
      const src = await page.locator("#made-view iframe").getAttribute("src");
      const pdf = await page.evaluate((src) => fetch(src).then(async (r) => [r.headers.get("content-type"), new TextDecoder("latin1").decode((await r.arrayBuffer()).slice(0, 5))]), src);
      assert.deepEqual(pdf, ["application/pdf", "%PDF-"]);
      assert.equal(fs.existsSync(`${dir}/pack/findings.html`), false);
      assert.ok(!fs.readdirSync(`${dir}/pack`, { recursive: true }).some((f) => /finding/.test(f)), "no findings in the pack");
      assert.deepEqual(faults, []);
      return times.join(", ");
    } finally {
      await close();
      await server.kill();
      fs.rmSync(dir, { recursive: true, force: true });
    }
  },
};
