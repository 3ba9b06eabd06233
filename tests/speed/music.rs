//! Made music of any size: a source, and an edition of it a major second
//! higher, with an editor's marks and some bars cut.

use std::fmt::Write;

/// What is made; the same numbers make the same music.
#[derive(Clone, Copy)]
pub struct Piece {
    pub seed: u64,
    pub parts: usize,
    pub bars: usize,
}

/// A chord or a rest; lengths in 8ths of a quarter note, pitches as places on the staff, C0 being 0.
struct Chord {
    length: usize,
    places: Vec<usize>,
    tie: bool,
    tied: bool,
}

const BAR: usize = 32;
const RHYTHMS: [&[usize]; 7] =
    [&[8, 8, 8, 8], &[4; 8], &[16, 8, 8], &[4, 4, 8, 4, 4, 8], &[2; 16], &[12, 4, 8, 4, 4], &[8, 4, 4, 2, 2, 2, 2, 8]];
const LOW_RHYTHMS: [&[usize]; 3] = [&[16, 16], &[32], &[8, 8, 16]];
const LETTERS: [char; 7] = ['C', 'D', 'E', 'F', 'G', 'A', 'B'];

impl Piece {
    /// Chance without a state, so that edition and source can leave each other's numbers alone.
    fn dice(&self, of: [usize; 4], sides: usize) -> usize {
        let mut mixed = self.seed;
        for n in of {
            mixed = (mixed ^ n as u64).wrapping_add(0x9E37_79B9_7F4A_7C15).wrapping_mul(0xBF58_476D_1CE4_E5B9);
            mixed ^= mixed >> 29;
        }
        (mixed % sides as u64) as usize
    }

    /// All bars of one voice of a part, a melody in steps and small leaps.
    fn voice(&self, part: usize, voice: usize) -> Vec<Vec<Chord>> {
        let middle = if voice == 0 { 36 } else { 26 };
        let mut place = middle;
        let mut open: Option<Vec<usize>> = None;
        let mut bars = Vec::new();
        for bar in 0..self.bars {
            let die = |at: usize, what: usize, sides: usize| self.dice([part * 2 + voice, bar, at, what], sides);
            let rhythms: &[&[usize]] = if voice == 0 { &RHYTHMS } else { &LOW_RHYTHMS };
            let mut chords: Vec<Chord> = Vec::new();
            for (at, length) in rhythms[die(0, 0, rhythms.len())].iter().enumerate() {
                place = (place + [4, 5, 6, 7, 8, 9, 3, 6, 8][die(at, 1, 9)] - 6).clamp(middle - 8, middle + 8);
                let mut places = vec![place];
                if die(at, 2, 4 - 2 * voice) == 0 {
                    places.push(place + 2);
                }
                if die(at, 3, 20) == 0 {
                    places.clear();
                }
                let before = open.take();
                let tied = before.is_some();
                let places = before.unwrap_or(places);
                let last = at + 1 == rhythms[die(0, 0, rhythms.len())].len();
                let tie = last && !places.is_empty() && bar + 1 < self.bars && die(at, 4, 5) == 0;
                open = tie.then(|| places.clone());
                chords.push(Chord { length: *length, places, tie, tied });
            }
            bars.push(chords);
        }
        bars
    }

    pub fn source(&self) -> String {
        self.write(false)
    }

    pub fn edition(&self) -> String {
        self.write(true)
    }

