//! Deviations that do the same to the sequence are one behaviour: a dead sensor,
//! its broken cable and its dead channel all make the program read "dark". They
//! are simulated once; what tells them apart (the sensor's own LED, volts at the
//! terminal) is worked out from the simulated state when somebody looks there.

mod alike;

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
    /// What decides whether anything follows from it at once, where signals alone do.
    reach: Option<Reach>,
    /// Stages whose hand action it leaves out: it comes into play when that stage begins.
    left_out: Vec<u16>,
    /// Whether it comes into play at once, whatever the signals.
    pub(crate) at_once: bool,
    /// Whether it is something that somebody does unasked.
    pub(crate) unasked: bool,
    /// Whether it is there from the beginning (a lapse, a loose contact) rather than from any moment on.
    pub from_the_beginning: bool,
    /// The deviations that behave so.
    pub members: Vec<DeviationId>,
    /// The number of the behaviour whose runs are also its own, except beside those from which they are told apart.
    runs_as: u32,
    apart: Vec<u32>,
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
pub(crate) enum Plays {
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
        let unasked = effects.iter().any(|effect| effect.unasked().is_some());
        let from_the_beginning =
            (deviation.kind == DeviationKind::Lapse && !unasked) || effects.iter().any(FaultEffect::comes_and_goes);
        let same = found.iter_mut().find(|one| one.effects == effects && one.from_the_beginning == from_the_beginning);
        if let Some(same) = same {
            same.members.push(id);
        } else {
            let (triggers, at_once) = triggers(plant, &effects);
            let mut own = vec![0; (plant.layout.len as usize).div_ceil(64)];
            for trigger in &triggers {
                trigger.signal.set_in(&mut own);
            }
            let left_out = effects
                .iter()
                .filter_map(|effect| match effect {
                    FaultEffect::Forgotten(of, action) if *of == routine => u16::try_from(action + 1).ok(),
                    _ => None,
                })
                .collect();
            let reach = Reach::new(plant, &effects, &own);
            found.push(Behaviour {
                own,
                reach,
                left_out,
                effects,
                triggers,
                at_once,
                unasked,
                from_the_beginning,
                members: vec![id],
                runs_as: 0,
                apart: Vec::new(),
            });
        }
    }
    alike::put_together(found)
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
    match (effect, forced) {
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
/// A loose contact is moved likewise; it comes after what holds its own stage on, so it stops
/// a stage earlier.
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
        FaultEffect::Input(input, stage, forced @ Forced::Chatters(..)) => {
            let held_on = other_effects(machine, own).filter_map(|other| match other {
                FaultEffect::Input(which, at, Forced::On) if which == input && at > stage => Some(at),
                _ => None,
            });
            let before = held_on.min().map_or(InputStage::Card, |at| just_before(&INPUT_STAGES, at, stage));
            Some(FaultEffect::Input(input, before, forced))
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
        FaultEffect::Output(output, stage, forced @ Forced::Chatters(..)) if stage <= OutputStage::Coil => {
            let held_on = other_effects(machine, own).filter_map(|other| match other {
                FaultEffect::Output(which, at, Forced::On) if which == output && at > stage => Some(at),
                _ => None,
            });
            let before = held_on.min().map_or(OutputStage::Coil, |at| just_before(&OUTPUT_STAGES, at, stage));
            Some(FaultEffect::Output(output, before, forced))
        }
        FaultEffect::ControllerError => Some(FaultEffect::ControllerStopped),
        other => Some(other),
    }
}

const INPUT_STAGES: [InputStage; 5] =
    [InputStage::Target, InputStage::Sensor, InputStage::Cable, InputStage::Terminal, InputStage::Card];
const OUTPUT_STAGES: [OutputStage; 4] = [OutputStage::Card, OutputStage::Cable, OutputStage::Coil, OutputStage::Valve];

/// The stage of a chain just before this one; at least the least one.
fn just_before<S: Copy + Ord>(stages: &[S], stage: S, least: S) -> S {
    stages.iter().copied().rfind(|one| *one < stage).unwrap_or(least).max(least)
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
            FaultEffect::ControllerStopped
            | FaultEffect::ControllerError
            | FaultEffect::Found(..)
            | FaultEffect::Unasked(_) => at_once = true,
            FaultEffect::Forgotten(..) => {}
        }
    }
    (triggers, at_once)
}

