//! The public face: a machine worked out once, and answers to evidence.

use crate::aftermath::{Late, Stood};
use crate::answer::{self, Answer};
use crate::class::Class;
use crate::evidence::{Circumstances, Deed, Evidence, Moment};
use crate::likelihood::{LampLikelihood, anything};
use crate::marginals::{Marginals, marginals};
use crate::panel::LampTruth;
use crate::prior::Prior;
use crate::renamed::{Told, retold};
use crate::seen::{anything_else, lamp_changes, lamps_shown, looked_at};
use crate::tally::{Doubt, Item, Weigher};
use crate::world::{RoutineWorld, World};
use machine::id::{DeviationId, Id};
use machine::model::{FaultEffect, HandAction, HandMove};
use machine::{Alternative, Machine};
use rayon::prelude::*;
use sim::{Options, Situation};
use smallvec::{SmallVec, smallvec};
use std::sync::Arc;

/// Of what can be the case after the first moment, the part that is followed through later ones.
const FOLLOWED: f64 = 1.0 - 1e-7;

/// The most histories that are followed through later moments.
const MOST_FOLLOWED: usize = 2_000;

/// Histories lighter than this, of the heaviest, and more than so many are not followed for what sets in after the
/// call has begun.
const CAN_GET_WORSE: f64 = 1e-2;
const MOST_GET_WORSE: usize = 12;

/// How often people are wrong about whether the machine runs.
const WRONG_ABOUT_RUNNING: f64 = 0.02;

/// A machine type, worked out: answers any evidence about it.
#[derive(Debug)]
pub struct Diagnoser {
    worlds: Vec<World>,
    doubt: Doubt,
}

/// How much was worked out.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Extent {
    /// Single deviations.
    pub deviations: usize,
    /// Pairs of deviations that do not exclude each other.
    pub pairs: usize,
    /// Sets of deviations with the same effect on the sequence.
    pub behaviours: usize,
    /// Runs simulated.
    pub runs: u64,
    /// Signal changes simulated.
    pub events: u64,
    /// Ways in which the machine can stand.
    pub situations: usize,
    /// Choices for what the file leaves open.
    pub alternatives: usize,
}

/// What the evidence leaves of one routine of one alternative.
pub(crate) struct Ground<'d> {
    pub world: &'d World,
    pub routine: &'d RoutineWorld,
    /// What was reported, as this alternative understands it.
    pub told: Evidence,
    pub classes: Vec<Class>,
    /// Factor that makes weights comparable between worlds.
    pub scale: f64,
    pub total: f64,
    pub nothing: f64,
    pub unknown: f64,
    pub single: Vec<f64>,
    /// Pairs of classes with weight, the lower class first.
    pub pairs: Vec<((usize, usize), f64)>,
    /// What the machine can look like, with its stage and weight.
    pub looks: Vec<Look<'d>>,
    /// By class, the index into `looks` where it weighs most, and whether it is latent there.
    pub best: Vec<Option<(usize, bool)>>,
}

/// A situation that the evidence leaves possible.
pub(crate) struct Look<'d> {
    pub situation: std::borrow::Cow<'d, Situation>,
    pub truth: LampTruth,
    pub stage: u16,
    pub weight: f64,
}

impl Ground<'_> {
    /// By class and member: the weight of everything in which that deviation is there.
    pub fn member_masses(&self) -> Vec<Vec<f64>> {
        let prior = &self.world.prior;
        let mut masses: Vec<Vec<f64>> = (self.classes.iter().zip(&self.single))
            .map(|(class, mass)| class.members.iter().map(|member| mass * class.share(*member, prior)).collect())
            .collect();
        for ((a, b), mass) in &self.pairs {
            let mut give = |one: usize, other: usize| {
                let (class, with) = (&self.classes[one], &self.classes[other]);
                if one != other && class.members.len() == 1 {
                    masses[one][0] += mass;
                    return;
                }
                let shares = class.shares_with(with, prior);
                masses[one].iter_mut().zip(shares).for_each(|(sum, share)| *sum += mass * share);
            };
            give(*a, *b);
            if a != b {
                give(*b, *a);
            }
        }
        masses
    }
}

