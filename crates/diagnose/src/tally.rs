//! The weighing itself: every way in which the machine can stand, times the
//! probability of what was reported, summed by cause and by situation.
//!
//! Exact over all sets of up to two deviations. The sums run in a fixed order, so
//! the same evidence always gives the same digits. Cost: the number of situations
//! times the parts of the lamp likelihood, plus the number of records with fewer
//! than two deviations in play times the number of classes.

use crate::class::{Class, classes};
use crate::evidence::{CheckReport, Complaint, Deed, Evidence, Moment, PositionReport};
use crate::panel::{LampChange, LampLikelihood, LampTruth, Misreading, anything};
use crate::standing::Standing;
use crate::world::{RoutineWorld, World};
use machine::id::DeviationId;
use machine::model::Observable;
use rayon::prelude::*;
use sim::{Record, Situation, View};

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
    /// By two classes, the lower number first, row by row.
    pub pair: Vec<f64>,
    /// By situation.
    pub situations: Vec<f64>,
    /// By class: the record in which it weighs most, with that weight, and whether it is latent there.
    pub best: Vec<Option<(u32, f64, bool)>>,
    /// The unknown cause.
    pub unknown: f64,
}

impl Tally {
    /// The weight of two classes together.
    pub fn pair_at(&self, a: usize, b: usize) -> f64 {
        self.pair[a.min(b) * self.classes.len() + a.max(b)]
    }
}

/// Evidence about a single moment, compiled for one routine of one world.
pub(crate) struct Weigher<'w> {
    world: &'w World,
    routine: &'w RoutineWorld,
    doubt: &'w Doubt,
    complaint: Option<Complaint>,
    lamps: LampLikelihood,
    positions: &'w [PositionReport],
    checks: &'w [CheckReport],
    /// By stage: the probability of what was said to be the last thing done.
    deeds: Vec<f64>,
    pub classes: Vec<Class>,
    moment: &'w Moment,
}

impl<'w> Weigher<'w> {
    /// Compiles the first moment of the evidence.
    pub fn new(world: &'w World, routine: &'w RoutineWorld, evidence: &'w Evidence, doubt: &'w Doubt) -> Self {
        static SILENCE: Moment = Moment {
            deeds: Vec::new(),
            remedies: Vec::new(),
            lamps: Vec::new(),
            positions: Vec::new(),
            checks: Vec::new(),
        };
        let moment = evidence.moments.first().unwrap_or(&SILENCE);
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
        let classes = classes(&world.machine, &world.panel, &world.prior, behaviours, &observables, &remedies);
        Self {
            world,
            routine,
            doubt,
            complaint: evidence.complaint,
            lamps: LampLikelihood::new(&world.panel, &moment.lamps, &doubt.lamps),
            positions: &moment.positions,
            checks: &moment.checks,
            deeds,
            classes,
            moment,
        }
    }

    /// The probability of all that was seen, in this situation with these deviations there;
    /// `parts` are those of the lamp likelihood in the situation itself.
    fn seen(&self, situation: usize, parts: &[f64], set: &[(&Class, bool)]) -> f64 {
        let truth = &self.routine.truths[situation];
        let changes = lamp_changes(self.world, &self.routine.exploration.situations[situation], truth, set);
        let lamps = if changes.is_empty() { parts.iter().sum() } else { self.lamps.changed(truth, parts, &changes) };
        let classes: Vec<&Class> = set.iter().map(|(class, _)| *class).collect();
        lamps * self.looked_at(situation, &classes)
    }

    fn looked_at(&self, situation: usize, set: &[&Class]) -> f64 {
        let situation = &self.routine.exploration.situations[situation];
        looked_at(self.world, self.doubt, situation, set, self.positions, self.checks)
    }

    /// What a record weighs before anything was seen: its probability, the complaint, the last deed.
    fn told(&self, record: &Record, standing: Standing) -> f64 {
        let complaint = self.complaint.map_or(1.0, |complaint| standing.complains(complaint));
        record.weight * complaint * self.deeds.get(usize::from(record.stage)).copied().unwrap_or(0.0)
    }

