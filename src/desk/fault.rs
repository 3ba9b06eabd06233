//! Why something was not done.

/// Why something was not done, for the page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fault {
    /// The page does not show what is so now.
    Stale(String),
    /// It cannot be; in a sentence.
    Told(String),
}

impl<T: Into<String>> From<T> for Fault {
    fn from(told: T) -> Fault {
        Fault::Told(told.into())
    }
}

impl Fault {
    /// The disk refused.
    pub fn not_kept(fault: std::io::Error) -> Fault {
        Fault::Told(format!("this could not be kept: {fault}"))
    }
}
