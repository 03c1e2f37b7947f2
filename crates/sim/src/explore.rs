//! All single deviations and all pairs of them, with all moments at which each can
//! set in, played through a routine.
//!
//! A pair is simulated only where its second member comes into play. A deviation
//! *comes into play* in the first epoch, from its moment on, in which a signal that
//! it forces has the other value; before that it changes nothing, so the run is
//! forked from the state kept at the beginning of that epoch. A member that never
//! comes into play is *latent*: the run is the other member's alone, and only its
//! share is noted. Each pair with each two moments is thus counted exactly once, in
//! the run of the member that comes into play first (on a tie, the one with the
//! lower number). Second members that come into play only after a first odd standing
//! point are not followed: most people have called by then; the weight is reported.
//!
//! Moments: a lapse or a loose contact is there from the beginning. Any other fault sets in at the beginning of
//! an epoch of the undisturbed run, with a share that grows with the epoch's length
//! ([`Options`]); in another run, the moment "stage k, epoch n" is the first kept
//! moment that is not before it. When somebody calls at the end of stage k, the
//! moments up to there share the whole probability.

mod found;
mod meanwhile;
mod sets;

pub use found::{Found, explored};
pub use meanwhile::SetIn;
pub use sets::{SetEnd, SetEnds};

use crate::behaviour::{Behaviour, Candidates, Plays, Quiet, behaviours, each_bit};
use crate::engine::{Engine, Limits, Unwatched};
use crate::plant::Plant;
use crate::routine::{Branching, Habits, Mark, Path, Player, STAGE_END, StageEnd};
use crate::situation::Situation;
use crate::state::State;
use machine::Machine;
use machine::id::{DeviationId, Id, MechanismId, RoutineId};
use machine::model::{FaultEffect, HandAction, HandMove};
use rayon::prelude::*;
use rustc_hash::FxHashMap;
use serde::{Deserialize, Serialize};
use std::cmp::Ordering;

/// What an exploration assumes.
#[derive(Clone, Copy, Debug)]
pub struct Options {
    /// Share of faults that set in before power-on.
    pub before_power_on: f64,
    /// How long people take before each hand action, ms; counts towards the moments at which faults set in.
    pub hand_pause_ms: u64,
    /// The least time that an epoch counts for, ms.
    pub least_epoch_ms: u64,
    /// How people go on.
    pub habits: Habits,
    /// Limits of each run.
    pub limits: Limits,
    /// Branching of runs with one deviation.
    pub single_branching: Branching,
    /// Branching of runs with two deviations.
    pub pair_branching: Branching,
    /// Branching of what comes of a single act later on.
    pub later_branching: Branching,
    /// Branches of less probability than this are not forked for a second deviation.
    pub least_forked: f64,
    /// Pairs of less weight than this, relative to all single deviations, are not followed.
    pub least_pair: f64,
    /// By how much heavier than others a pair must be to be followed if somebody does one of it unasked.
    pub unasked_pairs: f64,
    /// Whether pairs are explored at all.
    pub pairs: bool,
    /// Whether people look when the time to wait after an action is over, not only when the machine stands:
    /// so in a led procedure.
    pub looks_after_wait: bool,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            before_power_on: 0.25,
            hand_pause_ms: 20_000,
            least_epoch_ms: 200,
            habits: Habits::default(),
            limits: Limits::default(),
            single_branching: Branching { least: 0.01, branches: 32 },
            pair_branching: Branching { least: 0.2, branches: 4 },
            later_branching: Branching { least: 0.05, branches: 8 },
            least_forked: 0.1,
            least_pair: 1e-9,
            unasked_pairs: 1e3,
            pairs: true,
            looks_after_wait: false,
        }
    }
}

/// A moment at which a fault can set in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slot {
    /// Stage: 0 is power-on, `k` the `k`-th hand action.
    pub stage: u16,
    /// Epoch within the stage; 0 is before the hand acts.
    pub epoch: u16,
    /// Share of the faults that set in here; all slots together have 1.
    pub share: f64,
}

