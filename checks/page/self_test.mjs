// Shows that the checks can fail: breaks one thing in a copy of the page and wants the check that watches it to notice.
import assert from "node:assert/strict";
import fs from "node:fs";
import { check } from "./check.mjs";

// SINCE=n leaves out the first n breaks.
const out = process.argv[2];
const since = Number(process.env.SINCE ?? 0);

// What is broken: file, text, what stands there instead, the check that must fail.
const BROKEN = [
  ["play.js", '(led ? 0.5 : 1) : 0', '(led ? 0.5 : 1) : 1', "a part left out is gone, and the rest stays as it was"],
  ["play.js", "const RAMP_S = 0.015", "const RAMP_S = 0.00002", "a change of gain makes no click"],
  ["play.js", '"leads" ? Math.SQRT2', '"leads" ? 1', "a part that leads is louder, and the others step back"],
  ["play.js", "const TOP_GAIN = 0.8", "const TOP_GAIN = 1", "it starts quiet and never reaches full level"],
  ["play.js", "if (size <= RAIL_FROM) return v;", "return v;", "it starts quiet and never reaches full level"],
  ["play.js", "loop: true", "loop: false", "each tempo has its own length, goes round without a gap and keeps its pitch"],
  ["play.js", "to ? inside(to) : inside(was)", "to ? inside(to) : inside(null)", "a change of tempo keeps bar and fraction"],
  ["play.js", "const SEAM_S = 0.008", "const SEAM_S = 0.00005", "a change of tempo makes no click"],
  ["play.js", "to.set(from.subarray(a, b))", "to.set(from.subarray(0, b - a))", "a loop of some bars plays those bars and no other"],
  ["play.js", "i < seam; i++", "i < 0; i++", "the seam of a loop lies under the noise floor"],
  ["play.js", "step: up ? segment.step + 1 : segment.step", "step: segment.step", "the tempo rises after so many rounds"],
  ["play.js", "fresh: true", "fresh: false", "the first round begins from silence, later ones with what rings"],
  ["play.js", "place.bar === 0 && place.fraction === 0", "true", "the first round begins from silence, later ones with what rings"],
  ["play.js", "source.start(at, join / figures.rate)", "source.start(at, 0)", "the passage's first stroke passes into the round without an edge"],
  ["play.js", "falls.gain.setValueCurveAtTime(CURVES.gain.fall, at, SEAM_S)", "falls.gain.setValueAtTime(0, at)", "the passage's first stroke passes into the round without an edge"],
  ["play.js", "step.clickHeadroom", "1", "with the click on, or a part lifted, the top of the volume comes down"],
  ["play.js", "Math.max(1, ...gains(state.positions))", "1", "with the click on, or a part lifted, the top of the volume comes down"],
  ["play.js", "countIn && sound.countIn", "null", "the count-in counts when it was asked to"],
  ["play.js", 'if (state.countIn === "each") return 1;', "", "the count-in counts when it was asked to"],
  ["play.js", "gain: state.click ? 1 : 0", "gain: 1", "the click is heard when asked for, on every beat"],
  ["page.js", 'group.classList.add("lit")', 'group.classList.add("dim")', "the bar being played is lit, in both drawings and in time"],
  ["page.js", "found[played].push(group)", "found[played ? played - 1 : 0].push(group)", "the bar being played is lit, in both drawings and in time"],
  ["page.js", 'document.addEventListener("keydown"', 'document.addEventListener("keyless"', "keyboard alone reaches and works everything, and the focus shows"],
  ["page.css", ":focus-visible { outline: 3px", ":focus-visible { outline: 0px", "keyboard alone reaches and works everything, and the focus shows"],
  ["page.js", "restOther(Number(at.dataset.part))", "0", "the easier way and the part itself do not sound at once"],
  ["page.js", "  fromAddress();\n})();", "  fromAddress();\n  new Image().src = 'http://127.0.0.1:9/';\n})();", "opens from disk with its words as text and nothing asked of the network"],
  ["index.html", "&lt;img src=x", "<img src=x", "opens from disk with its words as text and nothing asked of the network"],
  ["page.js", "  fromAddress();\n})();", "  fromAddress();\n  load(passage().steps[0]);\n})();", "no sound is loaded before it is asked for"],
  ["index.html", 'aria-label="Rounds at each tempo"', "", "axe finds nothing serious, critical or moderate"],
  ["page.css", "--soft: #625b4e", "--soft: #b0a894", "axe finds nothing serious, critical or moderate"],
  ["page.css", "body { margin: 0 auto;", "body { min-width: 30rem; margin: 0 auto;", "at phone width nothing scrolls sideways, and all that is touched is large enough"],
  ["page.css", ".passage[hidden] { display: block !important; }", "", "prints the music of all passages and none of the controls"],
  ["page.css", "prefers-reduced-motion: no-preference", "min-width: 1px", "without motion wished for, nothing glides"],
];

let unnoticed = 0;
for (const [file, text, instead, name] of BROKEN.slice(since)) {
  const folder = `${out}/broken`;
  fs.rmSync(folder, { recursive: true, force: true });
  fs.mkdirSync(folder);
  for (const entry of fs.readdirSync(`${out}/wav`)) {
    if (entry === "audio") fs.symlinkSync(fs.realpathSync(`${out}/wav/audio`), `${folder}/audio`);
    else fs.copyFileSync(`${out}/wav/${entry}`, `${folder}/${entry}`);
  }
  const whole = fs.readFileSync(`${folder}/${file}`, "utf8");
  assert.ok(whole.includes(text), `${file} no longer holds: ${text}`);
  fs.writeFileSync(`${folder}/${file}`, whole.replaceAll(text, instead));
  const failed = await check({ out, folder, only: [name], quiet: true, rounds: 1 });
  if (!failed.length) unnoticed++;
  console.log(`${failed.length ? "noticed  " : "UNNOTICED"} ${file}: ${text.split("\n")[0]} → ${instead.trim().split("\n").at(-1) || "nothing"}${failed.length ? `\n            ${failed[0]}` : ""}`);
}
fs.rmSync(`${out}/broken`, { recursive: true, force: true });
console.log(unnoticed ? `${unnoticed} breaks went unnoticed` : `all ${BROKEN.length - since} breaks noticed`);
process.exit(unnoticed ? 1 : 0);
