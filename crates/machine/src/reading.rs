//! Reading a machine file: the text becomes a [`Reading`], and a reading resolved
//! for one machine becomes its alternatives. Nothing here fails; what is wrong
//! is in the list of problems.

use std::borrow::Cow;

use crate::library::{Library, Translations};
use crate::lint::{lint, lint_revisions, refuse_huge};
use crate::model::Machine;
use crate::problem::{Problem, Problems};
use crate::resolve::{self, MOST_ALTERNATIVES, Outcome, Resolver};
use crate::shape::{self, MACHINE_FILE};
use crate::source::{Source, Span};
use crate::tree::{self, Table};

/// The largest file that is read, bytes.
pub const LARGEST_FILE: usize = 1_000_000;

/// A machine file that was read.
#[derive(Clone, Debug)]
pub struct Reading {
    /// All texts that places refer to: the machine file first, then device libraries.
    pub sources: Vec<Source>,
    /// What is wrong with the text itself.
    pub problems: Vec<Problem>,
    root: Table,
    library: Cow<'static, Library>,
    translations: Translations,
    revisions: Vec<Revision>,
}

/// A revision of a machine type.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Revision {
    /// Its name.
    pub name: String,
    /// Serial numbers, from and to; no end means "and up".
    pub serials: Vec<(u64, Option<u64>)>,
    /// What changed.
    pub about: String,
    /// Where it is named.
    pub span: Span,
    /// Whether it is what the file says without any change.
    pub base: bool,
}

/// What is known of the one machine that a reading is resolved for.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Choice {
    /// Its revision.
    pub revision: Option<String>,
    /// Its serial number.
    pub serial: Option<u64>,
    /// Settings that differ from the defaults: name and value as text.
    pub settings: Vec<(String, String)>,
}

/// One way in which the machine may be.
#[derive(Clone, Debug)]
pub struct Alternative {
    /// Its weight; the weights of all alternatives sum to 1.
    pub weight: f64,
    /// What was assumed, in words; empty if nothing had to be.
    pub choices: Vec<String>,
    /// The machine.
    pub machine: Machine,
}

/// A reading resolved.
#[derive(Clone, Debug, Default)]
pub struct Resolved {
    /// The alternatives, in the order of the file's possibilities.
    pub alternatives: Vec<Alternative>,
    /// What is wrong, syntax included.
    pub problems: Vec<Problem>,
}

/// Reads a machine file, with further device libraries.
///
/// ```
/// let text = r#"
/// format = 1
/// [machine]
/// name = "Bell"
/// [inputs]
/// X1 = { lit = "start = pressed" }
/// [outputs]
/// Y1 = { is = "indicator-lamp", on = "X1" }
/// "#;
/// let reading = machine::read(machine::Source::new("bell.toml", text), &[]);
/// let resolved = reading.resolve(&machine::Choice::default());
/// assert_eq!(resolved.alternatives[0].machine.name, "Bell");
/// ```
#[must_use]
pub fn read(source: Source, libraries: &[Source]) -> Reading {
    let mut problems = Problems::default();
    let mut library = Cow::Borrowed(Library::embedded());
    for extra in libraries {
        library.to_mut().add(extra.clone());
    }
    let root = if source.text.len() > LARGEST_FILE {
        let hint = "a machine file is a few thousand lines at most";
        problems.error(Span::new(0, 0..0), "too-large", "the file is larger than 1 MB", hint);
        Table::default()
    } else {
        tree::parse(&source, 0, &mut problems)
    };
    let head = Span::new(0, 0..0);
    if looks_like_library(&root) {
        let hint = "a machine file names it: library = \"shop-devices.toml\" in [machine]";
        problems.error(head, "no-machine-file", "this is a device library, no machine file", hint);
    } else {
        shape::check(&root, &MACHINE_FILE, head, &mut problems);
    }
    check_format(&root, &mut problems);
    let root = if refuse_huge(&root, &mut problems) { Table::default() } else { root };
    problems.extend(library.problems.iter().cloned());
    let mut translations = library.translations.clone();
    translations.add_file(&root);
    let mut sources = vec![source];
    sources.extend(library.sources.iter().cloned());
    let revisions = revisions(&root);
    Reading { sources, problems: problems.into_sorted(), root, library, translations, revisions }
}

/// Whether a text is a device library or its translations rather than a machine file.
///
/// ```
/// use machine::{Source, is_library};
/// assert!(is_library(&Source::new("a.toml", "format = 1\n[types.bell]\nwords = \"bell\"")));
/// assert!(!is_library(&Source::new("a.toml", "format = 1\n[machine]\nname = \"Bell\"")));
/// ```
#[must_use]
pub fn is_library(source: &Source) -> bool {
    source.text.len() <= LARGEST_FILE && looks_like_library(&tree::parse(source, 0, &mut Problems::default()))
}

