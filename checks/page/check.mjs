// Runs the checks and says how each went: node check.mjs OUT [PACK …]. OUT holds wav/ and opus/, the pages of steady tones.
import fs from "node:fs";
import os from "node:os";
import path from "node:path";
import { launch, open, tools } from "./browser.mjs";
import { handling } from "./handling.mjs";
import { hearing } from "./hearing.mjs";
import { looks } from "./looks.mjs";
import { real } from "./real.mjs";

// Runs every check (or those whose name is in `only`); gives what those that failed said.
export async function check({ out, folder = `${out}/wav`, packs = [], only = null, quiet = false, rounds = 2 }) {
  const found = tools(out);
  const browser = await launch(found);
  const failed = [];
  const run = async (name, go) => {
    if (only && !only.includes(name)) return;
    // What hangs on the machine's clock may fail once where something else takes the machine; twice is a fault.
    for (let round = 1; round <= rounds; round++) {
      const start = Date.now();
      try {
        const figures = await go();
        if (!quiet) console.log(`ok    ${name}${round > 1 ? ", at the second try" : ""}${figures ? `\n        ${figures}` : ""} (${((Date.now() - start) / 1000).toFixed(1)} s)`);
        return;
      } catch (fault) {
        if (round === rounds) failed.push(`${name}: ${String(fault.message).split("\n")[0]}`);
        if (!quiet) console.log(`${round === rounds ? "FAIL " : "again"} ${name}\n        ${String(fault.message).split("\n").slice(0, 12).join("\n        ")}`);
      }
    }
  };
  // A check's own way to open the folder: { options } for the browser, { without } to leave a file out.
  const opener = (folder) => {
    const opened = [];
    const go = async ({ options = {}, without = null } = {}) => {
      let at = folder;
      if (without) {
        at = fs.mkdtempSync(path.join(os.tmpdir(), "page-"));
        fs.cpSync(folder, at, { recursive: true });
        fs.rmSync(path.join(at, without));
      }
      const one = await open(browser, at, options);
      opened.push(async () => {
        await one.close();
        if (without) fs.rmSync(at, { recursive: true });
      });
      return one;
    };
    return { go, done: async () => { for (const close of opened) await close().catch(() => {}); } };
  };
  const worked = async (checks, folder, extra) => {
    for (const [name, body] of Object.entries(checks)) {
      await run(name, async () => {
        const { go, done } = opener(folder);
        try {
          return await body(go, extra);
        } finally {
          await done();
        }
      });
    }
  };

  const tones = await open(browser, folder);
  const opus = await open(browser, `${out}/opus`);
  for (const [name, body] of Object.entries(hearing)) await run(name, () => body({ page: tones.page, opus: opus.page }));
  await tones.close();
  await opus.close();
  await worked(handling, `${folder === `${out}/wav` ? `${out}/opus` : folder}`);
  await worked(looks, folder, { ...found, pictures: `${out}/tones` });
  for (const [i, pack] of packs.entries()) {
    if (!quiet) console.log(`-- ${pack}`);
    await worked(real, pack);
    await worked(looks, pack, { ...found, pictures: `${out}/pack${i ? `-${i + 1}` : ""}` });
  }
  await browser.close();
  return failed;
}

if (process.argv[1] === new URL(import.meta.url).pathname) {
  const [out, ...packs] = process.argv.slice(2);
  const failed = await check({ out, packs, only: process.env.ONLY?.split(";") });
  console.log(failed.length ? `${failed.length} failed` : "all held");
  process.exit(failed.length ? 1 : 0);
}