/// One way in which the machine can stand when somebody calls.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Record {
    /// The behaviour that came into play first, if any.
    pub first: Option<u32>,
    /// The behaviour that came into play second, if any.
    pub second: Option<u32>,
    /// The stage after which somebody calls.
    pub stage: u16,
    /// Whether all went as it does when nothing is wrong.
    pub as_always: bool,
    /// Index into [`Exploration::situations`].
    pub situation: u32,
    /// Probability of this end and of calling here, given the deviations.
    pub weight: f64,
    /// Row of [`Exploration::latent`]; records with two behaviours have none.
    pub latent: Option<u32>,
    /// What of the state its situation does not show; see [`State::unseen`].
    unseen: u64,
    /// The moments, as kept in the run before, at which the two came into play.
    forks: [u16; 2],
}

impl Record {
    /// How many deviations have come into play.
    #[must_use]
    pub fn in_play(&self) -> usize {
        usize::from(self.first.is_some()) + usize::from(self.second.is_some())
    }
}

/// Everything that can happen with up to two deviations.
#[derive(Debug)]
pub struct Exploration {
    /// The behaviours.
    pub behaviours: Vec<Behaviour>,
    /// The moments.
    pub slots: Vec<Slot>,
    /// All ways to stand; those with no deviation in play first, then single ones, then pairs.
    pub records: Vec<Record>,
    /// For each record with fewer than two behaviours, the probability for each behaviour
    /// that it is there but has not come into play by then.
    pub latent: Vec<Vec<f64>>,
    /// What the machine looks like.
    pub situations: Vec<Situation>,
    /// How many runs were simulated.
    pub runs: u64,
    /// Signal changes simulated.
    pub events: u64,
    /// Mean probability of a run that was cut off where contacts chatter.
    pub cut: f64,
    /// The weight of pairs that were not followed to their end: their odds times the share of their moments concerned.
    pub unfollowed: f64,
    /// The situations that the undisturbed run passes through: at each kept moment.
    pub passing: Vec<Situation>,
    nominal_run: Path,
    routine: RoutineId,
    options: Options,
}

impl Exploration {
    /// Which routine was explored.
    #[must_use]
    pub fn routine(&self) -> RoutineId {
        self.routine
    }

    /// What a stage ends in when nothing is wrong; none for a stage at whose end nobody waits.
    #[must_use]
    pub fn nominal_end(&self, stage: u16) -> Option<&Situation> {
        self.nominal_run.ends.iter().find(|end| end.stage == stage).map(|end| &end.situation)
    }

    /// The behaviour under whose number the records stand in which this one is in play, by itself or beside another.
    ///
    /// Nearly always its own. Behaviours that do the same except beside a few others are played once, and what stands
    /// under one number goes for each of them.
    #[must_use]
    pub fn runs_as(&self, behaviour: usize, beside: Option<usize>) -> usize {
        self.behaviours[behaviour].runs_as(behaviour, beside)
    }

