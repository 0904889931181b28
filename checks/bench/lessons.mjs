// Lessons for the checks, composed for them.

// Six passages of four bars, each with four parts: two guitars, bass, drums.
export function sixByFour() {
  const chop = ["a . x x  . x a x  x a x .  x x a x", "b . x x  . x b x  x b x .  x x b -", "a . x x  . x a x  x a x .  x x a x", "c . x x  . x c x  x c x .  x x c -"];
  const line = ["5:3 - . 5:3  . 4:2 . 4:5  . . 3:4 4:5  . 4:2 . 5:3", "5:5 - . 5:5  . 4:4 . 3:2  . . 3:4 3:2  . 4:4 . 5:5", "5:2 - . 5:2  . 5:5 . 4:4  . . 3:2 4:4  . 5:5 . 5:2", "4:2 - . 4:2  . 4:5 . 3:4  . . 3:5 -  - - - ."];
  const floor = ["4:5 - . .  . . 4:5 .  . 2:5 - .  3:7 . 3:7 .", "3:5 - . .  . . 3:5 .  . 3:3 - .  4:7 . 4:6 .", "4:5 - . .  . . 4:5 .  . 2:5 - .  3:7 . 3:7 .", "3:3 - . .  . . 3:3 .  . 3:3 - .  2:5 . 3:4 ."];
  const bars = (list) => list.map((l) => `      bar "${l}"`).join("\n");
  const passage = (n) => `  passage "p${n}" title="Passage ${n}" {
    tempo ${90 + n}
    key "A dorian"
    part "chop" instrument="guitar" seat="left" {
      grip "a" "x x 5 5 5 x"
      grip "b" "x x 4 5 5 x"
      grip "c" "x x 5 5 3 x"
${bars(chop)}
    }
    part "line" instrument="guitar" seat="right" {
${bars(line)}
    }
    part "floor" instrument="bass" {
${bars(floor)}
    }
    part "kit" instrument="drums" {
      repeat times=4 { bar { kick "x . . . . . x . . x . . . . . ."; snare ". . . . >x . . . . . . . >x . . ."; hats "x . x . x . x . x . x . x . x ." } }
    }
  }`;
  return `lesson "Six by four" {\n${[1, 2, 3, 4, 5, 6].map(passage).join("\n")}\n}\n`;
}

// Two bars, two parts, remarks that must stay.
export const small = `// The group's own words.
lesson "Small" {
  passage "verse" title="Verse" {
    tempo 120
    slots 8
    key "C minor"
    part "chop" instrument="guitar" {
      grip "a" "x x 8 8 8 x" // Eb, or Cm7
      grip "b" "x x 6 7 6 x"
      bar "a . x x  . a x ."
      bar ". . . .  . . . ."
    }
    part "floor" instrument="bass" {
      bar "3:3 - . .  3:3 - . ."
      bar ". . . .  . . . ."
    }
  }
}
`;

// Two bars and a record of them.
export const heardBars = `// The group's own words.
lesson "Heard" {
  passage "one" title="Two bars heard" {
    tempo 100
    slots 8
    record "audio/bars.flac" from=0 to=4.8
    part "line" instrument="guitar" {
      bar "5:3 - 4:2 - 4:4 - 3:2 -" // the first
      bar "5:5 - 4:2 - 4:5 - 3:4 -"
    }
  }
}
`;

// A record of four minutes in which one passage comes back over and over.
export const fourMinutes = small.replace(
  '    key "C minor"',
  `    key "C minor"\n${Array.from({ length: 59 }, (_, i) => `    record "audio/four.flac" from=${1 + 4 * i} to=${5 + 4 * i}`).join("\n")}`,
).replace('". . . .  . . . ."', '"b . x x  . b x ."');
