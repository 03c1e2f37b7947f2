//! What can be the case after the first moment, followed through all later ones: history by history, each with the
//! state in which its machine stands.

use crate::aftermath::{Late, Stood};
use crate::class::Class;
use crate::evidence::{Deed, Evidence, Moment};
use crate::larger::LargerSets;
use crate::likelihood::LampLikelihood;
use crate::numbered::numbered;
use crate::panel::LampTruth;
use crate::running::{SoFar, runs};
use crate::seen::{Looks, Touched, either, lamp_changes};
use crate::tally::{Doubt, Item, Weigher, keep_share};
use crate::unlisted;
use crate::world::{RoutineWorld, World};
use machine::id::{RemedyId, RoutineId};
use machine::model::{FaultEffect, HandAction, HandMove};
use rayon::prelude::*;
use rustc_hash::{FxBuildHasher, FxHashMap};
use sim::Situation;
use smallvec::SmallVec;
use std::hash::BuildHasher;
use std::sync::Arc;

/// How much of what can be the case is followed through later moments of the evidence.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Followed {
    /// Of what can be the case after a moment, the part that is followed through later ones, 0 to 1.
    pub share: f64,
    /// The most histories that are followed.
    pub most: usize,
    /// Histories lighter than this, of the heaviest, 0 to 1, are not followed for what sets in after the call has begun.
    pub can_get_worse: f64,
    /// Nor are more than so many.
    pub most_get_worse: usize,
    /// Of sets of more than two deviations, where they are asked for.
    pub larger: LargerSets,
}

impl Default for Followed {
    fn default() -> Self {
        Self { share: 1.0 - 1e-7, most: 2_000, can_get_worse: 1e-2, most_get_worse: 12, larger: LargerSets::default() }
    }
}

impl Followed {
    /// Everything, however little it weighs: for small machines.
    #[must_use]
    pub fn everything() -> Self {
        Self {
            share: 1.0,
            most: usize::MAX,
            can_get_worse: 0.0,
            most_get_worse: usize::MAX,
            larger: LargerSets::everything(),
        }
    }
}

/// How often people are wrong about whether the machine runs. Common practice, no source.
pub const WRONG_ABOUT_RUNNING: f64 = 0.02;

/// A history that is followed through later moments.
#[derive(Clone, Debug)]
pub(crate) struct Held {
    pub set: Vec<u32>,
    /// How many of the set, the first ones, had come into play when somebody called.
    pub in_play: usize,
    /// Classes that a remedy has put right.
    pub gone: Vec<u32>,
    pub latent: Vec<FaultEffect>,
    pub stood: Stood,
    pub stage: u16,
    /// The stage at whose end somebody called: up to there the moments share the whole probability of a fault.
    pub began: u16,
    /// Whether the run was not as always when somebody called.
    pub odd: bool,
    pub mass: f64,
}

/// Follows what the first moment leaves through the later ones.
pub(crate) struct Follower<'w, 'd> {
    pub world: &'w World,
    pub routine: &'w RoutineWorld,
    pub weigher: &'d Weigher<'w>,
    pub doubt: &'d Doubt,
    pub most: &'d Followed,
}

impl Follower<'_, '_> {
    /// What is left after all moments, and the weight of a cause that is not in the file.
    pub fn followed(&self, evidence: &Evidence) -> (Vec<Held>, f64) {
        let Self { world, routine, weigher, .. } = *self;
        let mut unknown = weigher.unlisted();
        let mut held = self.hold(weigher.leading(&weigher.record_weights(), self.most.share, self.most.most));
        for (number, moment) in evidence.moments.iter().enumerate().skip(1) {
            held = self.pass(held, moment, evidence.routine);
            unknown *= unlisted::seen(world, &evidence.moments[..number], moment, &routine.passing);
        }
        (held, unknown)
    }