/// Which behaviours can come into play in an epoch, found by the signals that the epoch has seen
/// rather than by asking every behaviour.
#[derive(Debug)]
pub(crate) struct Candidates {
    /// Behaviours that come into play at once, whatever the signals.
    at_once: Vec<usize>,
    /// Behaviours that leave out the hand action of a stage.
    left_out: Vec<(u16, usize)>,
    /// By signal: behaviours that wait for it to be on, and off.
    by_signal: [Vec<Vec<usize>>; 2],
    /// The same, if the program looks at the signal meanwhile.
    by_looked_at: [Vec<Vec<usize>>; 2],
}

impl Candidates {
    pub(crate) fn new(plant: &Plant, behaviours: &[Behaviour]) -> Self {
        let empty = || [vec![Vec::new(); plant.layout.len as usize], vec![Vec::new(); plant.layout.len as usize]];
        let mut found = Self { at_once: Vec::new(), left_out: Vec::new(), by_signal: empty(), by_looked_at: empty() };
        for (index, behaviour) in behaviours.iter().enumerate() {
            if behaviour.at_once {
                found.at_once.push(index);
            }
            found.left_out.extend(behaviour.left_out.iter().map(|stage| (*stage, index)));
            for trigger in &behaviour.triggers {
                let lists = match trigger.matters {
                    Matters::IfLookedAt => &mut found.by_looked_at,
                    Matters::Always | Matters::IfFelt => &mut found.by_signal,
                };
                lists[usize::from(!trigger.value)][trigger.signal.0 as usize].push(index);
            }
        }
        found
    }

    /// Sets a bit for each behaviour that may come into play in the epoch that begins at this mark.
    pub(crate) fn at(&self, mark: &Mark, bits: &mut [u64]) {
        bits.fill(0);
        let mut put = |index: &usize| bits[index >> 6] |= 1 << (index & 63);
        self.at_once.iter().for_each(&mut put);
        if mark.epoch == 0 {
            self.left_out.iter().filter(|(stage, _)| *stage == mark.stage).for_each(|(_, index)| put(index));
        }
        for (value, seen) in [&mark.seen_on, &mark.seen_off].into_iter().enumerate() {
            for (word, seen) in seen.iter().enumerate() {
                each_bit(word, *seen, |signal| {
                    if let Some(list) = self.by_signal[value].get(signal) {
                        list.iter().for_each(&mut put);
                    }
                });
                each_bit(word, seen & mark.looked_at[word], |signal| {
                    if let Some(list) = self.by_looked_at[value].get(signal) {
                        list.iter().for_each(&mut put);
                    }
                });
            }
        }
    }
}

/// Calls with the number of every bit that is set in a word, lowest first.
pub(crate) fn each_bit(word: usize, mut bits: u64, mut see: impl FnMut(usize)) {
    while bits != 0 {
        see(word * 64 + bits.trailing_zeros() as usize);
        bits &= bits - 1;
    }
}

/// What is known of which behaviours change nothing in which states, as long as the effects at work
/// stay the same. An answer holds for all states that agree in the signals that it can depend on.
#[derive(Debug)]
pub(crate) struct Quiet<'b> {
    behaviours: &'b [Behaviour],
    /// By behaviour: one answer after the other, the signals first.
    known: Vec<Vec<u64>>,
}

impl<'b> Quiet<'b> {
    pub(crate) fn new(behaviours: &'b [Behaviour]) -> Self {
        Self { behaviours, known: vec![Vec::new(); behaviours.len()] }
    }

    /// Whether the behaviour would change what happens in the epoch that begins at this mark.
    pub(crate) fn in_play(&mut self, behaviour: usize, mark: &Mark, engine: &mut Engine<'_>) -> bool {
        match self.behaviours[behaviour].plays(mark) {
            Plays::Yes => true,
            Plays::No => false,
            Plays::IfFelt => !self.stays(behaviour, mark, engine),
        }
    }

