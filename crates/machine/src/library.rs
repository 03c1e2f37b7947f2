//! The device library: what kinds of devices there are, how they fail, how one
//! looks at them and what puts them right. Data files of the same kind as a
//! machine file ship in the program; a shop can add its own beside them.

mod references;
mod safety;
mod types;
mod words;

use std::collections::BTreeMap;
use std::sync::OnceLock;

pub(crate) use references::judge_fault;
pub(crate) use safety::{judge_check, judge_remedy, judge_text, judge_words};
pub use types::{
    CheckType, DeviceType, FaultAction, FaultType, Observes, RemedyType, StandsIn, read_access, read_after, read_check,
    read_energy, read_fault, read_guarding, read_load, read_remedy, read_who, supply_kind,
};
pub use words::{Filling, Translations};

use crate::problem::{Problem, Problems};
use crate::shape::{self, LIBRARY_FILE, WORDS_FILE};
use crate::source::{Source, Span};
use crate::tree::{self, Table};

/// The data files in the program: device types, then translations.
const EMBEDDED: &[(&str, &str)] = &[
    ("library/sensors.toml", include_str!("../library/sensors.toml")),
    ("library/controls.toml", include_str!("../library/controls.toml")),
    ("library/actuators.toml", include_str!("../library/actuators.toml")),
    ("library/supplies.toml", include_str!("../library/supplies.toml")),
    ("library/mechanisms.toml", include_str!("../library/mechanisms.toml")),
    ("library/shared.toml", include_str!("../library/shared.toml")),
    ("library/controller.toml", include_str!("../library/controller.toml")),
    ("library/words.de.toml", include_str!("../library/words.de.toml")),
    ("library/words.es.toml", include_str!("../library/words.es.toml")),
];

/// Device types by key, and the translations of their texts.
#[derive(Clone, Debug, Default)]
pub struct Library {
    /// The texts it was read from.
    pub sources: Vec<Source>,
    /// Device types by key.
    pub types: BTreeMap<String, DeviceType>,
    /// Translations of the texts.
    pub translations: Translations,
    /// What is wrong with the texts.
    pub problems: Vec<Problem>,
}

impl Library {
    /// The library in the program. Its texts have the numbers 1 and up in a reading.
    pub fn embedded() -> &'static Self {
        static LIBRARY: OnceLock<Library> = OnceLock::new();
        LIBRARY.get_or_init(|| {
            let mut library = Self::default();
            // Files name types of files that come later, so that references are judged at the end.
            let roots: Vec<Table> =
                EMBEDDED.iter().map(|(name, text)| library.read(Source::new(*name, *text))).collect();
            roots.iter().for_each(|root| library.judge_references(root));
            library
        })
    }

    /// Reads one more text; its types replace those of the same key.
    pub fn add(&mut self, source: Source) {
        let root = self.read(source);
        self.judge_references(&root);
    }

    /// Notes what names something that there is not.
    fn judge_references(&mut self, root: &Table) {
        let mut problems = Problems::default();
        references::judge_references(root, &self.types, &mut problems);
        self.problems.extend(problems.into_sorted());
    }

    fn read(&mut self, source: Source) -> Table {
        let file = u32::try_from(self.sources.len() + 1).unwrap_or(u32::MAX);
        let mut problems = Problems::default();
        let root = tree::parse(&source, file, &mut problems);
        let shape = if root.get("text").is_some() { &WORDS_FILE } else { &LIBRARY_FILE };
        shape::check(&root, shape, Span::new(file, 0..0), &mut problems);
        crate::reading::check_format(&root, &mut problems);
        self.add_tree(&root, &mut problems);
        self.sources.push(source);
        self.problems.extend(problems.into_sorted());
        root
    }

    fn add_tree(&mut self, root: &Table, problems: &mut Problems) {
        self.translations.add_file(root);
        judge_words(root, problems);
        for entry in root.entries_of("types") {
            if let Some(table) = entry.node.table() {
                safety::judge_type(table, problems);
                self.types.insert(entry.key.clone(), types::read_type(&entry.key, table, problems));
            }
        }
    }

    /// The type whose key or `also` words come nearest to these words.
    #[must_use]
    pub fn nearest(&self, words: &str) -> Option<&DeviceType> {
        let plain = words.to_lowercase();
        let fits = |name: &str| !name.is_empty() && (plain.contains(name) || name.contains(&plain));
        let by_key = self
            .types
            .values()
            .map(|kind| (strsim::jaro_winkler(&plain, &kind.key), kind))
            .max_by(|one, two| one.0.total_cmp(&two.0));
        let by_words = self
            .types
            .values()
            .flat_map(|kind| kind.also.iter().map(move |also| (also.to_lowercase(), kind)))
            .filter(|(also, _)| fits(also))
            .max_by_key(|(also, _)| also.len());
        match (by_key, by_words) {
            // A misspelt key comes before a word that merely occurs.
            (Some((nearness, kind)), _) if nearness > 0.9 => Some(kind),
            (_, Some((_, kind))) => Some(kind),
            (Some((nearness, kind)), None) if nearness > 0.75 => Some(kind),
            _ => None,
        }
    }
}