    /// The histories that are followed, each with the state in which it stands.
    fn hold(&self, items: Vec<Item>) -> Vec<Held> {
        let Self { world, routine, weigher, .. } = *self;
        let mut held = Vec::new();
        for item in items {
            let record = &routine.exploration.records[item.record as usize];
            let set: Vec<u32> = item.set.into_iter().flatten().collect();
            let behaviours = set.iter().map(|class| weigher.classes[*class as usize].behaviour);
            let Some(stood) = routine.stood(world, item.record, behaviours) else { continue };
            let in_play = record.in_play();
            let latent = set
                .iter()
                .skip(in_play)
                .flat_map(|class| world.effects_of(weigher.classes[*class as usize].behaviour).iter().copied())
                .collect();
            held.push(Held {
                set,
                in_play,
                gone: Vec::new(),
                latent,
                stood,
                stage: record.stage,
                began: record.stage,
                odd: !record.as_always,
                mass: item.mass,
            });
        }
        held
    }

    /// Moves every history on through what was done, and weighs it by what was seen then. What was done as an action of
    /// the routine that was named was done, whatever routine people were at.
    pub fn pass(&self, held: Vec<Held>, moment: &Moment, named: Option<RoutineId>) -> Vec<Held> {
        let Self { world, routine, weigher, doubt, .. } = *self;
        let lamps = LampLikelihood::new(&world.panel, &moment.lamps, &doubt.lamps);
        let other = named.filter(|named| *named != routine.routine);
        let of = world.machine.routines.get(other.unwrap_or(routine.routine));
        let actions = of.map_or(&[][..], |routine| &routine.actions);
        let mut next: Vec<Held> = held;
        // What has set in since the moment before.
        let mut late: Vec<Held> = Vec::new();
        for remedy in &moment.remedies {
            next = next.into_par_iter().flat_map_iter(|one| self.try_remedy(one, *remedy)).collect();
        }
        for deed in &moment.deeds {
            let action = match deed {
                Deed::Routine(Some(index)) => match actions.get(*index) {
                    Some(action) => action.clone(),
                    None => continue,
                },
                Deed::Routine(None) => continue,
                Deed::Extra(movement) => (*movement).into(),
            };
            let stage = match deed {
                Deed::Routine(Some(index)) if other.is_none() => u16::try_from(index + 1).ok(),
                _ => None,
            };
            let act = |held: Vec<Held>| -> Vec<Held> {
                joined(held.into_par_iter().flat_map_iter(|one| one.act(world, routine, &action, stage)).collect())
            };
            late = act(late);
            late.extend(sets_in(world, routine, weigher, &next, &action, stage, self.most));
            next = act(next);
        }
        // Where nobody did anything, what is latent has still to show: a second look sees it.
        let wait = HandMove::Wait.into();
        if moment.deeds.is_empty() && moment.remedies.is_empty() {
            late = sets_in(world, routine, weigher, &next, &wait, None, self.most);
        }
        next.append(&mut late);
        next =
            next.into_par_iter()
                .flat_map_iter(|one| {
                    if one.latent.is_empty() { vec![one] } else { one.go_on(world, routine, &[], &wait, None) }
                })
                .collect();
        let mut next = joined(next);
        let looks = Looks::new(world, doubt, moment);
        let touched: Vec<Touched> = weigher.classes.iter().map(|class| looks.touched_by(world, class)).collect();
        let (places, beheld) = behold(world, &looks, &lamps, &next);
        next.par_iter_mut().zip(places).for_each(|(one, place)| {
            let Beheld { truth, as_shown, each, looked } = &beheld[place];
            let classes: SmallVec<[&Class; 2]> = one.present(weigher);
            let situation = &one.stood.0;
            // Every deviation is at work in the state itself by now; only dead lamps add to it.
            let set: SmallVec<[(&Class, bool); 2]> = classes.iter().map(|class| (*class, false)).collect();
            let changes = lamp_changes(world, situation, truth, &set);
            let touched = one.left().map(|index| &touched[one.set[index] as usize]);
            let touched = touched.fold(Touched::new(), |all, more| either(&all, more));
            let shown = if changes.is_empty() { *as_shown } else { lamps.of(&truth.with(&changes)) };
            let looked = match touched.is_empty() {
                true => *looked,
                false => looks.with(world, situation, (each, *looked), &classes, &touched),
            };
            one.mass *= shown * looked;
            if let Some(runs) = moment.runs {
                let right = self.would_run(one, &classes) == runs;
                one.mass *= if right { 1.0 - WRONG_ABOUT_RUNNING } else { WRONG_ABOUT_RUNNING };
            }
        });
        next.retain(|one| one.mass > 0.0);
        next.sort_by(|a, b| b.mass.total_cmp(&a.mass));
        next.truncate(self.most.most);
        // Each moment multiplies the histories; the lightest together are left, as those after the first moment are.
        let total: f64 = next.iter().map(|one| one.mass).sum();
        keep_share(&mut next, |one| one.mass, self.most.share * total);
        next
    }

