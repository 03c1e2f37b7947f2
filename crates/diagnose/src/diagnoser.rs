//! The public face: a machine worked out once, and answers to evidence.

use crate::answer::{self, Answer};
use crate::class::{Class, excluding, shares_of};
use crate::evidence::{Circumstances, Deed, Evidence, Moment};
use crate::following::{Followed, Follower, Held};
use crate::hypothesis::{Hypothesis, Stands, members_of};
use crate::kept::{Name, Shelf, opened, sealed};
use crate::larger::{Larger, larger};
use crate::marginals::{Marginals, marginals};
use crate::panel::LampTruth;
use crate::renamed::{Told, retold};
use crate::tally::{Doubt, Fit, Weigher, keep_share};
use crate::world::{KeptRoutine, RoutineWorld, World};
use machine::id::RoutineId;
use machine::{Alternative, Machine};
use rayon::prelude::*;
use rustc_hash::FxHashMap;
use sim::{Options, Situation};
use smallvec::SmallVec;
use std::borrow::Cow;
use std::collections::BTreeMap;
use std::sync::Arc;

/// A machine type, worked out: answers any evidence about it.
#[derive(Debug)]
pub struct Diagnoser {
    worlds: Vec<World>,
    doubt: Doubt,
    most: Followed,
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
    pub pairs: Vec<([u32; 2], f64)>,
    /// Sets of more than two classes with weight, where they were looked at; how many were, and the sum of their odds.
    pub larger: Vec<(LargerSet, f64)>,
    pub larger_sets: usize,
    pub larger_odds: f64,
    /// What the machine can look like, with its stage and weight.
    pub looks: Vec<Look<'d>>,
    /// By class, the index into `looks` where it weighs most, and whether it is latent there.
    pub best: Vec<Option<(usize, bool)>>,
    pub weighed: RoutineWeighed,
}

/// More than two classes, in rising order.
pub(crate) type LargerSet = SmallVec<[u32; 4]>;

/// Evidence weighed, by routine of each alternative.
#[derive(Clone, Debug)]
pub(crate) struct Weighed {
    each: Vec<RoutineWeighed>,
    /// How well what was seen fits, if it is kept: it takes room.
    fits: Option<Fits>,
}

/// How well what was seen in the first moment fits, by routine of each alternative.
pub(crate) type Fits = Vec<Arc<Fit>>;

/// Evidence weighed for one routine.
#[derive(Clone, Debug)]
pub(crate) struct RoutineWeighed {
    /// With up to two deviations.
    up_to_two: UpToTwo,
    /// With more, where they were asked for.
    larger: Vec<Held>,
}

/// What the evidence leaves with up to two deviations.
#[derive(Clone, Debug)]
enum UpToTwo {
    /// Within the first moment: the weight of each record.
    Records(Vec<f64>),
    /// What is left after later moments, and the weight of a cause that is not in the file.
    Held(Vec<Held>, f64),
}

/// A situation that the evidence leaves possible.
pub(crate) struct Look<'d> {
    pub situation: Cow<'d, Situation>,
    pub truth: Cow<'d, LampTruth>,
    pub stage: u16,
    pub weight: f64,
}

