//! The weighing itself: every way in which the machine can stand, times the
//! probability of what was reported, summed by cause and by situation.
//!
//! Exact over all sets of up to two deviations. The sums run in a fixed order, so
//! the same evidence always gives the same digits, however many threads there are.
//!
//! Cost: what the lamps can show, times the parts of the lamp likelihood; plus the records
//! with fewer than two deviations in play, times the classes that may be latent there. What is seen with one of these
//! and no other is worked out once for a record; if the deviation in play changes nothing beyond what the situation says,
//! as nearly all do, a multiplication for each is all. Only where two change something ([`RoutineWorld::latent_lamps`])
//! are they weighed pair by pair. Records that would be lost in the rounding of the sums are left aside.

use crate::class::{Class, by_behaviour, classes, odds_together};
use crate::evidence::{Complaint, Deed, Evidence, Moment};
use crate::likelihood::LampLikelihood;
use crate::panel::{LampChange, Misreading};
use crate::seen::{Looks, Touched, either, lamp_changes};
use crate::standing::Standing;
use crate::unlisted;
use crate::world::{RoutineWorld, World};
use machine::id::Id;
use machine::model::Observable;
use rayon::prelude::*;
use sim::Situation;
use smallvec::SmallVec;
use std::borrow::Cow;
use std::ops::Range;
use std::sync::{Arc, OnceLock};

/// How often people are wrong about things other than lamps.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Doubt {
    /// Lamps.
    pub lamps: Misreading,
    /// Probability that a reported position is wrong.
    pub position: f64,
    /// Probability that another action than the reported one was the last.
    pub deed: f64,
    /// Probability that another routine was being done than the one named.
    pub routine: f64,
    /// Share of calls whose cause is not in the machine file.
    pub unlisted: f64,
    /// Probability that a remedy did not do what it should.
    pub remedy: f64,
}

impl Default for Doubt {
    fn default() -> Self {
        Self { lamps: Misreading::default(), position: 0.03, deed: 0.05, routine: 0.02, unlisted: 0.05, remedy: 0.05 }
    }
}

/// One way to stand, with the classes of deviations that it stands for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Item {
    /// Index into the exploration's records.
    pub record: u32,
    /// The deviations, by class; those in play first, then latent ones.
    pub set: [Option<u32>; 2],
    /// Weight, not normalised.
    pub mass: f64,
}

/// Sums over all ways to stand.
#[derive(Clone, Debug, Default)]
pub(crate) struct Tally {
    pub classes: Vec<Class>,
    /// Weight of everything, the unknown cause left aside.
    pub total: f64,
    pub nothing: f64,
    /// By class: that deviation and no other.
    pub single: Vec<f64>,
    /// By two classes, the lower number first, those with weight only.
    pub pairs: Vec<([u32; 2], f64)>,
    /// By situation.
    pub situations: Vec<f64>,
    /// By class: the record in which it weighs most by itself or in play with another, with that weight,
    /// and whether it is latent there.
    pub best: Vec<Option<(u32, f64, bool)>>,
    /// The unknown cause.
    pub unknown: f64,
    /// By record.
    pub records: Vec<f64>,
}

/// How well what was seen in a moment fits each way in which the machine can stand in a routine, whatever is complained
/// of and whatever was done last.
#[derive(Debug)]
pub(crate) struct Fit {
    lamps: LampLikelihood,
    /// By variation, the likelihood of the report of lamps; none if the lamps that change were not reported.
    varied: Vec<Option<f64>>,
    /// By what the lamps show: the parts of the likelihood of the report, and their sum.
    parts: Vec<(Vec<f64>, f64)>,
    /// By situation: the probability of what was said of positions and answered to checks, and of all that was
    /// seen, if nothing more than the situation bears on it.
    looked: Vec<f64>,
    base: Vec<f64>,
    /// By situation: the probability of each that was said of positions and answered to checks, one after the other.
    each: Vec<Vec<f64>>,
    /// By situation: the most that it can be with latent deviations, one of which changes lamps.
    most: Vec<f64>,
}

/// A record that cannot weigh more than this share of another is left aside: it would be lost in the rounding of the
/// sums, even with all that are like it.
const LOST: f64 = 1e-19;

