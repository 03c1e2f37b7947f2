//! Deviations that do the same to the sequence are one behaviour: a dead sensor,
//! its broken cable and its dead channel all make the program read "dark". They
//! are simulated once; what tells them apart (the sensor's own LED, volts at the
//! terminal) is worked out from the simulated state when somebody looks there.

use crate::engine::Engine;
use crate::plant::Plant;
use crate::routine::Mark;
use crate::signal::Signal;
use machine::Machine;
use machine::id::{DeviationId, Id, RoutineId};
use machine::model::{Chance, DeviationKind, FaultEffect, Forced, InputStage, OutputStage};

/// A set of deviations with the same effect on the sequence.
#[derive(Clone, Debug)]
pub struct Behaviour {
    /// What it does, reduced to what the sequence can notice; empty if nothing.
    pub effects: Vec<FaultEffect>,
    /// It comes into play when one of these signals has this value.
    pub(crate) triggers: Vec<Trigger>,
    /// Its own signals, as a mask.
    own: Vec<u64>,
    /// Stages whose hand action it leaves out: it comes into play when that stage begins.
    left_out: Vec<u16>,
    /// Whether it comes into play at once, whatever the signals.
    pub(crate) at_once: bool,
    /// Whether it is there from the beginning (a lapse, a loose contact) rather than from any moment on.
    pub from_the_beginning: bool,
    /// The deviations that behave so.
    pub members: Vec<DeviationId>,
}

/// When a behaviour comes into play.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Trigger {
    signal: Signal,
    value: bool,
    matters: Matters,
}

/// Whether a behaviour comes into play in an epoch.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Plays {
    Yes,
    No,
    /// It does if anything follows from it at once.
    IfFelt,
}

/// When a forced signal that has the other value changes what happens.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Matters {
    /// Always.
    Always,
    /// Only if the program looks at it meanwhile: an input that nobody reads may be anything,
    /// and only its lamp shows it.
    IfLookedAt,
    /// Only if something follows from it at once, or looks at it later: a coil without current
    /// changes nothing while its valve stays where it is.
    IfFelt,
}

/// Sorts the deviations of a machine into behaviours, for this routine. Deviations that the sequence
/// can't notice (a dead lamp) come together in behaviours without effects.
#[must_use]
pub fn behaviours(machine: &Machine, plant: &Plant, routine: RoutineId) -> Vec<Behaviour> {
    let mut found: Vec<Behaviour> = Vec::new();
    let chatter = chatter_times(machine);
    for (id, deviation) in machine.deviations.iter() {
        let mut effects: Vec<_> = deviation
            .effects
            .iter()
            .filter_map(|effect| reduced(machine, deviation.kind, *effect))
            .map(|effect| with_times(effect, &chatter))
            .collect();
        effects.sort_unstable();
        effects.dedup();
        // A contact that chatters has been loose before; what chance decides is when it shows.
        let from_the_beginning = deviation.kind == DeviationKind::Lapse || effects.iter().any(chatters);
        let same = found.iter_mut().find(|one| one.effects == effects && one.from_the_beginning == from_the_beginning);
        if let Some(same) = same {
            same.members.push(id);
        } else {
            let (triggers, at_once) = triggers(plant, &effects);
            let mut own = vec![0; (plant.layout.len as usize).div_ceil(64)];
            for trigger in &triggers {
                own[(trigger.signal.0 >> 6) as usize] |= 1 << (trigger.signal.0 & 63);
            }
            let left_out = effects
                .iter()
                .filter_map(|effect| match effect {
                    FaultEffect::Forgotten(of, action) if *of == routine => u16::try_from(action + 1).ok(),
                    _ => None,
                })
                .collect();
            found.push(Behaviour { own, left_out, effects, triggers, at_once, from_the_beginning, members: vec![id] });
        }
    }
    found
}

