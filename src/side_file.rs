//! Files beside a score: mark sheets, decisions, tables. They are short texts; what has no end or no measure is not
//! read to it.

use std::fs::File;
use std::io::{self, ErrorKind, Read};
use std::path::Path;

/// Bytes of one of them: over a hundred thousand decisions.
const MOST: u64 = 8 << 20;
/// Signs between its words. Each may cost some hundred bytes of memory once it is read.
const MOST_SIGNS: usize = 500_000;

/// The bytes of a file.
///
/// # Errors
/// Where it cannot be read, or holds more than any such file.
pub fn read(path: &Path) -> io::Result<Vec<u8>> {
    bounded(File::open(path)?)
}

fn bounded(file: impl Read) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    file.take(MOST + 1).read_to_end(&mut bytes)?;
    measure(&bytes).map_err(|reason| io::Error::new(ErrorKind::FileTooLarge, reason))?;
    Ok(bytes)
}

/// Refuses what is more than any such file.
///
/// # Errors
/// What is too much.
pub fn measure(bytes: &[u8]) -> Result<(), String> {
    if bytes.len() as u64 > MOST {
        return Err(format!("larger than {} MB, which no file beside a score is", MOST >> 20));
    }
    let signs = bytes.iter().filter(|b| matches!(b, b'\n' | b'\r' | b'=' | b',' | b'.' | b'[' | b'{')).count();
    if signs > MOST_SIGNS {
        return Err(format!("more than {MOST_SIGNS} lines and values, which no file beside a score has"));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_file_is_read_beyond_its_measure() {
        let said = |file: &mut dyn Read| bounded(file).unwrap_err().to_string();
        assert!(said(&mut io::repeat(0)).contains("larger than 8 MB"));
        assert!(said(&mut io::repeat(b'\n').take(500_001)).contains("more than 500000 lines"));
        assert!(said(&mut io::repeat(b',').take(500_001)).contains("more than 500000 lines"));
        assert_eq!(bounded(io::repeat(b'a').take(MOST)).unwrap().len() as u64, MOST);
        assert_eq!(bounded(io::repeat(b'\n').take(500_000)).unwrap().len(), 500_000);
    }
}
