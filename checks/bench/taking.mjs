// Playing in: by the browser's own input from a file, and by a cable from the loudspeaker back into the input, whose delay is measured.
import assert from "node:assert/strict";
import fs from "node:fs";
import { FLAGS, folderWith, open, serve } from "./browser.mjs";
import { axeOn, tooSmall } from "./looks.mjs";
import { slot, until } from "./work.mjs";

// One line that is there, and one to be played in. The line's notes lie apart, so that none hides another.
const lesson = `// The group's own words.
lesson "Played in" {
  passage "one" title="One" {
    tempo 120
    slots 8
    part "line" instrument="guitar" {
      bar "5:3 - 4:2 -  4:5 - 3:2 -" // up
      bar "3:4 - - -  3:2 - 4:5 -"
    }
    part "mine" instrument="guitar" {
      rest // to be played in
      rest
    }
  }
}
`;

// The program that users run, on a lesson; and a browser of its own where the input needs one.
async function at({ program, chromium, browser }, flags, options, go) {
  const dir = folderWith(lesson);
  const server = await serve(program, ["open", dir]);
  const own = flags ? await chromium.launch({ executablePath: "/usr/bin/chromium", args: [...FLAGS, ...flags] }) : browser;
  const bench = await open(own, server.address, options);
  try {
    await slot(bench.page, "mine", 1, 1).click();
    return await go({ ...bench, dir, file: () => fs.readFileSync(`${dir}/lesson.kdl`, "utf8") });
  } finally {
    await bench.close();
    if (flags) await own.close();
    await server.kill();
    fs.rmSync(dir, { recursive: true, force: true });
  }
}

const says = (page, words) => until(words, async () => (await page.locator("#taking-says").innerText()).includes(words), 60000);

// What one part of the passage sounds like, as a file for the browser's input.
async function soundOf(page, part, path) {
  const { rate, samples } = await page.evaluate(async (part) => {
    const { rate, samples } = await partwright.rendered({ passage: "one", seconds: 4, gains: [Number(part === 0), Number(part === 1)] });
    return { rate, samples: Array.from(samples[0]) };
  }, part);
  const bytes = Buffer.alloc(44 + 2 * samples.length);
  bytes.write("RIFF\0\0\0\0WAVEfmt ", 0, "latin1");
  bytes.writeUInt32LE(bytes.length - 8, 4);
  [[16, 16, 4], [20, 1, 2], [22, 1, 2], [24, rate, 4], [28, 2 * rate, 4], [32, 2, 2], [34, 16, 2], [40, 2 * samples.length, 4]].forEach(([at, v, n]) => bytes.writeUIntLE(v, at, n));
  bytes.write("data", 36);
  samples.forEach((s, i) => bytes.writeInt16LE(Math.round(Math.max(-1, Math.min(1, s)) * 32767), 44 + 2 * i));
  fs.writeFileSync(path, bytes);
}

// A cable from the loudspeaker back into the input, so long late. What the page does with either is its own.
const cable = (seconds) => {
  const connect = AudioNode.prototype.connect;
  const made = new Map();
  const of = (context) => {
    if (!made.has(context)) {
      const [late, end] = [new DelayNode(context, { delayTime: seconds, maxDelayTime: 1 }), context.createMediaStreamDestination()];
      connect.call(late, end);
      made.set(context, { late, stream: end.stream });
    }
    return made.get(context);
  };
  const Own = AudioContext;
  let last = null;
  window.AudioContext = class extends Own {
    constructor(...args) {
      super(...args);
      last = this;
    }
  };
  AudioNode.prototype.connect = function (to, ...rest) {
    if (to instanceof AudioDestinationNode && this.context instanceof Own) connect.call(this, of(this.context).late);
    return connect.call(this, to, ...rest);
  };
  navigator.mediaDevices.getUserMedia = async () => of(last).stream.clone();
};