    /// The behaviours in play where a record with this one by itself stands: itself, and those that run as it does.
    pub fn running_as(&self, behaviour: usize) -> impl Iterator<Item = usize> + '_ {
        (0..self.behaviours.len()).filter(move |one| self.runs_as(*one, None) == behaviour)
    }

    /// The state in which a record's machine stands, by playing its run once more.
    ///
    /// With the behaviours that came into play: a record can stand for several ([`Exploration::runs_as`]).
    ///
    /// `None` only for a record that does not belong to this exploration.
    #[must_use]
    pub fn state_of(
        &self,
        machine: &Machine,
        plant: &Plant,
        record: &Record,
        in_play: [Option<usize>; 2],
    ) -> Option<State> {
        let wanted = self.situations.get(record.situation as usize)?;
        let player = self.player(machine, plant);
        let Some(first) = in_play[0] else {
            return self
                .nominal_run
                .marks
                .iter()
                .find(|mark| mark.stage == record.stage && mark.epoch == STAGE_END)
                .map(|mark| mark.state.clone());
        };
        let mut engine = Engine::new(plant);
        let ends_so = |end: &&StageEnd| {
            (end.stage, end.as_always, end.unseen) == (record.stage, record.as_always, record.unseen)
                && end.situation == *wanted
        };
        let mark = self.nominal_run.marks.get(usize::from(record.forks[0]))?;
        let (paths, _) = player.play_from_mark(&mut engine, mark, &self.behaviours[first].effects, true);
        let Some(second) = in_play[1] else {
            return paths.iter().flat_map(|path| &path.ends).find(ends_so)?.state.clone();
        };
        let pair = player.for_pairs(self.options.pair_branching);
        paths.iter().find_map(|path| {
            let mark = path.marks.get(usize::from(record.forks[1]))?;
            let (forks, _) = pair.play_from_mark(&mut engine, mark, &self.behaviours[second].effects, false);
            forks.iter().flat_map(|fork| &fork.ends).find(ends_so)?.state.clone()
        })
    }

    fn player<'p>(&'p self, machine: &'p Machine, plant: &'p Plant) -> Player<'p> {
        Player {
            plant,
            actions: &machine.routines[self.routine].actions,
            nominal: &self.nominal_run.ends,
            habits: self.options.habits,
            limits: self.options.limits,
            branching: self.options.single_branching,
            keep_states: true,
            looks_after_wait: self.options.looks_after_wait,
            forgets: true,
        }
    }

    /// Somebody who does just these actions, and no others, on a machine at rest.
    fn led<'p>(&self, plant: &'p Plant, actions: &'p [HandAction]) -> Player<'p> {
        Player {
            plant,
            actions,
            nominal: &[],
            habits: self.options.habits,
            limits: self.options.limits,
            branching: self.options.later_branching,
            keep_states: true,
            looks_after_wait: self.options.looks_after_wait,
            forgets: false,
        }
    }

    /// The mechanisms that move when somebody makes effects set in, puts others right and acts, up to the
    /// next standing point. What the hand itself puts somewhere is not among them. `there` are effects
    /// that have been there before without a consequence.
    #[must_use]
    pub fn moved_by(
        &self,
        plant: &Plant,
        state: &State,
        there: &[FaultEffect],
        made: &[FaultEffect],
        put_right: &[FaultEffect],
        action: HandMove,
    ) -> Vec<MechanismId> {
        let mut engine = Engine::new(plant);
        engine.restore(state);
        // A program that does not come to rest moves nothing more.
        let _ = engine.impose(there);
        engine.begin_epoch();
        let _ = engine.impose(made).and_then(|()| engine.lift(put_right)).and_then(|()| engine.act(action));
        engine.run_to_standing(self.options.limits);
        (0..plant.mechanisms.len())
            .map(MechanismId::new)
            .filter(|mechanism| {
                let between = plant.layout().between(*mechanism);
                between.is_in(&engine.seen_on) && !(state.bit(between) && engine.on(between))
            })
            .collect()
    }

    /// Whether these effects, which are at work in this state, hold anything there otherwise than it would be without
    /// them. What only a lamp shows does not count: an input that the program never reads, an output by which nothing
    /// moves.
    #[must_use]
    pub fn hold_otherwise(&self, plant: &Plant, state: &State, effects: &[FaultEffect]) -> bool {
        let mut engine = Engine::new(plant);
        engine.restore(state);
        // A program that does not come to rest without them is otherwise, too.
        engine.lift(effects).is_err() || !state.same_but_for_lamps(engine.state(), plant)
    }

    /// Whether something that these effects left somewhere is still there.
    #[must_use]
    pub fn still_left_there(&self, plant: &Plant, here: &Situation, effects: &[FaultEffect]) -> bool {
        let layout = plant.layout();
        effects.iter().any(|effect| {
            matches!(effect, FaultEffect::Found(mechanism, position) if here.on(layout.at(*mechanism, *position)))
        })
    }

    /// Goes on from a state: further effects set in, effects are put right, then a hand acts
    /// and the machine comes to rest. Gives each branch with its probability; where contacts chatter and branches are
    /// cut, those that are left have the whole of it, as whoever stands before the machine sees it stand somehow.
    #[must_use]
    pub fn go_on(
        &self,
        plant: &Plant,
        state: &State,
        set_in: &[FaultEffect],
        put_right: &[FaultEffect],
        action: &HandAction,
    ) -> Vec<(f64, Situation, State)> {
        let mut engine = Engine::new(plant);
        engine.restore(state);
        // A program that does not come to rest is found out again when the hand acts.
        let _ = engine.impose(set_in);
        let _ = engine.lift(put_right);
        let actions = [action.clone()];
        let mut after = self.led(plant, &actions).go_on(&mut engine);
        let whole: f64 = after.iter().map(|(probability, ..)| probability).sum();
        after.iter_mut().for_each(|(probability, ..)| *probability /= whole.max(f64::MIN_POSITIVE));
        after
    }
}

