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
    places: Vec<Place>,
}

/// A place in a template: its name, its text, and what is said if that is empty and a sentence needs something.
#[derive(Clone, Debug, Default)]
struct Place {
    name: &'static str,
    words: Words,
    instead: Words,
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
        self.places.push(Place { name: place, words, ..Place::default() });
        self
    }

    /// A filling with one more place. Without a text it goes with its parentheses, and elsewhere `instead` stands there: an
    /// output without a lamp has no label, but a tag.
    #[must_use]
    pub fn with_or(mut self, place: &'static str, text: &str, instead: Words) -> Self {
        self.places.push(Place { name: place, words: Words::plain(text), instead });
        self
    }

    /// Fills a template of one language. Places whose text is empty go, together with parentheses
    /// that are about nothing else.
    ///
    /// ```
    /// use machine::library::Filling;
    /// let filling = Filling::default().with("tag", "Y1").with("place", "").with("label", "");
    /// assert_eq!(filling.fill("Look at {tag} ({place}). Lit?", "en"), "Look at Y1. Lit?");
    /// assert_eq!(filling.fill("While it is on (lamp {label} lit), look at {tag}.", "en"), "While it is on, look at Y1.");
    /// ```
    #[must_use]
    pub fn fill(&self, template: &str, language: &str) -> String {
        let mut text = template.to_string();
        if !text.contains('{') {
            return text;
        }
        for Place { name, words, instead } in &self.places {
            let filled = words.in_language(language);
            let mark = format!("{{{name}}}");
            if filled.is_empty() {
                text = without_parentheses(&text, &mark).replace(&format!(", {mark}"), "");
            }
            text = text.replace(&mark, if filled.is_empty() { instead.in_language(language) } else { filled });
        }
        text
    }
}

/// A template without the parentheses in which this is the only place that is filled in.
fn without_parentheses(template: &str, mark: &str) -> String {
    let mut text = template.to_string();
    let mut from = 0;
    while let Some(open) = text[from..].find(" (").map(|at| from + at) {
        let Some(close) = text[open..].find(')').map(|at| open + at + 1) else { break };
        let within = &text[open..close];
        if within.contains(mark) && within.matches('{').count() == 1 {
            text.replace_range(open..close, "");
            from = open;
        } else {
            from = open + 1;
        }
    }
    text
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

    /// A text that agrees with another in languages in which it must: `positions.open` beside something whose `form` is
    /// "f" is `positions.open.f`, where that language has it, and else as it stands alone.
    #[must_use]
    pub fn agreeing(&self, key: &str, english: &str, form: &str) -> Words {
        let mut words = self.words(key, english, &Filling::default());
        for (language, text) in &mut words.translations {
            let Some(texts) = self.languages.get(language) else { continue };
            let formed = texts.get(form).and_then(|form| texts.get(&format!("{key}.{form}")));
            if let Some(formed) = formed {
                text.clone_from(formed);
            }
        }
        words
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
