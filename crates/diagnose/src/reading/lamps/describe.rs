//! Reports about lamps as a short text that reads back as the same reports.
//! Several texts are tried and read back; of those that are true, the one with
//! the fewest lamps "not looked at" wins, then the shortest.

use machine::Machine;

use super::names::{Class, LampNames};
use super::read_by_names;
use super::tokens::{Token, tokens};
use crate::evidence::{LampReport, LampState, Naming};
use crate::reading::mistake::Mistakes;

/// How many lamps are said not to have been looked at, and the text.
type Text = (usize, String);

/// What is to be said of one lamp.
type Said = Option<(LampState, Naming)>;

const CLASSES: [(Class, &str); 3] = [(Class::Input, "inputs"), (Class::Output, "outputs"), (Class::Status, "status")];
const STATES: [(LampState, &str); 3] =
    [(LampState::Lit, "on"), (LampState::Dark, "off"), (LampState::Flickers, "flickers")];

/// The reports as a person would say them: `X12, X14 on; X3 off; rest off`.
///
/// What [`read_lamps`](crate::reading::read_lamps) reads, this says such that it reads the same. For
/// reports that nobody can say (lamps of one row covered by "the rest" in
/// different states) the lamps of the rarer state are named. Reports for
/// places that the panel does not have are left out.
#[must_use]
pub fn describe_lamps(machine: &Machine, reports: &[LampReport]) -> String {
    let names = LampNames::of(machine);
    let mut said: Vec<Said> = vec![None; names.lamps.len()];
    for report in reports {
        if let Some(lamp) = names.lamps.iter().position(|lamp| lamp.place == report.place) {
            said[lamp] = Some((report.state, report.naming));
        }
    }
    let labels = labels(&names);
    let writer = Writer { names: &names, labels: &labels, said: &said };
    let mut texts = writer.for_all();
    texts.push(writer.with_rest());
    texts.push(writer.by_class());
    texts.retain(|(_, text)| reads_as(&names, text, &said, true));
    texts.sort_by_key(|(not_looked, text)| (*not_looked, text.len()));
    if let Some((_, best)) = texts.into_iter().next() {
        return best;
    }
    let (_, by_class) = writer.by_class();
    if reads_as(&names, &by_class, &said, false) { by_class } else { writer.each() }
}

/// Whether the text reads as these reports, with the way of naming or without.
fn reads_as(names: &LampNames, text: &str, said: &[Said], naming: bool) -> bool {
    let Ok(read) = read_by_names(names, text) else { return false };
    let mut back: Vec<Said> = vec![None; said.len()];
    let mut read = read.into_iter().peekable();
    for (lamp, row) in names.lamps.iter().enumerate() {
        if let Some(report) = read.next_if(|report| report.place == row.place) {
            back[lamp] = Some((report.state, report.naming));
        }
    }
    if naming {
        back == said
    } else {
        back.iter().zip(said).all(|(one, other)| one.map(|(state, _)| state) == other.map(|(state, _)| state))
    }
}

/// For each lamp the text that names it and nothing else: its label, in quotation marks where needed.
fn labels(names: &LampNames) -> Vec<String> {
    let mut labels = Vec::with_capacity(names.lamps.len());
    for (lamp, row) in names.lamps.iter().enumerate() {
        let mut mistakes = Mistakes::default();
        let read = tokens(&row.label, names, &mut mistakes);
        let plain = matches!(read.as_slice(), [one] if one.token == Token::Lamp(lamp));
        let mark = if row.label.contains('"') { '`' } else { '"' };
        labels.push(if plain { row.label.clone() } else { format!("{mark}{}{mark}", row.label) });
    }
    labels
}

struct Writer<'m> {
    names: &'m LampNames,
    labels: &'m [String],
    said: &'m [Said],
}

