//! More than two deviations at once: the sets that the evidence speaks for most, played one by one.
//!
//! Sets of no, one and two deviations are all looked at. Of larger ones there are millions, nearly all of them idle, so
//! they are looked at only where somebody asks for it, and the best first: of the classes that are most probable with
//! what two explain, the sets of which the product of these probabilities is largest. Each is then weighed exactly, as
//! if it had been among the others from the beginning; what the rest would weigh stays in what is left out.
//!
//! Cost: the sets that are played ([`LargerSets::sets`]), times the moments at which their members can come into play.

use crate::class::{Class, odds_of};
use crate::evidence::Evidence;
use crate::following::{Follower, Held};
use crate::numbered::numbered;
use machine::model::FaultEffect;
use rayon::prelude::*;
use sim::SetEnds;
use smallvec::SmallVec;

/// How many of the sets of more than two deviations are looked at, where they are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LargerSets {
    /// Kinds of deviations that they are made of: those that are most probable with what two explain.
    pub classes: usize,
    /// Sets.
    pub sets: usize,
}

impl Default for LargerSets {
    fn default() -> Self {
        Self { classes: 24, sets: 400 }
    }
}

impl LargerSets {
    /// All of them: for small machines.
    #[must_use]
    pub fn everything() -> Self {
        Self { classes: usize::MAX, sets: usize::MAX }
    }
}

/// The most deviations at once that anybody can ask for: sets grow in number with each more.
pub const MOST_AT_ONCE: usize = 5;

/// What was found of larger sets.
#[derive(Clone, Debug, Default)]
pub(crate) struct Larger {
    /// The histories with weight.
    pub held: Vec<Held>,
    /// How many sets were looked at, and the sum of their odds.
    pub sets: usize,
    pub odds: f64,
}

/// Classes, the first of them in the order of their behaviours; one can be there more than once.
type Set = SmallVec<[u32; 4]>;

/// Looks at larger sets, if the evidence asks for them, and follows them through its later moments. `probable` is, by
/// class, how probable one of its deviations is with what two at once explain.
pub(crate) fn larger(follower: &Follower<'_, '_>, evidence: &Evidence, probable: &[f64]) -> Larger {
    let classes = &follower.weigher.classes;
    let most = evidence.most_at_once.unwrap_or(2).min(MOST_AT_ONCE);
    let sets = leading_sets(classes, probable, most, follower.most.larger);
    if sets.is_empty() {
        return Larger::default();
    }
    let behaviours: Vec<SmallVec<[usize; 4]>> =
        sets.iter().map(|(set, _)| set.iter().map(|class| classes[*class as usize].behaviour).collect()).collect();
    // Sets of deviations that do the same are played once.
    let (places, each) = numbered(behaviours.iter());
    let exploration = &follower.routine.exploration;
    let (machine, plant) = (&follower.world.machine, &follower.world.plant);
    let played: Vec<SetEnds> =
        each.par_iter().map(|set| exploration.play_set(machine, plant, set).unwrap_or_default()).collect();
    let mut held: Vec<Held> = sets
        .par_iter()
        .zip(places)
        .flat_map_iter(|((set, odds), place)| held_of(follower, set, *odds, &played[place]))
        .collect();
    for moment in evidence.moments.iter().skip(1) {
        held = follower.pass(held, moment, evidence.routine);
    }
    Larger { held, sets: sets.len(), odds: sets.iter().map(|(_, odds)| odds).sum() }
}

/// The sets to look at, the most promising first, each with its odds.
fn leading_sets(classes: &[Class], probable: &[f64], most: usize, limits: LargerSets) -> Vec<(Set, f64)> {
    let mut leading: Vec<u32> =
        (0..classes.len() as u32).filter(|class| probable.get(*class as usize).is_some_and(|one| *one > 0.0)).collect();
    leading.sort_by(|a, b| probable[*b as usize].total_cmp(&probable[*a as usize]).then(a.cmp(b)));
    leading.truncate(limits.classes);
    // In a set they stand in the order of their behaviours, as they do where pairs are played.
    leading.sort_by_key(|class| (classes[*class as usize].behaviour, *class));
    let mut found: Vec<(Set, f64, f64)> = Vec::new();
    let mut begun: Vec<(Set, usize, f64)> = vec![(Set::new(), 0, 1.0)];
    for _ in 0..most.max(2) {
        let longer = begun.iter().flat_map(|(set, from, promise)| {
            leading.iter().enumerate().skip(*from).map(move |(place, class)| {
                let mut longer = set.clone();
                longer.push(*class);
                (longer, place, promise * probable[*class as usize])
            })
        });
        begun = longer.collect();
        if begun.first().is_some_and(|(set, ..)| set.len() > 2) {
            found.extend(begun.iter().filter_map(|(set, _, promise)| {
                let of: SmallVec<[&Class; 4]> = set.iter().map(|class| &classes[*class as usize]).collect();
                let odds = odds_of(&of);
                (odds > 0.0).then(|| (set.clone(), odds, *promise))
            }));
        }
    }
    found.sort_by(|a, b| b.2.total_cmp(&a.2).then_with(|| a.0.cmp(&b.0)));
    found.truncate(limits.sets);
    found.into_iter().map(|(set, odds, _)| (set, odds)).collect()
}

/// The histories of a set that is there with these odds, weighed by what was seen in the first moment.
fn held_of(follower: &Follower<'_, '_>, set: &Set, odds: f64, played: &SetEnds) -> Vec<Held> {
    let Follower { world, routine, weigher, .. } = *follower;
    let mut held = Vec::new();
    for end in &played.ends {
        let standing = routine.standing_of(world, end.stage, end.as_always, &end.situation);
        let told = odds * end.weight * weigher.told(end.stage, standing);
        if told <= 0.0 {
            continue;
        }
        let latent = || (0..set.len()).filter(|place| !end.in_play.contains(place));
        let in_order = || end.in_play.iter().copied().chain(latent()).map(|place| set[place]);
        let seen: SmallVec<[(usize, bool); 4]> =
            in_order().enumerate().map(|(place, class)| (class as usize, place >= end.in_play.len())).collect();
        let mass = told * weigher.seen_in(&end.situation, &seen);
        if mass <= 0.0 {
            continue;
        }
        let effects = |place: usize| world.effects_of(weigher.classes[set[place] as usize].behaviour);
        let effects: Vec<FaultEffect> = latent().flat_map(|place| effects(place).iter().copied()).collect();
        held.push(Held {
            set: in_order().collect(),
            in_play: end.in_play.len(),
            gone: Vec::new(),
            latent: effects,
            stood: routine.known_standing(world, end.situation.clone(), end.state.clone()),
            stage: end.stage,
            began: end.stage,
            odd: !end.as_always,
            mass,
        });
    }
    held
}
