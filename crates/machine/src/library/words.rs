//! Texts for people: templates filled with a device's names, in every language there is.

use std::collections::BTreeMap;

use crate::model::Words;
use crate::tree::{Table, Value};

/// Translations by language, then by key or by English text.
#[derive(Clone, Debug, Default)]
pub struct Translations {
    languages: BTreeMap<String, BTreeMap<String, String>>,
}

/// What the places in a template such as `{tag}` stand for.
#[derive(Clone, Debug, Default)]
pub struct Filling {
    places: Vec<(&'static str, String)>,
}

impl Filling {
    /// A filling with one more place.
    #[must_use]
    pub fn with(mut self, place: &'static str, text: impl Into<String>) -> Self {
        self.places.push((place, text.into()));
        self
    }

    /// Fills a template. Places whose text is empty go, together with parentheses that held nothing else.
    ///
    /// ```
    /// use machine::library::Filling;
    /// let filling = Filling::default().with("tag", "B1").with("place", "");
    /// assert_eq!(filling.fill("Look at {tag} ({place}). Lit?"), "Look at B1. Lit?");
    /// ```
    #[must_use]
    pub fn fill(&self, template: &str) -> String {
        let mut text = template.to_string();
        for (place, filled) in &self.places {
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
            Some((language.clone(), filling.fill(text)))
        });
        Words { key: key.to_string(), english: filling.fill(english), translations: translations.collect() }
    }
}