/// Plays a routine with every deviation alone and with all pairs.
///
/// Runs in parallel; the result does not depend on the number of threads.
#[must_use]
pub fn explore(machine: &Machine, plant: &Plant, routine: RoutineId, options: &Options) -> Exploration {
    explore_weighted(machine, plant, routine, &Options { least_pair: 0.0, ..*options }, &|_| 1.0)
}

/// Like [`explore`], leaving out the pairs that are hardly ever there together.
///
/// `odds` gives each deviation's odds of being there. A pair at two given moments is not
/// followed if its weight is below [`Options::least_pair`] of that of all single deviations;
/// its weight is in [`Exploration::unfollowed`] instead.
#[must_use]
pub fn explore_weighted(
    machine: &Machine,
    plant: &Plant,
    routine: RoutineId,
    options: &Options,
    odds: &(dyn Fn(DeviationId) -> f64 + Sync),
) -> Exploration {
    let undisturbed = Undisturbed::new(machine, plant, routine, options);
    let Undisturbed { behaviours: all, run: nominal, slots, .. } = &undisturbed;
    let player = Player { nominal: &nominal.ends, ..Undisturbed::player(machine, plant, routine, options) };
    let mut engine = Engine::new(plant);
    let mut quiet = Quiet::new(all);
    let nominal_plays = (0..all.len())
        .map(|behaviour| nominal.marks.iter().map(|mark| quiet.in_play(behaviour, mark, &mut engine)).collect())
        .collect();
    let odds: Vec<f64> =
        all.iter().map(|behaviour| behaviour.members.iter().map(|member| odds(*member)).sum()).collect();
    let least = options.least_pair * odds.iter().sum::<f64>();
    let candidates = Candidates::new(plant, all);
    let up_to = Vec::new();
    let pending = Vec::new();
    let mut explorer = Explorer {
        player,
        options,
        behaviours: all,
        nominal,
        nominal_plays,
        slots,
        candidates,
        up_to,
        pending,
        odds,
        together: Vec::new(),
        least,
    };
    explorer.together = explorer.all_together();
    explorer.up_to = explorer.all_up_to();
    explorer.pending = explorer.all_pending();

    let mut whole = Part::default();
    explorer.nothing_in_play(&mut whole);
    let parts: Vec<Part> = (0..all.len()).into_par_iter().map(|first| explorer.first_in_play(first)).collect();
    let runs: u64 = parts.iter().map(|part| part.runs).sum::<u64>() + 1;
    let cut = parts.iter().map(|part| part.cut).sum::<f64>() / runs as f64;
    let events = parts.iter().map(|part| part.events).sum();
    let mut unfollowed = 0.0;
    for part in parts {
        for (first, second, share) in &part.unfollowed {
            unfollowed += explorer.odds_of(*first as usize, *second as usize) * share;
        }
        whole.absorb(part);
    }
    let Part { mut records, latent, situations, .. } = whole;
    records.sort_by_key(|record| (record.first.is_some(), record.second.is_some()));
    let found = Found {
        records: records.into(),
        latent: latent.into(),
        situations: situations.into(),
        runs,
        events,
        cut,
        unfollowed,
    };
    undisturbed.with(found, routine, options)
}

/// The run in which nothing is wrong, and what follows from it alone.
struct Undisturbed {
    behaviours: Vec<Behaviour>,
    run: Path,
    slots: Vec<Slot>,
    passing: Vec<Situation>,
}

impl Undisturbed {
    fn new(machine: &Machine, plant: &Plant, routine: RoutineId, options: &Options) -> Self {
        let player = Self::player(machine, plant, routine, options);
        let (mut paths, _) = player.play_from_power_on(&[], true);
        let run = paths.pop().unwrap_or_else(Path::begun);
        Self {
            behaviours: behaviours(machine, plant, routine),
            slots: slots(&run, options),
            passing: run.marks.iter().map(|mark| Situation::from_bits(mark.state.bits.clone())).collect(),
            run,
        }
    }

    fn player<'p>(machine: &'p Machine, plant: &'p Plant, routine: RoutineId, options: &Options) -> Player<'p> {
        Player {
            plant,
            actions: &machine.routines[routine].actions,
            nominal: &[],
            habits: options.habits,
            limits: options.limits,
            branching: options.single_branching,
            keep_states: false,
            looks_after_wait: options.looks_after_wait,
            forgets: true,
        }
    }