impl Diagnoser {
    /// Works a machine out: every alternative, every routine, every deviation and pair.
    #[must_use]
    pub fn new(alternatives: Vec<Alternative>, circumstances: &Circumstances, options: &Options) -> Self {
        let worlds =
            alternatives.into_iter().map(|alternative| World::new(alternative, circumstances, options)).collect();
        let doubt = Doubt::default();
        let mut worlds: Vec<World> = worlds;
        for world in &mut worlds {
            let listed: Vec<f64> = world.routines.iter().map(|routine| listed(world, routine, &doubt)).collect();
            for (routine, listed) in world.routines.iter_mut().zip(listed) {
                routine.listed = listed;
            }
        }
        Self { worlds, doubt }
    }

    /// The same with other assumptions about how often people are wrong.
    #[must_use]
    pub fn with_doubt(mut self, doubt: Doubt) -> Self {
        self.doubt = doubt;
        self
    }

    /// The machine as the most probable alternative has it.
    #[must_use]
    pub fn machine(&self) -> Option<&Machine> {
        self.worlds.first().map(|world| &world.machine)
    }

    /// How much was worked out.
    #[must_use]
    pub fn extent(&self) -> Extent {
        let mut extent = Extent { alternatives: self.worlds.len(), ..Extent::default() };
        if let Some(world) = self.worlds.first() {
            extent.deviations = world.machine.deviations.len();
            let exclusive: usize = world
                .machine
                .devices
                .rows()
                .map(|device| device.modes.len() * device.modes.len().saturating_sub(1) / 2)
                .sum();
            extent.pairs = extent.deviations * extent.deviations.saturating_sub(1) / 2 - exclusive;
        }
        for routine in self.worlds.iter().flat_map(|world| &world.routines) {
            extent.behaviours = extent.behaviours.max(routine.exploration.behaviours.len());
            extent.runs += routine.exploration.runs;
            extent.events += routine.exploration.events;
            extent.situations += routine.exploration.situations.len();
        }
        extent
    }

    /// What is wrong, given this evidence, which was read with the names of the most probable
    /// alternative.
    #[must_use]
    pub fn answer(&self, evidence: &Evidence) -> Answer {
        self.answer_told(&self.told(evidence))
    }

    /// What is wrong, given what was reported as each alternative understands it, in the order in
    /// which they were given. One too few counts as told nothing.
    #[must_use]
    pub fn answer_told(&self, told: &[Told]) -> Answer {
        answer::answer(&self.worlds, &self.grounds(told))
    }

    /// How often people are wrong, as this diagnoser assumes it.
    #[must_use]
    pub fn doubt(&self) -> &Doubt {
        &self.doubt
    }

    pub(crate) fn worlds(&self) -> &[World] {
        &self.worlds
    }