impl Ground<'_> {
    /// Adds histories that were followed to the sums.
    fn take_in(&mut self, held: &[Held]) {
        let world = self.world;
        // What is known already stays where it weighs most; it is not known any more how much that was.
        let mut best: Vec<f64> =
            self.best.iter().map(|best| if best.is_some() { f64::INFINITY } else { 0.0 }).collect();
        let mut index: FxHashMap<(Situation, u16), usize> = FxHashMap::default();
        let mut sets: BTreeMap<LargerSet, f64> = BTreeMap::new();
        for one in held {
            self.total += one.mass;
            let mut set: LargerSet = one.set.as_slice().into();
            set.sort_unstable();
            match set[..] {
                [] => self.nothing += one.mass,
                [a] => self.single[a as usize] += one.mass,
                _ => *sets.entry(set.clone()).or_insert(0.0) += one.mass,
            }
            let situation = &one.stood.0;
            let look = *index.entry((situation.clone(), one.stage)).or_insert_with(|| {
                self.looks.push(Look {
                    truth: Cow::Owned(world.panel.truth(&world.plant, situation)),
                    situation: Cow::Owned(situation.clone()),
                    stage: one.stage,
                    weight: 0.0,
                });
                self.looks.len() - 1
            });
            self.looks[look].weight += one.mass;
            for class in set.into_iter().map(|class| class as usize) {
                if one.mass > best[class] {
                    best[class] = one.mass;
                    self.best[class] = Some((look, true));
                }
            }
        }
        for (set, mass) in sets {
            match set[..] {
                [a, b] => self.pairs.push(([a, b], mass)),
                _ => self.larger.push((set, mass)),
            }
        }
    }

    /// By class: the weight of everything in which one of its deviations is there.
    pub fn class_masses(&self) -> Vec<f64> {
        let mut masses = self.single.clone();
        for ([a, b], mass) in &self.pairs {
            masses[*a as usize] += mass;
            if a != b {
                masses[*b as usize] += mass;
            }
        }
        for (set, mass) in &self.larger {
            let mut kinds = set.clone();
            kinds.dedup();
            kinds.iter().for_each(|class| masses[*class as usize] += mass);
        }
        masses
    }

    /// By class and member: the weight of everything in which that deviation is there.
    pub fn member_masses(&self) -> Vec<Vec<f64>> {
        let prior = &self.world.prior;
        // Beside what no member excludes, the members of a class share its weight as if it were alone.
        let mut alike = self.single.clone();
        let mut apart: Vec<Vec<f64>> = self.classes.iter().map(|class| vec![0.0; class.members.len()]).collect();
        let excluding = excluding(&self.classes);
        for ([a, b], mass) in &self.pairs {
            let (a, b) = (*a as usize, *b as usize);
            if excluding[a][b] {
                let (class, with) = (&self.classes[a], &self.classes[b]);
                let mut give = |one: usize, shares: &mut dyn Iterator<Item = f64>| {
                    apart[one].iter_mut().zip(shares).for_each(|(sum, share)| *sum += mass * share);
                };
                give(a, &mut class.shares_with(with, prior));
                if a != b {
                    give(b, &mut with.shares_with(class, prior));
                }
            } else {
                alike[a] += mass;
                alike[b] += mass;
            }
        }
        for (set, mass) in &self.larger {
            let of: SmallVec<[&Class; 4]> = set.iter().map(|class| &self.classes[*class as usize]).collect();
            for (class, shares) in set.iter().zip(shares_of(&of, prior)) {
                apart[*class as usize].iter_mut().zip(shares).for_each(|(sum, share)| *sum += mass * share);
            }
        }
        (self.classes.iter().zip(alike).zip(apart))
            .map(|((class, alike), apart)| {
                let shares = class.members.iter().map(|member| class.share(*member, prior));
                shares.zip(apart).map(|(share, apart)| alike * share + apart).collect()
            })
            .collect()
    }
}

impl Diagnoser {
    /// Works a machine out: every alternative, every routine, every deviation and pair.
    #[must_use]
    pub fn new(alternatives: Vec<Alternative>, circumstances: &Circumstances, options: &Options) -> Self {
        Self::made(alternatives, circumstances, options, Vec::new())
    }

    /// The same, taken up from a shelf if it was worked out before by this program; else it is laid by there.
    ///
    /// The answers are the same to the last digit.
    #[must_use]
    pub fn from_shelf(
        alternatives: Vec<Alternative>,
        circumstances: &Circumstances,
        options: &Options,
        shelf: &dyn Shelf,
    ) -> Self {
        let name = Name::of(&alternatives, circumstances, options);
        let shelf_mark = name.to_string();
        if let Some(kept) = shelf.take(&shelf_mark).and_then(|bytes| opened(name, &bytes)) {
            return Self::made(alternatives, circumstances, options, kept);
        }
        let made = Self::new(alternatives, circumstances, options);
        if let Some(bytes) = sealed(name, &made.worlds) {
            shelf.lay_by(&shelf_mark, &bytes);
        }
        made
    }

