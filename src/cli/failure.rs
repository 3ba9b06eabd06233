//! Why a command stopped, and the exit status that says so to scripts.

use crate::{LineError, WishError, clean, instrument, musicxml, readable};

const WRONG_USE: u8 = 2;
const UNREADABLE: u8 = 3;
const UNPROVED: u8 = 4;

#[derive(Debug)]
pub struct Failure {
    pub status: u8,
    message: String,
}

impl Failure {
    pub fn wrong_use(message: impl Into<String>) -> Failure {
        Failure { status: WRONG_USE, message: message.into() }
    }

    pub fn unreadable(message: impl Into<String>) -> Failure {
        Failure { status: UNREADABLE, message: message.into() }
    }

    /// The message on one line, whatever it quotes.
    pub fn line(&self) -> String {
        readable::message(&self.message)
    }
}

impl From<musicxml::Error> for Failure {
    fn from(error: musicxml::Error) -> Failure {
        Failure { status: UNREADABLE, message: error.to_string() }
    }
}

/// A result that is not what it should be is never written.
impl From<clean::Failure> for Failure {
    fn from(error: clean::Failure) -> Failure {
        match error {
            clean::Failure::Line(error) => not_there(&error, ""),
            clean::Failure::Unsupported(_) | clean::Failure::Decision(_) | clean::Failure::Sheet(_) => {
                Failure::wrong_use(error.to_string())
            }
            _ => Failure { status: UNPROVED, message: format!("{error}; nothing was written") },
        }
    }
}

/// A table that cannot be read is an unreadable input, a name that is not in
/// it wrong use.
impl From<instrument::Error> for Failure {
    fn from(error: instrument::Error) -> Failure {
        let status = match error {
            instrument::Error::Unknown { .. } => WRONG_USE,
            _ => UNREADABLE,
        };
        Failure { status, message: error.to_string() }
    }
}

impl From<WishError> for Failure {
    fn from(error: WishError) -> Failure {
        match error {
            WishError::Line(error) => not_there(&error, ""),
            // The options of the source's line have other names.
            WishError::SourceLine(error) => not_there(&error, "source-"),
            WishError::Instrument(error) => error.into(),
            WishError::Bars(error) => Failure::wrong_use(error.to_string()),
            WishError::Exercises(error) => Failure::wrong_use(error.to_string()),
        }
    }
}

/// `side` begins the names of the options of that side's line.
fn not_there(error: &LineError, side: &str) -> Failure {
    Failure::wrong_use(match error {
        LineError::WhichPart { file, by_staff } => {
            let option = if *by_staff { "staff" } else { "voice" };
            format!("{file} has several parts; --{side}{option} needs one of them: name it with --{side}part")
        }
        _ => error.to_string(),
    })
}
