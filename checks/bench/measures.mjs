// How soon a keystroke shows, measured in the page by watching it: no figure is asserted but that there is one.
import assert from "node:assert/strict";
import fs from "node:fs";
import os from "node:os";
import { folderWith, open, serve } from "./browser.mjs";
import { fourMinutes, sixByFour } from "./lessons.mjs";

const median = (list) => [...list].sort((a, b) => a - b)[Math.floor(list.length / 2)];
const upper = (list, share) => [...list].sort((a, b) => a - b)[Math.min(list.length - 1, Math.ceil(list.length * share) - 1)];

// From the key's own time stamp until tab, slots and the words at hand stand in the page (DOM), and until the frame after that is drawn.
const watch = (page) =>
  page.evaluate(() => {
    window.times = [];
    let start = null;
    addEventListener("keydown", (e) => { if (e.key.length === 1) start = { at: e.timeStamp, tab: null, words: null }; }, true);
    const seen = (what) => new MutationObserver(() => {
      if (!start || start[what] !== null) return;
      start[what] = performance.now() - start.at;
      if (start.tab !== null && start.words !== null) {
        const mine = start;
        start = null;
        requestAnimationFrame(() => requestAnimationFrame(() => window.times.push({ ...mine, drawn: performance.now() - mine.at })));
      }
    });
    seen("tab").observe(document.getElementById("passages"), { subtree: true, childList: true });
    seen("words").observe(document.getElementById("hand-words"), { subtree: true, childList: true });
  });

export const measures = {
  "keystroke to page, six passages of four parts": (desk) =>
    desk(sixByFour(), async ({ page, server }) => {
      await page.locator('#passage-p3 .bar[data-bar="2"] .row[data-part="chop"] .slot').first().click();
      await page.waitForSelector("#hand-words [data-pin]");
      await page.waitForTimeout(500);
      await watch(page);
      // On a busy machine the clock says little: the processor's own time beside it, of the page's main thread and of the server.
      const cdp = await page.context().newCDPSession(page);
      await cdp.send("Performance.setTimeDomain", { timeDomain: "threadTicks" }).catch(() => {});
      await cdp.send("Performance.enable", { timeDomain: "threadTicks" });
      const task = async () => (await cdp.send("Performance.getMetrics")).metrics.find((m) => m.name === "TaskDuration").value * 1000;
      const serving = () => {
        const f = fs.readFileSync(`/proc/${server.pid}/stat`, "utf8").split(") ")[1].split(" ");
        return (Number(f[11]) + Number(f[12])) * 10;
      };
      const [task0, serving0] = [await task(), serving()];
      for (let i = 0; i < 120; i++) {
        const n = await page.evaluate(() => window.times.length);
        await page.keyboard.type("abc"[(i + 2 * Math.floor(i / 32)) % 3]);
        await page.waitForFunction((n) => window.times.length > n, n, { timeout: 1000 }).catch(() => {});
        await page.waitForTimeout(20);
        if (i % 32 === 31) await page.locator('#passage-p3 .bar[data-bar="2"] .row[data-part="chop"] .slot').first().click();
      }
      const cost = [await task() - task0, serving() - serving0].map((ms) => (ms / 120).toFixed(1));
      await page.waitForTimeout(300);
      const times = await page.evaluate(() => window.times);
      assert.ok(times.length > 60, `only ${times.length} keystrokes were seen through`);
      const line = (key) => `${key} median ${median(times.map((t) => t[key])).toFixed(1)}, p99 ${upper(times.map((t) => t[key]), 0.99).toFixed(1)} ms`;
      const whole = times.map((t) => ({ ...t, page: Math.max(t.tab, t.words) }));
      return `${times.length} keys; ${["tab", "words", "drawn"].map(line).join("; ")}; both median ${median(whole.map((t) => t.page)).toFixed(1)}, p99 ${upper(whole.map((t) => t.page), 0.99).toFixed(1)} ms; processor time a key: page ${cost[0]}, server ${cost[1]} ms; load ${os.loadavg()[0].toFixed(1)} on ${os.cpus().length} cores`;
    }),

  "keystroke in the text to page, six passages of four parts": (desk) =>
    desk(sixByFour(), async ({ page }) => {
      await page.click("#show-text");
      const area = page.locator("lesson-text textarea");
      await page.evaluate(() => {
        window.times = [];
        let at = null;
        addEventListener("keydown", (e) => { if (e.key.length === 1) at = e.timeStamp; }, true);
        new MutationObserver(() => {
          if (at === null) return;
          window.times.push(performance.now() - at);
          at = null;
        }).observe(document.getElementById("passages"), { subtree: true, childList: true });
      });
      for (let i = 0; i < 60; i++) {
        await area.evaluate((a) => {
          const at = a.value.indexOf("part \"line\"") - 60;
          const slot = a.value.indexOf(". x x  . x ", at - 400) + 11;
          a.setSelectionRange(slot, slot + 1);
        });
        await page.keyboard.type(i % 2 ? "a" : "b");
        await page.waitForFunction((n) => window.times.length > n, i, { timeout: 1000 }).catch(() => {});
        await page.waitForTimeout(20);
      }
      const times = await page.evaluate(() => window.times);
      assert.ok(times.length > 25, `${times.length} seen`);
      return `${times.length} keys; median ${median(times).toFixed(1)}, p99 ${upper(times, 0.99).toFixed(1)} ms`;
    }),

  async "first paint, and all passages set"(desk) {
    const paints = [];
    const sets = [];
    for (let i = 0; i < 5; i++) {
      await desk(sixByFour(), async ({ page }) => {
        await page.reload();
        await page.waitForSelector(".set svg");
        sets.push(await page.evaluate(() => performance.now()));
        // The browser tells of the first paint some pictures later.
        const paint = await page.waitForFunction(() => performance.getEntriesByType("paint").find((e) => e.name === "first-contentful-paint")?.startTime);
        paints.push(await paint.jsonValue());
      });
    }
    assert.ok(paints.every((p) => p > 0));
    return `first paint median ${median(paints).toFixed(0)} ms; all passages set within ${median(sets).toFixed(0)} ms`;
  },

  async "a record of four minutes in bars, heard before"(_, { browser, example }) {
    const dir = folderWith(fourMinutes);
    const times = [];
    // The first time it is listened to; then the program is started anew and has only what it kept on disk.
    for (let i = 0; i < 4; i++) {
      const server = await serve(example, [...(i ? [] : ["--record"]), dir]);
      const { page, close } = await open(browser, server.address);
      await page.waitForSelector("#record-rows:not([hidden])", { timeout: 180000 });
      times.push(await page.evaluate(() => performance.now()));
      assert.ok((await page.locator(".record-bar").count()) > 100);
      await close();
      await server.stop();
    }
    fs.rmSync(dir, { recursive: true });
    return `listened to: ${(times[0] / 1000).toFixed(1)} s; kept: ${times.slice(1).map((t) => (t / 1000).toFixed(2)).join(", ")} s`;
  },
};