    /// The whole, with what was found when deviations were played.
    fn with(self, found: Found<'_>, routine: RoutineId, options: &Options) -> Exploration {
        let Found { records, latent, situations, runs, events, cut, unfollowed } = found;
        let Self { behaviours, run, slots, passing } = self;
        Exploration {
            behaviours,
            slots,
            records: records.into_owned(),
            latent: latent.into_owned(),
            situations: situations.into_owned(),
            runs,
            events,
            cut,
            unfollowed,
            passing,
            nominal_run: Path { probability: 1.0, ..run },
            routine,
            options: *options,
        }
    }
}

/// The moments of the undisturbed run, with shares that grow with their length.
fn slots(nominal: &Path, options: &Options) -> Vec<Slot> {
    let marks: Vec<_> = nominal.marks.iter().filter(|mark| mark.epoch != STAGE_END).collect();
    let length = |index: usize| -> u64 {
        let mark = marks[index];
        if mark.epoch == 0 {
            return options.hand_pause_ms;
        }
        let end = marks
            .get(index + 1)
            .map_or_else(|| nominal.marks.last().map_or(0, |last| last.state.now()), |next| next.state.now());
        end.saturating_sub(mark.state.now()).max(options.least_epoch_ms)
    };
    let total: u64 = (1..marks.len()).map(length).sum();
    (0..marks.len())
        .map(|index| Slot {
            stage: marks[index].stage,
            epoch: marks[index].epoch,
            share: match (index, marks.len()) {
                (0, 1) => 1.0,
                (0, _) => options.before_power_on,
                _ => (1.0 - options.before_power_on) * length(index) as f64 / total as f64,
            },
        })
        .collect()
}

/// What has come into play in a run, and where the run was forked for it.
#[derive(Clone, Copy, Debug, Default)]
struct InPlay {
    first: Option<u32>,
    second: Option<u32>,
    forks: [u16; 2],
}

/// What records have in common that are added up: deviations, stage, as always or not, situation, and what of the state
/// the situation does not show, so that all of them go on alike.
type RecordKey = (Option<u32>, Option<u32>, u16, bool, u32, u64);

/// Results under way: records whose situations are numbered locally.
#[derive(Debug, Default)]
struct Part {
    records: Vec<Record>,
    latent: Vec<Vec<f64>>,
    situations: Vec<Situation>,
    index: FxHashMap<Situation, u32>,
    found: FxHashMap<RecordKey, usize>,
    runs: u64,
    events: u64,
    cut: f64,
    unfollowed: Vec<(u32, u32, f64)>,
}

impl Part {
    fn intern(&mut self, situation: &Situation) -> u32 {
        if let Some(known) = self.index.get(situation) {
            return *known;
        }
        let id = self.situations.len() as u32;
        self.situations.push(situation.clone());
        self.index.insert(situation.clone(), id);
        id
    }

    /// Adds a record, or its weight to the one with the same deviations, stage and state.
    fn add(&mut self, in_play: InPlay, end: &StageEnd, weight: f64, latent: Option<&[f64]>) {
        if weight <= 0.0 {
            return;
        }
        let situation = self.intern(&end.situation);
        let InPlay { first, second, forks } = in_play;
        let stage = end.stage;
        let next = self.records.len();
        let at = *self.found.entry((first, second, stage, end.as_always, situation, end.unseen)).or_insert(next);
        if at == next {
            let row = latent.map(|row| {
                self.latent.push(row.to_vec());
                self.latent.len() as u32 - 1
            });
            self.records.push(Record {
                first,
                second,
                stage,
                as_always: end.as_always,
                situation,
                weight,
                latent: row,
                unseen: end.unseen,
                forks,
            });
            return;
        }
        let record = &mut self.records[at];
        if let (Some(row), Some(latent)) = (record.latent, latent) {
            // The mean of the shares, weighted as the records are.
            let total = record.weight + weight;
            for (mean, new) in self.latent[row as usize].iter_mut().zip(latent) {
                *mean = (*mean * record.weight + new * weight) / total;
            }
        }
        record.weight += weight;
    }

