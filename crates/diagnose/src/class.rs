//! Deviations that nothing reported so far can tell apart are weighed together.
//!
//! A behaviour (the same to the sequence) falls into classes by what its members do
//! to the lamps and stages that the evidence speaks of. Without answers to checks
//! nearly every behaviour is one class; an answer about a sensor's LED splits the
//! behaviours of that sensor's chain and leaves all others whole.

use crate::panel::Panel;
use crate::prior::Prior;
use machine::Machine;
use machine::id::{DeviationId, Id, RemedyId, SupplyId};
use machine::model::{FaultEffect, Forced, InputStage, Observable, OutputStage};
use rayon::prelude::*;
use sim::{Behaviour, Exploration};
use smallvec::SmallVec;
use std::ops::Range;

/// Deviations of one behaviour with the same bearing on the evidence.
#[derive(Clone, Debug)]
pub(crate) struct Class {
    pub behaviour: usize,
    pub members: Vec<DeviationId>,
    /// Sum of the members' odds.
    pub odds: f64,
    /// Odds by group of deviations that exclude each other.
    pub groups: Vec<(u32, f64)>,
    /// Lamps that its members change by themselves, and whether only as long as they are latent.
    pub lamps: Vec<usize>,
    /// Whether it lights the controller's error lamp.
    pub error_lamp: bool,
    /// Whether it can only darken its lamps.
    pub only_darkens: bool,
    /// Whether `lamps` are changed even when it has come into play.
    pub always: bool,
    /// Whether an answer to a check can depend on which of its members it is.
    pub touches_checks: bool,
}

/// What a deviation does to what the evidence speaks of.
type Key = (Vec<FaultEffect>, Vec<FaultEffect>, Vec<bool>, Option<RemedyId>);

/// Splits the behaviours into classes for these observables.
pub(crate) fn classes(
    machine: &Machine,
    panel: &Panel,
    prior: &Prior,
    behaviours: &[Behaviour],
    observables: &[&Observable],
    remedies: &[RemedyId],
) -> Vec<Class> {
    let mut classes = Vec::new();
    for (index, behaviour) in behaviours.iter().enumerate() {
        let mut split: Vec<(Key, Vec<DeviationId>)> = Vec::new();
        for member in &behaviour.members {
            let key = key(machine, panel, *member, observables, remedies);
            match split.iter_mut().find(|(known, _)| *known == key) {
                Some((_, members)) => members.push(*member),
                None => split.push((key, vec![*member])),
            }
        }
        for ((on_lamps, touched, inspected, _), members) in split {
            let representative = members.first().copied().unwrap_or_else(|| DeviationId::new(0));
            let effects = &machine.deviations[representative].effects;
            let mut lamps: Vec<usize> = effects.iter().flat_map(|effect| panel.lamps_of(machine, *effect)).collect();
            lamps.sort_unstable();
            lamps.dedup();
            let mut groups: Vec<(u32, f64)> = Vec::new();
            for member in &members {
                let group = prior.group(*member);
                match groups.iter_mut().find(|(known, _)| *known == group) {
                    Some((_, odds)) => *odds += prior.odds(*member),
                    None => groups.push((group, prior.odds(*member))),
                }
            }
            groups.sort_unstable_by_key(|(group, _)| *group);
            classes.push(Class {
                behaviour: index,
                odds: groups.iter().map(|(_, odds)| odds).sum(),
                members,
                groups,
                lamps,
                only_darkens: effects.iter().all(|effect| {
                    matches!(
                        effect,
                        FaultEffect::Input(_, _, Forced::Off)
                            | FaultEffect::Output(_, _, Forced::Off)
                            | FaultEffect::Supply(_, Forced::Off)
                    )
                }),
                error_lamp: effects.contains(&FaultEffect::ControllerError),
                always: !on_lamps.is_empty(),
                touches_checks: !touched.is_empty() || inspected.contains(&true),
            });
        }
    }
    classes
}

fn key(
    machine: &Machine,
    panel: &Panel,
    deviation: DeviationId,
    observables: &[&Observable],
    remedies: &[RemedyId],
) -> Key {
    let effects = &machine.deviations[deviation].effects;
    // What befalls only the lamp tells deviations apart that are alike to the program.
    let mut lamps: Vec<_> = effects
        .iter()
        .copied()
        .filter(|effect| {
            matches!(
                effect,
                FaultEffect::Input(_, InputStage::Lamp, _)
                    | FaultEffect::Output(_, OutputStage::Lamp, _)
                    | FaultEffect::ControllerError
            )
        })
        .filter(|effect| !panel.lamps_of(machine, *effect).is_empty())
        .collect();
    lamps.sort_unstable();
    let touched =
        effects.iter().filter(|effect| observables.iter().any(|one| concerns(machine, **effect, one))).copied();
    let inspected = observables
        .iter()
        .filter_map(|one| match one {
            Observable::Inspect(list) => Some(list.contains(&deviation)),
            _ => None,
        })
        .collect();
    let tried = machine.deviations[deviation].remedy.filter(|remedy| remedies.contains(remedy));
    (lamps, touched.collect(), inspected, tried)
}