    fn made(
        alternatives: Vec<Alternative>,
        circumstances: &Circumstances,
        options: &Options,
        kept: Vec<Vec<KeptRoutine<'static>>>,
    ) -> Self {
        let mut kept = kept.into_iter();
        let worlds = alternatives.into_iter().map(|one| World::new(one, circumstances, options, kept.next()));
        let mut worlds: Vec<World> = worlds.collect();
        let doubt = Doubt::default();
        for world in &mut worlds {
            let known = |routine: &RoutineWorld| if routine.listed > 0.0 { Some(routine.listed) } else { None };
            let listed: Vec<f64> = (world.routines.iter())
                .map(|routine| known(routine).unwrap_or_else(|| listed(world, routine, &doubt)))
                .collect();
            for (routine, listed) in world.routines.iter_mut().zip(listed) {
                routine.listed = listed;
            }
        }
        Self { worlds, doubt, most: Followed::default() }
    }

    /// The same with other assumptions about how often people are wrong.
    #[must_use]
    pub fn with_doubt(mut self, doubt: Doubt) -> Self {
        self.doubt = doubt;
        self
    }

    /// The same with another measure of how much is followed through later moments.
    #[must_use]
    pub fn with_followed(mut self, most: Followed) -> Self {
        self.most = most;
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
        answer::answer(&self.worlds, &self.grounds(told, None))
    }

    /// The same as [`Diagnoser::answer`], with what was weighed for it, so that what follows need not weigh it again.
    pub(crate) fn answer_weighed(&self, evidence: &Evidence) -> (Answer, Weighed) {
        self.answer_fitted(evidence, None)
    }

    /// The same where it is known how well what was seen fits.
    pub(crate) fn answer_fitted(&self, evidence: &Evidence, fits: Option<&Fits>) -> (Answer, Weighed) {
        let grounds = self.grounds(&self.told(evidence), fits);
        let answer = answer::answer(&self.worlds, &grounds);
        let each = grounds.into_iter().map(|ground| ground.weighed).collect();
        (answer, Weighed { each, fits: fits.cloned() })
    }

    /// How well what was seen in the first moment fits: the same for all evidence that differs only in the complaint.
    pub(crate) fn fits(&self, evidence: &Evidence) -> Fits {
        let told = self.told(evidence);
        let each = self.worlds.iter().zip(&told).flat_map(|(world, told)| {
            let evidence = split_at_extra_deeds(&told.evidence);
            let fit = |routine: &RoutineWorld| Arc::new(Fit::new(world, routine, &evidence, &self.doubt));
            world.routines.par_iter().map(fit).collect::<Vec<_>>()
        });
        each.collect()
    }

    /// The evidence weighed, for whoever needs no answer.
    pub(crate) fn weighed(&self, evidence: &Evidence) -> Weighed {
        self.weighed_fitted(evidence, None)
    }

    /// The same where it is known how well what was seen fits.
    pub(crate) fn weighed_fitted(&self, evidence: &Evidence, fits: Option<&Fits>) -> Weighed {
        let told = self.told(evidence);
        let mut each = Vec::new();
        for (world, told) in self.worlds.iter().zip(&told) {
            let evidence = split_at_extra_deeds(&told.evidence);
            let begin = each.len();
            let weigh = |(index, routine)| {
                let fit = fits.and_then(|fits| fits.get(begin + index).cloned());
                self.weigh(world, routine, &evidence, fit)
            };
            each.extend(world.routines.par_iter().enumerate().map(weigh).collect::<Vec<_>>());
        }
        Weighed { each, fits: fits.cloned() }
    }