    fn absorb(&mut self, part: Self) {
        let renumbered: Vec<u32> = part.situations.into_iter().map(|situation| self.intern(&situation)).collect();
        let offset = self.latent.len() as u32;
        self.latent.extend(part.latent);
        self.records.extend(part.records.into_iter().map(|record| Record {
            situation: renumbered[record.situation as usize],
            latent: record.latent.map(|row| row + offset),
            ..record
        }));
    }
}

/// A share of moments: summed once for faults; a lapse has but one moment.
#[derive(Clone, Copy, Debug, Default)]
struct Pending(f64);

struct Explorer<'e> {
    player: Player<'e>,
    options: &'e Options,
    behaviours: &'e [Behaviour],
    nominal: &'e Path,
    /// For each behaviour and each mark of the undisturbed run, whether it is in play there.
    nominal_plays: Vec<Vec<bool>>,
    slots: &'e [Slot],
    candidates: Candidates,
    /// By stage and behaviour; see [`Explorer::up_to`].
    up_to: Vec<Vec<f64>>,
    /// By mark of the undisturbed run and behaviour; see [`Explorer::all_pending`].
    pending: Vec<Vec<f64>>,
    /// Odds of each behaviour, those of all that run as it does, and the least weight of a pair that is followed.
    odds: Vec<f64>,
    together: Vec<f64>,
    least: f64,
}

impl<'e> Explorer<'e> {
    /// The share of a behaviour's moments at this slot.
    fn share(&self, behaviour: usize, slot: usize) -> f64 {
        share_at(&self.behaviours[behaviour], self.slots, slot)
    }

    /// The share of a behaviour's moments up to the end of this stage.
    fn up_to(&self, behaviour: usize, stage: u16) -> f64 {
        self.up_to[usize::from(stage)][behaviour]
    }

    fn all_together(&self) -> Vec<f64> {
        let mut together = vec![0.0; self.behaviours.len()];
        for (number, behaviour) in self.behaviours.iter().enumerate() {
            together[behaviour.runs_as(number, None)] += self.odds[number];
        }
        together
    }

    /// Whether two behaviours stand for themselves beside each other; else their runs are those of others.
    fn stand_for_themselves(&self, first: usize, second: usize) -> bool {
        let as_others = |one: usize, beside: usize| self.behaviours[one].runs_as(one, Some(beside)) != one;
        !as_others(first, second) && !as_others(second, first)
    }

    /// The odds of two behaviours, and of all that they stand for beside each other, being there together.
    fn odds_of(&self, first: usize, second: usize) -> f64 {
        let odds = |one: usize, beside: usize| {
            if self.behaviours[one].is_apart(beside) { self.odds[one] } else { self.together[one] }
        };
        odds(first, second) * odds(second, first)
    }

    fn all_up_to(&self) -> Vec<Vec<f64>> {
        let stages = self.player.actions.len() as u16 + 1;
        let up_to =
            |stage: u16| -> f64 { self.slots.iter().filter(|slot| slot.stage <= stage).map(|slot| slot.share).sum() };
        (0..stages)
            .map(|stage| {
                let faults = up_to(stage);
                self.behaviours.iter().map(|one| if one.from_the_beginning { 1.0 } else { faults }).collect()
            })
            .collect()
    }

    fn slot_at(&self, mark: &Mark) -> Option<usize> {
        self.slots.iter().position(|slot| slot.stage == mark.stage && slot.epoch == mark.epoch)
    }

    /// Whether a behaviour is in play in an epoch of the undisturbed run.
    fn plays(&self, behaviour: usize, mark: usize) -> bool {
        self.nominal_plays[behaviour][mark]
    }

    /// Where each behaviour comes into play on the undisturbed run: marks with the share of moments that lead there.
    fn divergences(&self, behaviour: usize) -> Vec<(usize, f64)> {
        let mut found = Vec::new();
        let mut pending = Pending::default();
        for (index, mark) in self.nominal.marks.iter().enumerate() {
            if let Some(slot) = self.slot_at(mark) {
                pending.0 += self.share(behaviour, slot);
            }
            if pending.0 > 0.0 && self.plays(behaviour, index) {
                found.push((index, std::mem::take(&mut pending).0));
            }
        }
        found
    }