    /// What can be the case, given this evidence, one by one: the heaviest first, as many as make up this
    /// share of the weight, at most so many for each routine; with the weight of a cause that is not in the
    /// file, on the same scale.
    pub(crate) fn hypotheses(&self, evidence: &Evidence, share: f64, most: usize) -> (Vec<Hypothesis>, f64) {
        let told = self.told(evidence);
        let mut found = Vec::new();
        let mut unknown = 0.0;
        for (number, (world, told)) in self.worlds.iter().zip(&told).enumerate() {
            let evidence = split_at_extra_deeds(&told.evidence);
            for (index, routine) in world.routines.iter().enumerate() {
                let weigher = Weigher::new(world, routine, &evidence, &self.doubt);
                let scale = told.slips() * world.scale(routine);
                let mut give = |set: &[&Class], mass: f64, stage, stands: Stands| {
                    found.extend(members_of(&world.prior, set).into_iter().map(|(deviations, part)| Hypothesis {
                        world: number,
                        routine: index,
                        deviations,
                        weight: scale * (mass * part),
                        stage,
                        stands: stands.clone(),
                    }));
                };
                if evidence.moments.len() <= 1 {
                    for item in weigher.leading(share, most) {
                        let record = &routine.exploration.records[item.record as usize];
                        let set: Vec<&Class> =
                            item.set.iter().flatten().map(|class| &weigher.classes[*class as usize]).collect();
                        let stands = Stands::Record { record: item.record, in_play: record.in_play() };
                        give(&set, item.mass, record.stage, stands);
                    }
                    unknown += scale * weigher.unlisted();
                } else {
                    let (held, not_in_file) = self.followed(world, routine, &weigher, &evidence);
                    for one in held {
                        let set = one.present(&weigher);
                        let (mass, stage) = (one.mass, one.stage);
                        give(&set, mass, stage, Stands::Held(one.stood));
                    }
                    unknown += scale * not_in_file;
                }
            }
        }
        found.sort_by(|a, b| b.weight.total_cmp(&a.weight));
        let total: f64 = found.iter().map(|one| one.weight).sum();
        let mut sum = 0.0;
        let enough = found.iter().position(|one| {
            sum += one.weight;
            sum >= share * total
        });
        found.truncate(enough.map_or(found.len(), |last| last + 1));
        (found, unknown)
    }

    /// The bare numbers: how probable each deviation is, given this evidence.
    #[must_use]
    pub fn marginals(&self, evidence: &Evidence) -> Marginals {
        marginals(&self.grounds(&self.told(evidence)))
    }

    /// What each alternative understands of evidence read with the names of the first.
    fn told(&self, evidence: &Evidence) -> Vec<Told> {
        let Some(first) = self.worlds.first() else { return Vec::new() };
        self.worlds.iter().map(|world| retold(evidence, &first.machine, &world.machine)).collect()
    }

