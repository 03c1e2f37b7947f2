//! The languages in which sheets are printed, and the labels that are the sheets' own.
//!
//! Texts about the machine come with their translations from the machine file and the device
//! library; what has none there stays English. The labels here were not reviewed by native
//! speakers of German and Spanish.

use serde::Serialize;

/// A language in which sheets are printed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize)]
pub enum Language {
    /// English.
    #[default]
    English,
    /// German.
    German,
    /// Spanish.
    Spanish,
}

impl Language {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::English, Self::German, Self::Spanish];

    /// The language tag, such as `de`.
    #[must_use]
    pub fn tag(self) -> &'static str {
        match self {
            Self::English => "en",
            Self::German => "de",
            Self::Spanish => "es",
        }
    }

    /// A text with numbers written with a point and a hyphen, as this language writes them.
    pub(crate) fn numbers(self, text: &str) -> String {
        let text = diagnose::wording::with_minus(text);
        match self {
            Self::English => text,
            Self::German | Self::Spanish => text.replace('.', ","),
        }
    }

    /// A time, its number and its unit on one line.
    pub(crate) fn duration(self, ms: u64) -> String {
        self.numbers(&diagnose::wording::duration(ms)).replace(' ', "\u{a0}")
    }
}

/// A text of the sheets themselves, in all languages: English, German, Spanish.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Label([&'static str; 3]);

impl Label {
    pub const fn new(english: &'static str, german: &'static str, spanish: &'static str) -> Self {
        Self([english, german, spanish])
    }

    pub fn of(self, language: Language) -> &'static str {
        match language {
            Language::English => self.0[0],
            Language::German => self.0[1],
            Language::Spanish => self.0[2],
        }
    }

    /// With the places `{}` filled one after the other.
    pub fn fill(self, language: Language, texts: &[&str]) -> String {
        let mut parts = self.of(language).split("{}");
        let mut filled = parts.next().unwrap_or_default().to_owned();
        for (index, part) in parts.enumerate() {
            filled.push_str(texts.get(index).copied().unwrap_or_default());
            filled.push_str(part);
        }
        filled
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_have_the_comma_of_their_language_and_stay_with_their_unit() {
        assert_eq!(Language::ALL.map(|language| language.duration(2_500)), ["2.5\u{a0}s", "2,5\u{a0}s", "2,5\u{a0}s"]);
        assert_eq!(Language::German.numbers("3.7 h"), "3,7 h");
        assert_eq!(Language::ALL.map(|language| language.numbers("-5")), ["\u{2212}5"; 3]);
    }
}
