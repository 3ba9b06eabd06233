//! Marks from one place to another: hairpins, octave lines, pedals, slurs and their like.

/// A hairpin, and where it comes from or goes to nothing.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Hairpin {
    /// Which way it opens.
    pub kind: HairpinKind,
    /// It begins with a circle.
    pub from_nothing: bool,
    /// It ends with a circle.
    pub to_nothing: bool,
}

/// Which way a hairpin opens.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum HairpinKind {
    /// Louder.
    Crescendo,
    /// Softer.
    Diminuendo,
    /// The file calls it otherwise.
    Other(String),
}

/// A line that prints notes in another octave.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct OctaveLine {
    /// 8, 15 or 22.
    pub size: u32,
    /// None where the file does not say.
    pub side: Option<StaffSide>,
}

/// Where an octave line stands; above it the notes sound higher than they are printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum StaffSide {
    /// The notes sound higher than they are printed.
    Above,
    /// The notes sound lower than they are printed.
    Below,
}

/// What a pedal mark says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Pedal {
    /// The pedal for all strings.
    Sustain,
    /// The middle pedal.
    Sostenuto,
    /// Up and down again at once.
    Change,
}

/// Which line it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum LineKind {
    /// A slur.
    Slur,
    /// A wavy or straight line from note to note, all notes between sounding.
    Glissando,
    /// The same, sliding.
    Slide,
    /// A bracket over or under the staff.
    Bracket,
    /// Dashes that lead on from words.
    Dashes,
    /// The bracket of a principal voice.
    PrincipalVoice,
    /// A string struck by a finger.
    HammerOn,
    /// A string plucked by a finger.
    PullOff,
}

impl LineKind {
    /// As its element is called.
    pub fn name(self) -> &'static str {
        match self {
            LineKind::Slur => "slur",
            LineKind::Glissando => "glissando",
            LineKind::Slide => "slide",
            LineKind::Bracket => "bracket",
            LineKind::Dashes => "dashes",
            LineKind::PrincipalVoice => "principal-voice",
            LineKind::HammerOn => "hammer-on",
            LineKind::PullOff => "pull-off",
        }
    }
}

impl Hairpin {
    /// One that opens.
    pub fn crescendo() -> Hairpin {
        Hairpin { kind: HairpinKind::Crescendo, from_nothing: false, to_nothing: false }
    }

    /// One that closes.
    pub fn diminuendo() -> Hairpin {
        Hairpin { kind: HairpinKind::Diminuendo, ..Hairpin::crescendo() }
    }
}

impl OctaveLine {
    /// The size of a line that names none.
    pub const USUAL: u32 = 8;

    /// How many octaves its notes are printed higher than they sound; `None` of a size that is not whole octaves.
    pub fn octaves(self) -> Option<i32> {
        let octaves = match self.size {
            8 => 1,
            15 => 2,
            22 => 3,
            _ => return None,
        };
        Some(if self.side == Some(StaffSide::Above) { -octaves } else { octaves })
    }
}

impl HairpinKind {
    pub(super) fn name(&self) -> &str {
        match self {
            HairpinKind::Crescendo => "crescendo",
            HairpinKind::Diminuendo => "diminuendo",
            HairpinKind::Other(name) => name,
        }
    }
}
