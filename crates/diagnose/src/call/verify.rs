//! How to find out that it runs again: the part of the routine to repeat, and what a healthy machine shows
//! and does then, worked out by simulation.

use crate::procedure::{Course, Due, LampDue, Movement};
use machine::Machine;
use machine::id::{RoutineId, SupplyId};
use machine::model::{Access, Energy, Guarding, HandMove, Load, Procedure, ProcedureStep, Who, Words};
use serde::{Serialize, Serializer};

/// What to repeat and what should follow.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Verification {
    /// What to do, in order; the last is what the standstill came after.
    #[serde(serialize_with = "in_english")]
    pub steps: Vec<Words>,
    /// Lamps that are lit before the last of these, in the order of the panel; all others are dark.
    pub lit_before: Vec<String>,
    /// What moves by itself in the last, in words: everybody must be clear.
    pub moves: Vec<String>,
    /// The supplies among `moves` that come on.
    #[serde(skip)]
    pub comes_on: Vec<SupplyId>,
    /// The mechanisms among `moves`.
    #[serde(skip)]
    pub movements: Vec<Movement>,
    /// Lamps that are lit when the last has come to rest; all others are dark.
    pub lit_after: Vec<String>,
    /// Lamps that blink then.
    pub blink_after: Vec<String>,
    /// How long a healthy machine takes for the last, ms.
    pub takes_ms: u64,
}

impl Verification {
    /// For a standstill after so many actions of a routine, and up to its first button at least. Empty for a routine without actions.
    #[must_use]
    pub fn new(machine: &Machine, routine: RoutineId, stage: u16) -> Self {
        let Some(row) = machine.routines.get(routine).filter(|row| !row.actions.is_empty()) else {
            return Self::default();
        };
        // That it runs shows only once it was started.
        let starts = row.actions.iter().position(|action| matches!(action.movement, HandMove::Press(..)));
        let count = usize::from(stage).max(starts.map_or(1, |at| at + 1)).clamp(1, row.actions.len());
        let step = |action: &machine::model::HandAction| ProcedureStep {
            words: action.words.clone(),
            note: None,
            movement: action.movement,
            wait_ms: action.wait_ms,
            expect: Vec::new(),
            span: machine::Span::default(),
            measure: None,
            energy: Energy::Normal,
            access: Access::Outside,
            load: Load::None,
            guarding: Guarding::None,
        };
        let mut led = machine.clone();
        let procedure = led.procedures.push(Procedure {
            name: "verification".to_owned(),
            words: Words::default(),
            purpose: Words::default(),
            who: Who::Operator,
            steps: row.actions[..count].iter().map(step).collect(),
        });
        let course = Course::new(&[&led], procedure);
        let lamps = |index: usize, due: Due| -> Vec<String> {
            let all = course.steps.get(index).map_or(&[][..], |step| step.lamps.as_slice());
            all.iter().filter(|lamp: &&LampDue| lamp.due == due).map(|lamp| lamp.label.clone()).collect()
        };
        let last = course.steps.last();
        let comes_on = last.map(|step| step.comes_on.clone()).unwrap_or_default();
        let mut moves: Vec<String> =
            comes_on.iter().map(|supply| format!("{} comes on", machine.supplies[*supply].words.english)).collect();
        let movements = last.into_iter().flat_map(|step| &step.movements);
        let movements: Vec<Movement> = movements.filter(|movement| movement.hazard).cloned().collect();
        moves.extend(movements.iter().map(|movement| movement.words(machine)));
        Self {
            steps: row.actions[..count].iter().map(|action| action.words.clone()).collect(),
            lit_before: if count > 1 { lamps(count - 2, Due::Lit) } else { Vec::new() },
            moves,
            comes_on,
            movements,
            lit_after: lamps(count - 1, Due::Lit),
            blink_after: lamps(count - 1, Due::Blinks),
            takes_ms: last.map_or(0, |step| step.takes_ms),
        }
    }
}

/// Texts as programs get them.
fn in_english<S: Serializer>(texts: &[Words], serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_seq(texts.iter().map(|words| &words.english))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use machine::id::Id;

    #[test]
    fn pressing_start_once_more_should_end_with_the_lamps_of_rest() {
        let machine = machine::load_str("minimal.toml", include_str!("../../../../demos/minimal.toml")).unwrap();
        let routine = RoutineId::new(0);
        let start = machine.routines[routine].actions.iter().position(|one| one.short == "press start").unwrap();
        let it = Verification::new(&machine, routine, u16::try_from(start + 1).unwrap());
        assert_eq!(it.steps.len(), start + 1);
        assert_eq!(it.lit_before, ["I1", "I2", "I3", "I4", "I7", "I8"]);
        assert!(it.lit_after.contains(&"I8".to_owned()), "{it:?}");
        assert!(!it.moves.is_empty() && it.takes_ms > 0);
    }
}