impl Fit {
    /// Compiles what was seen in the first moment of the evidence.
    pub fn new(world: &World, routine: &RoutineWorld, evidence: &Evidence, doubt: &Doubt) -> Self {
        let moment = evidence.first();
        let lamps = LampLikelihood::new(&world.panel, &moment.lamps, &doubt.lamps);
        let parts: Vec<(Vec<f64>, f64)> = routine
            .truths
            .par_iter()
            .map(|truth| {
                let parts = lamps.parts(truth);
                let sum = parts.iter().sum();
                (parts, sum)
            })
            .collect();
        let varied: Vec<Option<f64>> = (routine.variations.par_iter())
            .map(|variation| {
                let (parts, sum) = &parts[variation.shows as usize];
                let truth = &routine.truths[variation.shows as usize];
                let reported = variation.changes.iter().any(|change| lamps.bears_on(change.lamp));
                reported.then(|| lamps.changed(truth, parts, *sum, &variation.changes))
            })
            .collect();
        let looks = Looks::new(world, doubt, moment);
        let each: Vec<Vec<f64>> =
            (routine.exploration.situations.par_iter()).map(|here| looks.each(world, here).collect()).collect();
        let looked: Vec<f64> = each.iter().map(|each| each.iter().product()).collect();
        let base = looked.iter().zip(&routine.shows).map(|(looked, shows)| looked * parts[*shows as usize].1).collect();
        let shown = routine.shows.iter().map(|shows| parts[*shows as usize].1);
        let most = (routine.latent_lamps.iter().zip(shown).zip(&looked))
            .map(|((latent, shown), looked)| {
                let varied = latent.beside_one().filter_map(|variation| varied[variation as usize]);
                looked * varied.fold(shown, f64::max)
            })
            .collect();
        Self { lamps, varied, parts, looked, base, each, most }
    }
}

/// Evidence about a single moment, compiled for one routine of one world.
pub(crate) struct Weigher<'w> {
    world: &'w World,
    routine: &'w RoutineWorld,
    doubt: &'w Doubt,
    complaint: Option<Complaint>,
    fit: Arc<Fit>,
    looks: Looks<'w>,
    /// By stage: the probability of what was said to be the last thing done.
    deeds: Vec<f64>,
    pub classes: Vec<Class>,
    moment: &'w Moment,
    /// By behaviour, the classes that its records can stand for: its own, and those of behaviours that run as it does.
    of_behaviour: Vec<Range<usize>>,
    /// By class of [`World::classes`], the classes that it is split into.
    of_base: Vec<Vec<u32>>,
    /// By class, the class of [`World::classes`] that it is part of.
    base_of: Vec<u32>,
    /// By two classes: the odds of a member of each being there together.
    odds: Cow<'w, [Vec<f64>]>,
    /// By class, what it bears on of all that was looked at.
    touched: Vec<Touched>,
    /// The classes that bear on something of it.
    touching: Vec<usize>,
    /// By class of [`World::classes`], those it is split into that bear on nothing of it.
    untouched: Vec<Vec<u32>>,
    /// By class, its behaviour: close together, as every record asks for all of them.
    behaviours: Vec<u32>,
}

/// What a class changes in what is seen in a situation.
#[derive(Clone, Copy)]
struct Bearing<'b> {
    /// Lamps that show something else.
    lamps: &'b [LampChange],
    /// The probability of what was said of positions and answered to checks with it there, if it bears on them.
    looked: Option<f64>,
}

impl<'b> Bearing<'b> {
    /// Changes nothing.
    const NONE: Self = Bearing { lamps: &[], looked: None };

    fn is_none(&self) -> bool {
        self.lamps.is_empty() && self.looked.is_none()
    }
}

/// What is latent in a situation, and what of it changes what is seen there.
struct Latents<'w> {
    situation: usize,
    /// By behaviour, the probability that it has not come into play; empty where nothing is latent.
    shares: &'w [f64],
    /// By class, that probability times what is seen with it and no other; empty where nothing is latent.
    seen: Vec<f64>,
    /// What is seen with nothing that changes it.
    unchanged: f64,
    /// Those that change it, in rising order; once they are asked for.
    changing: OnceLock<Vec<Changing<'w>>>,
}

/// A latent class that changes what is seen.
struct Changing<'w> {
    class: usize,
    bearing: Bearing<'w>,
    /// What is seen with it and no other.
    alone: f64,
    /// By how much it makes each part of the report of lamps more probable.
    ratios: Vec<f64>,
}

/// The first of two classes, the second of which is latent.
#[derive(Clone, Copy)]
struct First<'b> {
    class: usize,
    latent: bool,
    bearing: Bearing<'b>,
    /// What is seen with it and no other.
    alone: f64,
    /// The lowest second class that is asked for.
    from: usize,
}

/// What all records come to.
struct Shares {
    /// Weight by record.
    records: Vec<f64>,
    /// The weight of nothing being wrong.
    nothing: f64,
    /// What is added to the sums, in the order of the records.
    each: Vec<Share>,
    /// What two latent classes weigh together: a square, of which only the upper half is filled.
    latent: Vec<f64>,
}

/// What the records with nothing in play, or those of one behaviour, add to the sums.
struct Share {
    /// Weight by record, in their order.
    records: Vec<f64>,
    single: Vec<(usize, f64)>,
    /// By class in play: weight with each other class.
    pairs: Vec<(usize, Vec<f64>)>,
    best: Vec<(usize, u32, f64, bool)>,
}

