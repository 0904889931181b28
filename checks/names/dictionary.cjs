// Prints what two npm packages hold, as JSON: guitar voicings (MIT) with their sign, and chord formulas (MIT) with theirs.
const { chords } = require("@tombatossals/chords-db/lib/guitar.json");
const { all } = require("@tonaljs/chord-type");

const voicings = [];
for (const group of Object.values(chords)) {
  for (const { key, suffix, positions } of group) {
    for (const { frets, baseFret, midi } of positions) {
      voicings.push({ key, suffix, frets: frets.map((f) => (f < 0 ? null : f === 0 ? 0 : f + baseFret - 1)), midi });
    }
  }
}
const formulas = all().map(({ aliases, intervals }) => ({ sign: aliases[0], also: aliases.slice(1), intervals }));
console.log(JSON.stringify({ voicings, formulas }));
