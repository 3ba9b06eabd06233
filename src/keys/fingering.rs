//! One way to finger a note on a recorder.

/// One way to finger a note.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Fingering {
    pub thumb: Thumb,
    /// The holes 1 to 7.
    pub holes: [Hole; 7],
    /// The bell is closed: there is no true fingering.
    pub bell: bool,
    /// 1 to 3, from the bottom.
    pub register: u8,
    /// Not the first choice of the charts.
    pub alternative: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Thumb {
    Closed,
    Open,
    /// Half open.
    Pinched,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hole {
    Closed,
    Open,
    /// One of a double hole.
    Half,
}

impl Fingering {
    /// Reads `O 123 45½-`. The sign in each place is its figure, `½` or `-`.
    pub(super) fn parse(text: &str) -> Option<Fingering> {
        let mut signs = text.chars().filter(|c| *c != ' ');
        let thumb = match signs.next()? {
            'O' => Thumb::Closed,
            '-' => Thumb::Open,
            '/' => Thumb::Pinched,
            _ => return None,
        };
        let mut holes = [Hole::Open; 7];
        for (hole, figure) in holes.iter_mut().zip('1'..='7') {
            *hole = match signs.next()? {
                '-' => Hole::Open,
                '½' => Hole::Half,
                c if c == figure => Hole::Closed,
                _ => return None,
            };
        }
        let whole = signs.next().is_none();
        whole.then_some(Fingering { thumb, holes, bell: false, register: 1, alternative: false })
    }

    /// An open hole above a closed one.
    pub fn is_forked(&self) -> bool {
        let open = self.holes.iter().position(|h| *h == Hole::Open);
        open.is_some_and(|first| self.holes[first..].iter().any(|h| *h != Hole::Open))
    }

    pub fn has_half_hole(&self) -> bool {
        self.holes.contains(&Hole::Half)
    }

    pub fn is_pinched(&self) -> bool {
        self.thumb == Thumb::Pinched
    }
}