impl<'w> Weigher<'w> {
    /// Compiles the first moment of the evidence.
    pub fn new(world: &'w World, routine: &'w RoutineWorld, evidence: &'w Evidence, doubt: &'w Doubt) -> Self {
        Self::fitted(world, routine, evidence, doubt, Arc::new(Fit::new(world, routine, evidence, doubt)))
    }

    /// The same where what was seen in the first moment was compiled before: for this routine, and with this doubt.
    pub fn fitted(
        world: &'w World,
        routine: &'w RoutineWorld,
        evidence: &'w Evidence,
        doubt: &'w Doubt,
        fit: Arc<Fit>,
    ) -> Self {
        let moment = evidence.first();
        let stages = world.machine.routines[routine.routine].actions.len() + 1;
        let last = moment.deeds.iter().rev().find_map(|deed| match deed {
            Deed::Routine(action) => Some(action.map_or(0, |action| action + 1)),
            Deed::Extra(_) => None,
        });
        let named = evidence.routine.is_none_or(|named| named == routine.routine);
        let spoken_for = if named { 1.0 } else { doubt.routine };
        let deeds = (0..stages)
            .map(|stage| {
                spoken_for
                    * match last {
                        None => 1.0,
                        Some(_) if !named => 1.0 / stages as f64,
                        Some(last) if last == stage => 1.0 - doubt.deed,
                        Some(_) => doubt.deed / (stages - 1).max(1) as f64,
                    }
            })
            .collect();
        // Answers given in later moments speak of the same deviations, so all of them split the classes.
        let observables: Vec<&Observable> = evidence
            .moments
            .iter()
            .flat_map(|moment| &moment.checks)
            .filter_map(|report| world.machine.checks.get(report.check))
            .map(|check| &check.observes)
            .collect();
        let remedies: Vec<_> = evidence.moments.iter().flat_map(|moment| moment.remedies.iter().copied()).collect();
        let behaviours = &routine.exploration.behaviours;
        let (classes, odds) = if observables.is_empty() && remedies.is_empty() {
            (world.classes.clone(), Cow::Borrowed(&world.odds[..]))
        } else {
            let classes = classes(&world.machine, &world.panel, &world.prior, behaviours, &observables, &remedies);
            let odds = odds_together(&classes);
            (classes, Cow::Owned(odds))
        };
        let of_behaviour = by_behaviour(&routine.exploration, &classes);
        let mut of_base = vec![Vec::new(); world.classes.len()];
        let base_of: Vec<u32> = classes.iter().map(|class| world.class_of[class.representative().index()]).collect();
        for (index, base) in base_of.iter().enumerate() {
            of_base[*base as usize].push(index as u32);
        }
        let looks = Looks::new(world, doubt, moment);
        let touched: Vec<Touched> = classes.iter().map(|class| looks.touched_by(world, class)).collect();
        let mut untouched = of_base.clone();
        untouched.iter_mut().for_each(|split| split.retain(|class| touched[*class as usize].is_empty()));
        Self {
            world,
            routine,
            doubt,
            complaint: evidence.complaint,
            fit,
            looks,
            deeds,
            touching: (0..classes.len()).filter(|class| !touched[*class].is_empty()).collect(),
            touched,
            untouched,
            behaviours: classes.iter().map(|class| class.behaviour as u32).collect(),
            classes,
            moment,
            of_behaviour,
            of_base,
            odds,
            base_of,
        }
    }

    /// The probability of all that was seen, in this situation with these deviations there: the long way.
    fn seen(&self, situation: usize, set: &[(usize, bool)]) -> f64 {
        let classes: SmallVec<[(&Class, bool); 2]> =
            set.iter().map(|(class, latent)| (&self.classes[*class], *latent)).collect();
        let here = &self.routine.exploration.situations[situation];
        let truth = self.routine.truth(situation);
        let changes = lamp_changes(self.world, here, truth, &classes);
        let set: SmallVec<[usize; 2]> = set.iter().map(|(class, _)| *class).collect();
        let looked = self.looked_with(situation, &set).unwrap_or(self.fit.looked[situation]);
        let (parts, sum) = &self.fit.parts[self.routine.shows[situation] as usize];
        looked * if changes.is_empty() { *sum } else { self.fit.lamps.changed(truth, parts, *sum, &changes) }
    }