    fn grounds(&self, told: &[Told]) -> Vec<Ground<'_>> {
        let nothing = Told::default();
        let told = told.iter().chain(std::iter::repeat(&nothing));
        self.worlds
            .iter()
            .zip(told)
            .flat_map(|(world, told)| {
                let evidence = split_at_extra_deeds(&told.evidence);
                let grounds = world.routines.iter().map(move |routine| {
                    let ground = self.ground(world, routine, &evidence);
                    Ground { scale: ground.scale * told.slips(), told: evidence.clone(), ..ground }
                });
                grounds.collect::<Vec<_>>()
            })
            .collect()
    }

    fn ground<'d>(&'d self, world: &'d World, routine: &'d RoutineWorld, evidence: &Evidence) -> Ground<'d> {
        let weigher = Weigher::new(world, routine, evidence, &self.doubt);
        let scale = world.scale(routine);
        if evidence.moments.len() <= 1 {
            return first_moment(world, routine, &weigher, scale);
        }
        let (held, unknown) = self.followed(world, routine, &weigher, evidence);
        gather(world, routine, &weigher, held, unknown, scale)
    }

    /// What is left after all moments, and the weight of a cause that is not in the file.
    fn followed(
        &self,
        world: &World,
        routine: &RoutineWorld,
        weigher: &Weigher<'_>,
        evidence: &Evidence,
    ) -> (Vec<Held>, f64) {
        let mut unknown = weigher.unlisted();
        let mut held = self.hold(world, routine, weigher, weigher.leading(FOLLOWED, MOST_FOLLOWED));
        for moment in &evidence.moments[1..] {
            held = self.pass(world, routine, weigher, held, moment);
            unknown *= anything(&world.panel, &moment.lamps, &routine.passing) * anything_else(world, moment);
        }
        (held, unknown)
    }

    /// The histories that are followed, each with the state in which it stands.
    fn hold(&self, world: &World, routine: &RoutineWorld, weigher: &Weigher<'_>, items: Vec<Item>) -> Vec<Held> {
        let mut held = Vec::new();
        for item in items {
            let record = &routine.exploration.records[item.record as usize];
            let Some(stood) = routine.stood(world, item.record) else { continue };
            let in_play = record.in_play();
            let set: Vec<u32> = item.set.into_iter().flatten().collect();
            let latent = set
                .iter()
                .skip(in_play)
                .flat_map(|class| effects_of(world, &weigher.classes[*class as usize]))
                .collect();
            held.push(Held {
                set,
                in_play,
                gone: Vec::new(),
                latent,
                stood: Arc::clone(stood),
                stage: record.stage,
                began: record.stage,
                mass: item.mass,
            });
        }
        held
    }

    /// Moves every history on through what was done, and weighs it by what was seen then.
    fn pass(
        &self,
        world: &World,
        routine: &RoutineWorld,
        weigher: &Weigher<'_>,
        held: Vec<Held>,
        moment: &Moment,
    ) -> Vec<Held> {
        let lamps = LampLikelihood::new(&world.panel, &moment.lamps, &self.doubt.lamps);
        let actions = &world.machine.routines[routine.routine].actions;
        let mut next: Vec<Held> = held;
        // What has set in since the moment before.
        let mut late: Vec<Held> = Vec::new();
        for remedy in &moment.remedies {
            next = next
                .into_par_iter()
                .flat_map_iter(|one| self.try_remedy(world, routine, weigher, one, *remedy))
                .collect();
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
                Deed::Routine(Some(index)) => u16::try_from(index + 1).ok(),
                _ => None,
            };
            let act = |held: Vec<Held>| -> Vec<Held> {
                joined(held.into_par_iter().flat_map_iter(|one| one.act(world, routine, &action, stage)).collect())
            };
            late = act(late);
            late.extend(sets_in(world, routine, weigher, &next, &action, stage));
            next = act(next);
        }
        // Where nobody did anything, what is latent has still to show: a second look sees it.
        let wait = HandMove::Wait.into();
        if moment.deeds.is_empty() && moment.remedies.is_empty() {
            late = sets_in(world, routine, weigher, &next, &wait, None);
        }
        next.append(&mut late);
        next =
            next.into_par_iter()
                .flat_map_iter(|one| {
                    if one.latent.is_empty() { vec![one] } else { one.go_on(world, routine, &[], &wait, None) }
                })
                .collect();
        let mut next = joined(next);
        next.par_iter_mut().for_each(|one| {
            let classes: Vec<&Class> = one.present(weigher);
            let situation = &one.stood.0;
            let truth = world.panel.truth(&world.plant, situation);
            // Every deviation is at work in the state itself by now; only dead lamps add to it.
            let set: Vec<(&Class, bool)> = classes.iter().map(|class| (*class, false)).collect();
            let changes = lamp_changes(world, situation, &truth, &set);
            one.mass *= lamps.of(&truth.with(&changes))
                * looked_at(world, &self.doubt, situation, &classes, &moment.positions, &moment.checks);
            if let Some(runs) = moment.runs {
                one.mass *= if one.would_run() == runs { 1.0 - WRONG_ABOUT_RUNNING } else { WRONG_ABOUT_RUNNING };
            }
        });
        next.retain(|one| one.mass > 0.0);
        next.sort_by(|a, b| b.mass.total_cmp(&a.mass));
        next.truncate(MOST_FOLLOWED);
        // Each moment multiplies the histories; the lightest together are left, as those after the first moment are.
        let total: f64 = next.iter().map(|one| one.mass).sum();
        let mut sum = 0.0;
        let enough = next.iter().position(|one| {
            sum += one.mass;
            sum >= FOLLOWED * total
        });
        next.truncate(enough.map_or(next.len(), |last| last + 1));
        next
    }

    /// A remedy puts right the deviations that it is for, save that it can fail.
    fn try_remedy(
        &self,
        world: &World,
        routine: &RoutineWorld,
        weigher: &Weigher<'_>,
        one: Held,
        remedy: machine::id::RemedyId,
    ) -> Vec<Held> {
        let mut branches = vec![one];
        let count = branches[0].set.len();
        let does = world.machine.remedies.get(remedy).and_then(|remedy| remedy.does);
        for index in 0..count {
            branches = branches
                .into_iter()
                .flat_map(|held| {
                    let class = &weigher.classes[held.set[index] as usize];
                    // The classes are split by the remedies tried, so one member speaks for all.
                    let cured = world.machine.deviations[class.representative()].remedy == Some(remedy);
                    if !cured || held.gone.contains(&held.set[index]) {
                        return vec![held];
                    }
                    let effects = effects_of(world, class);
                    let mut right = held.clone();
                    right.gone.push(held.set[index]);
                    right.mass *= 1.0 - self.doubt.remedy;
                    right.latent.retain(|effect| !effects.contains(effect));
                    let mut rest = held;
                    rest.mass *= self.doubt.remedy;
                    let mut all = right.go_on(world, routine, &effects, &HandMove::Wait.into(), None);
                    all.push(rest);
                    all
                })
                .collect();
        }
        // What the hand does it does to every machine, whatever was wrong with it.
        if let Some(movement) = does {
            let act = |held: Held| held.go_on(world, routine, &[], &movement.into(), None);
            branches = branches.into_iter().flat_map(act).collect();
        }
        branches
    }
}

