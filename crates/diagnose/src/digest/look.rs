//! Where the sequence stands, as far as it can be told: active steps, ways onward with what they lack, interlocks
//! and time-outs that hold.

use crate::answer::by_hand;
use crate::evidence::LampPlace;
use crate::wording;
use machine::id::{InterlockId, StepId, TransitionId};
use machine::model::{LampKind, ProgramFact};
use machine::{Condition, Machine};
use sim::{Plant, Situation};

/// Where the sequence stands.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Look {
    /// Whether the controller runs its program.
    pub running: bool,
    /// The active steps.
    pub steps: Vec<StepId>,
    /// The enabled transitions.
    pub onward: Vec<Onward>,
    /// For each transition that starts a chart, which parts of its condition hold; see [`Onward::holds`].
    pub starts: Vec<Onward>,
    /// Interlocks that hold it.
    pub held: Vec<InterlockId>,
    /// Whether a time-out holds a chart.
    pub timed_out: bool,
}

/// A way onward.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Onward {
    /// The transition.
    pub transition: TransitionId,
    /// For each part of its condition, whether it holds as the machine stands.
    pub holds: Vec<bool>,
}

/// A part of a condition that lamps can show.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Part {
    /// This lamp is lit.
    Lit(usize),
    /// Lamps don't show it.
    Hidden,
    /// Known without looking.
    Always(bool),
    /// Not so.
    Not(Box<Part>),
    /// All of these.
    All(Vec<Part>),
    /// At least one of these.
    Any(Vec<Part>),
}

/// How a machine stands in a situation.
pub(super) fn look(machine: &Machine, plant: &Plant, situation: &Situation) -> Look {
    let layout = plant.layout();
    let on = |step: &StepId| situation.on(layout.step(*step));
    let holds = |fact: &ProgramFact| plant.fact(situation, *fact);
    let parts = |transition: TransitionId| Onward {
        transition,
        holds: machine.transitions[transition].when.conjuncts().iter().map(|part| part.holds(&holds)).collect(),
    };
    let enabled = machine.transitions.iter().filter(|(_, row)| row.from.iter().all(on));
    let starts = machine.transitions.iter().filter(|(_, row)| row.start);
    let held = machine.interlocks.iter().filter(|(_, row)| row.in_steps.iter().any(&on) && !row.needs.holds(&holds));
    Look {
        running: situation.on(layout.running()),
        steps: machine.steps.ids().filter(on).collect(),
        onward: enabled.map(|(id, _)| parts(id)).collect(),
        starts: starts.map(|(id, _)| parts(id)).collect(),
        held: held.map(|(id, _)| id).collect(),
        timed_out: (0..machine.charts.len()).any(|chart| situation.on(layout.timed_out(chart))),
    }
}

/// One of the things that a transition needs.
#[derive(Clone, Debug)]
pub struct Need<'m> {
    /// The condition.
    pub condition: &'m Condition<ProgramFact>,
    /// The same, as far as lamps show it.
    pub part: Part,
    /// The label of the lamp that shows it, if it is shown by just one.
    pub lamp: Option<String>,
    /// Whether a hand makes it, for a moment: a button.
    pub by_hand: bool,
}

/// What a transition needs, in the order of [`Onward::holds`].
#[must_use]
pub fn needs(machine: &Machine, transition: TransitionId) -> Vec<Need<'_>> {
    let need = |condition| {
        let facts: Vec<&ProgramFact> = Condition::facts(condition);
        let lamp = match facts[..] {
            [fact] => wording::lamp_of(machine, *fact),
            _ => None,
        };
        Need { condition, part: part(machine, condition), lamp, by_hand: by_hand(machine, condition) }
    };
    machine.transitions[transition].when.conjuncts().into_iter().map(need).collect()
}

fn part(machine: &Machine, condition: &Condition<ProgramFact>) -> Part {
    let parts = |list: &[Condition<ProgramFact>]| list.iter().map(|one| part(machine, one)).collect();
    match condition {
        Condition::Always(value) => Part::Always(*value),
        Condition::Not(inner) => Part::Not(Box::new(part(machine, inner))),
        Condition::All(list) => Part::All(parts(list)),
        Condition::Any(list) => Part::Any(parts(list)),
        Condition::Fact(fact) => {
            let is_its = |kind: &LampKind| match (*fact, kind) {
                (ProgramFact::Input(input), LampKind::Input(which)) => *which == input,
                (ProgramFact::Output(output), LampKind::Output(which)) => *which == output,
                _ => false,
            };
            let lamp = LampPlace::all(machine).position(|(_, lamp)| is_its(&lamp.kind));
            lamp.map_or(Part::Hidden, Part::Lit)
        }
    }
}