    /// The undisturbed run itself, with what is latent in it.
    fn nothing_in_play(&self, part: &mut Part) {
        let mut pending = vec![0.0; self.behaviours.len()];
        for (index, mark) in self.nominal.marks.iter().enumerate() {
            let slot = self.slot_at(mark);
            for (behaviour, pending) in pending.iter_mut().enumerate() {
                *pending += slot.map_or(0.0, |slot| self.share(behaviour, slot));
                if self.plays(behaviour, index) {
                    *pending = 0.0;
                }
            }
            let ends = self.nominal.ends.iter().filter(|end| mark.epoch == STAGE_END && end.stage == mark.stage);
            for end in ends {
                let latent = self.normalised(&pending, end.stage);
                part.add(InPlay::default(), end, end.calls, Some(&latent));
            }
        }
    }

    fn normalised(&self, pending: &[f64], stage: u16) -> Vec<f64> {
        pending.iter().enumerate().map(|(behaviour, share)| share / self.up_to(behaviour, stage)).collect()
    }

    /// Every run in which this behaviour comes into play first.
    fn first_in_play(&self, first: usize) -> Part {
        let mut part = Part::default();
        let mut engine = Engine::new(self.player.plant);
        let mut quiet = Quiet::new(self.behaviours);
        for (at, share) in self.divergences(first) {
            let mark = &self.nominal.marks[at];
            let (paths, cut) = self.player.play_from_mark(&mut engine, mark, &self.behaviours[first].effects, true);
            part.cut += cut;
            part.runs += paths.len() as u64;
            for path in &paths {
                self.on_path(&mut part, (&mut engine, &mut quiet), first, at, share, path);
            }
        }
        part.events = engine.events();
        part
    }

    /// Notes the ends of a run, and forks it for every behaviour that comes into play in it.
    fn on_path(
        &self,
        part: &mut Part,
        (engine, quiet): (&mut Engine<'e, Unwatched>, &mut Quiet<'e>),
        first: usize,
        at: usize,
        first_share: f64,
        path: &Path,
    ) {
        let mut pending: Vec<f64> = (0..self.behaviours.len()).map(|second| self.pending(first, second, at)).collect();
        let mut unfollowed = vec![0.0; self.behaviours.len()];
        let mut candidates = vec![0; self.behaviours.len().div_ceil(64)];
        let mut next_slot = at_slot(self.slots, &self.nominal.marks[at]);
        for (index, mark) in path.marks.iter().enumerate() {
            // Moments that fall between two kept ones count with the later.
            while next_slot < self.slots.len() && not_after(&self.slots[next_slot], mark) {
                for (second, pending) in pending.iter_mut().enumerate() {
                    *pending += self.share(second, next_slot);
                }
                next_slot += 1;
            }
            // Somebody has had reason to call already, or the branch is a rare one.
            let forked = mark.odd == 0 && path.probability >= self.options.least_forked;
            let weight = mark.going_on * path.probability * first_share;
            self.candidates.at(mark, &mut candidates);
            for (word, bits) in candidates.iter().enumerate() {
                each_bit(word, *bits, |second| {
                    if pending[second] <= 0.0 {
                        return;
                    }
                    let plays = self.behaviours[second].plays(mark);
                    if plays == Plays::No {
                        return;
                    }
                    if !self.stand_for_themselves(first, second) {
                        // Loose contacts, whose playing depends on nothing else.
                        pending[second] = 0.0;
                        return;
                    }
                    if weight * pending[second] * self.odds_of(first, second) < self.least_of(first, second) {
                        unfollowed[second] += weight * std::mem::take(&mut pending[second]);
                        return;
                    }
                    if plays == Plays::IfFelt && quiet.stays(second, mark, engine) {
                        return;
                    }
                    let share = std::mem::take(&mut pending[second]);
                    if !forked {
                        unfollowed[second] += weight * share;
                    } else if self.options.pairs {
                        let set_in = Together { first, second, at, index, first_share, share };
                        self.pair(part, engine, path, &set_in);
                    }
                });
            }
            for end in path.ends.iter().filter(|end| mark.epoch == STAGE_END && end.stage == mark.stage) {
                self.single_end(part, (first, at, first_share), path, end, &pending);
            }
        }
        let not_followed = unfollowed.into_iter().enumerate().filter(|(_, weight)| *weight > 0.0);
        part.unfollowed.extend(not_followed.map(|(second, weight)| (first as u32, second as u32, weight)));
        // A fork at the very end of a stage has no mark of that end.
        for end in &path.ends {
            if !path.marks.iter().any(|mark| mark.epoch == STAGE_END && mark.stage == end.stage) {
                self.single_end(part, (first, at, first_share), path, end, &pending);
            }
        }
    }

