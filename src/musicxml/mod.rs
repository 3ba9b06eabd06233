//! The only room that knows MusicXML's element names.

mod error;
mod marks;
mod open;
mod read;
mod spans;
mod tree;
mod words;

pub use error::Error;
pub use open::Input;
pub use read::{Reading, read};
pub use tree::Tree;
