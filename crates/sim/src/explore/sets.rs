//! One set of deviations, of any size, played through a routine: for sets larger than the pairs that are all played
//! beforehand.
//!
//! The rules are those of the exploration: each deviation sets in at one of the moments of the undisturbed run, comes
//! into play in the first epoch from then on in which something that it forces has the other value, and is latent
//! until then. Runs are forked for the one that comes into play first, then each of these for the next, and so on.
//! Where two come into play in the same epoch, the run of the one that stands first in the set goes on to the other, so
//! each combination of moments counts once.

use super::{Exploration, at_slot, not_after, share_at};
use crate::behaviour::Quiet;
use crate::engine::{Engine, Unwatched};
use crate::plant::Plant;
use crate::routine::{Path, Player, STAGE_END, StageEnd};
use crate::situation::Situation;
use crate::state::State;
use machine::Machine;
use smallvec::SmallVec;

/// Places in a set, or what is noted for each of them.
type Of<T> = SmallVec<[T; 4]>;

/// One way in which a machine can stand with a set of deviations when somebody calls.
#[derive(Clone, Debug)]
pub struct SetEnd {
    /// Those that came into play, by their place in the set, in the order in which they did.
    pub in_play: Of<usize>,
    /// The stage after which somebody calls.
    pub stage: u16,
    /// Whether all went as it does when nothing is wrong.
    pub as_always: bool,
    /// Probability of this end and of calling here, given the deviations.
    pub weight: f64,
    /// What the machine looks like.
    pub situation: Situation,
    /// Its state. What is latent is not at work in it.
    pub state: State,
}

/// How a set of deviations ends.
#[derive(Clone, Debug, Default)]
pub struct SetEnds {
    /// All ways, those that are alike added up.
    pub ends: Vec<SetEnd>,
    /// Probability of what was not followed: what comes into play only after somebody had reason to call, and branches
    /// that were cut off.
    pub unfollowed: f64,
}

impl Exploration {
    /// Plays the routine with these behaviours there, all of them and no other.
    ///
    /// A behaviour may stand in the set more than once: two deviations can do the same. None if the set names a
    /// behaviour that does not exist.
    ///
    /// Cost: a run for each moment at which one of them comes into play, with each such moment of the others; for what
    /// is there from the beginning that is one.
    #[must_use]
    pub fn play_set(&self, machine: &Machine, plant: &Plant, set: &[usize]) -> Option<SetEnds> {
        if set.iter().any(|one| *one >= self.behaviours.len()) {
            return None;
        }
        let single = self.player(machine, plant);
        let mut play = SetPlay {
            exploration: self,
            single,
            several: single.for_pairs(self.options.pair_branching),
            set,
            engine: Engine::new(plant),
            quiet: Quiet::new(&self.behaviours),
            found: SetEnds::default(),
        };
        let nothing: Of<f64> = set.iter().map(|_| 0.0).collect();
        play.follow(&self.nominal_run, 0, &Underway { in_play: Of::new(), share: nothing.clone(), pending: nothing });
        Some(play.found)
    }
}

/// What has come into play by some point of a run, and what has not.
#[derive(Clone, Debug)]
struct Underway {
    in_play: Of<usize>,
    /// By place in the set, the share of its moments that led to its coming into play where it did.
    share: Of<f64>,
    /// By place in the set, the share of its moments by now that have not come into play.
    pending: Of<f64>,
}

struct SetPlay<'e> {
    exploration: &'e Exploration,
    /// Who plays runs with one deviation in play, and with several.
    single: Player<'e>,
    several: Player<'e>,
    set: &'e [usize],
    engine: Engine<'e, Unwatched>,
    quiet: Quiet<'e>,
    found: SetEnds,
}