    /// Whether the machine runs again.
    fn would_run(&self, one: &Held, left: &[&Class]) -> bool {
        let left: SmallVec<[usize; 2]> = left.iter().map(|class| class.behaviour).collect();
        let so_far = SoFar { as_always: !one.odd, put_right: !one.gone.is_empty() };
        runs(self.world, self.routine, &one.stood, so_far, &left)
    }

    /// A remedy puts right the deviations that it is for, save that it can fail.
    fn try_remedy(&self, one: Held, remedy: RemedyId) -> Vec<Held> {
        let Self { world, routine, weigher, doubt, .. } = *self;
        let class = |index: usize| &weigher.classes[one.set[index] as usize];
        // The classes are split by the remedies tried, so one member speaks for all.
        let is_cured = |index: &usize| world.machine.deviations[class(*index).representative()].remedy == Some(remedy);
        let (cured, others): (Vec<usize>, Vec<usize>) = one.left().partition(is_cured);
        let does = world.machine.remedies.get(remedy).and_then(|remedy| remedy.does);
        // Each of them by itself is put right or not; what is, is so at once.
        let ways = 0..1_usize << cured.len();
        let mut branches: Vec<Held> = ways
            .flat_map(|way| {
                let (right, wrong): (Vec<_>, Vec<_>) = (0..cured.len()).partition(|place| way >> place & 1 == 0);
                let effects = |index: usize| world.effects_of(class(index).behaviour).iter().copied();
                // What something else does as well goes on being done.
                let stay: Vec<FaultEffect> =
                    (wrong.iter().map(|place| cured[*place])).chain(others.iter().copied()).flat_map(effects).collect();
                let mut lifted: Vec<FaultEffect> = right.iter().flat_map(|place| effects(cured[*place])).collect();
                lifted.retain(|effect| !stay.contains(effect));
                let mut held = one.clone();
                held.gone.extend(right.iter().map(|place| one.set[cured[*place]]));
                held.mass *= (1.0 - doubt.remedy).powi(right.len() as i32) * doubt.remedy.powi(wrong.len() as i32);
                held.latent.retain(|effect| !lifted.contains(effect));
                if right.is_empty() {
                    return vec![held];
                }
                held.go_on(world, routine, &lifted, &HandMove::Wait.into(), None)
            })
            .collect();
        // What the hand does it does to every machine, whatever was wrong with it.
        if let Some(movement) = does {
            let act = |held: Held| held.go_on(world, routine, &[], &movement.into(), None);
            branches = branches.into_iter().flat_map(act).collect();
        }
        branches
    }
}

