//! Mistakes of meaning beyond names: each part of the machine makes sense by
//! itself and still the whole can't work. Looks at the resolved machine and
//! points to the place in the file.

mod charts;
mod checks;
mod hands;
mod inputs;
mod mechanisms;
mod revisions;
mod size;

pub(crate) use revisions::lint_revisions;
pub(crate) use size::refuse_huge;

use crate::condition::Condition;
use crate::id::{InputId, MechanismId};
use crate::model::{Machine, MechanismClass, WorldFact};
use crate::problem::Problems;
use crate::resolve::{MOST_ALTERNATIVES, Mention, Outcome, combinations};
use crate::source::Span;
use crate::tree::Table;

/// One machine looked over.
pub(crate) struct Lint<'l> {
    root: &'l Table,
    machine: &'l Machine,
    mentions: &'l [Mention],
    problems: Problems,
}

/// Notes what can't work in one resolved machine.
pub(crate) fn lint(root: &Table, outcome: &Outcome) -> Problems {
    let mut lint = Lint { root, machine: &outcome.machine, mentions: &outcome.mentions, problems: Problems::default() };
    lint.alternatives(outcome);
    // Meaning is only worth judging where the names are right; else one mistake brings ten messages.
    if !outcome.problems.has_errors() {
        lint.mechanisms();
        lint.inputs();
        lint.charts();
        lint.permissives();
        lint.checks();
    }
    lint.problems
}

impl Lint<'_> {
    fn alternatives(&mut self, outcome: &Outcome) {
        let count = combinations(&outcome.open);
        if let (true, Some(last)) = (count > MOST_ALTERNATIVES, outcome.open.last()) {
            let what = format!("{count} alternatives are open, more than {MOST_ALTERNATIVES}");
            let hint = "settle some of them: write on_loss or on_timeout where you know it";
            self.problems.error(last.span, "too-many-alternatives", what, hint);
        }
    }

    /// Where a thing is named: its key in a table of the file, else its first mention.
    fn place(&self, group: &str, name: &str) -> Span {
        let declared = self.root.table(group).and_then(|table| table.entry(name)).map(|entry| entry.key_span);
        let mentioned = || self.mentions.iter().find(|mention| mention.mechanism == name).map(|mention| mention.span);
        declared.or_else(mentioned).unwrap_or_default()
    }

    fn place_of_mechanism(&self, mechanism: MechanismId) -> Span {
        self.place("mechanisms", &self.machine.mechanisms[mechanism].name)
    }

    fn place_of_input(&self, input: InputId) -> Span {
        let label = &self.machine.inputs[input].label;
        let table = self.root.table("inputs").and_then(|table| table.table(label));
        let lit = table.and_then(|table| table.text("lit")).map(|text| text.span);
        lit.unwrap_or_else(|| self.place("inputs", label))
    }

    /// The positions that a mechanism can ever stand at: hands reach all, drives those that moves lead to.
    fn reachable(&self, mechanism: MechanismId) -> Vec<u8> {
        let row = &self.machine.mechanisms[mechanism];
        let all = (0..row.positions.len()).filter_map(|at| u8::try_from(at).ok());
        if row.class != MechanismClass::Driven {
            return all.collect();
        }
        let found = self.machine.deviations.rows().flat_map(|row| &row.effects).filter_map(|effect| match effect {
            crate::model::FaultEffect::Found(of, at) if *of == mechanism => Some(*at),
            _ => None,
        });
        let found: Vec<u8> = found.collect();
        all.filter(|at| *at == row.rest || found.contains(at) || row.moves.iter().any(|step| step.to == *at)).collect()
    }
}

/// Whether a condition over the world can ever hold, and whether it can ever fail. `None`: too many cases to say.
pub(crate) fn possible(
    condition: &Condition<WorldFact>,
    reachable: &impl Fn(MechanismId) -> Vec<u8>,
) -> Option<(bool, bool)> {
    const MOST_CASES: usize = 20_000;
    let mut mechanisms: Vec<MechanismId> = Vec::new();
    let mut others: Vec<WorldFact> = Vec::new();
    for fact in condition.facts() {
        match fact {
            WorldFact::At(mechanism, _) | WorldFact::Between(mechanism) => {
                if !mechanisms.contains(mechanism) {
                    mechanisms.push(*mechanism);
                }
            }
            other => {
                if !others.contains(other) {
                    others.push(*other);
                }
            }
        }
    }
    // Each mechanism stands at one of its positions, or between (the last case).
    let places: Vec<Vec<u8>> = mechanisms.iter().map(|mechanism| reachable(*mechanism)).collect();
    let cases = places.iter().try_fold(1_usize, |cases, place| cases.checked_mul(place.len() + 1))?;
    let cases = cases.checked_mul(1_usize.checked_shl(u32::try_from(others.len()).ok()?)?)?;
    if cases > MOST_CASES {
        return None;
    }
    let (mut can_hold, mut can_fail) = (false, false);
    for case in 0..cases {
        let mut rest = case;
        let stands: Vec<Option<u8>> = places
            .iter()
            .map(|place| {
                let at = rest % (place.len() + 1);
                rest /= place.len() + 1;
                place.get(at).copied()
            })
            .collect();
        let index_of = |mechanism: &MechanismId| mechanisms.iter().position(|known| known == mechanism);
        let holds = condition.holds(&|fact| match fact {
            WorldFact::At(mechanism, at) => index_of(mechanism).and_then(|index| stands[index]) == Some(*at),
            WorldFact::Between(mechanism) => index_of(mechanism).is_some_and(|index| stands[index].is_none()),
            other => others.iter().position(|known| known == other).is_some_and(|bit| rest >> bit & 1 == 1),
        });
        can_hold |= holds;
        can_fail |= !holds;
    }
    Some((can_hold, can_fail))
}
