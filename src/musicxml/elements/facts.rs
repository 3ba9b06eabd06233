//! What can be known about an element.

use crate::musicxml::spans::Kind;
use crate::score::Category;
use crate::score::sign::LineKind;

/// What is known about an element, wherever it stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Facts {
    pub name: &'static str,
    /// Attributes that change what it says.
    pub telling: &'static [&'static str],
    /// The text of its plain form, which is the same as no text.
    pub plain: Option<&'static str>,
    /// Whether a mark sheet can ask for it by its name.
    pub by_name: bool,
    /// It starts at one place and stops at another.
    pub span: Option<Kind>,
    /// Whether it moves the time on in a bar, or stands at a time.
    pub timing: Timing,
    /// Whether it holds from bar to bar until something else is said.
    pub lasts: bool,
    /// When it goes because of what goes out of it.
    pub falls: Falls,
    /// Of a holder of signs: the element that brackets beside a sign are made of.
    pub brackets: Option<&'static str>,
    /// Of a holder: what an element in it is that the schema does not know.
    pub others: Option<Category>,
    pub look: Look,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Timing {
    None,
    Moves,
    Stands,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Falls {
    Never,
    /// It says nothing once its children are gone.
    WithLastChild,
    /// The same of its children of a name.
    WithLast(&'static str),
}

/// In which ways an element can look unlike others.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Look {
    /// As a line that is dashed, dotted or wavy.
    pub line: bool,
    pub enclosed: Enclosed,
    /// In a box or an oval.
    pub boxed: bool,
    pub lettering: Lettering,
    /// In a colour of its own.
    pub colored: bool,
}

/// How brackets around an element are said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Enclosed {
    /// By an element on each side, where its holder has one for it.
    Beside,
    /// By no means.
    Never,
    /// In its text.
    InText,
    /// By these attributes.
    By(&'static [&'static str]),
    /// Around its notehead.
    Head,
}

/// What size and slant of type an element can have.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lettering {
    /// A sign's among other signs, else none.
    OfHolder,
    None,
    Sign,
    Words,
    Fingering,
}

/// An element of which nothing out of the ordinary is known.
pub(super) const fn element(name: &'static str) -> Facts {
    Facts {
        name,
        telling: &[],
        plain: None,
        by_name: false,
        span: None,
        timing: Timing::None,
        lasts: false,
        falls: Falls::Never,
        brackets: None,
        others: None,
        look: Look {
            line: false,
            enclosed: Enclosed::Beside,
            boxed: false,
            lettering: Lettering::OfHolder,
            colored: true,
        },
    }
}

impl Facts {
    pub(super) const fn telling(self, telling: &'static [&'static str]) -> Facts {
        Facts { telling, ..self }
    }

    pub(super) const fn plain(self, text: &'static str) -> Facts {
        Facts { plain: Some(text), ..self }
    }

    pub(super) const fn by_name(self) -> Facts {
        Facts { by_name: true, ..self }
    }

    pub(super) const fn span(self, kind: Kind) -> Facts {
        Facts { span: Some(kind), ..self }
    }

    pub(super) const fn moves_time(self) -> Facts {
        Facts { timing: Timing::Moves, ..self }
    }

    pub(super) const fn stands_in_time(self) -> Facts {
        Facts { timing: Timing::Stands, ..self }
    }

    pub(super) const fn lasts(self) -> Facts {
        Facts { lasts: true, ..self }
    }

    pub(super) const fn falls_when_empty(self) -> Facts {
        Facts { falls: Falls::WithLastChild, ..self }
    }

    pub(super) const fn falls_without(self, child: &'static str) -> Facts {
        Facts { falls: Falls::WithLast(child), ..self }
    }

    /// A holder of signs, the element of its brackets, and what others in it are.
    pub(super) const fn holder(self, brackets: Option<&'static str>, others: Category) -> Facts {
        Facts { brackets, others: Some(others), ..self.falls_when_empty() }
    }

    pub(super) const fn line(self) -> Facts {
        Facts { look: Look { line: true, ..self.look }, ..self }
    }

    const fn enclosed(self, enclosed: Enclosed) -> Facts {
        Facts { look: Look { enclosed, ..self.look }, ..self }
    }

    pub(super) const fn enclosed_by(self, attributes: &'static [&'static str]) -> Facts {
        self.enclosed(Enclosed::By(attributes))
    }

    pub(super) const fn enclosed_in_text(self) -> Facts {
        self.enclosed(Enclosed::InText)
    }

    pub(super) const fn enclosed_at_head(self) -> Facts {
        self.enclosed(Enclosed::Head)
    }

    /// A line, or at a stem: nothing can stand beside it.
    pub(super) const fn unenclosed(self) -> Facts {
        self.enclosed(Enclosed::Never)
    }

    pub(super) const fn boxed(self) -> Facts {
        Facts { look: Look { boxed: true, ..self.look }, ..self }
    }

    const fn lettering(self, lettering: Lettering) -> Facts {
        Facts { look: Look { lettering, ..self.look }, ..self }
    }

    pub(super) const fn type_of_words(self) -> Facts {
        self.lettering(Lettering::Words)
    }

    pub(super) const fn type_of_fingering(self) -> Facts {
        self.lettering(Lettering::Fingering)
    }

    pub(super) const fn type_of_sign(self) -> Facts {
        self.lettering(Lettering::Sign)
    }

    pub(super) const fn of_one_size(self) -> Facts {
        self.lettering(Lettering::None)
    }

    pub(super) const fn uncolored(self) -> Facts {
        Facts { look: Look { colored: false, ..self.look }, ..self }
    }

    /// Whether it moves the time on, or stands in it.
    pub fn is_music(&self) -> bool {
        self.timing != Timing::None
    }

    /// Whether a number keeps one such span from another.
    pub fn is_numbered(&self) -> bool {
        !matches!(self.span, None | Some(Kind::Ending | Kind::Tremolo | Kind::Line(LineKind::PrincipalVoice)))
    }
}