impl Held {
    pub fn present<'c>(&self, weigher: &'c Weigher<'_>) -> SmallVec<[&'c Class; 2]> {
        self.left().map(|index| &weigher.classes[self.set[index] as usize]).collect()
    }

    /// Those of the set that no remedy has put right, by their place in it. A class can be there twice.
    fn left(&self) -> impl Iterator<Item = usize> + '_ {
        let mut gone = self.gone.clone();
        (0..self.set.len()).filter(move |index| match gone.iter().position(|class| *class == self.set[*index]) {
            Some(at) => {
                gone.swap_remove(at);
                false
            }
            None => true,
        })
    }

    /// Whether this history goes on as another does, whatever comes.
    fn is_as(&self, other: &Self) -> bool {
        (Arc::ptr_eq(&self.stood, &other.stood) || self.stood == other.stood)
            && self.set == other.set
            && self.in_play == other.in_play
            && self.gone == other.gone
            && self.latent == other.latent
            && (self.stage, self.began) == (other.stage, other.began)
            && self.odd == other.odd
    }

    /// The same number for histories that go on alike.
    fn fingerprint(&self) -> u64 {
        // By value, so that what is put together does not depend on what is still remembered.
        let key = (&self.stood.1, &self.set, self.in_play, &self.gone, self.stage, self.began, self.odd);
        FxBuildHasher.hash_one(key)
    }

    /// How many of those that no remedy has put right, the first ones, had come into play.
    pub fn still_in_play(&self) -> usize {
        self.left().filter(|index| *index < self.in_play).count()
    }

    /// This history with one deviation more that has set in late; `before` is the share of moments that others have
    /// had. `None` if they exclude each other.
    fn with_late(
        &self,
        world: &World,
        weigher: &Weigher<'_>,
        (index, class): (u32, &Class),
        late: &Late,
        before: f64,
    ) -> Option<Self> {
        let odds = match self.set[..] {
            [] => class.odds,
            [other, ..] => {
                let other = &weigher.classes[other as usize];
                other.odds_with(class) / other.odds
            }
        };
        let mass = self.mass * odds * late.share / before;
        let mut set = self.set.clone();
        // Those in play come first.
        set.insert(if late.in_play { 0 } else { set.len() }, index);
        (mass > 0.0 && mass.is_finite()).then(|| Self {
            set,
            in_play: self.in_play + usize::from(late.in_play),
            gone: self.gone.clone(),
            latent: if late.in_play { Vec::new() } else { world.effects_of(class.behaviour).to_vec() },
            stood: Arc::clone(&late.stood),
            stage: self.stage,
            began: self.began,
            odd: self.odd,
            mass,
        })
    }

    fn act(self, world: &World, routine: &RoutineWorld, action: &HandAction, stage: Option<u16>) -> Vec<Self> {
        self.go_on(world, routine, &[], action, stage)
    }

    fn go_on(
        self,
        world: &World,
        routine: &RoutineWorld,
        put_right: &[FaultEffect],
        action: &HandAction,
        stage: Option<u16>,
    ) -> Vec<Self> {
        routine
            .go_on(world, &self.stood, &self.latent, put_right, action)
            .iter()
            .map(|(probability, stood)| Self {
                set: self.set.clone(),
                in_play: self.in_play,
                gone: self.gone.clone(),
                latent: Vec::new(),
                stood: Arc::clone(stood),
                stage: stage.unwrap_or(self.stage),
                began: self.began,
                odd: self.odd,
                mass: self.mass * probability,
            })
            .collect()
    }
}

/// A machine as it stands, and how well what was seen fits it with nothing there that adds to it.
struct Beheld {
    truth: LampTruth,
    /// The likelihood of the report of lamps.
    as_shown: f64,
    /// See [`Looks::each`], and the product of that.
    each: Vec<f64>,
    looked: f64,
}

/// By history, which of the machines that follow is its own; many histories end in the same.
fn behold(world: &World, looks: &Looks<'_>, lamps: &LampLikelihood, held: &[Held]) -> (Vec<usize>, Vec<Beheld>) {
    let (places, situations) = numbered(held.iter().map(|one| &one.stood.0));
    let behold = |situation: &&Situation| {
        let truth = world.panel.truth(&world.plant, situation);
        let each: Vec<f64> = looks.each(world, situation).collect();
        Beheld { as_shown: lamps.of(&truth), looked: each.iter().product(), truth, each }
    };
    (places, situations.par_iter().map(behold).collect())
}