    /// Whether imposing the behaviour at this mark changes nothing but its own signals.
    pub(crate) fn stays(&mut self, behaviour: usize, mark: &Mark, engine: &mut Engine<'_>) -> bool {
        let it = &self.behaviours[behaviour];
        let state = &mark.state;
        let reach = it.reach.as_ref().filter(|reach| {
            let moves = reach.moving.iter().zip(&state.bits).any(|(moving, bits)| moving & bits != 0);
            let pending = reach.due.iter().any(|due| state.due.of(*due) != crate::state::NEVER);
            let chatters = state.effects.iter().any(|active| active.effect.comes_and_goes());
            !moves && !pending && !chatters
        });
        let Some(reach) = reach else { return engine.stays_quiet(state, &it.effects, &it.own) };
        let masked = || state.bits.iter().zip(&reach.signals).map(|(bits, mask)| bits & mask);
        let known = &mut self.known[behaviour];
        let len = reach.signals.len() + 1;
        if let Some(found) = known.chunks_exact(len).find(|one| one[..len - 1].iter().copied().eq(masked())) {
            return found[len - 1] == 1;
        }
        let quiet = engine.stays_quiet(state, &it.effects, &it.own);
        known.extend(masked());
        known.push(u64::from(quiet));
        quiet
    }
}

/// What decides whether anything follows at once from what a behaviour does to its own signals.
#[derive(Clone, Debug)]
struct Reach {
    /// Signals that the answer depends on.
    signals: Vec<u64>,
    /// Mechanisms that may be between two positions: as long as one is, the answer depends on more than signals.
    moving: Vec<u64>,
    /// The same for inputs that are about to change.
    due: Vec<usize>,
}

impl Reach {
    /// `None` where the answer can depend on more than signals.
    fn new(plant: &Plant, effects: &[FaultEffect], own: &[u64]) -> Option<Self> {
        let reactions = plant.reactions;
        let mut reached = Vec::new();
        for effect in effects {
            reached.push(match effect {
                FaultEffect::Output(output, ..) => reactions.outputs + output.index(),
                FaultEffect::Supply(supply, Forced::Off) => supply.index(),
                _ => return None,
            });
        }
        let mut signals = own.to_vec();
        let mut program = false;
        for (word, bits) in own.iter().enumerate() {
            each_bit(word, *bits, |signal| {
                let signal_itself = Signal(signal as u32);
                program |= signal_itself.is_in(&plant.program_reads) || signal_itself.is_in(&plant.program_steps);
                program |= plant.controller_supply == Some(signal_itself);
                for (word, bits) in plant.dependents[signal].iter().enumerate() {
                    each_bit(word, *bits, |reaction| reached.push(reaction));
                }
            });
        }
        if program {
            return None;
        }
        let layout = &plant.layout;
        let mut moving = vec![0; own.len()];
        let mut due = Vec::new();
        layout.powered.set_in(&mut signals);
        for reaction in reached {
            for (all, depends) in signals.iter_mut().zip(&plant.depends_on[reaction]) {
                *all |= depends;
            }
            if reaction < reactions.outputs {
                layout.supply(Id::new(reaction)).set_in(&mut signals);
            } else if reaction < reactions.inputs {
                layout.driven(Id::new(reaction - reactions.outputs)).set_in(&mut signals);
            } else if reaction < reactions.mechanisms {
                layout.input(Id::new(reaction - reactions.inputs)).set_in(&mut signals);
                due.push(plant.mechanisms.len() + plant.timers.len() + reaction - reactions.inputs);
            } else {
                let mechanism = Id::new(reaction - reactions.mechanisms);
                layout.between(mechanism).set_in(&mut moving);
                for position in 0..layout.positions_of(mechanism) {
                    layout.at(mechanism, position).set_in(&mut signals);
                }
            }
        }
        Some(Self { signals, moving, due })
    }
}

impl Behaviour {
    /// Whether the behaviour would change what happens in the epoch that begins at this mark.
    pub(crate) fn plays(&self, mark: &Mark) -> Plays {
        // What somebody does before power-on is no matter; he does it after.
        let too_early = self.unasked && (mark.stage, mark.epoch) == (0, 0);
        if (self.at_once && !too_early) || (mark.epoch == 0 && self.left_out.contains(&mark.stage)) {
            return Plays::Yes;
        }
        let mut plays = Plays::No;
        for trigger in &self.triggers {
            if !trigger.signal.is_in(if trigger.value { &mark.seen_on } else { &mark.seen_off }) {
                continue;
            }
            let at_the_beginning = mark.state.bit(trigger.signal) == trigger.value;
            match trigger.matters {
                Matters::IfLookedAt if !trigger.signal.is_in(&mark.looked_at) => {}
                Matters::IfFelt if at_the_beginning && !trigger.signal.is_in(&mark.looked_at) => plays = Plays::IfFelt,
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