impl Writer<'_> {
    /// One thing said of every lamp.
    fn for_all(&self) -> Vec<Text> {
        let [(_, lit), (_, dark), (_, flickers)] = STATES;
        [lit, dark, flickers].into_iter().map(|word| (0, format!("all {word}"))).collect()
    }

    /// The named lamps, then one "rest" for the inputs and outputs.
    fn with_rest(&self) -> Text {
        let rest = self.commonest_rest(|_| true);
        // The controller's own lamps are part of the rest only if one of them is named; then each has to be said.
        let status_named = self.lamps(Class::Status).any(|lamp| matches!(self.said[lamp], Some((_, Naming::Named))));
        let not_looked: Vec<usize> = match rest {
            Some(_) => (0..self.said.len())
                .filter(|lamp| self.said[*lamp].is_none())
                .filter(|lamp| self.names.lamps[*lamp].class != Class::Status || status_named)
                .collect(),
            None => Vec::new(),
        };
        let named = |lamp: &usize| match (self.said[*lamp], rest) {
            (Some((_, Naming::Named)), _) => true,
            (Some((state, Naming::Rest)), rest) => rest != Some(state),
            (None, _) => false,
        };
        let all: Vec<usize> = (0..self.said.len()).filter(named).collect();
        let mut sentences = self.sentences(&all, &not_looked);
        if let Some(rest) = rest {
            sentences.push(format!("rest {}", word(rest)));
        }
        (not_looked.len(), sentences.join("; "))
    }

    /// Sort by sort: `inputs: X0 on, rest off; outputs: rest off`.
    fn by_class(&self) -> Text {
        let mut without_rest = Vec::new();
        let mut headed = Vec::new();
        let mut all_not_looked = 0;
        for (class, title) in CLASSES {
            let rest = self.commonest_rest(|of| of == class);
            let named: Vec<usize> = self
                .lamps(class)
                .filter(|lamp| match self.said[*lamp] {
                    Some((_, Naming::Named)) => true,
                    Some((state, Naming::Rest)) => Some(state) != rest,
                    None => false,
                })
                .collect();
            match rest {
                None => without_rest.extend(named),
                Some(rest) => {
                    let not_looked: Vec<usize> = self.lamps(class).filter(|lamp| self.said[*lamp].is_none()).collect();
                    all_not_looked += not_looked.len();
                    let mut clauses = self.sentences(&named, &not_looked);
                    clauses.push(if clauses.is_empty() {
                        format!("all {}", word(rest))
                    } else {
                        format!("rest {}", word(rest))
                    });
                    headed.push(format!("{title}: {}", clauses.join(", ")));
                }
            }
        }
        let mut sentences = self.sentences(&without_rest, &[]);
        sentences.extend(headed);
        (all_not_looked, sentences.join("; "))
    }

    /// Every lamp by itself.
    fn each(&self) -> String {
        let said = |lamp: usize| self.said[lamp].map(|(state, _)| format!("{} {}", self.labels[lamp], word(state)));
        (0..self.said.len()).filter_map(said).collect::<Vec<_>>().join("; ")
    }

    fn lamps(&self, class: Class) -> impl Iterator<Item = usize> {
        (0..self.said.len()).filter(move |lamp| self.names.lamps[*lamp].class == class)
    }

    /// What most lamps covered by "rest" are, among the lamps of these sorts.
    fn commonest_rest(&self, among: impl Fn(Class) -> bool) -> Option<LampState> {
        let count = |state: LampState| {
            let rest = Some((state, Naming::Rest));
            self.said.iter().zip(&self.names.lamps).filter(|(said, lamp)| **said == rest && among(lamp.class)).count()
        };
        // Of equal counts the last, which is dark for lack of a better reason.
        let order = [LampState::Flickers, LampState::Lit, LampState::Dark];
        order.into_iter().max_by_key(|state| count(*state)).filter(|state| count(*state) > 0)
    }

    /// One sentence for each state among these lamps, and one for those not looked at.
    fn sentences(&self, lamps: &[usize], not_looked: &[usize]) -> Vec<String> {
        let mut sentences = Vec::new();
        for (state, word) in STATES {
            let of_state: Vec<usize> =
                lamps.iter().copied().filter(|lamp| self.said[*lamp].is_some_and(|(said, _)| said == state)).collect();
            if !of_state.is_empty() {
                sentences.push(format!("{} {word}", self.list(&of_state)));
            }
        }
        if !not_looked.is_empty() {
            sentences.push(format!("{} not looked at", self.list(not_looked)));
        }
        sentences
    }

    /// Labels with ranges where three or more lamps follow each other.
    fn list(&self, lamps: &[usize]) -> String {
        const SHORTEST_RANGE: usize = 3;
        let mut parts = Vec::new();
        let mut from = 0;
        while from < lamps.len() {
            let mut to = from;
            while lamps.get(to + 1).is_some_and(|next| self.follows(lamps[to], *next)) {
                to += 1;
            }
            if to - from + 1 >= SHORTEST_RANGE {
                parts.push(format!("{}-{}", self.labels[lamps[from]], self.labels[lamps[to]]));
            } else {
                parts.extend(lamps[from..=to].iter().map(|lamp| self.labels[*lamp].clone()));
            }
            from = to + 1;
        }
        parts.join(" ")
    }

    /// Whether nothing of the same sort sits between the two lamps, and they are of one sort.
    fn follows(&self, one: usize, other: usize) -> bool {
        self.names.same_sort(one, other) && self.names.between(one, other).nth(1) == Some(other)
    }
}

fn word(state: LampState) -> &'static str {
    STATES.iter().find(|(one, _)| *one == state).map_or("unknown", |(_, word)| word)
}
