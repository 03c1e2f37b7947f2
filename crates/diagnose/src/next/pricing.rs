//! What repairs cost, worked out for many thousand beliefs about one problem.
//!
//! The cost depends only on how much weight there is on the cases that need the same. So the cases are put in the
//! order of their needs once, and a belief is priced from one sum for each need.

use super::problem::{Needs, Problem, is_met};
use rustc_hash::FxHashMap;
use std::ops::Range;

/// The cases of a problem by what they need.
#[derive(Clone, Debug, Default)]
pub(crate) struct Groups {
    /// The cases in the order of their groups, and where each group ends.
    cases: Vec<u32>,
    ends: Vec<u32>,
    needs: Vec<Need>,
    /// What [`Need::Other`] stands for.
    others: Vec<Needs>,
}

/// What a group needs.
#[derive(Clone, Copy, Debug)]
enum Need {
    /// This repair.
    One(u16),
    /// Both of these.
    Both(u16, u16),
    /// Anything else, the last resort among it; by number.
    Other(u32),
}

/// Memory for pricing.
#[derive(Debug, Default)]
pub(crate) struct Scratch {
    /// By group, the weight of its cases; set before the price is asked for.
    pub sums: Vec<f64>,
    /// The groups that are looked at one by one.
    heavy: Vec<u32>,
    score: Vec<f64>,
    worth: Vec<f64>,
    order: Vec<u64>,
    after_visit: Vec<u64>,
    rank: Vec<u32>,
    elapsed: Vec<f64>,
}

impl Scratch {
    /// The order in which the repairs were last priced.
    pub fn order(&self) -> impl Iterator<Item = usize> {
        self.order.iter().map(|key| repair_of(*key))
    }
}

/// A repair with what it is worth, so that the smallest of such numbers is that of the best repair.
fn key_of(repair: usize, worth: f64) -> u64 {
    // The bits of positive numbers are in their order. The 16 lowest make room for the repair: differences beyond
    // the eleventh digit don't count, and those alike stay in the order of the file.
    (!worth.to_bits() & !0xFFFF) | repair as u64
}

fn repair_of(key: u64) -> usize {
    (key & 0xFFFF) as usize
}

impl Groups {
    pub fn new(problem: &Problem) -> Self {
        let mut known: FxHashMap<&Needs, usize> = FxHashMap::default();
        let mut members: Vec<Vec<u32>> = Vec::new();
        let mut groups = Self::default();
        for (case, needs) in problem.needs.iter().enumerate() {
            let group = *known.entry(needs).or_insert_with(|| {
                members.push(Vec::new());
                groups.needs.push(match needs.as_slice() {
                    [one] if one.len() == 1 => Need::One(one[0]),
                    [one, other] if one.len() == 1 && other.len() == 1 => Need::Both(one[0], other[0]),
                    _ => {
                        groups.others.push(needs.clone());
                        Need::Other(groups.others.len() as u32 - 1)
                    }
                });
                members.len() - 1
            });
            members[group].push(case as u32);
        }
        for group in members {
            groups.cases.extend(group);
            groups.ends.push(groups.cases.len() as u32);
        }
        groups
    }

    /// The cases in the order of their groups.
    pub fn cases(&self) -> impl Iterator<Item = usize> {
        self.cases.iter().map(|case| *case as usize)
    }

    /// By group, where its cases are in that order.
    pub fn runs(&self) -> impl Iterator<Item = Range<usize>> {
        let starts = std::iter::once(0).chain(self.ends.iter().map(|end| *end as usize));
        starts.zip(&self.ends).map(|(start, end)| start..*end as usize)
    }

    /// By group: by what its weight shrinks when a repair is tried in vain after others.
    pub fn left_after(&self, problem: &Problem, tried: &[bool], repair: usize, left: &mut Vec<f64>) {
        let mut after = tried.to_vec();
        after[repair] = true;
        let of = |needs: &Needs| problem.still_there(needs, &after) / problem.still_there(needs, tried);
        let concerned = |one: u16| usize::from(one) == repair;
        let single = |one: u16| std::iter::once(one).collect();
        left.clear();
        left.extend(self.needs.iter().map(|need| match *need {
            Need::One(one) if concerned(one) => of(&std::iter::once(single(one)).collect()),
            Need::Both(one, other) if concerned(one) || concerned(other) => {
                of(&[single(one), single(other)].into_iter().collect())
            }
            Need::One(_) | Need::Both(..) => 1.0,
            Need::Other(number) => of(&self.others[number as usize]),
        }));
    }