fn looks_like_library(root: &Table) -> bool {
    let library = root.get("types").is_some() || (root.get("language").is_some() && root.get("text").is_some());
    library && root.get("machine").is_none() && root.get("inputs").is_none()
}

/// Everything that is wrong with a device library by itself, with the texts that places refer to.
/// `others` are libraries that it builds upon, beside that in the program.
#[must_use]
pub fn lint_library(source: Source, others: &[Source]) -> (Vec<Source>, Vec<Problem>) {
    let mut library = Library::embedded().clone();
    for other in others {
        library.add(other.clone());
    }
    let before = library.problems.len();
    library.add(source.clone());
    // Places count the machine file first, of which there is none here.
    let sources = std::iter::once(source).chain(library.sources).collect();
    let mut problems = Problems::default();
    problems.extend(library.problems.split_off(before));
    (sources, problems.into_sorted())
}

/// The further device libraries that a machine file names, as it writes them; to be read before the file itself.
///
/// ```
/// let file = machine::Source::new("a.toml", "[machine]\nlibrary = [\"shop-devices.toml\"]");
/// assert_eq!(machine::libraries_named(&file), ["shop-devices.toml"]);
/// ```
#[must_use]
pub fn libraries_named(source: &Source) -> Vec<String> {
    if source.text.len() > LARGEST_FILE {
        return Vec::new();
    }
    let root = tree::parse(source, 0, &mut Problems::default());
    let head = root.table("machine");
    head.map(|head| head.texts("library")).unwrap_or_default().into_iter().map(|text| text.text.clone()).collect()
}

/// Reads a machine file in which everything is known, for tests and small tools: the first alternative.
///
/// # Errors
/// The problems, if any of them is an error.
pub fn load_str(name: &str, text: &str) -> Result<Machine, Vec<Problem>> {
    let resolved = read(Source::new(name, text), &[]).resolve(&Choice::default());
    if resolved.problems.iter().any(Problem::is_error) {
        return Err(resolved.problems);
    }
    resolved.alternatives.into_iter().next().map(|alternative| alternative.machine).ok_or_else(Vec::new)
}

/// Notes a format that this program does not know.
pub(crate) fn check_format(root: &Table, problems: &mut Problems) {
    if let Some(node) = root.get("format")
        && root.whole("format").is_some_and(|format| format != 1)
    {
        let hint = "this program reads format 1; a newer file needs a newer program";
        problems.error(node.span, "unknown-format", "this format is not known", hint);
    }
}

fn revisions(root: &Table) -> Vec<Revision> {
    let mut list = Vec::new();
    let others = root.entries_of("revisions");
    let head = root.table("machine");
    let base_name = head.and_then(|head| head.string("revision"));
    if base_name.is_some() || !others.is_empty() {
        list.push(Revision {
            name: base_name.unwrap_or_else(|| "base".to_string()),
            serials: head.and_then(|head| head.text("serials")).map(|text| serials(&text.text)).unwrap_or_default(),
            about: String::new(),
            span: head.and_then(|head| head.text("revision")).map_or(Span::default(), |text| text.span),
            base: true,
        });
    }
    for entry in others {
        let Some(table) = entry.node.table() else { continue };
        list.push(Revision {
            name: entry.key.clone(),
            serials: table.text("serials").map(|text| serials(&text.text)).unwrap_or_default(),
            about: table.string("about").unwrap_or_default(),
            span: entry.key_span,
            base: false,
        });
    }
    list
}

/// `1000-1499, 2100-, 17`; parts that can't be read are left out here and noted by lint.
pub(crate) fn serials(text: &str) -> Vec<(u64, Option<u64>)> {
    text.split(',').filter_map(|part| serial_range(part.trim())).collect()
}

pub(crate) fn serial_range(part: &str) -> Option<(u64, Option<u64>)> {
    match part.split_once('-') {
        Some((from, "")) => Some((from.trim().parse().ok()?, None)),
        Some((from, to)) => Some((from.trim().parse().ok()?, Some(to.trim().parse().ok()?))),
        None => part.parse().ok().map(|only| (only, Some(only))),
    }
}

impl Reading {
    /// The revisions, the base first; none if the file knows only one kind.
    #[must_use]
    pub fn revisions(&self) -> &[Revision] {
        &self.revisions
    }

