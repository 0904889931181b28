// Runs the checks and says how each went: node check.mjs OUT EXAMPLE PROGRAM, the bench with next to nothing around it, and the program that users run.
import fs from "node:fs";
import { findings } from "./findings.mjs";
import { folderWith, launch, open, serve, tools } from "./browser.mjs";
import { job } from "./job.mjs";
import { looks } from "./looks.mjs";
import { measures } from "./measures.mjs";
import { record } from "./record.mjs";
import { shelf } from "./shelf.mjs";
import { sounds } from "./sounds.mjs";
import { taking } from "./taking.mjs";
import { work } from "./work.mjs";

const [out, example, whole] = process.argv.slice(2);
const only = process.env.ONLY?.split(";");
const found = tools(out);
const browser = await launch(found);
const failed = [];

// A bench on a lesson of its own, with its page open; all of it is gone when the check ends.
async function desk(text, go, options = {}) {
  const { record = false, ...rest } = options;
  const dir = folderWith(text);
  const server = await serve(example, [...(record ? ["--record"] : []), dir]);
  const bench = await open(browser, server.address, { faulty: !record, ...rest });
  try {
    await bench.page.waitForSelector(".passage .slot");
    return await go({ ...bench, dir, server, file: () => fs.readFileSync(`${dir}/lesson.kdl`, "utf8") });
  } finally {
    await bench.close().catch(() => {});
    await server.stop();
    fs.rmSync(dir, { recursive: true, force: true });
  }
}

for (const [name, body] of Object.entries({ ...work, ...findings, ...job, ...sounds, ...record, ...taking, ...looks, ...shelf, ...measures })) {
  if (only && !only.some((o) => name.includes(o))) continue;
  // What hangs on the machine's clock may fail once where something else takes the machine; twice is a fault.
  for (let round = 1; round <= 2; round++) {
    const start = Date.now();
    try {
      const figures = await body(desk, { ...found, browser, example, program: whole, out });
      console.log(`ok    ${name}${round > 1 ? ", at the second try" : ""}${figures ? `\n        ${figures}` : ""} (${((Date.now() - start) / 1000).toFixed(1)} s)`);
      break;
    } catch (fault) {
      if (round > 1) failed.push(name);
      console.log(`${round > 1 ? "FAIL " : "again"} ${name}\n        ${String(fault.stack ?? fault).split("\n").slice(0, 14).join("\n        ")}`);
    }
  }
}
await browser.close();
console.log(failed.length ? `${failed.length} failed` : "all held");
process.exit(failed.length ? 1 : 0);