impl SetPlay<'_> {
    /// Notes the ends of a run, and forks it wherever one more comes into play; moments before `next_slot` are in what
    /// is pending already.
    fn follow(&mut self, path: &Path, mut next_slot: usize, before: &Underway) {
        let Exploration { slots, behaviours, options, .. } = self.exploration;
        let mut now = before.clone();
        for mark in &path.marks {
            // Moments that fall between two kept ones count with the later.
            while next_slot < slots.len() && not_after(&slots[next_slot], mark) {
                for (place, behaviour) in self.set.iter().enumerate() {
                    if !now.in_play.contains(&place) {
                        now.pending[place] += share_at(&behaviours[*behaviour], slots, next_slot);
                    }
                }
                next_slot += 1;
            }
            for place in 0..self.set.len() {
                if now.pending[place] <= 0.0 || !self.quiet.in_play(self.set[place], mark, &mut self.engine) {
                    continue;
                }
                let share = std::mem::take(&mut now.pending[place]);
                // Somebody has had reason to call already, or the branch is a rare one.
                if mark.odd > 0 || path.probability < options.least_forked {
                    let others: f64 = now.in_play.iter().map(|other| now.share[*other]).product();
                    self.found.unfollowed += mark.going_on * path.probability * others * share;
                    continue;
                }
                let mut then = now.clone();
                then.in_play.push(place);
                then.share[place] = share;
                let player = if now.in_play.is_empty() { self.single } else { self.several };
                let keep = then.in_play.len() < self.set.len();
                let effects = &behaviours[self.set[place]].effects;
                let (forks, cut) = player.play_from_mark(&mut self.engine, mark, effects, keep);
                self.found.unfollowed += cut * path.probability * share;
                let after = at_slot(slots, mark);
                for fork in forks {
                    let probability = fork.probability * path.probability;
                    self.follow(&Path { probability, ..fork }, after, &then);
                }
            }
            for end in path.ends.iter().filter(|end| mark.epoch == STAGE_END && end.stage == mark.stage) {
                // The undisturbed run keeps its states at the marks only.
                self.note(path.probability, end, end.state.as_ref().unwrap_or(&mark.state), &now);
            }
        }
        // A fork at the very end of a stage has no mark of that end.
        for end in &path.ends {
            if !path.marks.iter().any(|mark| mark.epoch == STAGE_END && mark.stage == end.stage)
                && let Some(state) = &end.state
            {
                self.note(path.probability, end, state, &now);
            }
        }
    }

    /// Adds an end, or its weight to the one that is like it.
    fn note(&mut self, probability: f64, end: &StageEnd, state: &State, now: &Underway) {
        let by_now = self.exploration.share_up_to(end.stage);
        let shares = self.set.iter().enumerate().map(|(place, behaviour)| {
            let share = if now.in_play.contains(&place) { now.share[place] } else { now.pending[place] };
            share / if self.exploration.behaviours[*behaviour].from_the_beginning { 1.0 } else { by_now }
        });
        let weight = probability * end.calls * shares.product::<f64>();
        if weight <= 0.0 {
            return;
        }
        let alike = self.found.ends.iter_mut().find(|known| {
            known.in_play == now.in_play
                && (known.stage, known.as_always) == (end.stage, end.as_always)
                && known.situation == end.situation
                && known.state.unseen() == end.unseen
        });
        match alike {
            Some(known) => known.weight += weight,
            None => self.found.ends.push(SetEnd {
                in_play: now.in_play.clone(),
                stage: end.stage,
                as_always: end.as_always,
                weight,
                situation: end.situation.clone(),
                state: state.clone(),
            }),
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::explore::{Options, explore};
    use crate::routine::Branching;
    use machine::id::{Id, RoutineId};
    use rustc_hash::FxHashMap;

    /// Every pair is played beforehand: played by itself as a set it ends in the same ways with the same weights.
    #[test]
    fn a_pair_played_as_a_set_ends_as_it_does_among_all_pairs() {
        let machine = machine::load_str("minimal.toml", include_str!("../../../../demos/minimal.toml")).unwrap();
        let plant = Plant::new(&machine);
        let options = Options {
            least_forked: 0.0,
            pair_branching: Branching { least: 0.01, branches: 32 },
            ..Options::default()
        };
        let exploration = explore(&machine, &plant, RoutineId::new(0), &options);
        let count = exploration.behaviours.len();
        let apart = |one: usize| (0..count).all(|beside| exploration.runs_as(one, Some(beside)) == one);
        let mut tried = 0;
        let mut in_play = [0; 3];
        for first in (0..count).step_by(7).filter(|one| apart(*one)) {
            for second in (first..count).step_by(5).filter(|one| apart(*one)) {
                let mut wanted: FxHashMap<(u16, bool, Situation), f64> = FxHashMap::default();
                let twice = if first == second { 2.0 } else { 1.0 };
                for record in &exploration.records {
                    let row = record.latent.map(|row| &exploration.latent[row as usize]);
                    let latent = |one: usize| row.map_or(0.0, |row| row[one]);
                    let is = |one: Option<u32>, other: usize| one == Some(other as u32);
                    let share = match (record.first, record.second) {
                        (None, _) => latent(first) * latent(second),
                        (Some(_), None) if is(record.first, first) => latent(second) * twice,
                        (Some(_), None) if is(record.first, second) => latent(first),
                        (one, Some(_)) if is(one, first) && is(record.second, second) => twice,
                        (one, Some(_)) if is(one, second) && is(record.second, first) => 1.0,
                        _ => 0.0,
                    };
                    if share > 0.0 {
                        let situation = exploration.situations[record.situation as usize].clone();
                        *wanted.entry((record.stage, record.as_always, situation)).or_default() +=
                            record.weight * share;
                    }
                }
                let found = exploration.play_set(&machine, &plant, &[first, second]).unwrap();
                let mut sums: FxHashMap<(u16, bool, Situation), f64> = FxHashMap::default();
                for end in found.ends {
                    in_play[end.in_play.len()] += 1;
                    *sums.entry((end.stage, end.as_always, end.situation)).or_default() += end.weight;
                }
                for (end, weight) in &wanted {
                    let sum = sums.get(end).copied().unwrap_or_default();
                    assert!((sum - weight).abs() < 1e-12, "{first} and {second}: {sum} instead of {weight}");
                }
                assert_eq!(sums.len(), wanted.len(), "{first} and {second}");
                tried += 1;
            }
        }
        assert!(tried > 100 && in_play.iter().all(|count| *count > 50), "{tried} pairs, in play: {in_play:?}");
    }

    #[test]
    fn a_set_of_one_or_none_weighs_what_its_records_do() {
        let machine = machine::load_str("minimal.toml", include_str!("../../../../demos/minimal.toml")).unwrap();
        let plant = Plant::new(&machine);
        let options = Options { pairs: false, least_forked: 0.0, ..Options::default() };
        let exploration = explore(&machine, &plant, RoutineId::new(0), &options);
        let records = &exploration.records;
        let whole = |set: &[usize]| -> f64 {
            exploration.play_set(&machine, &plant, set).unwrap().ends.iter().map(|end| end.weight).sum()
        };
        let nothing = || records.iter().filter(|record| record.first.is_none());
        let wanted: f64 = nothing().map(|record| record.weight).sum();
        assert!((whole(&[]) - wanted).abs() < 1e-12 && wanted > 0.0);
        for behaviour in (0..exploration.behaviours.len()).filter(|one| exploration.runs_as(*one, None) == *one) {
            let own = records.iter().filter(|record| record.first == Some(behaviour as u32));
            let own: f64 = own.map(|record| record.weight).sum();
            let latent = nothing().map(|record| {
                record.weight * record.latent.map_or(0.0, |row| exploration.latent[row as usize][behaviour])
            });
            let wanted = own + latent.sum::<f64>();
            assert!((whole(&[behaviour]) - wanted).abs() < 1e-12, "{behaviour}: {wanted}");
        }
        assert!(exploration.play_set(&machine, &plant, &[usize::MAX]).is_none());
    }
}