    /// Minutes times weight as in [`Problem::by_repairs`], for the weights in [`Scratch::sums`]. Groups that weigh less
    /// than this share of the whole are left to the last resort.
    ///
    /// Cost: the groups, plus sorting the repairs that the heavy ones need.
    pub fn repair_cost(
        &self,
        problem: &Problem,
        tried: &[bool],
        on_site: bool,
        least: f64,
        scratch: &mut Scratch,
    ) -> f64 {
        let Scratch { sums, heavy, score, worth, order, after_visit, rank, elapsed } = scratch;
        let repairs = &problem.repairs[..];
        let total: f64 = sums.iter().sum();
        let least = least * total;
        heavy.clear();
        heavy.extend((0..sums.len() as u32).filter(|group| sums[*group as usize] > least));
        self.score(problem, tried, (heavy, sums), score);
        worth.resize(repairs.len(), 0.0);
        order.clear();
        for (repair, score) in score.iter().enumerate().filter(|(repair, score)| **score > 0.0 && !tried[*repair]) {
            worth[repair] = score / repairs[repair].minutes.max(1e-9);
            order.push(key_of(repair, worth[repair]));
        }
        order.sort_unstable();
        if !on_site {
            // The visit is worth as much as the best beginning of what can be done after it.
            let (mut probability, mut minutes, mut visit_worth) = (0.0, problem.visit.max(1e-9), 0.0_f64);
            for repair in order.iter().map(|key| repair_of(*key)).filter(|repair| repairs[*repair].on_site) {
                probability += score[repair];
                minutes += repairs[repair].minutes;
                visit_worth = visit_worth.max(probability / minutes);
            }
            let first = |repair: usize| !repairs[repair].on_site && worth[repair] >= visit_worth;
            after_visit.clear();
            after_visit.extend(order.iter().filter(|key| !first(repair_of(**key))));
            order.retain(|key| first(repair_of(*key)));
            order.extend_from_slice(after_visit);
        }
        // The order with the time at which each repair is done; given up where the last resort is better: up to where
        // going on costs less than the last resort at once.
        rank.clear();
        rank.resize(repairs.len(), u32::MAX);
        elapsed.clear();
        let (mut now, mut left, mut there) = (0.0, total, on_site);
        let (mut end, mut least, mut spent) = (0, total * problem.last_resort, 0.0);
        for (place, repair) in order.iter().map(|key| repair_of(*key)).enumerate() {
            let it = &repairs[repair];
            now += problem.price(it.minutes, it.on_site, there);
            there |= it.on_site;
            rank[repair] = place as u32;
            elapsed.push(now);
            spent += score[repair] * now;
            left -= score[repair];
            let cost = spent + left.max(0.0) * (now + problem.last_resort);
            if cost < least {
                (end, least) = (place + 1, cost);
            }
        }
        order.truncate(end);
        let in_the_end = end.checked_sub(1).map_or(0.0, |last| elapsed[last]) + problem.last_resort;
        let within = |place: u32| (place as usize) < end;
        let mut cost = 0.0;
        let mut light = total;
        for group in &*heavy {
            let weight = sums[*group as usize];
            light -= weight;
            let (last, helps) = match self.needs[*group as usize] {
                Need::One(one) => (rank[usize::from(one)], 1.0 - repairs[usize::from(one)].fails),
                Need::Both(one, other) if !tried[usize::from(one)] && !tried[usize::from(other)] => {
                    let (one, other) = (usize::from(one), usize::from(other));
                    (rank[one].max(rank[other]), (1.0 - repairs[one].fails) * (1.0 - repairs[other].fails))
                }
                Need::Both(one, other) => {
                    let needs = [&[one][..], &[other][..]];
                    last_of(problem, needs.into_iter(), tried, rank)
                }
                Need::Other(number) => {
                    last_of(problem, self.others[number as usize].iter().map(|need| &need[..]), tried, rank)
                }
            };
            cost += weight
                * if within(last) { helps * elapsed[last as usize] + (1.0 - helps) * in_the_end } else { in_the_end };
        }
        cost + light.max(0.0) * in_the_end
    }

    /// By repair, the weight of what it would put right. A case that needs several is shared among them.
    fn score(&self, problem: &Problem, tried: &[bool], (heavy, sums): (&[u32], &[f64]), score: &mut Vec<f64>) {
        score.clear();
        score.resize(problem.repairs.len(), 0.0);
        let mut give = |repair: u16, weight: f64| score[usize::from(repair)] += weight;
        for group in heavy {
            let weight = sums[*group as usize];
            match self.needs[*group as usize] {
                // What was tried is left out of the order afterwards.
                Need::One(one) => give(one, weight),
                Need::Both(one, other) => {
                    let share = if tried[usize::from(one)] || tried[usize::from(other)] { 1.0 } else { 0.5 };
                    give(one, weight * share);
                    give(other, weight * share);
                }
                Need::Other(number) => {
                    let open = || self.others[number as usize].iter().filter(|need| !is_met(need, tried));
                    let count = open().count();
                    open().flatten().for_each(|repair| give(*repair, weight / count as f64));
                }
            }
        }
    }
}

/// The place in the order at which the last of several needs is met, and the probability that all help; a place beyond
/// all if one can't be met or none is open.
fn last_of<'n>(problem: &Problem, needs: impl Iterator<Item = &'n [u16]>, tried: &[bool], rank: &[u32]) -> (u32, f64) {
    let (mut last, mut helps, mut open) = (0, 1.0, false);
    for need in needs {
        if is_met(need, tried) {
            helps *= 1.0 - problem.in_vain(need, tried);
            continue;
        }
        open = true;
        let first = need.iter().map(|repair| usize::from(*repair)).min_by_key(|repair| rank[*repair]);
        helps *= 1.0 - first.map_or(0.0, |repair| problem.repairs[repair].fails);
        last = last.max(first.map_or(u32::MAX, |repair| rank[repair]));
    }
    (if open { last } else { u32::MAX }, helps)
}