/// For each point and supply, the make and break times of its most frequent chatter.
///
/// A chain has many places that can chatter, each with times of its own; to the sequence
/// they are alike, so all are played with one pair of times. What a check sees at a stage
/// is still worked out with the deviation's own times.
fn chatter_times(machine: &Machine) -> Vec<(FaultEffect, Forced, f64)> {
    let mut times: Vec<(FaultEffect, Forced, f64)> = Vec::new();
    for deviation in machine.deviations.rows() {
        let rate = match deviation.rate.chance {
            Chance::PerMillionHours(rate) | Chance::EachTime(rate) => rate,
        };
        for effect in deviation.effects.iter().filter_map(|effect| reduced(machine, deviation.kind, *effect)) {
            let Some((place, forced)) = chattering_place(effect) else { continue };
            match times.iter_mut().find(|(known, ..)| *known == place) {
                Some((_, known, most)) if rate > *most => (*known, *most) = (forced, rate),
                Some(_) => {}
                None => times.push((place, forced, rate)),
            }
        }
    }
    times
}

/// A chattering effect without its times, and its times.
fn chattering_place(effect: FaultEffect) -> Option<(FaultEffect, Forced)> {
    let still = Forced::Chatters(0, 0);
    match effect {
        FaultEffect::Input(input, _, forced @ Forced::Chatters(..)) => {
            Some((FaultEffect::Input(input, InputStage::Card, still), forced))
        }
        FaultEffect::Output(output, _, forced @ Forced::Chatters(..)) => {
            Some((FaultEffect::Output(output, OutputStage::Coil, still), forced))
        }
        FaultEffect::Supply(supply, forced @ Forced::Chatters(..)) => {
            Some((FaultEffect::Supply(supply, still), forced))
        }
        _ => None,
    }
}

fn with_times(effect: FaultEffect, times: &[(FaultEffect, Forced, f64)]) -> FaultEffect {
    let Some((place, _)) = chattering_place(effect) else { return effect };
    let forced = times.iter().find(|(known, ..)| *known == place).map(|(_, forced, _)| *forced);
    match (place, forced) {
        (FaultEffect::Input(input, stage, _), Some(forced)) => FaultEffect::Input(input, stage, forced),
        (FaultEffect::Output(output, stage, _), Some(forced)) => FaultEffect::Output(output, stage, forced),
        (FaultEffect::Supply(supply, _), Some(forced)) => FaultEffect::Supply(supply, forced),
        _ => effect,
    }
}

/// What the sequence can notice of an effect.
///
/// "Off" is moved down the chain as far as no "on" of another device lies between,
/// so that two faults in one chain still act in the right order: of two faults the
/// one nearer to the program decides, and of two at one stage the one that holds it on.
fn reduced(machine: &Machine, own: DeviationKind, effect: FaultEffect) -> Option<FaultEffect> {
    match effect {
        FaultEffect::Input(_, InputStage::Lamp, _) | FaultEffect::Output(_, OutputStage::Lamp, _) => None,
        FaultEffect::Input(input, stage, Forced::Off) => {
            let held_on = other_effects(machine, own).filter_map(|other| match other {
                FaultEffect::Input(which, at, Forced::On) if which == input && at >= stage => Some(at),
                _ => None,
            });
            Some(FaultEffect::Input(input, held_on.min().unwrap_or(InputStage::Card), Forced::Off))
        }
        FaultEffect::Input(input, InputStage::Target, forced) => {
            Some(FaultEffect::Input(input, InputStage::Sensor, forced))
        }
        // A valve that hangs acts whatever is wrong before it.
        FaultEffect::Output(_, OutputStage::Valve, Forced::Off) => Some(effect),
        FaultEffect::Output(output, stage, Forced::Off) => {
            let held_on = other_effects(machine, own).filter_map(|other| match other {
                FaultEffect::Output(which, at, Forced::On) if which == output && at >= stage => Some(at),
                _ => None,
            });
            Some(FaultEffect::Output(
                output,
                held_on.min().unwrap_or(OutputStage::Coil).min(OutputStage::Coil),
                Forced::Off,
            ))
        }
        FaultEffect::ControllerError => Some(FaultEffect::ControllerStopped),
        other => Some(other),
    }
}

