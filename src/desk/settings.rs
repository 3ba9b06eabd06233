//! What else is to become of the copy, as the options of the commands say it.

use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};

/// The settings of a desk; in the file `desk.toml`.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case", default)]
pub struct Settings {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub edition: Option<PathBuf>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub source: Option<PathBuf>,
    /// Which lines are compared.
    #[serde(skip_serializing_if = "is_plain")]
    pub lines: LineSettings,
    /// Where the music is to go.
    #[serde(skip_serializing_if = "is_plain")]
    pub player: PlayerSettings,
    /// What stands on the pages.
    #[serde(skip_serializing_if = "is_plain")]
    pub pages: PageSettings,
}

#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case", default)]
pub struct LineSettings {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub part: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub source_part: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub staff: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub voice: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub source_staff: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub source_voice: Option<u32>,
}

#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case", default)]
pub struct PlayerSettings {
    /// Whose range counts.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub instrument: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub transpose: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub key: Option<String>,
    #[serde(rename = "for", skip_serializing_if = "Option::is_none")]
    pub written_for: Option<String>,
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub fit: bool,
}

#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case", default)]
pub struct PageSettings {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub title: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub subtitle: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub composer: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub paper: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub staff_size: Option<String>,
}

fn is_plain<T: Default + PartialEq>(settings: &T) -> bool {
    *settings == T::default()
}

impl Settings {
    /// # Errors
    /// With line and column, where the text is no file of settings.
    pub fn parse(text: &str) -> Result<Settings, toml::de::Error> {
        toml::from_str(text)
    }

    pub fn to_toml(&self) -> String {
        toml::to_string(self).expect("settings are plain data")
    }

    /// Whether other scores, or other lines of them, are compared than with other settings.
    pub fn opens_other_than(&self, old: &Settings) -> bool {
        self.files() != old.files() || self.lines != old.lines
    }

    /// Both files, where both are chosen.
    pub fn files(&self) -> Option<[&Path; 2]> {
        Some([self.edition.as_deref()?, self.source.as_deref()?])
    }
}

/// An option and its value. In one word: a value that begins with a dash is a value.
fn option(name: &str, value: impl std::fmt::Display) -> String {
    format!("--{name}={value}")
}

impl LineSettings {
    /// As options of `clean`.
    pub fn options(&self) -> Vec<String> {
        let names = [("part", &self.part), ("source-part", &self.source_part)];
        let numbers = [
            ("staff", self.staff),
            ("voice", self.voice),
            ("source-staff", self.source_staff),
            ("source-voice", self.source_voice),
        ];
        let names = names.into_iter().filter_map(|(name, value)| Some(option(name, value.as_ref()?)));
        names.chain(numbers.into_iter().filter_map(|(name, value)| Some(option(name, value?)))).collect()
    }
}

impl PlayerSettings {
    /// As options of `clean`.
    pub fn options(&self) -> Vec<String> {
        let all = [
            ("instrument", &self.instrument),
            ("transpose", &self.transpose),
            ("key", &self.key),
            ("for", &self.written_for),
        ];
        let mut out: Vec<String> =
            all.into_iter().filter_map(|(name, value)| Some(option(name, value.as_ref()?))).collect();
        out.extend(self.fit.then(|| "--fit".to_string()));
        out
    }
}

impl PageSettings {
    /// As options of `clean`; they need `--pdf`.
    pub fn options(&self) -> Vec<String> {
        let all = [
            ("title", &self.title),
            ("subtitle", &self.subtitle),
            ("composer", &self.composer),
            ("paper", &self.paper),
            ("staff-size", &self.staff_size),
        ];
        all.into_iter().filter_map(|(name, value)| Some(option(name, value.as_ref()?))).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn settings_come_back_from_their_own_text() {
        let text = "edition = \"/a/e.mxl\"\nsource = \"/a/s.mxl\"\n\n[lines]\npart = \"Oboe\"\n\n[player]\ninstrument = \"alto recorder\"\nkey = \"F major\"\nfit = true\n\n[pages]\ntitle = \"\"\n";
        let settings = Settings::parse(text).unwrap();
        assert_eq!(settings.to_toml(), text);
        assert_eq!(
            [settings.lines.options(), settings.player.options(), settings.pages.options()].concat(),
            ["--part=Oboe", "--instrument=alto recorder", "--key=F major", "--fit", "--title="]
        );
        assert!(Settings::parse("tempo = 3").is_err());
    }
}