/// One thing that can be the case.
#[derive(Clone, Debug)]
pub(crate) struct Hypothesis {
    /// Which world, and which of its routines.
    pub world: usize,
    pub routine: usize,
    /// What is wrong; none if nothing is.
    pub deviations: SmallVec<[DeviationId; 2]>,
    /// Not normalised.
    pub weight: f64,
    /// The last stage of the routine that was begun.
    pub stage: u16,
    pub stands: Stands,
}

/// How the machine stands.
#[derive(Clone, Debug)]
pub(crate) enum Stands {
    /// As in this record of the exploration, with so many of the deviations in play.
    Record { record: u32, in_play: usize },
    /// As it was followed through later moments.
    Held(Stood),
}

impl Hypothesis {
    /// What the machine looks like.
    pub fn situation<'h>(&'h self, worlds: &'h [World]) -> &'h Situation {
        match &self.stands {
            Stands::Record { record, .. } => {
                let exploration = &worlds[self.world].routines[self.routine].exploration;
                &exploration.situations[exploration.records[*record as usize].situation as usize]
            }
            Stands::Held(held) => &held.0,
        }
    }

    /// What the lamps show, those included that the deviations change by themselves.
    pub fn lamps(&self, worlds: &[World]) -> LampTruth {
        let world = &worlds[self.world];
        let truth = match &self.stands {
            Stands::Record { record, .. } => {
                let routine = &world.routines[self.routine];
                routine.truth(routine.exploration.records[*record as usize].situation as usize).clone()
            }
            Stands::Held(held) => world.panel.truth(&world.plant, &held.0),
        };
        lamps_shown(world, self.situation(worlds), truth, &self.deviations)
    }

    /// The standing to go on from, and what is wrong but has not come into play in it.
    pub fn stood<'h>(&'h self, worlds: &'h [World]) -> Option<(&'h Stood, Vec<FaultEffect>)> {
        let world = &worlds[self.world];
        match &self.stands {
            Stands::Record { record, in_play } => {
                let latent = self.deviations.iter().skip(*in_play);
                let effects = latent.flat_map(|one| sequence_effects(world, *one)).collect();
                Some((world.routines[self.routine].stood(world, *record)?, effects))
            }
            Stands::Held(held) => Some((held, Vec::new())),
        }
    }
}

/// What a deviation does, as the sequence notices it.
pub(crate) fn sequence_effects(world: &World, deviation: DeviationId) -> Vec<FaultEffect> {
    effects_of(world, &world.classes[world.class_of[deviation.index()] as usize])
}