export const taking = {
  async "a part is played in by the browser's input, taken over by bars and whole, and taken back"(_, tools) {
    const wav = `${tools.out}/played-in.wav`;
    fs.rmSync(wav, { force: true });
    const flags = ["--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream", `--use-file-for-fake-audio-capture=${wav}`];
    return at(tools, flags, {}, async ({ page, faults, file, dir }) => {
      await soundOf(page, 0, wav);
      await page.keyboard.press("Alt+r");
      await until("the panel", () => page.locator("#taking").isVisible());
      assert.match(await page.locator("#taking-for").innerText(), /^mine, bars 1 to 2 at 100 %/);
      await page.keyboard.press("Alt+r");
      await says(page, "Recording.");
      await until("a level", async () => Number(await page.locator("#taking-level").getAttribute("value") ?? (await page.locator("#taking-level").evaluate((m) => m.value))) > 0.3);
      await page.screenshot({ path: `${tools.out}/taking-recording.png` });
      await says(page, "Written out; the recording is kept as takes/one-mine.wav");
      const lines = await page.locator("#taken-bars li").evaluateAll((list) => list.map((l) => l.querySelectorAll("code")[1].textContent));
      assert.ok(lines.length === 2 && lines.every((l) => (l.match(/\d:\d/g) ?? []).length >= 3), JSON.stringify(lines));
      assert.equal(file(), lesson, "nothing has changed by that");
      await page.screenshot({ path: `${tools.out}/taking-found.png` });
      await page.evaluate(tools.axe);
      assert.deepEqual((await axeOn(page)).bad, []);
      await page.setViewportSize({ width: 360, height: 740 });
      assert.ok((await page.evaluate(() => document.documentElement.scrollWidth)) <= 360, "nothing scrolls sideways on a phone");
      assert.deepEqual(await tooSmall(page), []);
      await page.locator("#taking").screenshot({ path: `${tools.out}/taking-phone.png` });
      await page.setViewportSize({ width: 1280, height: 900 });
      const two = page.getByRole("button", { name: "Take over bar 2" });
      await two.focus();
      await page.keyboard.press("Enter");
      await until("bar 2 alone", async () => /rest \/\/ to be played in\n      bar "[^"]*\d:\d/.test(file()) || Promise.reject(new Error(`${await page.locator("#taking-says").innerText()} ${lines.join(" | ")}`)));
      await page.click("#taken-all");
      await until("both", () => !/rest/.test(file()) && file().includes("// to be played in\n"));
      await page.waitForSelector("#taken", { state: "hidden" });
      await page.keyboard.press("Control+z");
      await page.keyboard.press("Control+z");
      await until("as it was", () => file() === lesson);
      assert.deepEqual(fs.readdirSync(`${dir}/takes`), ["one-mine.wav"]);
      assert.deepEqual(faults, []);
      return `written: ${lines.join(" | ")}`;
    });
  },

  async "by a cable the delay is measured, and each stroke lands in the slot that it was played to"(_, tools) {
    return at(tools, null, {}, async ({ page, faults, file }) => {
      // Longer than a slot of this tempo.
      await page.addInitScript(cable, 0.29);
      await page.reload();
      await slot(page, "mine", 1, 1).click();
      await page.click("#play-in");
      await page.click("#taking-listen");
      await until("listening", async () => (await page.locator("#taking-listen").innerText()) === "Listening");
      await page.click("#taking-delay");
      await says(page, "Measured.");
      const measured = 1000 * (await page.evaluate(() => Number(Object.entries(localStorage).find(([k]) => k.startsWith("delay "))[1])));
      // The cable's 290 ms, and what the browser's own way from stream to page adds.
      assert.ok(measured >= 290 && measured < 400, String(measured));
      await page.keyboard.press("Alt+r");
      await says(page, "Written out");
      await page.click("#taken-all");
      // Pitch by pitch: the same notes may lie on other strings.
      const open = { 5: 45, 4: 50, 3: 55, 2: 59, 1: 64, 6: 40 };
      const notes = (line) => line.trim().split(/\s+/).map((t) => (/^[A-Z]?(\d):(\d+)/.test(t) ? open[RegExp.$1] + Number(RegExp.$2) : "."));
      const bars = (part) => [...file().slice(file().indexOf(`part "${part}"`)).matchAll(/bar "([^"]*)"/g)].slice(0, 2).map((m) => notes(m[1]).join(" "));
      await until("the bars", () => !/rest/.test(file()));
      assert.deepEqual(bars("mine"), bars("line"));
      assert.deepEqual(faults, []);
      return `a cable of 290 ms, measured with the browser's own share: ${measured.toFixed(2)} ms`;
    });
  },

  async "silence, no permission and no input are said in words"(_, tools) {
    return at(tools, null, {}, async ({ page, faults, dir }) => {
      await page.click("#play-in");
      for (const [name, words] of [["NotAllowedError", "allow this page the microphone"], ["NotFoundError", "plug the interface or microphone in"], ["NotReadableError", "another program may hold it"]]) {
        await page.evaluate((name) => (navigator.mediaDevices.getUserMedia = async () => { throw new DOMException("no", name); }), name);
        await page.click("#taking-record");
        await says(page, words);
      }
      await page.evaluate(() => (navigator.mediaDevices.getUserMedia = async () => new AudioContext().createMediaStreamDestination().stream));
      await page.click("#taking-record");
      await says(page, "Nothing came in");
      await page.click("#taking-delay");
      await says(page, "The delay could not be measured");
      assert.equal(fs.existsSync(`${dir}/takes`), false);
      assert.deepEqual(faults, []);
    });
  },
};
