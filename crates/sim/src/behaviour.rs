//! Deviations that do the same to the sequence are one behaviour: a dead sensor,
//! its broken cable and its dead channel all make the program read "dark". They
//! are simulated once; what tells them apart (the sensor's own LED, volts at the
//! terminal) is worked out from the simulated state when somebody looks there.

use crate::plant::Plant;
use crate::signal::Signal;
use machine::Machine;
use machine::id::{DeviationId, Id};
use machine::model::{DeviationKind, FaultEffect, Forced, InputStage, OutputStage};

/// A set of deviations with the same effect on the sequence.
#[derive(Clone, Debug)]
pub struct Behaviour {
    /// What it does, reduced to what the sequence can notice; empty if nothing.
    pub effects: Vec<FaultEffect>,
    /// It comes into play when one of these signals has this value.
    pub(crate) triggers: Vec<(Signal, bool)>,
    /// Whether it comes into play at once, whatever the signals.
    pub(crate) at_once: bool,
    /// Whether it is there from the beginning (a lapse) rather than from any moment on.
    pub from_the_beginning: bool,
    /// The deviations that behave so.
    pub members: Vec<DeviationId>,
}

/// Sorts the deviations of a machine into behaviours. Deviations that the sequence
/// can't notice (a dead lamp) come together in behaviours without effects.
#[must_use]
pub fn behaviours(machine: &Machine, plant: &Plant) -> Vec<Behaviour> {
    let mut found: Vec<Behaviour> = Vec::new();
    for (id, deviation) in machine.deviations.iter() {
        let mut effects: Vec<_> = deviation.effects.iter().filter_map(|effect| reduced(machine, *effect)).collect();
        effects.sort_unstable();
        effects.dedup();
        let from_the_beginning = deviation.kind == DeviationKind::Lapse;
        let same = found.iter_mut().find(|one| one.effects == effects && one.from_the_beginning == from_the_beginning);
        if let Some(same) = same {
            same.members.push(id);
        } else {
            let (triggers, at_once) = triggers(plant, &effects);
            found.push(Behaviour { effects, triggers, at_once, from_the_beginning, members: vec![id] });
        }
    }
    found
}

/// What the sequence can notice of an effect.
///
/// "Off" is moved down the chain as far as no "on" of another device lies between,
/// so that two faults in one chain still act in the right order: of two faults the
/// one nearer to the program decides.
fn reduced(machine: &Machine, effect: FaultEffect) -> Option<FaultEffect> {
    match effect {
        FaultEffect::Input(_, InputStage::Lamp, _) | FaultEffect::Output(_, OutputStage::Lamp, _) => None,
        FaultEffect::Input(input, stage, Forced::Off) => {
            let between = machine
                .deviations
                .rows()
                .flat_map(|other| &other.effects)
                .filter_map(|other| match *other {
                    FaultEffect::Input(which, at, Forced::On)
                        if which == input && at > stage && at < InputStage::Card =>
                    {
                        Some(at)
                    }
                    _ => None,
                })
                .min();
            Some(FaultEffect::Input(input, between.unwrap_or(InputStage::Card), Forced::Off))
        }
        FaultEffect::Input(input, InputStage::Target, forced) => {
            Some(FaultEffect::Input(input, InputStage::Sensor, forced))
        }
        FaultEffect::Output(output, stage, Forced::Off) => {
            let between = machine
                .deviations
                .rows()
                .flat_map(|other| &other.effects)
                .filter_map(|other| match *other {
                    FaultEffect::Output(which, at, Forced::On)
                        if which == output && at > stage && at < OutputStage::Coil =>
                    {
                        Some(at)
                    }
                    _ => None,
                })
                .min();
            let stage =
                if stage == OutputStage::Valve { OutputStage::Valve } else { between.unwrap_or(OutputStage::Coil) };
            Some(FaultEffect::Output(output, stage, Forced::Off))
        }
        FaultEffect::ControllerError => Some(FaultEffect::ControllerStopped),
        other => Some(other),
    }
}

fn triggers(plant: &Plant, effects: &[FaultEffect]) -> (Vec<(Signal, bool)>, bool) {
    let layout = plant.layout();
    let mut triggers = Vec::new();
    let mut at_once = false;
    // "Off" and chatter matter while the signal is on, "on" while it is off.
    let matters = |forced: Forced| !matches!(forced, Forced::On);
    for effect in effects {
        match *effect {
            FaultEffect::Input(input, _, forced) => {
                if plant.inputs[input.index()].used {
                    triggers.push((layout.input(input), matters(forced)));
                }
            }
            FaultEffect::Output(output, _, forced) => triggers.push((layout.driven(output), matters(forced))),
            FaultEffect::Supply(supply, forced) => triggers.push((layout.supply(supply), matters(forced))),
            FaultEffect::Stuck(mechanism) | FaultEffect::Slow(mechanism, _) => {
                triggers.push((layout.between(mechanism), true));
            }
            FaultEffect::StopsShort(mechanism, position) => triggers.push((layout.at(mechanism, position), true)),
            FaultEffect::Creeps(mechanism, from, ..) => triggers.push((layout.at(mechanism, from), true)),
            FaultEffect::ControllerStopped
            | FaultEffect::ControllerError
            | FaultEffect::Forgotten(..)
            | FaultEffect::Found(..) => at_once = true,
        }
    }
    (triggers, at_once)
}

impl Behaviour {
    /// Whether the behaviour would change anything in an epoch in which these signals were on and off.
    pub(crate) fn in_play(&self, seen_on: &[u64], seen_off: &[u64]) -> bool {
        self.at_once
            || self.triggers.iter().any(|(signal, value)| {
                let seen = if *value { seen_on } else { seen_off };
                seen[(signal.0 >> 6) as usize] >> (signal.0 & 63) & 1 == 1
            })
    }

    /// Whether the sequence can't notice it at all.
    #[must_use]
    pub fn is_silent(&self) -> bool {
        self.triggers.is_empty() && !self.at_once
    }

    /// Whether it chatters, so that its runs branch.
    #[must_use]
    pub fn chatters(&self) -> bool {
        self.effects.iter().any(|effect| {
            matches!(
                effect,
                FaultEffect::Input(_, _, Forced::Chatters(..))
                    | FaultEffect::Output(_, _, Forced::Chatters(..))
                    | FaultEffect::Supply(_, Forced::Chatters(..))
            )
        })
    }
}