    /// The first moment compiled, as far as it is not known already.
    fn weigher<'w>(
        &'w self,
        world: &'w World,
        routine: &'w RoutineWorld,
        evidence: &'w Evidence,
        fit: Option<Arc<Fit>>,
    ) -> Weigher<'w> {
        match fit {
            Some(fit) => Weigher::fitted(world, routine, evidence, &self.doubt, fit),
            None => Weigher::new(world, routine, evidence, &self.doubt),
        }
    }

    fn follower<'w, 'd>(
        &'d self,
        world: &'w World,
        routine: &'w RoutineWorld,
        weigher: &'d Weigher<'w>,
    ) -> Follower<'w, 'd> {
        Follower { world, routine, weigher, doubt: &self.doubt, most: &self.most }
    }

    fn weigh(
        &self,
        world: &World,
        routine: &RoutineWorld,
        evidence: &Evidence,
        fit: Option<Arc<Fit>>,
    ) -> RoutineWeighed {
        if evidence.most_at_once.is_some() {
            return self.ground(world, routine, evidence, fit).weighed;
        }
        let weigher = self.weigher(world, routine, evidence, fit);
        let up_to_two = if evidence.moments.len() <= 1 {
            UpToTwo::Records(weigher.record_weights())
        } else {
            let (held, unknown) = self.follower(world, routine, &weigher).followed(evidence);
            UpToTwo::Held(held, unknown)
        };
        RoutineWeighed { up_to_two, larger: Vec::new() }
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
        self.hypotheses_of(evidence, &self.weighed(evidence), share, most)
    }

    /// The same for evidence that was weighed already.
    pub(crate) fn hypotheses_of(
        &self,
        evidence: &Evidence,
        weighed: &Weighed,
        share: f64,
        most: usize,
    ) -> (Vec<Hypothesis>, f64) {
        let told = self.told(evidence);
        let mut found = Vec::new();
        let mut unknown = 0.0;
        let mut fits = weighed.fits.iter().flatten();
        let mut weighed = weighed.each.iter();
        for (number, (world, told)) in self.worlds.iter().zip(&told).enumerate() {
            let evidence = split_at_extra_deeds(&told.evidence);
            for ((index, routine), weighed) in world.routines.iter().enumerate().zip(weighed.by_ref()) {
                let weigher = self.weigher(world, routine, &evidence, fits.next().cloned());
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
                let stands_still = evidence.moments.last().is_some_and(|moment| moment.runs == Some(false));
                let mut give_held = |one: &Held| {
                    let present = one.present(&weigher);
                    // Where it does not run though nothing that came into play is left, the rest is in the way.
                    let (in_play, as_always) = match one.still_in_play() {
                        0 if stands_still => (present.len(), false),
                        in_play => (in_play, !one.odd),
                    };
                    let (stood, latent) = (Arc::clone(&one.stood), one.latent.clone());
                    give(&present, one.mass, one.stage, Stands::Held { stood, latent, in_play, as_always });
                };
                weighed.larger.iter().for_each(&mut give_held);
                match &weighed.up_to_two {
                    UpToTwo::Held(held, not_in_file) => {
                        held.iter().for_each(give_held);
                        unknown += scale * not_in_file;
                    }
                    UpToTwo::Records(records) => {
                        for item in weigher.leading(records, share, most) {
                            let record = &routine.exploration.records[item.record as usize];
                            let set: Vec<&Class> =
                                item.set.iter().flatten().map(|class| &weigher.classes[*class as usize]).collect();
                            let stands = Stands::Record { record: item.record, in_play: record.in_play() };
                            give(&set, item.mass, record.stage, stands);
                        }
                        unknown += scale * weigher.unlisted();
                    }
                }
            }
        }
        found.sort_by(|a, b| b.weight.total_cmp(&a.weight));
        let total: f64 = found.iter().map(|one| one.weight).sum();
        keep_share(&mut found, |one| one.weight, share * total);
        (found, unknown)
    }

    /// The routine, and how many of its actions were done, that weigh most.
    pub(crate) fn leading_place(&self, evidence: &Evidence, weighed: &Weighed) -> Option<(RoutineId, u16)> {
        let told = self.told(evidence);
        let mut sums: BTreeMap<(RoutineId, u16), f64> = BTreeMap::new();
        let routines = (self.worlds.iter().zip(&told))
            .flat_map(|(world, told)| world.routines.iter().map(move |routine| (world, routine, told.slips())));
        for ((world, routine, slips), weighed) in routines.zip(&weighed.each) {
            let scale = slips * world.scale(routine);
            let mut give = |stage: u16, mass: f64| *sums.entry((routine.routine, stage)).or_insert(0.0) += scale * mass;
            weighed.larger.iter().for_each(|one| give(one.stage, one.mass));
            match &weighed.up_to_two {
                UpToTwo::Records(weights) => {
                    let records = routine.exploration.records.iter().zip(weights);
                    records.for_each(|(record, mass)| give(record.stage, *mass));
                }
                UpToTwo::Held(held, _) => held.iter().for_each(|one| give(one.stage, one.mass)),
            }
        }
        let best = sums.into_iter().max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)));
        best.map(|(place, _)| place)
    }

    /// The bare numbers: how probable each deviation is, given this evidence.
    #[must_use]
    pub fn marginals(&self, evidence: &Evidence) -> Marginals {
        marginals(&self.grounds(&self.told(evidence), None))
    }

    /// What each alternative understands of evidence read with the names of the first.
    fn told(&self, evidence: &Evidence) -> Vec<Told> {
        let Some(first) = self.worlds.first() else { return Vec::new() };
        self.worlds.iter().map(|world| retold(evidence, &first.machine, &world.machine)).collect()
    }

    fn grounds(&self, told: &[Told], fits: Option<&Fits>) -> Vec<Ground<'_>> {
        let nothing = Told::default();
        let told = told.iter().chain(std::iter::repeat(&nothing));
        let mut grounds = Vec::new();
        for (world, told) in self.worlds.iter().zip(told) {
            let evidence = split_at_extra_deeds(&told.evidence);
            let begin = grounds.len();
            let ground = |(index, routine)| {
                let fit = fits.and_then(|fits| fits.get(begin + index).cloned());
                let ground = self.ground(world, routine, &evidence, fit);
                Ground { scale: ground.scale * told.slips(), told: evidence.clone(), ..ground }
            };
            grounds.extend(world.routines.par_iter().enumerate().map(ground).collect::<Vec<_>>());
        }
        grounds
    }

    fn ground<'d>(
        &'d self,
        world: &'d World,
        routine: &'d RoutineWorld,
        evidence: &Evidence,
        fit: Option<Arc<Fit>>,
    ) -> Ground<'d> {
        let weigher = self.weigher(world, routine, evidence, fit);
        let scale = world.scale(routine);
        let follower = self.follower(world, routine, &weigher);
        let mut ground = if evidence.moments.len() <= 1 {
            first_moment(world, routine, &weigher, scale)
        } else {
            let (held, unknown) = follower.followed(evidence);
            gather(world, routine, &weigher, held, unknown, scale)
        };
        if evidence.most_at_once.is_some() {
            let all = ground.total.max(f64::MIN_POSITIVE);
            let probable: Vec<f64> = ground.class_masses().into_iter().map(|mass| mass / all).collect();
            let Larger { held, sets, odds } = larger(&follower, evidence, &probable);
            ground.take_in(&held);
            (ground.larger_sets, ground.larger_odds, ground.weighed.larger) = (sets, odds, held);
        }
        ground
    }
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
                situation: Cow::Borrowed(&exploration.situations[situation]),
                truth: Cow::Borrowed(routine.truth(situation)),
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
        larger: Vec::new(),
        larger_sets: 0,
        larger_odds: 0.0,
        looks,
        best,
        classes: tally.classes,
        weighed: RoutineWeighed { up_to_two: UpToTwo::Records(tally.records), larger: Vec::new() },
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
        larger: Vec::new(),
        larger_sets: 0,
        larger_odds: 0.0,
        looks: Vec::new(),
        best: vec![None; count],
        weighed: RoutineWeighed { up_to_two: UpToTwo::Held(Vec::new(), unknown), larger: Vec::new() },
    };
    ground.take_in(&held);
    ground.weighed.up_to_two = UpToTwo::Held(held, unknown);
    ground
}
