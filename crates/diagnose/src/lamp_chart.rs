//! The chart of steps and lamps: a stretch for each set of active steps of a played run, with how
//! every lamp is in it; and what each step waits for. For screens and paper.

use crate::evidence::LampState;
use crate::panel::Panel;
use crate::wording;
use machine::id::{DeviationId, StepId};
use machine::model::{FaultEffect, ProgramFact};
use machine::{Condition, Machine};
use sim::{Cause, Imposed, Plant, Playback, View};

/// How a lamp is during a stretch.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Shown {
    /// Lit all the time.
    Lit,
    /// Dark all the time.
    Dark,
    /// Not the same all the time.
    Changes,
}

/// A stretch in which the same steps are active.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stretch {
    /// The active steps, in the order of the machine; empty while the controller does not run.
    pub active: Vec<StepId>,
    /// How each lamp of the panel is.
    pub lamps: Vec<Shown>,
}

/// A way out of a step.
#[derive(Clone, Debug)]
pub struct Way<'m> {
    /// The steps that it leads to.
    pub to: &'m [StepId],
    /// The parts of its condition, all of which must hold.
    pub needs: Vec<&'m Condition<ProgramFact>>,
}

/// The stretches of a run, in their order.
#[must_use]
pub fn stretches(
    machine: &Machine,
    plant: &Plant,
    panel: &Panel,
    imposed: &[Imposed],
    playback: &Playback,
) -> Vec<Stretch> {
    let mut rows: Vec<Stretch> = Vec::new();
    // A deviation counts from the instant at which it sets in.
    let mut there: Vec<DeviationId> =
        imposed.iter().filter(|one| one.from.is_none()).map(|one| one.deviation).collect();
    for instant in &playback.instants {
        let layout = plant.layout();
        let active: Vec<StepId> = machine.steps.ids().filter(|step| instant.situation.on(layout.step(*step))).collect();
        if let Cause::SetsIn(deviation) = instant.cause {
            there.push(deviation);
        }
        let effects = || there.iter().flat_map(|one| &machine.deviations[*one].effects);
        let concerned: Vec<usize> = effects().flat_map(|effect| panel.lamps_of(machine, *effect)).collect();
        let error = effects().any(|effect| *effect == FaultEffect::ControllerError);
        let view = View::new(machine, plant, &instant.situation, &there);
        let truth = panel.truth(plant, &instant.situation);
        let truth = truth.with(&panel.changes(&view, &truth, &concerned, error));
        let lamps: Vec<Shown> = (0..panel.len())
            .map(|lamp| match truth.state(lamp) {
                LampState::Lit => Shown::Lit,
                LampState::Dark => Shown::Dark,
                LampState::Flickers => Shown::Changes,
            })
            .collect();
        match rows.last_mut() {
            Some(row) if row.active == active => {
                for (shown, now) in row.lamps.iter_mut().zip(lamps) {
                    if *shown != now {
                        *shown = Shown::Changes;
                    }
                }
            }
            _ => rows.push(Stretch { active, lamps }),
        }
    }
    rows
}

/// The ways out of a step, in the order of the machine.
pub fn ways(machine: &Machine, step: StepId) -> impl Iterator<Item = Way<'_>> {
    let out = machine.transitions.rows().filter(move |row| row.from.contains(&step));
    out.map(|row| Way { to: &row.to, needs: row.when.conjuncts() })
}

/// The steps by which a stretch is called: charts that rest in their first steps go without saying.
/// Empty only while the controller does not run.
#[must_use]
pub fn named_by(machine: &Machine, stretch: &Stretch) -> Vec<StepId> {
    let moving = |step: &StepId| !machine.charts[machine.chart_of(*step)].initial.contains(step);
    let said: Vec<StepId> = stretch.active.iter().copied().filter(moving).collect();
    if said.is_empty() { stretch.active.clone() } else { said }
}

impl Way<'_> {
    /// What it needs, in words.
    #[must_use]
    pub fn words(&self, machine: &Machine) -> String {
        let parts: Vec<String> = self.needs.iter().map(|part| wording::condition(machine, part)).collect();
        if parts.is_empty() { "nothing".to_owned() } else { wording::list(&parts) }
    }
}