/// Sets of single deviations that a set of classes stands for, each with its share.
fn members_of(prior: &Prior, set: &[&Class]) -> Vec<(SmallVec<[DeviationId; 2]>, f64)> {
    match set {
        [] => vec![(SmallVec::new(), 1.0)],
        [a] => a.members.iter().map(|one| (smallvec![*one], a.share(*one, prior))).collect(),
        [a, b, ..] => {
            let same = std::ptr::eq(*a, *b);
            let pairs = a.members.iter().flat_map(|one| b.members.iter().map(move |other| (*one, *other)));
            let mut all: Vec<(SmallVec<[DeviationId; 2]>, f64)> = pairs
                .filter(|(one, other)| prior.group(*one) != prior.group(*other) && (!same || one < other))
                .map(|(one, other)| (smallvec![one, other], prior.odds(one) * prior.odds(other)))
                .collect();
            let total: f64 = all.iter().map(|(_, odds)| odds).sum();
            all.iter_mut().for_each(|(_, odds)| *odds /= total.max(f64::MIN_POSITIVE));
            all
        }
    }
}

/// A history that is followed through later moments.
#[derive(Clone, Debug)]
struct Held {
    set: Vec<u32>,
    /// How many of the set, the first ones, had come into play when somebody called.
    in_play: usize,
    /// Classes that a remedy has put right.
    gone: Vec<u32>,
    latent: Vec<FaultEffect>,
    stood: Stood,
    stage: u16,
    /// The stage at whose end somebody called: up to there the moments share the whole probability of a fault.
    began: u16,
    mass: f64,
}

impl Held {
    fn present<'c>(&self, weigher: &'c Weigher<'_>) -> Vec<&'c Class> {
        self.set
            .iter()
            .filter(|class| !self.gone.contains(class))
            .map(|class| &weigher.classes[*class as usize])
            .collect()
    }

    /// Whether this history goes on as another does, whatever comes.
    fn is_as(&self, other: &Self) -> bool {
        (Arc::ptr_eq(&self.stood, &other.stood) || self.stood == other.stood)
            && self.set == other.set
            && self.in_play == other.in_play
            && self.gone == other.gone
            && self.latent == other.latent
            && (self.stage, self.began) == (other.stage, other.began)
    }

    /// The same number for histories that go on alike.
    fn fingerprint(&self) -> u64 {
        // By value, so that what is put together does not depend on what is still remembered.
        let key = (&self.stood.1, &self.set, self.in_play, &self.gone, self.stage, self.began);
        std::hash::BuildHasher::hash_one(&rustc_hash::FxBuildHasher, key)
    }

    /// Whether nothing that had come into play is left: the machine runs again.
    fn would_run(&self) -> bool {
        self.set.iter().take(self.in_play).all(|class| self.gone.contains(class))
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
            [other, ..] if other == index => return None,
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
            latent: if late.in_play { Vec::new() } else { effects_of(world, class) },
            stood: Arc::clone(&late.stood),
            stage: self.stage,
            began: self.began,
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
                mass: self.mass * probability,
            })
            .collect()
    }
}