    /// The same where this is all that is other than the situation says.
    fn with<'c>(&self, situation: usize, looked: Option<f64>, lamps: impl IntoIterator<Item = &'c LampChange>) -> f64 {
        let (parts, sum) = &self.fit.parts[self.routine.shows[situation] as usize];
        let lamps = self.fit.lamps.changed(self.routine.truth(situation), parts, *sum, lamps);
        looked.unwrap_or(self.fit.looked[situation]) * lamps
    }

    /// What was said of positions and answered to checks with these classes there, if they bear on any of it.
    fn looked_with(&self, situation: usize, set: &[usize]) -> Option<f64> {
        let both;
        let touched = match set {
            [one] => &self.touched[*one],
            [one, other] if self.touched[*other].is_empty() => &self.touched[*one],
            [one, other] if self.touched[*one].is_empty() => &self.touched[*other],
            [one, other] => {
                both = either(&self.touched[*one], &self.touched[*other]);
                &both
            }
            _ => return None,
        };
        if touched.is_empty() {
            return None;
        }
        let here = &self.routine.exploration.situations[situation];
        let classes: SmallVec<[&Class; 2]> = set.iter().map(|class| &self.classes[*class]).collect();
        let known = (&self.fit.each[situation][..], self.fit.looked[situation]);
        Some(self.looks.with(self.world, here, known, &classes, touched))
    }

    /// What a record weighs before anything was seen: its probability, the complaint, the last deed.
    fn told_at(&self, record: usize) -> f64 {
        let (record, standing) = (&self.routine.exploration.records[record], self.routine.standings[record]);
        record.weight * self.told(record.stage, standing)
    }

    /// The probability of the complaint and of what was said to be the last thing done.
    pub fn told(&self, stage: u16, standing: Standing) -> f64 {
        let complaint = self.complaint.map_or(1.0, |complaint| standing.complains(complaint));
        complaint * self.deeds.get(usize::from(stage)).copied().unwrap_or(0.0)
    }

    /// The probability of all that was seen in the first moment, in a situation that the exploration need not know, with
    /// these classes there, each latent or not.
    pub fn seen_in(&self, here: &Situation, set: &[(usize, bool)]) -> f64 {
        let classes: SmallVec<[(&Class, bool); 4]> =
            set.iter().map(|(class, latent)| (&self.classes[*class], *latent)).collect();
        let truth = self.world.panel.truth(&self.world.plant, here);
        let changes = lamp_changes(self.world, here, &truth, &classes);
        let each: SmallVec<[f64; 16]> = self.looks.each(self.world, here).collect();
        let touched = set.iter().map(|(class, _)| &self.touched[*class]);
        let touched = touched.fold(Touched::new(), |all, more| either(&all, more));
        let classes: SmallVec<[&Class; 4]> = classes.iter().map(|(class, _)| *class).collect();
        let looked = self.looks.with(self.world, here, (&each, each.iter().product()), &classes, &touched);
        looked * self.fit.lamps.of(&truth.with(&changes))
    }

    /// Whether a class bears on what is seen even when it has come into play.
    fn shows_in_play(&self, class: usize) -> bool {
        !self.touched[class].is_empty() || self.classes[class].changes_lamps(false)
    }

    /// The lamps that a class in play changes beyond what the situation says.
    fn lamps_in_play(&self, situation: usize, class: usize) -> Vec<LampChange> {
        let here = &self.routine.exploration.situations[situation];
        lamp_changes(self.world, here, self.routine.truth(situation), &[(&self.classes[class], false)])
    }

    /// What is latent in a record, and what is seen with each of it.
    fn latents(&self, record: usize) -> Latents<'w> {
        let exploration = &self.routine.exploration;
        let record = &exploration.records[record];
        let situation = record.situation as usize;
        let unchanged = self.fit.base[situation];
        let row = record.latent.and_then(|row| exploration.latent.get(row as usize));
        let Some(shares) = row.map(|row| &row[..]) else {
            return Latents { situation, shares: &[], seen: Vec::new(), unchanged, changing: OnceLock::new() };
        };
        let mut seen: Vec<f64> =
            self.behaviours.iter().map(|behaviour| shares[*behaviour as usize] * unchanged).collect();
        self.each_changing(situation, shares, |class, _, _, alone| seen[class] = self.of_class(shares, class) * alone);
        Latents { situation, shares, seen, unchanged, changing: OnceLock::new() }
    }

    /// What a class has of something that goes by behaviour.
    fn of_class(&self, of_behaviour: &[f64], class: usize) -> f64 {
        of_behaviour[self.behaviours[class] as usize]
    }

    /// Gives each class that changes what is seen in this situation if it is latent: with the variation of the lamps, if
    /// any, what it makes of all that was looked at, if it bears on that, and what is seen with it and no other. Those of
    /// which nothing is latent by these shares may be left out.
    fn each_changing(
        &self,
        situation: usize,
        shares: &[f64],
        mut give: impl FnMut(usize, Option<u32>, Option<f64>, f64),
    ) {
        let known = &self.routine.latent_lamps[situation].one;
        let untouched = self.fit.looked[situation];
        for (base, variation) in known {
            let Some(varied) = self.fit.varied[*variation as usize] else { continue };
            for class in &self.untouched[*base as usize] {
                give(*class as usize, Some(*variation), None, untouched * varied);
            }
        }
        for class in self.touching.iter().copied().filter(|class| self.of_class(shares, *class) > 0.0) {
            let found = known.binary_search_by_key(&self.base_of[class], |(base, _)| *base);
            let variation = found.ok().map(|index| known[index].1);
            let looked = self.looked_with(situation, &[class]);
            let varied = variation.and_then(|variation| self.fit.varied[variation as usize]);
            let alone = looked.unwrap_or(untouched) * varied.unwrap_or_else(|| self.as_shown(situation));
            give(class, variation, looked, alone);
        }
    }

    /// The classes latent in a situation that change what is seen there, in rising order.
    fn changing<'l>(&self, latents: &'l Latents<'w>) -> &'l [Changing<'w>] {
        latents.changing.get_or_init(|| {
            let truth = self.routine.truth(latents.situation);
            let mut changing = Vec::new();
            self.each_changing(latents.situation, latents.shares, |class, variation, looked, alone| {
                let lamps = variation.map_or(&[][..], |variation| &self.routine.variations[variation as usize].changes);
                let ratios = self.fit.lamps.ratios(truth, lamps);
                changing.push(Changing { class, bearing: Bearing { lamps, looked }, alone, ratios });
            });
            changing.sort_by_key(|one| one.class);
            changing
        })
    }

    /// A latent class as the first of two, beside those from itself on.
    fn first_latent(&self, latents: &Latents<'w>, class: usize) -> First<'w> {
        let changing = self.changing(latents);
        let found = changing.binary_search_by_key(&class, |one| one.class).map(|index| &changing[index]);
        let (bearing, alone) = found.map_or((Bearing::NONE, latents.unchanged), |one| (one.bearing, one.alone));
        First { class, latent: true, bearing, alone, from: class }
    }

    /// The likelihood of the report of lamps if they show what the situation says.
    fn as_shown(&self, situation: usize) -> f64 {
        self.fit.parts[self.routine.shows[situation] as usize].1
    }

    /// What each class from `first.from` on weighs that is latent beside a first class, given the weight of what it
    /// stands beside; exact for those that weigh at least so much before anything was seen. Room for classes below is
    /// left as it was.
    ///
    /// Where the first changes nothing, what is seen is what is seen with the second alone, for nearly all of them. Where
    /// it does, only those that change something as well are looked at one by one; and always those that share a lamp
    /// with the first.
    fn weigh_beside(&self, latents: &Latents<'w>, first: First<'_>, weight: f64, least: f64, masses: &mut [f64]) {
        let First { class: a, latent, bearing, alone, from } = first;
        let situation = latents.situation;
        let odds = &self.odds[a][..];
        let prior = |b: usize| weight * odds[b] * self.of_class(latents.shares, b);
        let wanted = |b: usize| b >= from && prior(b) > 0.0 && prior(b) >= least;
        if bearing.is_none() {
            let each = masses[from..].iter_mut().zip(&odds[from..]).zip(&latents.seen[from..]);
            each.for_each(|((mass, odds), seen)| *mass = weight * odds * seen);
        } else {
            let seen_alone = weight * alone;
            let each = masses[from..].iter_mut().zip(&odds[from..]).zip(&self.behaviours[from..]);
            each.for_each(|((mass, odds), behaviour)| *mass = seen_alone * odds * latents.shares[*behaviour as usize]);
            let (parts, _) = &self.fit.parts[self.routine.shows[situation] as usize];
            let ratios = self.fit.lamps.ratios(self.routine.truth(situation), bearing.lamps);
            for other in self.changing(latents).iter().filter(|other| wanted(other.class)) {
                let b = other.class;
                let looked = bearing.looked.or(other.bearing.looked);
                let new = |change: &&LampChange| !bearing.lamps.iter().any(|one| one.lamp == change.lamp);
                let seen = if bearing.looked.is_some() && other.bearing.looked.is_some() {
                    self.seen(situation, &[(a, latent), (b, true)])
                } else if other.bearing.lamps.iter().all(|change| new(&change)) {
                    let lamps = LampLikelihood::changed_both(parts, &ratios, &other.ratios);
                    looked.unwrap_or(self.fit.looked[situation]) * lamps
                } else {
                    // Where both change one lamp they darken it alike; all others are gone through below.
                    self.with(situation, looked, bearing.lamps.iter().chain(other.bearing.lamps.iter().filter(new)))
                };
                masses[b] = prior(b) * seen;
            }
        }
        // Where the two have a lamp in common the one that acts last decides.
        for (base, variation) in self.routine.latent_lamps[situation].with(self.base_of[a], latent) {
            for b in self.of_base[base as usize].iter().map(|b| *b as usize).filter(|b| wanted(*b)) {
                let looked = self.looked_with(situation, &[a, b]).unwrap_or(self.fit.looked[situation]);
                let varied = variation.and_then(|variation| self.fit.varied[variation as usize]);
                masses[b] = prior(b) * looked * varied.unwrap_or_else(|| self.as_shown(situation));
            }
        }
        if latent {
            // Two alike: each two of them once.
            masses[a] /= 2.0;
        }
    }

    /// Goes through the records with nothing in play, the first so many: each class latent by itself, and each two of
    /// them. Tells also the weight of nothing being wrong, and as a square what two classes weigh together.
    fn nothing_in_play(&self, records: usize) -> (f64, Share, Vec<f64>) {
        let count = self.classes.len();
        let mut square = vec![0.0; count * count];
        let mut share = Share { records: vec![0.0; records], single: Vec::new(), pairs: Vec::new(), best: Vec::new() };
        let mut nothing_wrong = 0.0;
        let mut told = Vec::new();
        for record in 0..records {
            let weight = self.told_at(record);
            if weight <= 0.0 {
                continue;
            }
            let latents = self.latents(record);
            let nothing = weight * latents.unchanged;
            nothing_wrong += nothing;
            share.records[record] += nothing;
            for (class, seen) in latents.seen.iter().enumerate().filter(|(_, seen)| **seen > 0.0) {
                let mass = weight * self.classes[class].odds * seen;
                share.records[record] += mass;
                share.single.push((class, mass));
                share.best.push((class, record as u32, mass, true));
            }
            if !latents.seen.is_empty() {
                told.push((record, weight, latents));
            }
        }
        let sums: Vec<Vec<f64>> = (square.par_chunks_mut(count.max(1)).enumerate())
            .map_init(
                || vec![0.0; count],
                |masses, (a, row)| {
                    let sums = told.iter().map(|(_, weight, latents)| {
                        let latent = self.of_class(latents.shares, a);
                        if latent <= 0.0 {
                            return 0.0;
                        }
                        self.weigh_beside(latents, self.first_latent(latents, a), weight * latent, 0.0, masses);
                        add_up(&mut row[a..], &masses[a..])
                    });
                    sums.collect()
                },
            )
            .collect();
        for sums in sums {
            told.iter().zip(sums).for_each(|((record, ..), sum)| share.records[*record] += sum);
        }
        (nothing_wrong, share, square)
    }

    /// Goes through the records in which a behaviour is alone in play, with each class latent beside it;
    /// then through those in which it is the first of two.
    ///
    /// Those that would be lost beside something of this weight are left aside. `masses` is room for one by class.
    fn first_in_play(&self, behaviour: usize, beside: f64, masses: &mut [f64]) -> Share {
        let exploration = &self.routine.exploration;
        let (alone, two) = (self.routine.alone[behaviour].clone(), self.routine.first_of_two[behaviour].clone());
        let own = self.of_behaviour[behaviour].clone();
        let count = self.classes.len();
        let mut share = Share {
            records: vec![0.0; alone.len() + two.len()],
            single: own.clone().map(|class| (class, 0.0)).collect(),
            pairs: own.clone().map(|class| (class, vec![0.0; count])).collect(),
            best: Vec::new(),
        };
        let mut best = vec![None; count];
        // With every other beside it. What shows in play can fit better than all that was foreseen.
        let odds: f64 = own.clone().map(|class| self.classes[class].odds).sum();
        let all: f64 = self.classes.iter().map(|class| class.odds).sum();
        let foreseen = self.touching.is_empty() && !own.clone().any(|class| self.shows_in_play(class));
        for (index, number) in alone.clone().enumerate() {
            let told = self.told_at(number);
            let situation = exploration.records[number].situation as usize;
            let most = || told * odds * (1.0 + all) * self.fit.most[situation];
            if told <= 0.0 || foreseen && most() < LOST * beside {
                continue;
            }
            let latents = self.latents(number);
            for (place, a) in own.clone().enumerate() {
                let lamps = self.lamps_in_play(situation, a);
                let bearing = Bearing { lamps: &lamps, looked: self.looked_with(situation, &[a]) };
                let seen = self.with(situation, bearing.looked, bearing.lamps);
                let single = told * self.classes[a].odds * seen;
                share.records[index] += single;
                share.single[place].1 += single;
                note(&mut best[a], number as u32, single, false);
                if latents.seen.is_empty() {
                    continue;
                }
                let first = First { class: a, latent: false, bearing, alone: seen, from: 0 };
                self.weigh_beside(&latents, first, told, 0.0, masses);
                share.records[index] += add_up(&mut share.pairs[place].1, masses);
            }
        }
        for (index, number) in two.enumerate() {
            let record = &exploration.records[number];
            let told = self.told_at(number);
            let (Some(second), true) = (record.second, told > 0.0) else { continue };
            let situation = record.situation as usize;
            for a in self.classes_beside(behaviour as u32, second) {
                let place = a - own.start;
                for b in self.classes_beside(second, behaviour as u32) {
                    let mass = told * self.odds[a][b] * self.two_in_play(situation, a, b);
                    share.records[alone.len() + index] += mass;
                    share.pairs[place].1[b] += mass;
                    note(&mut best[a], number as u32, mass, false);
                    note(&mut best[b], number as u32, mass, false);
                }
            }
        }
        let best = best.into_iter().enumerate();
        share
            .best
            .extend(best.filter_map(|(class, best)| best.map(|(record, mass, latent)| (class, record, mass, latent))));
        share
    }

    /// What the heaviest record weighs in which a behaviour is alone in play, with no other latent.
    fn heaviest_alone(&self) -> f64 {
        let of = |(behaviour, records): (usize, &Range<usize>)| {
            let odds: f64 = self.of_behaviour[behaviour].clone().map(|class| self.classes[class].odds).sum();
            let seen = |number: usize| self.fit.base[self.routine.exploration.records[number].situation as usize];
            let heaviest = records.clone().map(|number| self.told_at(number) * seen(number)).fold(0.0, f64::max);
            odds * heaviest
        };
        // What shows in play is other than the situation says, and so is what an answer bears on.
        let plain = |behaviour: &usize| !self.of_behaviour[*behaviour].clone().any(|class| self.shows_in_play(class));
        let plain = self.routine.alone.iter().enumerate().filter(|(behaviour, _)| plain(behaviour));
        plain.map(of).fold(0.0, f64::max)
    }

    /// The classes that the first of two behaviours stands for beside the other.
    fn classes_beside(&self, behaviour: u32, beside: u32) -> impl Iterator<Item = usize> + '_ {
        let all = self.of_behaviour[behaviour as usize].clone();
        all.filter(move |class| self.classes[*class].goes_with(&self.routine.exploration, behaviour, beside))
    }

    fn two_in_play(&self, situation: usize, a: usize, b: usize) -> f64 {
        let (a_shows, b_shows) = (self.shows_in_play(a), self.shows_in_play(b));
        if a_shows || b_shows { self.seen(situation, &[(a, false), (b, false)]) } else { self.fit.base[situation] }
    }

    /// The weight of everything.
    pub fn total(&self) -> f64 {
        self.record_weights().iter().sum()
    }

    /// The weight of every record.
    pub fn record_weights(&self) -> Vec<f64> {
        self.shares().records
    }

    /// What all records come to.
    fn shares(&self) -> Shares {
        let exploration = &self.routine.exploration;
        let undisturbed = exploration.records.iter().take_while(|record| record.first.is_none()).count();
        let (nothing, first, latent) = self.nothing_in_play(undisturbed);
        let beside = self.heaviest_alone().max(nothing);
        let behaviours: Vec<Share> = (0..exploration.behaviours.len())
            .into_par_iter()
            .map_init(
                || vec![0.0; self.classes.len()],
                |masses, behaviour| self.first_in_play(behaviour, beside, masses),
            )
            .collect();
        let mut records = vec![0.0; exploration.records.len()];
        records[..undisturbed].copy_from_slice(&first.records);
        for (behaviour, share) in behaviours.iter().enumerate() {
            let numbers = self.routine.alone[behaviour].clone().chain(self.routine.first_of_two[behaviour].clone());
            numbers.zip(&share.records).for_each(|(number, mass)| records[number] = *mass);
        }
        Shares { records, nothing, each: std::iter::once(first).chain(behaviours).collect(), latent }
    }

    /// Sums everything up.
    pub fn tally(&self) -> Tally {
        let count = self.classes.len();
        let Shares { records, nothing, each, latent: mut pairs } = self.shares();
        let mut tally = Tally {
            total: records.iter().sum(),
            nothing,
            single: vec![0.0; count],
            situations: vec![0.0; self.routine.exploration.situations.len()],
            best: vec![None; count],
            ..Tally::default()
        };
        for (record, mass) in self.routine.exploration.records.iter().zip(&records) {
            tally.situations[record.situation as usize] += mass;
        }
        for share in each {
            share.single.iter().for_each(|(class, mass)| tally.single[*class] += mass);
            for (a, masses) in &share.pairs {
                pairs[a * count..].iter_mut().zip(masses).for_each(|(sum, mass)| *sum += mass);
            }
            for (class, record, mass, latent) in share.best {
                note(&mut tally.best[class], record, mass, latent);
            }
        }
        // There are many, and a list that grows is copied again and again.
        tally.pairs.reserve_exact(count * (count + 1) / 2);
        for a in 0..count {
            let (row, column) = (&pairs[a * count..][a..count], pairs[a * count + a..].iter().step_by(count));
            let both = row.iter().zip(column).enumerate().map(|(b, (one, other))| match b {
                0 => ([a as u32; 2], *one),
                _ => ([a as u32, (a + b) as u32], one + other),
            });
            tally.pairs.extend(both.filter(|(_, mass)| *mass > 0.0));
        }
        tally.records = records;
        tally.unknown = self.unlisted();
        tally.classes.clone_from(&self.classes);
        tally
    }

    /// The heaviest ways to stand, heaviest first: as many as make up this share of the whole, at most so many. The
    /// weights are those of [`Weigher::record_weights`].
    pub fn leading(&self, records: &[f64], share: f64, most: usize) -> Vec<Item> {
        let total: f64 = records.iter().sum();
        let mut least = total * 1e-6;
        loop {
            let heavy = records.par_iter().enumerate().filter(|(_, mass)| **mass >= least);
            let mut items: Vec<Item> = heavy
                .flat_map_iter(|(number, _)| {
                    let mut items = Vec::new();
                    self.items_of(number, least, &mut items);
                    items
                })
                .collect();
            let sum: f64 = items.iter().map(|item| item.mass).sum();
            // What is left out below the least weight could only come after all of these.
            if items.len() >= most || sum >= share * total || least < total * 1e-14 {
                items.sort_by(|a, b| b.mass.total_cmp(&a.mass).then(a.record.cmp(&b.record)).then(a.set.cmp(&b.set)));
                keep_share(&mut items, |item| item.mass, share * total);
                items.truncate(most);
                return items;
            }
            least *= 1e-2;
        }
    }

    /// What a record stands for, one by one, down to this weight.
    fn items_of(&self, number: usize, least: f64, items: &mut Vec<Item>) {
        let exploration = &self.routine.exploration;
        let record = &exploration.records[number];
        let situation = record.situation as usize;
        let told = self.told_at(number);
        let mut give = |set: [Option<usize>; 2], mass: f64| {
            if mass >= least && mass > 0.0 {
                let set = set.map(|one| one.map(|class| class as u32));
                items.push(Item { record: number as u32, set, mass });
            }
        };
        let own = record.first.map(|first| self.of_behaviour[first as usize].clone());
        if let (Some(first), Some(second)) = (record.first, record.second) {
            for a in self.classes_beside(first, second) {
                for b in self.classes_beside(second, first) {
                    give([Some(a), Some(b)], told * self.odds[a][b] * self.two_in_play(situation, a, b));
                }
            }
            return;
        }
        let latents = self.latents(number);
        let mut masses = vec![0.0; self.classes.len()];
        let mut pairs_with = |first: First<'_>, weight: f64, give: &mut dyn FnMut([Option<usize>; 2], f64)| {
            if latents.seen.is_empty() {
                return;
            }
            // No report can be more than certain, so what weighs less before it was given weighs less after it.
            self.weigh_beside(&latents, first, weight, least, &mut masses);
            for (b, mass) in masses.iter().enumerate().skip(first.from) {
                give([Some(first.class), Some(b)], *mass);
            }
        };
        match own {
            Some(own) => {
                for a in own {
                    let lamps = self.lamps_in_play(situation, a);
                    let bearing = Bearing { lamps: &lamps, looked: self.looked_with(situation, &[a]) };
                    let alone = self.with(situation, bearing.looked, bearing.lamps);
                    give([Some(a), None], told * self.classes[a].odds * alone);
                    pairs_with(First { class: a, latent: false, bearing, alone, from: 0 }, told, &mut give);
                }
            }
            None => {
                give([None, None], told * latents.unchanged);
                for (a, seen) in latents.seen.iter().enumerate() {
                    let share = self.of_class(latents.shares, a);
                    if share > 0.0 {
                        give([Some(a), None], told * self.classes[a].odds * seen);
                        pairs_with(self.first_latent(&latents, a), told * share, &mut give);
                    }
                }
            }
        }
    }

    /// The weight of a cause that is not in the file: its share of all calls before any evidence.
    pub fn unlisted(&self) -> f64 {
        self.routine.listed * self.doubt.unlisted / (1.0 - self.doubt.unlisted) * self.under_unknown()
    }

    /// The probability of the evidence under such a cause.
    fn under_unknown(&self) -> f64 {
        let complaint = self.complaint.map_or(1.0, |_| 0.25);
        let deeds = self.deeds.iter().sum::<f64>() / self.deeds.len() as f64;
        complaint * deeds * unlisted::seen(self.world, &[], self.moment, &self.routine.passing)
    }
}