/// Whether the answer to this can depend on whether the deviation is there.
pub(crate) fn bears_on(machine: &Machine, deviation: DeviationId, observable: &Observable) -> bool {
    match observable {
        Observable::Inspect(list) => list.contains(&deviation),
        _ => machine.deviations[deviation].effects.iter().any(|effect| concerns(machine, *effect, observable)),
    }
}

fn concerns(machine: &Machine, effect: FaultEffect, observable: &Observable) -> bool {
    let feeds = |above, supply: Option<SupplyId>| supply.is_some_and(|supply| machine.is_fed_by(supply, above));
    match (effect, observable) {
        // A supply that fails while nothing needs it has not come into play, and is seen nevertheless.
        (FaultEffect::Supply(one, _), Observable::InputStage(input, _)) => feeds(one, machine.inputs[*input].supply),
        (FaultEffect::Supply(one, _), Observable::OutputStage(output, _)) => {
            feeds(one, machine.outputs[*output].supply)
        }
        (FaultEffect::Input(one, ..), Observable::InputStage(other, _)) => one == *other,
        (FaultEffect::Supply(one, _), Observable::Supply(other)) => feeds(one, Some(*other)),
        (FaultEffect::Output(one, ..), Observable::OutputStage(other, _)) => one == *other,
        (FaultEffect::Stuck(one) | FaultEffect::StopsShort(one, _), Observable::MovesFreely(other)) => one == *other,
        _ => false,
    }
}

impl Class {
    /// The groups of deviations that exclude each other with members in both classes: the odds of those of each.
    fn groups_with<'c>(&'c self, other: &'c Self) -> impl Iterator<Item = (f64, f64)> + 'c {
        let (mut left, mut right) = (self.groups.iter().peekable(), other.groups.iter().peekable());
        std::iter::from_fn(move || {
            loop {
                let ((a, odds_a), (b, odds_b)) = (left.peek()?, right.peek()?);
                match a.cmp(b) {
                    std::cmp::Ordering::Less => _ = left.next(),
                    std::cmp::Ordering::Greater => _ = right.next(),
                    std::cmp::Ordering::Equal => {
                        let both = (*odds_a, *odds_b);
                        left.next();
                        right.next();
                        return Some(both);
                    }
                }
            }
        })
    }

    /// The odds of one member of each class being there together; members of one group exclude each other.
    pub fn odds_with(&self, other: &Self) -> f64 {
        let mut excluded = 0.0;
        self.groups_with(other).for_each(|(odds_a, odds_b)| excluded += odds_a * odds_b);
        (self.odds * other.odds - excluded).max(0.0)
    }

    /// The odds of its members of one group.
    fn odds_in(&self, group: u32) -> f64 {
        let found = self.groups.binary_search_by_key(&group, |(group, _)| *group);
        found.map_or(0.0, |at| self.groups[at].1)
    }

    /// The share of a member in the odds of its class, when nothing else is there.
    pub fn share(&self, member: DeviationId, prior: &Prior) -> f64 {
        if self.odds > 0.0 { prior.odds(member) / self.odds } else { 0.0 }
    }

    /// For each member, the share of pairs of one member each of this class and the other that contain it.
    ///
    /// For a class paired with itself each pair has two members, so the shares sum to 2.
    pub fn shares_with<'c>(&'c self, other: &'c Self, prior: &'c Prior) -> impl Iterator<Item = f64> + 'c {
        let all = self.odds_with(other);
        let twice = if self.behaviour == other.behaviour && self.members == other.members { 2.0 } else { 1.0 };
        self.members.iter().map(move |member| {
            let group = prior.group(*member);
            let excluded = other.groups.iter().find(|(known, _)| *known == group).map_or(0.0, |(_, odds)| *odds);
            let own = prior.odds(*member) * (other.odds - excluded).max(0.0);
            if all > 0.0 { twice * own / all } else { 0.0 }
        })
    }

    /// Whether a record with this behaviour beside that one stands for this class.
    pub fn goes_with(&self, exploration: &Exploration, behaviour: u32, beside: u32) -> bool {
        exploration.runs_as(self.behaviour, Some(beside as usize)) == behaviour as usize
    }

    /// Whether a lamp can differ from what a situation says.
    pub fn changes_lamps(&self, latent: bool) -> bool {
        !self.lamps.is_empty() && (latent || self.always)
    }

    /// A member to reckon with: all of them bear alike on the evidence.
    pub fn representative(&self) -> DeviationId {
        self.members.first().copied().unwrap_or_else(|| DeviationId::new(0))
    }
}

/// By behaviour, the classes that its records can stand for: its own, and those of behaviours that run as it does. Beside
/// another behaviour it stands for those of which [`Class::goes_with`] says so.
///
/// The classes have to be in the order of [`classes`], where those that run alike stand next to each other.
pub(crate) fn by_behaviour(exploration: &Exploration, classes: &[Class]) -> Vec<Range<usize>> {
    let mut found = vec![0..0; exploration.behaviours.len()];
    for (index, class) in classes.iter().enumerate() {
        for behaviour in [class.behaviour, exploration.runs_as(class.behaviour, None)] {
            let range = &mut found[behaviour];
            let start = if Range::is_empty(range) { index } else { range.start };
            *range = start..index + 1;
        }
    }
    found
}

