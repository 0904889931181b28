//! Chord signs as books and charts write them (common practice), and what is said about faulty ones.

use pitch::{PartKind, Style, Symbol};

/// The sign in the house spelling, then other spellings of the same chord, then its tones.
const SPELLINGS: &str = "
C           : CM Cmaj Cmajor                          : R 3 5
Cm          : Cmin C- Cmi Cminor                      : R b3 5
Cdim        : C° Co                                   : R b3 b5
Caug        : C+ C(#5)                                : R 3 #5
C5          : C(no3)                                  : R 5
C(b5)       : C(♭5) C(-5)                             : R 3 b5
Csus4       : Csus                                    : R 4 5
Csus2       : C(sus2)                                 : R 2 5
Csus2sus4   : Csus24 Csus4sus2 Csus42                 : R 2 4 5
C6          : CM6 Cmaj6 Cadd6                         : R 3 5 6
Cm6         : C-6 Cmin6                               : R b3 5 6
C6/9        : C69 C6(9) C6add9                        : R 3 5 6 9
Cm6/9       : Cm69 C-6/9                              : R b3 5 6 9
C7          : Cdom7                                   : R 3 5 b7
Cmaj7       : CM7 CΔ CΔ7 C△7 Cma7                     : R 3 5 7
Cm7         : Cmin7 C-7 Cmi7                          : R b3 5 b7
Cm(maj7)    : CmM7 Cm/maj7 CminMaj7 C-Δ7 C-Δ Cm(M7)   : R b3 5 7
Cm7b5       : Cø Cø7 C-7b5 Cm7(b5) Cm7-5 Cmin7(♭5)    : R b3 b5 b7
Cdim7       : C°7 Co7 Cdim6                           : R b3 b5 bb7
Cdim(maj7)  : C°(maj7) C°Δ7 CdimM7                    : R b3 b5 7
C7#5        : C+7 Caug7 C7+ C7+5 C7(♯5)               : R 3 #5 b7
C7b5        : C7-5 C7(b5)                             : R 3 b5 b7
Cmaj7#5     : C+M7 Caug(maj7) CΔ7#5                   : R 3 #5 7
Cmaj7b5     : CM7(b5)                                 : R 3 b5 7
C9          : C7(9) C7add9                            : R 3 5 b7 9
Cm9         : C-9 Cmin9                               : R b3 5 b7 9
Cmaj9       : CM9 CΔ9 Cmaj7(9)                        : R 3 5 7 9
Cm(maj9)    : CmM9 C-(Δ9)                             : R b3 5 7 9
C11         : C9(11) C9add11                          : R 3 5 b7 9 11
Cm11        : C-11 Cmin11                             : R b3 5 b7 9 11
C13         : C9(13) C9add13                          : R 3 5 b7 9 13
Cm13        : Cmin13                                  : R b3 5 b7 9 11 13
Cmaj13      : CM13 CΔ13                               : R 3 5 7 9 13
C7(add13)   : C7(13) C7add13                          : R 3 5 b7 13
C7b9        : C7(b9) C7-9 C7♭9                        : R 3 5 b7 b9
C7#9        : C7+9 C7(#9)                             : R 3 5 b7 #9
C7#11       : C7(♯11) C7+11                           : R 3 5 b7 #11
C7b13       : C7(b13) C7-13                           : R 3 5 b7 b13
C9#11       : C9(#11)                                 : R 3 5 b7 9 #11
C13#11      : C13(#11)                                : R 3 5 b7 9 #11 13
C13b9       : C13(b9)                                 : R 3 5 b7 b9 13
C7(b9,#9)   : C7b9#9 C7(b9#9) C7(b9/#9)               : R 3 5 b7 b9 #9
C7(#5,#9)   : C7#5#9 C+7#9 C7(#9,#5)                  : R 3 #5 b7 #9
C7(b9,b13)  : C7b9b13                                 : R 3 5 b7 b9 b13
C7alt       : Calt C7(alt)                            : R 3 b5 #5 b7 b9 #9
Cmaj7#11    : CM7(#11) CΔ#11                          : R 3 5 7 #11
Cadd9       : Cadd2 C(add9) C(9)                      : R 3 5 9
Cadd11      : Cadd4 C(add11)                          : R 3 5 11
Cm(add9)    : Cmadd9 Cm(add2) C-add9                  : R b3 5 9
Cm(add11)   : Cmadd4                                  : R b3 5 11
C7sus4      : C7sus C7(sus4)                    : R 4 5 b7
C9sus4      : C9sus C11sus4 C7sus4(9)                 : R 4 5 b7 9
C13sus4     : C13sus                                  : R 4 5 b7 9 13
C7sus4(b9)  : C7susb9 C7sus4b9                        : R 4 5 b7 b9
Cm(b6)      : Cmb6 C-(b6)                             : R b3 5 b6
C7(no3)     : C7no3 C7(omit3)                         : R 5 b7
C7(no5)     : C7omit5                                 : R 3 b7
";

#[test]
fn usual_spellings() {
    let mut rows = 0;
    for row in SPELLINGS.lines().filter(|l| !l.is_empty()) {
        let [house, others, tones] = row.split(':').map(str::trim).collect::<Vec<_>>()[..] else { panic!("{row}") };
        let symbol = Symbol::parse(house).unwrap_or_else(|e| panic!("{e}"));
        let found: Vec<String> = symbol.tones.iter().map(|t| t.to_string()).collect();
        assert_eq!(found.join(" "), tones, "{house}");
        assert_eq!(symbol.to_string(), house);
        for other in others.split_whitespace() {
            assert_eq!(Symbol::parse(other).as_ref(), Ok(&symbol), "{other} for {house}");
        }
        // On other roots, over a bass, and in all three spellings.
        for root in ["F#", "Bb", "Ebb"] {
            let text = format!("{root}{}/G", &house[1..]);
            let moved = Symbol::parse(&text).unwrap();
            assert_eq!((moved.tones.as_slice(), moved.to_string()), (symbol.tones.as_slice(), text));
            for style in Style::ALL {
                assert_eq!(Symbol::parse(&moved.text(style)).as_ref(), Ok(&moved), "{}", moved.text(style));
            }
        }
        assert!(house.is_ascii());
        rows += 1;
    }
    assert!(rows >= 55);
}

#[test]
fn faults_are_sentences() {
    for (text, says) in [
        ("", "there is no chord sign here"),
        ("   ", "there is no chord sign here"),
        ("H7", "\"H\", which is no note"),
        ("am7", "small letter; the root is a capital, as in \"Am7\""),
        ("b", "as in \"B\""),
        ("N.C.", "no chord sounds"),
        ("7", "\"7\", which is no note"),
        ("C2", "Csus2"),
        ("Bb4", "Bbsus4"),
        ("C8", "5, 6, 6/9, 7, 9, 11 or 13"),
        ("C77", "5, 6, 6/9, 7, 9, 11 or 13"),
        ("Cm5", "5, 6, 6/9, 7, 9, 11 or 13"),
        ("C/", "the bass note is missing"),
        ("C/9", "add9"),
        ("C/H", "followed by the bass"),
        ("C7(b9", "does not close it"),
        ("C7b9)", "never opened"),
        ("C7(((", "does not close it"),
        ("C7b4", "\"b4\" is not understood"),
        ("Cadd", "after \"add\""),
        ("Cadd12", "after \"add\""),
        ("Cno", "after \"no\""),
        ("Cm7alt", "dominant seventh"),
        ("Cmmaj", "followed by 7, 9, 11 or 13"),
        ("Cfoo", "\"foo\" is not understood"),
        ("C7,b9", "\",b9\" is not understood"),
        ("C###", "\"#\" is not understood"),
        ("Cé", "\"é\" is not understood"),
        ("C7#", "\"#\" is not understood"),
        ("♭", "which is no note"),
    ] {
        let error = Symbol::parse(text).expect_err(text);
        assert!(error.contains(says), "{text}: {error}");
        assert!(!error.ends_with('.') && error.len() < 260, "{error}");
    }
    let long = Symbol::parse(&"C7".repeat(4000)).unwrap_err();
    assert!(long.contains("8000 bytes") && long.len() < 200, "{long}");
}

#[test]
fn slash_and_figures_do_not_mix() {
    let parse = |t: &str| Symbol::parse(t).unwrap();
    assert_eq!(parse("C6/9/E").bass.unwrap().to_string(), "E");
    assert_eq!(parse("C6/9").bass, None);
    assert_eq!(parse("C7(b9/#9)/Bb").to_string(), "C7(b9,#9)/Bb");
    assert_eq!(parse("Csus2addb3"), parse("Cm(add9)"));
    assert_eq!(parse("D/D").bass, None);
    assert_eq!(parse(" F # m7 / E ").to_string(), "F#m7/E");
    assert_eq!(parse("Cm/maj7/G").to_string(), "Cm(maj7)/G");
}

#[test]
fn runs_join_to_the_text() {
    for row in SPELLINGS.lines().filter(|l| !l.is_empty()) {
        let symbol = Symbol::parse(row.split(':').next().unwrap().trim()).unwrap().up(6, None);
        for style in Style::ALL {
            let parts = symbol.parts(style);
            assert_eq!(parts.iter().map(|p| p.text.as_str()).collect::<String>(), symbol.text(style));
            assert_eq!((parts[0].kind, parts[1].kind), (PartKind::Letter, PartKind::Accidental));
            assert!(parts.iter().all(|p| p.kind != PartKind::Accidental || p.text.chars().all(|c| "b#".contains(c))));
            assert!(parts.iter().all(|p| !p.text.is_empty()));
        }
    }
}

#[test]
fn the_words_for_the_spellings_are_read_back() {
    for (word, style) in [("plain", Style::Plain), ("capital", Style::Capital), ("signs", Style::Signs)] {
        assert_eq!(Style::parse(word), Ok(style));
        assert_eq!(style.name(), word);
    }
    assert!(Style::parse("loud\n").unwrap_err().starts_with("\"loud?\" is no spelling of chord signs"));
}

/// C. Harte, M. Sandler, S. Abdallah and E. Gómez, ISMIR 2005, table 1, which ends with sus4; the rest as mir_eval 0.8 reads them (`mir_eval.chord.QUALITIES`), 11 and 13 spelled out. From memory, both.
const SHORTHANDS: &str = "
maj 3 5 | min b3 5 | dim b3 b5 | aug 3 #5 | maj7 3 5 7 | min7 b3 5 b7 | 7 3 5 b7 | dim7 b3 b5 bb7 | hdim7 b3 b5 b7 | minmaj7 b3 5 7 | maj6 3 5 6 | min6 b3 5 6
9 3 5 b7 9 | maj9 3 5 7 9 | min9 b3 5 b7 9 | sus4 4 5
sus2 2 5 | 5 5 | 1 | 11 3 5 b7 9 11 | min11 b3 5 b7 9 11 | maj11 3 5 7 9 11 | 13 3 5 b7 9 11 13 | min13 b3 5 b7 9 11 13 | maj13 3 5 7 9 11 13";

#[test]
fn shorthands_of_labels() {
    let mut count = 0;
    for row in SHORTHANDS.split(['|', '\n']).map(str::trim).filter(|r| !r.is_empty()) {
        let mut cells = row.split_whitespace();
        let short = cells.next().unwrap();
        let read = Symbol::parse_harte(&format!("C:{short}")).unwrap();
        let tones: Vec<String> = read.tones.iter().map(ToString::to_string).filter(|t| t != "R").collect();
        assert_eq!(tones, cells.collect::<Vec<_>>(), "{short}");
        count += 1;
    }
    assert_eq!(count, 25);
}