/// Adds numbers to others one by one, and tells their sum.
fn add_up(to: &mut [f64], numbers: &[f64]) -> f64 {
    to.iter_mut().zip(numbers).for_each(|(sum, number)| *sum += number);
    // Several sums side by side need not wait for each other.
    let mut sums = [0.0; 8];
    let chunks = numbers.chunks_exact(sums.len());
    let rest: f64 = chunks.remainder().iter().sum();
    chunks.for_each(|chunk| sums.iter_mut().zip(chunk).for_each(|(sum, number)| *sum += number));
    sums.iter().sum::<f64>() + rest
}

/// Keeps the first, as many as together weigh this much; all if they don't.
pub(crate) fn keep_share<T>(heaviest_first: &mut Vec<T>, weight: impl Fn(&T) -> f64, wanted: f64) {
    let mut sum = 0.0;
    let enough = heaviest_first.iter().position(|one| {
        sum += weight(one);
        sum >= wanted
    });
    heaviest_first.truncate(enough.map_or(heaviest_first.len(), |last| last + 1));
}

fn note(best: &mut Option<(u32, f64, bool)>, record: u32, mass: f64, latent: bool) {
    if mass > 0.0 && best.is_none_or(|(_, known, _)| mass > known) {
        *best = Some((record, mass, latent));
    }
}