/// The effects of everything that can be there together with a deviation of this kind.
fn other_effects(machine: &Machine, own: DeviationKind) -> impl Iterator<Item = FaultEffect> + '_ {
    let together = move |kind: DeviationKind| kind == DeviationKind::Lapse || kind != own;
    machine.deviations.rows().filter(move |row| together(row.kind)).flat_map(|row| row.effects.iter().copied())
}

fn triggers(plant: &Plant, effects: &[FaultEffect]) -> (Vec<Trigger>, bool) {
    let layout = plant.layout();
    let mut triggers = Vec::new();
    let mut at_once = false;
    // "Off" and chatter matter while the signal is on, "on" while it is off.
    let at = |signal, value| Trigger { signal, value, matters: Matters::Always };
    let matters = |forced: Forced| !matches!(forced, Forced::On);
    let felt = |signal, forced| match forced {
        Forced::Chatters(..) => at(signal, true),
        _ => Trigger { signal, value: matters(forced), matters: Matters::IfFelt },
    };
    for effect in effects {
        match *effect {
            FaultEffect::Input(input, _, forced) => {
                if plant.inputs[input.index()].used {
                    triggers.push(Trigger { matters: Matters::IfLookedAt, ..at(layout.input(input), matters(forced)) });
                }
            }
            FaultEffect::Output(output, _, forced) => triggers.push(felt(layout.driven(output), forced)),
            FaultEffect::Supply(supply, forced) => triggers.push(felt(layout.supply(supply), forced)),
            FaultEffect::Stuck(mechanism) | FaultEffect::Slow(mechanism, _) => {
                triggers.push(at(layout.between(mechanism), true));
            }
            FaultEffect::StopsShort(mechanism, position) => triggers.push(at(layout.at(mechanism, position), true)),
            FaultEffect::Creeps(mechanism, from, ..) => triggers.push(at(layout.at(mechanism, from), true)),
            FaultEffect::ControllerStopped | FaultEffect::ControllerError | FaultEffect::Found(..) => at_once = true,
            FaultEffect::Forgotten(..) => {}
        }
    }
    (triggers, at_once)
}

impl Behaviour {
    /// Whether the behaviour would change what happens in the epoch that begins at this mark.
    pub(crate) fn in_play(&self, mark: &Mark, engine: &mut Engine<'_>) -> bool {
        match self.plays(mark) {
            Plays::Yes => true,
            Plays::No => false,
            Plays::IfFelt => !engine.stays_quiet(&mark.state, &self.effects, &self.own),
        }
    }

    /// Whether it could, without finding out what follows from it at once.
    pub(crate) fn may_play(&self, mark: &Mark) -> bool {
        self.plays(mark) != Plays::No
    }

    fn plays(&self, mark: &Mark) -> Plays {
        let bit = |bits: &[u64], signal: Signal| bits[(signal.0 >> 6) as usize] >> (signal.0 & 63) & 1 == 1;
        if self.at_once || (mark.epoch == 0 && self.left_out.contains(&mark.stage)) {
            return Plays::Yes;
        }
        let mut plays = Plays::No;
        for trigger in &self.triggers {
            if !bit(if trigger.value { &mark.seen_on } else { &mark.seen_off }, trigger.signal) {
                continue;
            }
            let at_the_beginning = mark.state.bit(trigger.signal) == trigger.value;
            match trigger.matters {
                Matters::IfLookedAt if !bit(&mark.looked_at, trigger.signal) => {}
                Matters::IfFelt if at_the_beginning && !bit(&mark.looked_at, trigger.signal) => plays = Plays::IfFelt,
                _ => return Plays::Yes,
            }
        }
        plays
    }

    /// Whether the sequence can't notice it at all.
    #[must_use]
    pub fn is_silent(&self) -> bool {
        self.triggers.is_empty() && self.left_out.is_empty() && !self.at_once
    }
}

fn chatters(effect: &FaultEffect) -> bool {
    chattering_place(*effect).is_some()
}