    /// Goes through everything that can be the case, in a fixed order.
    pub fn each(&self, mut see: impl FnMut(Item)) {
        let exploration = &self.routine.exploration;
        let parts: Vec<Vec<f64>> = self.routine.truths.par_iter().map(|truth| self.lamps.parts(truth)).collect();
        let base: Vec<f64> =
            parts.iter().enumerate().map(|(situation, parts)| self.seen(situation, parts, &[])).collect();
        let mut by_behaviour = vec![Vec::new(); exploration.behaviours.len()];
        for (index, class) in self.classes.iter().enumerate() {
            by_behaviour[class.behaviour].push(index);
        }
        let count = self.classes.len();
        let together: Vec<f64> =
            (0..count * count).map(|at| self.classes[at / count].odds_with(&self.classes[at % count])).collect();
        let mut known = Known { weigher: self, parts: &parts, base: &base, cache: rustc_hash::FxHashMap::default() };

        for (number, (record, standing)) in exploration.records.iter().zip(&self.routine.standings).enumerate() {
            let told = self.told(record, *standing);
            if told <= 0.0 {
                continue;
            }
            let situation = record.situation as usize;
            let latent = record.latent.map(|row| exploration.latent[row as usize].as_slice());
            let mut give = |set: [Option<usize>; 2], mass: f64| {
                if mass > 0.0 {
                    see(Item { record: number as u32, set: set.map(|one| one.map(|class| class as u32)), mass });
                }
            };
            match (record.first, record.second) {
                (Some(first), Some(second)) => {
                    for a in &by_behaviour[first as usize] {
                        for b in &by_behaviour[second as usize] {
                            let odds = together[a * count + b];
                            give([Some(*a), Some(*b)], told * odds * known.two(situation, (*a, false), (*b, false)));
                        }
                    }
                }
                (Some(first), None) => {
                    let latent = latent.unwrap_or(&[]);
                    for a in &by_behaviour[first as usize] {
                        give([Some(*a), None], told * self.classes[*a].odds * known.one(situation, *a, false));
                        for (b, class) in self.classes.iter().enumerate() {
                            let share = latent.get(class.behaviour).copied().unwrap_or(0.0);
                            if share > 0.0 {
                                let odds = together[a * count + b] * share;
                                give([Some(*a), Some(b)], told * odds * known.two(situation, (*a, false), (b, true)));
                            }
                        }
                    }
                }
                _ => {
                    give([None, None], told * base[situation]);
                    let latent = latent.unwrap_or(&[]);
                    let share = |class: usize| latent.get(self.classes[class].behaviour).copied().unwrap_or(0.0);
                    for a in (0..count).filter(|a| share(*a) > 0.0) {
                        let odds = self.classes[a].odds * share(a);
                        give([Some(a), None], told * odds * known.one(situation, a, true));
                        for b in a..count {
                            let twice = if a == b { 2.0 } else { 1.0 };
                            let odds = together[a * count + b] * share(a) * share(b) / twice;
                            if odds > 0.0 {
                                give([Some(a), Some(b)], told * odds * known.two(situation, (a, true), (b, true)));
                            }
                        }
                    }
                }
            }
        }
    }

    /// Sums everything up. `listed` is the weight of all calls before any evidence, of which
    /// the unknown cause gets its share.
    pub fn tally(&self, listed: f64) -> Tally {
        let count = self.classes.len();
        let mut tally = Tally {
            single: vec![0.0; count],
            pair: vec![0.0; count * count],
            situations: vec![0.0; self.routine.exploration.situations.len()],
            best: vec![None; count],
            ..Tally::default()
        };
        self.each(|item| {
            tally.total += item.mass;
            let record = &self.routine.exploration.records[item.record as usize];
            tally.situations[record.situation as usize] += item.mass;
            match item.set {
                [Some(a), Some(b)] => tally.pair[a.min(b) as usize * count + a.max(b) as usize] += item.mass,
                [Some(a), None] | [None, Some(a)] => tally.single[a as usize] += item.mass,
                [None, None] => tally.nothing += item.mass,
            }
            let in_play = usize::from(record.first.is_some()) + usize::from(record.second.is_some());
            for (place, class) in item.set.into_iter().flatten().enumerate() {
                let best = &mut tally.best[class as usize];
                if best.is_none_or(|(_, mass, _)| item.mass > mass) {
                    *best = Some((item.record, item.mass, place >= in_play));
                }
            }
        });
        tally.unknown = listed * self.doubt.unlisted / (1.0 - self.doubt.unlisted) * self.under_unknown();
        tally.classes.clone_from(&self.classes);
        tally
    }

    /// The probability of the evidence under a cause that is not in the file.
    pub fn under_unknown(&self) -> f64 {
        let complaint = self.complaint.map_or(1.0, |_| 0.25);
        let deeds = self.deeds.iter().sum::<f64>() / self.deeds.len() as f64;
        let lamps = anything(&self.world.panel, &self.moment.lamps, &self.routine.passing);
        complaint * deeds * lamps * anything_else(self.world, self.moment)
    }
}

/// Positions and answers under an unknown cause: any as likely as any other.
pub(crate) fn anything_else(world: &World, moment: &Moment) -> f64 {
    let positions: f64 = moment
        .positions
        .iter()
        .filter_map(|report| world.machine.mechanisms.get(report.mechanism))
        .map(|mechanism| 1.0 / (mechanism.positions.len() + 1) as f64)
        .product();
    let checks: f64 = moment
        .checks
        .iter()
        .filter_map(|report| world.machine.checks.get(report.check))
        .map(|check| 1.0 / check.answers.len().max(1) as f64)
        .product();
    positions * checks
}

