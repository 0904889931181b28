// A bench on a copy of a lesson, and Chromium on its page: what it says on the console and asks of the network.
import { spawn } from "node:child_process";
import fs from "node:fs";
import { createRequire } from "node:module";
import os from "node:os";
import path from "node:path";

export const FLAGS = [
  "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
  "--disable-background-networking", "--disable-component-update", "--disable-sync", "--autoplay-policy=no-user-gesture-required",
];

export function tools(out) {
  const require = createRequire(path.resolve(out, "node_modules/x.js"));
  return { chromium: require("playwright-core").chromium, axe: require("axe-core").source };
}

export const launch = ({ chromium }) => chromium.launch({ executablePath: "/usr/bin/chromium", args: FLAGS });

// A folder of its own with a lesson: a copy of the demo, or the text given.
export function folderWith(text = null) {
  const dir = fs.mkdtempSync(path.join(os.tmpdir(), "bench-"));
  if (text === null) fs.copyFileSync("demo/ferry-road/lesson.kdl", path.join(dir, "lesson.kdl"));
  else fs.writeFileSync(path.join(dir, "lesson.kdl"), text);
  return dir;
}

// Starts the server. `kill` ends it without a word, `stop` in order.
export async function serve(program, args) {
  const child = spawn(program, args, { stdio: ["pipe", "pipe", "pipe"] });
  const ended = new Promise((done) => child.on("exit", done));
  let said = "";
  child.stderr.on("data", (d) => (said += d));
  const address = await new Promise((found, failed) => {
    let line = "";
    child.stdout.on("data", (d) => {
      line += d;
      if (line.includes("\n")) found(line.split("\n")[0].trim());
    });
    child.on("exit", () => failed(new Error(said.trim() || "the bench ended")));
  });
  return {
    address,
    pid: child.pid,
    stop: () => {
      child.stdin.end();
      return ended;
    },
    kill: () => {
      child.kill("SIGKILL");
      return ended;
    },
  };
}

// Opens the page. `faults` collects console errors and warnings, dialogs, and requests to anywhere else.
export async function open(browser, address, options = {}) {
  const { context: old, faulty = false, ...rest } = options;
  const context = old ?? (await browser.newContext({ viewport: { width: 1280, height: 900 }, ...rest }));
  const page = await context.newPage();
  // A machine whose way to the loudspeaker is long, as some are: LATENCY in seconds.
  if (process.env.LATENCY) await page.addInitScript((s) => Object.defineProperty(AudioContext.prototype, "outputLatency", { get: () => s }), Number(process.env.LATENCY));
  const faults = [];
  page.on("console", (m) => ["error", "warning"].includes(m.type()) && !(faulty && m.text().includes("status of 4")) && faults.push(`console: ${m.text()}`));
  page.on("pageerror", (e) => faults.push(`error: ${e.message}`));
  page.on("dialog", (d) => { faults.push(`dialog: ${d.message()}`); d.dismiss(); });
  const origin = new URL(address).origin;
  // The browser shows PDF files by pages of its own.
  page.on("request", (r) => !r.url().startsWith(origin) && !/^(blob|chrome-extension|chrome):/.test(r.url()) && faults.push(`request: ${r.url()}`));
  // While the page is worked on: its files as they lie in the source, without a build.
  if (process.env.LIVE) await page.route("**/bench/*.{js,css}", (r) => r.fulfill({ path: `crates/bench/src/page/${path.basename(new URL(r.request().url()).pathname)}` }));
  await page.goto(address);
  return { page, context, faults, close: () => context.close() };
}