    fn write(&self, edition: bool) -> String {
        let mut out = String::from(concat!(
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n",
            "<!DOCTYPE score-partwise PUBLIC \"-//Recordare//DTD MusicXML 4.0 Partwise//EN\" ",
            "\"http://www.musicxml.org/dtds/partwise.dtd\">\n",
            "<score-partwise version=\"4.0\">\n  <work>\n    <work-title>Made music</work-title>\n  </work>\n  <part-list>\n"
        ));
        for part in 1..=self.parts {
            let _ = write!(
                out,
                "    <score-part id=\"P{part}\">\n      <part-name>Part {part}</part-name>\n    </score-part>\n"
            );
        }
        out.push_str("  </part-list>\n");
        for part in 0..self.parts {
            let _ = writeln!(out, "  <part id=\"P{}\">", part + 1);
            let (high, low) = (self.voice(part, 0), self.voice(part, 1));
            let mut writer = Writer { piece: self, out, part, edition, slur: false };
            let mut number = 0;
            for bar in 0..self.bars {
                // All parts are cut at the same bars.
                if edition && bar % 97 == 50 {
                    continue;
                }
                number += 1;
                writer.bar(bar, number, &high[bar], &low[bar]);
            }
            out = writer.out;
            out.push_str("  </part>\n");
        }
        out.push_str("</score-partwise>\n");
        out
    }

    /// The notes of the source, rests left out.
    pub fn notes(&self) -> usize {
        let voices = (0..self.parts).flat_map(|p| [self.voice(p, 0), self.voice(p, 1)]);
        voices.flatten().flatten().map(|chord| chord.places.len()).sum()
    }
}

struct Writer<'a> {
    piece: &'a Piece,
    out: String,
    part: usize,
    edition: bool,
    slur: bool,
}