/// Puts together the histories that differ in nothing any more, in the order in which they come first.
fn joined(held: Vec<Held>) -> Vec<Held> {
    let mut known: FxHashMap<u64, SmallVec<[usize; 1]>> = FxHashMap::default();
    let mut joined: Vec<Held> = Vec::with_capacity(held.len());
    for one in held {
        let alike = known.entry(one.fingerprint()).or_default();
        match alike.iter().find(|index| joined[**index].is_as(&one)) {
            Some(index) => joined[*index].mass += one.mass,
            None => {
                alike.push(joined.len());
                joined.push(one);
            }
        }
    }
    joined
}

/// The histories in which one deviation more sets in while a hand acts, each with the share of its moments that fall
/// there. Those that it has not come into play in have it latent.
fn sets_in(
    world: &World,
    routine: &RoutineWorld,
    weigher: &Weigher<'_>,
    held: &[Held],
    action: &HandAction,
    stage: Option<u16>,
    limits: &Followed,
) -> Vec<Held> {
    let most = held.iter().map(|one| one.mass).fold(0.0, f64::max);
    // No more than two deviations are thought of.
    let mut able: Vec<&Held> = held
        .iter()
        .filter(|one| one.set.len() < 2 && one.mass > 0.0 && one.mass >= limits.can_get_worse * most)
        .collect();
    able.sort_by(|a, b| b.mass.total_cmp(&a.mass));
    able.truncate(limits.most_get_worse);
    let exploration = &routine.exploration;
    able.into_par_iter()
        .flat_map_iter(|one| {
            let before = exploration.share_up_to(one.began);
            let set_in = routine.meanwhile(world, &one.stood, &one.latent, action, stage);
            let more = set_in.iter().flat_map(|set_in| {
                let classes = weigher.classes.iter().enumerate();
                let classes = classes.filter(|(_, class)| class.behaviour == set_in.behaviour);
                classes
                    .filter_map(|(index, class)| one.with_late(world, weigher, (index as u32, class), set_in, before))
                    .map(|late| Held { stage: stage.unwrap_or(late.stage), ..late })
                    .collect::<Vec<_>>()
            });
            more.collect::<Vec<_>>()
        })
        .collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use machine::id::{Id, RoutineId};
    use sim::{Options, Plant, explore};

    #[test]
    fn histories_that_differ_in_nothing_are_put_together_and_no_others() {
        let machine = machine::load_str("minimal.toml", include_str!("../../../demos/minimal.toml")).unwrap();
        let plant = Plant::new(&machine);
        let exploration = explore(&machine, &plant, RoutineId::new(0), &Options { pairs: false, ..Options::default() });
        let record = &exploration.records[0];
        let stood = || -> Stood {
            let state = exploration.state_of(&machine, &plant, record, [None, None]).unwrap();
            Arc::new((exploration.situations[record.situation as usize].clone(), state))
        };
        let held = |set: &[u32], stage: u16, mass: f64| Held {
            set: set.to_vec(),
            in_play: set.len(),
            gone: Vec::new(),
            latent: Vec::new(),
            stood: stood(),
            stage,
            began: 1,
            odd: true,
            mass,
        };
        let late = Held { latent: vec![FaultEffect::ControllerError], ..held(&[7], 2, 0.5) };
        let all = vec![held(&[7], 2, 0.25), held(&[8], 2, 0.25), held(&[7], 2, 0.5), held(&[7], 3, 1.0), late];
        let found: Vec<(Vec<u32>, u16, bool, f64)> =
            (joined(all).into_iter()).map(|one| (one.set, one.stage, one.latent.is_empty(), one.mass)).collect();
        let wanted =
            [(vec![7], 2, true, 0.75), (vec![8], 2, true, 0.25), (vec![7], 3, true, 1.0), (vec![7], 2, false, 0.5)];
        assert_eq!(found, wanted);
    }
}
