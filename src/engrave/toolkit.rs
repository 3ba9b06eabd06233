//! The engraving library behind a few safe words.

use super::clefs::before_barlines;
use super::owners::told;
use std::mem::ManuallyDrop;
use std::pin::Pin;
use verovio_sys::ffi;

/// One document in the engraver's memory.
pub struct Toolkit<'t>(Pin<&'t mut ffi::Toolkit>);

impl Toolkit<'_> {
    /// Does some work with a toolkit that finds its fonts in a folder; `None`
    /// where they are not.
    pub fn with<T>(resources: &str, work: impl FnOnce(&mut Toolkit) -> T) -> Option<T> {
        // Its remarks would go to the terminal.
        ffi::enable_log(0);
        // The process ends after this: to take a score apart note by note would be for nothing.
        let mut own = ManuallyDrop::new(ffi::new_toolkit(false));
        let found = ffi::set_resource_path(own.pin_mut(), resources);
        found.then(|| work(&mut Toolkit(own.pin_mut())))
    }

    /// Adds to the options that are set; JSON.
    pub fn set(&mut self, options: &serde_json::Value) -> bool {
        ffi::set_options(self.0.as_mut(), &options.to_string())
    }

    /// Reads MusicXML or MEI.
    pub fn load(&mut self, music: &str) -> bool {
        ffi::load_data(self.0.as_mut(), music)
    }

    /// Reads MusicXML, and then what becomes of the MEI that was made of it.
    pub fn load_changed(&mut self, music: &str, change: impl FnOnce(&str) -> Option<String>) -> bool {
        if !self.load(music) {
            return false;
        }
        let changed = before_barlines(&self.mei()).and_then(|mei| told(&change(&mei)?));
        changed.is_some_and(|changed| self.load(&changed))
    }

    pub fn mei(&mut self) -> String {
        ffi::get_mei(self.0.as_mut(), "{}")
    }

    /// Every page as SVG.
    pub fn pages(&mut self) -> Vec<String> {
        let count = ffi::page_count(self.0.as_mut());
        (1..=count).map(|page| ffi::render_to_svg(self.0.as_mut(), page, false)).collect()
    }
}
