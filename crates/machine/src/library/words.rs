//! Texts for people: templates filled with a device's names, in every language there is.

use std::collections::BTreeMap;

use crate::model::Words;
use crate::tree::{Table, Value};

/// Translations by language, then by key or by English text.
#[derive(Clone, Debug, Default)]
pub struct Translations {
    languages: BTreeMap<String, BTreeMap<String, String>>,
}

/// What the places in a template such as `{tag}` stand for, in every language.
#[derive(Clone, Debug, Default)]
pub struct Filling {
    places: Vec<(&'static str, Words)>,
}

impl Filling {
    /// A filling with one more place whose text is the same in all languages, such as a tag.
    #[must_use]
    pub fn with(self, place: &'static str, text: impl Into<String>) -> Self {
        self.with_words(place, Words::plain(text))
    }

    /// A filling with one more place.
    #[must_use]
    pub fn with_words(mut self, place: &'static str, words: Words) -> Self {
        self.places.push((place, words));
        self
    }

    /// Fills a template of one language. Places whose text is empty go, together with parentheses
    /// that held nothing else.
    ///
    /// ```
    /// use machine::library::Filling;
    /// let filling = Filling::default().with("tag", "B1").with("place", "");
    /// assert_eq!(filling.fill("Look at {tag} ({place}). Lit?", "en"), "Look at B1. Lit?");
    /// ```
    #[must_use]
    pub fn fill(&self, template: &str, language: &str) -> String {
        let mut text = template.to_string();
        if !text.contains('{') {
            return text;
        }
        for (place, words) in &self.places {
            let filled = words.in_language(language);
            let mark = format!("{{{place}}}");
            if filled.is_empty() {
                text = text.replace(&format!(" ({mark})"), "").replace(&format!(", {mark}"), "");
            }
            text = text.replace(&mark, filled);
        }
        text
    }
}

impl Translations {
    /// Takes the translations of a file: either `language = "de"` with `[text]`, or `[words.de]` tables.
    pub fn add_file(&mut self, root: &Table) {
        if let (Some(language), Some(text)) = (root.string("language"), root.table("text")) {
            self.add_table(&language, "", text);
        }
        for entry in root.entries_of("words") {
            if let Some(table) = entry.node.table() {
                self.add_table(&entry.key, "", table);
            }
        }
    }

    /// Takes the texts of a table; the keys of tables within it are joined by dots.
    pub fn add_table(&mut self, language: &str, prefix: &str, table: &Table) {
        for entry in &table.entries {
            let key = if prefix.is_empty() { entry.key.clone() } else { format!("{prefix}.{}", entry.key) };
            match &entry.node.value {
                Value::Text(text) => {
                    let texts = self.languages.entry(language.to_string()).or_default();
                    texts.insert(key, text.text.clone());
                }
                Value::Table(inner) => self.add_table(language, &key, inner),
                _ => {}
            }
        }
    }

    /// The languages there are translations into.
    pub fn languages(&self) -> impl Iterator<Item = &str> {
        self.languages.keys().map(String::as_str)
    }

    /// A text with its translations, looked up by key and then by the English text, and filled.
    #[must_use]
    pub fn words(&self, key: &str, english: &str, filling: &Filling) -> Words {
        let translations = self.languages.iter().filter_map(|(language, texts)| {
            let text = texts.get(key).or_else(|| texts.get(english))?;
            Some((language.clone(), filling.fill(text, language)))
        });
        Words { key: key.to_string(), english: filling.fill(english, "en"), translations: translations.collect() }
    }
}
