//! A folder of a test's own.

pub struct Desk {
    pub folder: tempfile::TempDir,
}

impl Desk {
    pub fn new() -> Desk {
        Desk { folder: tempfile::tempdir().unwrap() }
    }

    /// With an edition and its source, `edition.musicxml` and `source.musicxml`.
    pub fn with(edition: &str, source: &str) -> Desk {
        let desk = Desk::new();
        desk.write("edition.musicxml", edition);
        desk.write("source.musicxml", source);
        desk
    }

    pub fn at(&self, name: &str) -> String {
        self.folder.path().join(name).to_str().unwrap().to_string()
    }

    pub fn read(&self, name: &str) -> String {
        std::fs::read_to_string(self.at(name)).unwrap()
    }

    /// Writes a file and gives its place.
    pub fn write(&self, name: &str, text: &str) -> String {
        std::fs::write(self.at(name), text).unwrap();
        self.at(name)
    }
}