    /// The device types and their texts.
    #[must_use]
    pub fn library(&self) -> &Library {
        &self.library
    }

    /// Everything that is wrong: with the text, with the base and with every revision, without repetitions.
    #[must_use]
    pub fn lint(&self) -> Vec<Problem> {
        let mut problems = Problems::default();
        problems.extend(self.problems.iter().cloned());
        lint_revisions(&self.root, &mut problems);
        let mut each: Vec<Option<&Revision>> = self.revisions.iter().map(Some).collect();
        if each.is_empty() {
            each.push(None);
        }
        for revision in each {
            let root = self.tree_of(revision);
            let name = revision.map(|revision| revision.name.as_str());
            let outcome = Resolver::new(&root, &self.library, &self.translations, &[], &[]).run(name);
            if !self.problems.iter().any(Problem::is_error) {
                problems.extend(lint(&root, &outcome).into_sorted());
            }
            problems.extend(outcome.problems.into_sorted());
        }
        problems.into_sorted()
    }

    /// Resolves for one machine.
    #[must_use]
    pub fn resolve(&self, choice: &Choice) -> Resolved {
        let mut problems = Problems::default();
        problems.extend(self.problems.iter().cloned());
        let candidates = self.candidates(choice, &mut problems);
        let mut alternatives = Vec::new();
        let share = candidates.len().max(1);
        for revision in &candidates {
            for (weight, mut choices, outcome) in self.resolve_revision(*revision, choice, candidates.len()) {
                problems.extend(outcome.problems.into_sorted());
                if let (Some(revision), true) = (revision, candidates.len() > 1) {
                    choices.insert(0, format!("it is revision {}", revision.name));
                }
                // A few revisions at most: exact in f64.
                #[allow(clippy::cast_precision_loss)]
                let weight = weight / share as f64;
                alternatives.push(Alternative { weight, choices, machine: outcome.machine });
            }
        }
        Resolved { alternatives, problems: problems.into_sorted() }
    }

    fn resolve_revision(
        &self,
        revision: Option<&Revision>,
        choice: &Choice,
        revisions: usize,
    ) -> Vec<(f64, Vec<String>, Outcome)> {
        let root = self.tree_of(revision);
        let name = revision.map(|revision| revision.name.as_str());
        let run = |script: &[usize]| {
            Resolver::new(&root, &self.library, &self.translations, &choice.settings, script).run(name)
        };
        resolve::alternatives((MOST_ALTERNATIVES / revisions.max(1)).max(1), run)
    }

    /// The base with a revision's changes laid over it.
    fn tree_of(&self, revision: Option<&Revision>) -> Table {
        let mut root = self.root.clone();
        let Some(revision) = revision.filter(|revision| !revision.base) else { return root };
        let Some(table) = self.root.table("revisions").and_then(|table| table.table(&revision.name)) else {
            return root;
        };
        for text in table.texts("remove") {
            let path: Vec<&str> = text.text.split('.').collect();
            root.remove(&path);
        }
        if let Some(change) = table.table("change") {
            root.lay_over(change);
        }
        root
    }

    /// The revisions that this machine may be of; one `None` where the file has no revisions.
    fn candidates(&self, choice: &Choice, problems: &mut Problems) -> Vec<Option<&Revision>> {
        if self.revisions.is_empty() {
            if let Some(serial) = choice.serial {
                let what = format!("the serial number {serial} makes no difference: this file has no revisions");
                let hint = "whatever was changed on this machine is not in the file";
                problems.warning(Span::default(), "serial-unused", what, hint);
            }
            return vec![None];
        }
        let all = || self.revisions.iter().map(Some).collect();
        if let Some(name) = &choice.revision {
            if let Some(found) = self.revisions.iter().find(|revision| revision.name == *name) {
                return vec![Some(found)];
            }
            let names: Vec<&str> = self.revisions.iter().map(|revision| revision.name.as_str()).collect();
            let what = format!("there is no revision `{name}`");
            problems.error(Span::default(), "unknown-revision", what, format!("there is: {}", names.join(", ")));
            return all();
        }
        let Some(serial) = choice.serial else { return all() };
        let holds = |revision: &&Revision| {
            revision.serials.iter().any(|(from, to)| *from <= serial && to.is_none_or(|to| serial <= to))
        };
        match self.revisions.iter().find(holds) {
            Some(found) => vec![Some(found)],
            None => {
                let what = format!("no revision has the serial number {serial}");
                let hint = "it is looked at as any of them; a machine may have been retrofitted";
                problems.warning(Span::default(), "unknown-serial", what, hint);
                all()
            }
        }
    }
}