    /// Forks a run where a second behaviour comes into play, and notes how the forks end.
    fn pair(&self, part: &mut Part, engine: &mut Engine<'e, Unwatched>, path: &Path, set_in: &Together) {
        let Together { first, second, at, index, first_share, share } = *set_in;
        let player = self.player.for_pairs(self.options.pair_branching);
        let effects = &self.behaviours[second].effects;
        let (forks, cut) = player.play_from_mark(engine, &path.marks[index], effects, false);
        part.cut += cut;
        part.runs += forks.len() as u64;
        let in_play =
            InPlay { first: Some(first as u32), second: Some(second as u32), forks: [at as u16, index as u16] };
        for fork in forks {
            for end in fork.ends {
                let weight = fork.probability
                    * path.probability
                    * end.calls
                    * (first_share / self.up_to(first, end.stage))
                    * (share / self.up_to(second, end.stage));
                part.add(in_play, &end, weight, None);
            }
        }
    }

    fn single_end(
        &self,
        part: &mut Part,
        (first, at, share): (usize, usize, f64),
        path: &Path,
        end: &StageEnd,
        pending: &[f64],
    ) {
        if self.behaviours[first].runs_as(first, None) != first {
            return;
        }
        let weight = path.probability * end.calls * (share / self.up_to(first, end.stage));
        let latent = self.normalised(pending, end.stage);
        part.add(InPlay { first: Some(first as u32), second: None, forks: [at as u16, 0] }, end, weight, Some(&latent));
    }

    /// The least weight at which a pair is followed. What somebody does unasked he can do at any moment, so it would be
    /// followed from each of them.
    fn least_of(&self, first: usize, second: usize) -> f64 {
        let unasked = [first, second].into_iter().any(|one| self.behaviours[one].unasked);
        if unasked { self.least * self.options.unasked_pairs } else { self.least }
    }

    /// The share of the second behaviour's moments, up to the mark where the first comes
    /// into play, that have not come into play before it.
    fn pending(&self, first: usize, second: usize, at: usize) -> f64 {
        let pending = self.pending[at][second];
        match second.cmp(&first) {
            _ if !self.plays(second, at) => pending,
            Ordering::Less => 0.0,
            // Two deviations that behave alike and come into play together: each is first in half of the cases.
            Ordering::Equal => pending / 2.0,
            Ordering::Greater => pending,
        }
    }

    /// For each mark of the undisturbed run, the share of each behaviour's moments up to there that
    /// has not come into play before.
    fn all_pending(&self) -> Vec<Vec<f64>> {
        let mut pending = vec![0.0; self.behaviours.len()];
        let mut all = Vec::with_capacity(self.nominal.marks.len());
        for (index, mark) in self.nominal.marks.iter().enumerate() {
            let slot = self.slot_at(mark);
            for (behaviour, pending) in pending.iter_mut().enumerate() {
                *pending += slot.map_or(0.0, |slot| self.share(behaviour, slot));
            }
            all.push(pending.clone());
            for (behaviour, pending) in pending.iter_mut().enumerate() {
                if self.plays(behaviour, index) {
                    *pending = 0.0;
                }
            }
        }
        all
    }
}

/// Two behaviours that come into play one after the other.
struct Together {
    first: usize,
    second: usize,
    /// The mark of the undisturbed run at which the first does, and that of the first's run at which the second does.
    at: usize,
    index: usize,
    /// The shares of their moments.
    first_share: f64,
    share: f64,
}

/// The share of a behaviour's moments at this slot.
fn share_at(behaviour: &Behaviour, slots: &[Slot], slot: usize) -> f64 {
    match (behaviour.from_the_beginning, slot) {
        (true, 0) => 1.0,
        (true, _) => 0.0,
        (false, _) => slots[slot].share,
    }
}

fn not_after(slot: &Slot, mark: &Mark) -> bool {
    (slot.stage, slot.epoch) <= (mark.stage, mark.epoch)
}

/// The first slot after this mark.
fn at_slot(slots: &[Slot], mark: &Mark) -> usize {
    slots.iter().position(|slot| !not_after(slot, mark)).unwrap_or(slots.len())
}
