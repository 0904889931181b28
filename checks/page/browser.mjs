// A page opened from disk in headless Chromium: what it says on the console, asks of the network, and renders.
import { createRequire } from "node:module";
import path from "node:path";
import { pathToFileURL } from "node:url";

const FLAGS = [
  "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
  "--disable-background-networking", "--disable-component-update", "--disable-sync",
];

export function tools(out) {
  const require = createRequire(path.resolve(out, "node_modules/x.js"));
  return { chromium: require("playwright-core").chromium, axe: require("axe-core").source };
}

export const launch = ({ chromium }) => chromium.launch({ executablePath: "/usr/bin/chromium", args: FLAGS });

// Opens folder/index.html. `faults` collects console errors and warnings, dialogs, and every request that is not for a file of the page; `requests` all of them.
export async function open(browser, folder, options = {}) {
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, ...options });
  const page = await context.newPage();
  // A machine whose way to the loudspeaker is long, as some are: LATENCY in seconds.
  if (process.env.LATENCY) await page.addInitScript((s) => Object.defineProperty(AudioContext.prototype, "outputLatency", { get: () => s }), Number(process.env.LATENCY));
  const faults = [];
  page.on("console", (m) => ["error", "warning"].includes(m.type()) && faults.push(`console: ${m.text()}`));
  page.on("pageerror", (e) => faults.push(`error: ${e.message}`));
  page.on("dialog", (d) => { faults.push(`dialog: ${d.message()}`); d.dismiss(); });
  const base = pathToFileURL(path.resolve(folder)).href + "/";
  const requests = [];
  page.on("request", (r) => {
    requests.push(r.url());
    if (!r.url().startsWith(base)) faults.push(`request: ${r.url()}`);
  });
  await page.goto(base + "index.html");
  return { page, faults, requests, close: () => context.close() };
}

// partwright.renderOffline(options) as Float32Arrays.
export async function render(page, options) {
  const channels = await page.evaluate(async (options) => {
    const channels = await partwright.renderOffline(options);
    return channels.map((samples) => {
      const bytes = new Uint8Array(samples.buffer, samples.byteOffset, samples.byteLength);
      let text = "";
      for (let i = 0; i < bytes.length; i += 32768) text += String.fromCharCode(...bytes.subarray(i, i + 32768));
      return btoa(text);
    });
  }, options);
  return channels.map((text) => {
    const bytes = Uint8Array.from(Buffer.from(text, "base64"));
    return new Float32Array(bytes.buffer);
  });
}