/// A member of each class to reckon with. Members of a class bear alike on the evidence, but only
/// where they can be there together with those of the other.
fn representatives(world: &World, set: &[&Class]) -> Vec<DeviationId> {
    if let [a, b] = set {
        let pairs = a.members.iter().flat_map(|a| b.members.iter().map(move |b| (*a, *b)));
        let together = |(a, b): &(DeviationId, DeviationId)| world.prior.group(*a) != world.prior.group(*b);
        if let Some((a, b)) = pairs.clone().find(together) {
            return vec![a, b];
        }
    }
    set.iter().map(|class| class.representative()).collect()
}

/// The probability of what was said of positions and answered to checks.
pub(crate) fn looked_at(
    world: &World,
    doubt: &Doubt,
    situation: &Situation,
    set: &[&Class],
    positions: &[PositionReport],
    checks: &[CheckReport],
) -> f64 {
    if positions.is_empty() && checks.is_empty() {
        return 1.0;
    }
    let deviations = representatives(world, set);
    let view = View::new(&world.machine, &world.plant, situation, &deviations);
    let mut product = 1.0;
    for report in positions {
        let shares = view.answers(&Observable::Position(report.mechanism));
        let said = report.position.map_or(shares.len() - 1, usize::from);
        product *= reported(&shares, said, doubt.position);
    }
    for report in checks {
        let Some(check) = world.machine.checks.get(report.check) else { continue };
        product *= reported(&view.answers(&check.observes), report.answer, check.error);
    }
    product
}

/// The probability of an answer, when each has a share of the truth and errors go evenly to the others.
fn reported(shares: &[f64], said: usize, error: f64) -> f64 {
    let others = (shares.len() - 1).max(1) as f64;
    let right = shares.get(said).copied().unwrap_or(0.0);
    right * (1.0 - error) + (1.0 - right) * error / others
}

/// The lamps that show something else than the situation says, with these deviations there.
/// Each comes with whether it is latent.
pub(crate) fn lamp_changes(
    world: &World,
    situation: &Situation,
    truth: &LampTruth,
    set: &[(&Class, bool)],
) -> Vec<LampChange> {
    let mut lamps: Vec<usize> = set
        .iter()
        .filter(|(class, latent)| class.changes_lamps(*latent))
        .flat_map(|(class, _)| class.lamps.iter().copied())
        .collect();
    if lamps.is_empty() {
        return Vec::new();
    }
    lamps.sort_unstable();
    lamps.dedup();
    let classes: Vec<&Class> = set.iter().map(|(class, _)| *class).collect();
    let deviations = representatives(world, &classes);
    let view = View::new(&world.machine, &world.plant, situation, &deviations);
    let error = set.iter().any(|(class, _)| class.error_lamp);
    world.panel.changes(&view, truth, &lamps, error)
}

/// Probabilities of what was seen, worked out once for each situation and class.
struct Known<'k, 'w> {
    weigher: &'k Weigher<'w>,
    parts: &'k [Vec<f64>],
    base: &'k [f64],
    cache: rustc_hash::FxHashMap<(usize, usize, bool), f64>,
}

impl Known<'_, '_> {
    /// Whether a class can change what is seen in a situation.
    fn plain(&self, class: usize, latent: bool) -> bool {
        let class = &self.weigher.classes[class];
        !class.touches_checks && !class.changes_lamps(latent)
    }

    fn one(&mut self, situation: usize, class: usize, latent: bool) -> f64 {
        if self.plain(class, latent) {
            return self.base[situation];
        }
        let (weigher, parts) = (self.weigher, &self.parts[situation]);
        let it = &weigher.classes[class];
        if it.only_darkens && !it.touches_checks && weigher.routine.truths[situation].all_dark(&it.lamps) {
            return self.base[situation];
        }
        *self
            .cache
            .entry((situation, class, latent))
            .or_insert_with(|| weigher.seen(situation, parts, &[(&weigher.classes[class], latent)]))
    }

    fn two(&mut self, situation: usize, a: (usize, bool), b: (usize, bool)) -> f64 {
        let classes = &self.weigher.classes;
        // A fault that has darkened a lamp by coming into play keeps it dark, whatever else befalls that lamp.
        let apart = classes[a.0].lamps.iter().all(|lamp| !classes[b.0].lamps.contains(lamp));
        let (a_plain, b_plain) = (self.plain(a.0, a.1), self.plain(b.0, b.1));
        if a_plain && (apart || b_plain) {
            return self.one(situation, b.0, b.1);
        }
        if b_plain && apart {
            return self.one(situation, a.0, a.1);
        }
        self.weigher.seen(situation, &self.parts[situation], &[(&classes[a.0], a.1), (&classes[b.0], b.1)])
    }
}