/// Puts together the histories that differ in nothing any more, in the order in which they come first.
fn joined(held: Vec<Held>) -> Vec<Held> {
    let mut known: rustc_hash::FxHashMap<u64, SmallVec<[usize; 1]>> = rustc_hash::FxHashMap::default();
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
) -> Vec<Held> {
    let most = held.iter().map(|one| one.mass).fold(0.0, f64::max);
    // No more than two deviations are thought of.
    let mut able: Vec<&Held> =
        held.iter().filter(|one| one.set.len() < 2 && one.mass > 0.0 && one.mass >= CAN_GET_WORSE * most).collect();
    able.sort_by(|a, b| b.mass.total_cmp(&a.mass));
    able.truncate(MOST_GET_WORSE);
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

/// What a class's members do, as the sequence notices it.
fn effects_of(world: &World, class: &Class) -> Vec<FaultEffect> {
    let behaviours = &world.routines[0].exploration.behaviours;
    behaviours.get(class.behaviour).map(|behaviour| behaviour.effects.clone()).unwrap_or_default()
}

/// A thing done outside the routine, or a remedy, ends the moment before it, of which
/// only the last action of the routine is known, if that.
fn split_at_extra_deeds(evidence: &Evidence) -> Evidence {
    let mut evidence = evidence.clone();
    let Some(first) = evidence.moments.first_mut() else { return evidence };
    let extra = first.deeds.iter().position(|deed| matches!(deed, Deed::Extra(_)));
    let at = if first.remedies.is_empty() { extra } else { Some(extra.unwrap_or(first.deeds.len())) };
    if let Some(at) = at {
        let deeds = first.deeds.split_off(at);
        let before = Moment { deeds: std::mem::replace(&mut first.deeds, deeds), ..Moment::default() };
        evidence.moments.insert(0, before);
    }
    evidence
}

/// The weight of all calls before any evidence.
fn listed(world: &World, routine: &RoutineWorld, doubt: &Doubt) -> f64 {
    Weigher::new(world, routine, &Evidence::default(), doubt).total()
}

fn first_moment<'d>(world: &'d World, routine: &'d RoutineWorld, weigher: &Weigher<'_>, scale: f64) -> Ground<'d> {
    let tally = weigher.tally();
    let exploration = &routine.exploration;
    let mut stage_of = vec![0_u16; exploration.situations.len()];
    for record in exploration.records.iter().rev() {
        stage_of[record.situation as usize] = record.stage;
    }
    let mut index = vec![None; exploration.situations.len()];
    let mut looks = Vec::new();
    for (situation, weight) in tally.situations.iter().enumerate() {
        if *weight > 0.0 {
            index[situation] = Some(looks.len());
            looks.push(Look {
                situation: std::borrow::Cow::Borrowed(&exploration.situations[situation]),
                truth: routine.truth(situation).clone(),
                stage: stage_of[situation],
                weight: *weight,
            });
        }
    }
    let best = tally
        .best
        .iter()
        .map(|best| {
            let (record, _, latent) = (*best)?;
            Some((index[exploration.records[record as usize].situation as usize]?, latent))
        })
        .collect();
    Ground {
        world,
        routine,
        told: Evidence::default(),
        scale,
        total: tally.total,
        nothing: tally.nothing,
        unknown: tally.unknown,
        single: tally.single,
        pairs: tally.pairs,
        looks,
        best,
        classes: tally.classes,
    }
}

/// Sums the histories that were followed.
fn gather<'d>(
    world: &'d World,
    routine: &'d RoutineWorld,
    weigher: &Weigher<'_>,
    held: Vec<Held>,
    unknown: f64,
    scale: f64,
) -> Ground<'d> {
    let count = weigher.classes.len();
    let mut ground = Ground {
        world,
        routine,
        told: Evidence::default(),
        classes: weigher.classes.clone(),
        scale,
        total: 0.0,
        nothing: 0.0,
        unknown,
        single: vec![0.0; count],
        pairs: Vec::new(),
        looks: Vec::new(),
        best: vec![None; count],
    };
    let mut best = vec![0.0; count];
    let mut index: rustc_hash::FxHashMap<(Situation, u16), usize> = rustc_hash::FxHashMap::default();
    let mut pairs = std::collections::BTreeMap::new();
    for one in held {
        ground.total += one.mass;
        let set: Vec<usize> = one.set.iter().map(|class| *class as usize).collect();
        match set[..] {
            [a, b] => *pairs.entry((a.min(b), a.max(b))).or_insert(0.0) += one.mass,
            [a] => ground.single[a] += one.mass,
            _ => ground.nothing += one.mass,
        }
        let situation = &one.stood.0;
        let look = *index.entry((situation.clone(), one.stage)).or_insert_with(|| {
            ground.looks.push(Look {
                truth: world.panel.truth(&world.plant, situation),
                situation: std::borrow::Cow::Owned(situation.clone()),
                stage: one.stage,
                weight: 0.0,
            });
            ground.looks.len() - 1
        });
        ground.looks[look].weight += one.mass;
        for class in set {
            if one.mass > best[class] {
                best[class] = one.mass;
                ground.best[class] = Some((look, true));
            }
        }
    }
    ground.pairs = pairs.into_iter().collect();
    ground
}