/// By group of deviations that exclude each other: the classes with members in it, and the odds of these.
fn by_group(classes: &[Class]) -> Vec<Vec<(usize, f64)>> {
    let mut groups: Vec<Vec<(usize, f64)>> = Vec::new();
    for (index, class) in classes.iter().enumerate() {
        for (group, odds) in &class.groups {
            let group = *group as usize;
            groups.resize(groups.len().max(group + 1), Vec::new());
            groups[group].push((index, *odds));
        }
    }
    groups
}

/// By two classes: whether a member of one can exclude a member of the other; a class excludes itself.
pub(crate) fn excluding(classes: &[Class]) -> Vec<Vec<bool>> {
    let mut excluding = vec![vec![false; classes.len()]; classes.len()];
    for group in by_group(classes) {
        for (one, _) in &group {
            group.iter().for_each(|(other, _)| excluding[*one][*other] = true);
        }
    }
    excluding
}

/// By two classes: the odds of one member of each being there together.
///
/// Cost: the square of the number of classes.
pub(crate) fn odds_together(classes: &[Class]) -> Vec<Vec<f64>> {
    let groups = by_group(classes);
    let with = |it: &Class| {
        let mut odds: Vec<f64> = classes.iter().map(|other| it.odds * other.odds).collect();
        // Members of one group exclude each other.
        for (group, own) in &it.groups {
            for (other, odds_there) in &groups[*group as usize] {
                odds[*other] -= own * odds_there;
            }
        }
        odds.iter_mut().for_each(|odds| *odds = odds.max(0.0));
        odds
    };
    classes.par_iter().map(with).collect()
}

/// The odds of one member of each of these classes being there together; members of one group exclude each other. A class
/// can be there several times.
pub(crate) fn odds_of(set: &[&Class]) -> f64 {
    // Who is taken from a class twice is taken in one order only.
    let alike = |place: usize| set[..=place].iter().filter(|other| std::ptr::eq(**other, set[place])).count();
    let orders: usize = (0..set.len()).map(alike).product();
    ordered_odds(set, None) / orders as f64
}

/// By class of a set and member: the share of the sets of one member of each class that contain it in that place.
pub(crate) fn shares_of(set: &[&Class], prior: &Prior) -> Vec<Vec<f64>> {
    let all = ordered_odds(set, None);
    (0..set.len())
        .map(|place| {
            let mut others: SmallVec<[&Class; 4]> = set.into();
            let class = others.remove(place);
            let beside: Vec<f64> = class.groups.iter().map(|(group, _)| ordered_odds(&others, Some(*group))).collect();
            let share = |member: &DeviationId| {
                let group = class.groups.binary_search_by_key(&prior.group(*member), |(group, _)| *group);
                group.map_or(0.0, |at| prior.odds(*member) * beside[at] / all)
            };
            class.members.iter().map(|member| if all > 0.0 { share(member) } else { 0.0 }).collect()
        })
        .collect()
}

/// The odds of one member of each class being there together, in every order in which they can be taken, with the
/// members of the group `without` left aside.
///
/// Cost: the groups of the classes, times 2 to the number of classes.
fn ordered_odds(set: &[&Class], without: Option<u32>) -> f64 {
    let mut groups: Vec<u32> = set.iter().flat_map(|class| class.groups.iter().map(|(group, _)| *group)).collect();
    groups.sort_unstable();
    groups.dedup();
    // Group by group: the sums over all ways in which some of the places are taken already.
    let mut taken = vec![0.0; 1 << set.len()];
    taken[0] = 1.0;
    for group in groups.into_iter().filter(|group| Some(*group) != without) {
        let odds: SmallVec<[f64; 4]> = set.iter().map(|class| class.odds_in(group)).collect();
        for ways in (1..taken.len()).rev() {
            let with = (0..set.len()).filter(|place| ways >> place & 1 == 1);
            taken[ways] += with.map(|place| taken[ways & !(1 << place)] * odds[place]).sum::<f64>();
        }
    }
    taken[taken.len() - 1]
}

/// By class, those that change lamps when latent and have a lamp in common with it.
pub(crate) fn overlapping(classes: &[Class], lamps: usize) -> Vec<Vec<u32>> {
    let mut by_lamp = vec![Vec::new(); lamps];
    for (index, class) in classes.iter().enumerate().filter(|(_, class)| class.changes_lamps(true)) {
        class.lamps.iter().for_each(|lamp| by_lamp[*lamp].push(index as u32));
    }
    let others = |class: &Class| {
        let mut others: Vec<u32> = class.lamps.iter().flat_map(|lamp| by_lamp[*lamp].iter().copied()).collect();
        others.sort_unstable();
        others.dedup();
        others
    };
    classes.iter().map(others).collect()
}