impl Writer<'_> {
    fn die(&self, bar: usize, at: usize, what: usize, sides: usize) -> usize {
        self.piece.dice([self.part, bar, at, 100 + what], sides)
    }

    fn bar(&mut self, bar: usize, number: usize, high: &[Chord], low: &[Chord]) {
        let _ = writeln!(self.out, "    <measure number=\"{number}\" width=\"{}.{:02}\">", 180 + bar % 60, bar % 100);
        if bar.is_multiple_of(4) {
            self.out.push_str("      <print>\n        <system-layout>\n          <system-margins>\n            <left-margin>0.00</left-margin>\n            <right-margin>0.00</right-margin>\n          </system-margins>\n          <system-distance>150.00</system-distance>\n        </system-layout>\n      </print>\n");
        }
        if number == 1 {
            let fifths = if self.edition { 2 } else { 0 };
            let _ = write!(
                self.out,
                "      <attributes>\n        <divisions>8</divisions>\n        <key>\n          <fifths>{fifths}</fifths>\n        </key>\n        <time>\n          <beats>4</beats>\n          <beat-type>4</beat-type>\n        </time>\n        <clef>\n          <sign>G</sign>\n          <line>2</line>\n        </clef>\n      </attributes>\n"
            );
        }
        if self.die(bar, 0, 0, 6) == 0 {
            self.dynamics(["p", "f", "mf"][self.die(bar, 0, 1, 3)]);
        } else if self.edition && self.die(bar, 0, 2, 4) == 0 {
            self.dynamics(["pp", "ff", "mp"][self.die(bar, 0, 3, 3)]);
        }
        for (at, chord) in high.iter().enumerate() {
            self.chord(bar, at, chord, 1);
        }
        let _ = write!(self.out, "      <backup>\n        <duration>{BAR}</duration>\n      </backup>\n");
        for (at, chord) in low.iter().enumerate() {
            self.chord(bar, at, chord, 2);
        }
        self.out.push_str("    </measure>\n");
    }

    fn dynamics(&mut self, sign: &str) {
        let _ = write!(
            self.out,
            "      <direction placement=\"below\">\n        <direction-type>\n          <dynamics default-x=\"6.58\" default-y=\"-40.00\" relative-y=\"-25.00\">\n            <{sign}/>\n          </dynamics>\n        </direction-type>\n        <sound dynamics=\"88.89\"/>\n      </direction>\n"
        );
    }

    fn chord(&mut self, bar: usize, at: usize, chord: &Chord, voice: usize) {
        let (kind, dot) = match chord.length {
            32 => ("whole", ""),
            16 => ("half", ""),
            12 => ("quarter", "        <dot/>\n"),
            8 => ("quarter", ""),
            4 => ("eighth", ""),
            _ => ("16th", ""),
        };
        let length = chord.length;
        let timing = format!("        <duration>{length}</duration>\n");
        let end = format!("        <voice>{voice}</voice>\n        <type>{kind}</type>\n{dot}");
        if chord.places.is_empty() {
            let _ = write!(self.out, "      <note>\n        <rest/>\n{timing}{end}      </note>\n");
            return;
        }
        let notations = self.notations(bar, at, chord, voice);
        for (index, place) in chord.places.iter().enumerate() {
            let x = 80 + 23 * at;
            let _ = writeln!(self.out, "      <note default-x=\"{x}.{at:02}\" default-y=\"-{place}.00\">");
            if index > 0 {
                self.out.push_str("        <chord/>\n");
            }
            self.pitch(*place);
            self.out.push_str(&timing);
            if chord.tied {
                self.out.push_str("        <tie type=\"stop\"/>\n");
            }
            if chord.tie {
                self.out.push_str("        <tie type=\"start\"/>\n");
            }
            let stem = if voice == 1 { "up" } else { "down" };
            let _ = writeln!(self.out, "{end}        <stem>{stem}</stem>");
            if length < 8 {
                let beam = if at.is_multiple_of(2) { "begin" } else { "end" };
                let _ = writeln!(self.out, "        <beam number=\"1\">{beam}</beam>");
            }
            if index == 0 {
                self.out.push_str(&notations);
            } else if chord.tie || chord.tied {
                let tied = tied(chord);
                let _ = write!(self.out, "        <notations>\n{tied}        </notations>\n");
            }
            self.out.push_str("      </note>\n");
        }
    }

    fn pitch(&mut self, place: usize) {
        // Up a major second from C major: only what was E and B needs a sharp.
        let (place, sharp) =
            if self.edition { (place + 1, matches!(LETTERS[place % 7], 'E' | 'B')) } else { (place, false) };
        let alter = if sharp { "          <alter>1</alter>\n" } else { "" };
        let (step, octave) = (LETTERS[place % 7], place / 7);
        let _ = write!(
            self.out,
            "        <pitch>\n          <step>{step}</step>\n{alter}          <octave>{octave}</octave>\n        </pitch>\n"
        );
    }

    fn notations(&mut self, bar: usize, at: usize, chord: &Chord, voice: usize) -> String {
        let mut all = tied(chord);
        if voice == 1 && at == 0 && !self.slur && self.die(bar, at, 4, if self.edition { 3 } else { 6 }) == 0 {
            all.push_str("          <slur type=\"start\" placement=\"above\" number=\"1\"/>\n");
            self.slur = true;
        } else if voice == 1 && at == 3 && self.slur {
            all.push_str("          <slur type=\"stop\" number=\"1\"/>\n");
            self.slur = false;
        }
        let sides = if self.edition { 6 } else { 12 };
        if self.die(bar, at, 5 + voice, sides) == 0 {
            all.push_str("          <articulations>\n            <staccato placement=\"above\" default-x=\"3.51\" default-y=\"12.5\"/>\n          </articulations>\n");
        }
        if self.edition && self.die(bar, at, 7 + voice, 9) == 0 {
            let finger = 1 + at % 5;
            let _ = write!(
                all,
                "          <technical>\n            <fingering placement=\"above\">{finger}</fingering>\n          </technical>\n"
            );
        }
        if all.is_empty() { all } else { format!("        <notations>\n{all}        </notations>\n") }
    }
}

fn tied(chord: &Chord) -> String {
    let mut out = String::new();
    if chord.tied {
        out.push_str("          <tied type=\"stop\"/>\n");
    }
    if chord.tie {
        out.push_str("          <tied type=\"start\"/>\n");
    }
    out
}
