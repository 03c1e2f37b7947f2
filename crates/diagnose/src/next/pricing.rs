//! What repairs cost, worked out for many thousand beliefs about one problem.
//!
//! The cost depends only on how much weight there is on the cases that need the same. So the cases are put in the
//! order of their needs once, and a belief is priced from one sum for each need.

use super::problem::{Needs, Problem, is_met};
use rustc_hash::FxHashMap;
use std::ops::Range;

/// The cases of a problem by what they need: first those that need one repair, then those that need two, then all
/// others, the last resort among them.
#[derive(Clone, Debug, Default)]
pub(crate) struct Groups {
    /// The cases in the order of their groups, and where each group ends.
    cases: Vec<u32>,
    ends: Vec<u32>,
    single: Vec<u16>,
    double: Vec<Double>,
    others: Vec<Needs>,
}

/// A group that needs both of two repairs.
#[derive(Clone, Copy, Debug)]
struct Double {
    repairs: [u16; 2],
    /// Probability that both help.
    helps: f64,
}

/// Memory for pricing.
#[derive(Debug, Default)]
pub(crate) struct Scratch {
    /// By group, the weight of its cases; set before the price is asked for.
    pub sums: Vec<f64>,
    score: Vec<f64>,
    worth: Vec<f64>,
    order: Vec<u64>,
    after_visit: Vec<u64>,
    elapsed: Vec<f64>,
    gain: Vec<f64>,
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

/// The gain of what was tried already.
const TRIED: f64 = f64::INFINITY;

impl Groups {
    pub fn new(problem: &Problem) -> Self {
        let mut known: FxHashMap<&Needs, usize> = FxHashMap::default();
        let mut members: Vec<(&Needs, Vec<u32>)> = Vec::new();
        for (case, needs) in problem.needs.iter().enumerate() {
            let group = *known.entry(needs).or_insert_with(|| {
                members.push((needs, Vec::new()));
                members.len() - 1
            });
            members[group].1.push(case as u32);
        }
        let mut groups = Self::default();
        let single = |needs: &Needs| matches!(needs.as_slice(), [one] if one.len() == 1);
        let double = |needs: &Needs| matches!(needs.as_slice(), [a, b] if a.len() == 1 && b.len() == 1);
        members.sort_by_key(|(needs, _)| if single(needs) { 0 } else { 1 + u8::from(!double(needs)) });
        for (needs, cases) in members {
            match needs.as_slice() {
                [one] if single(needs) => groups.single.push(one[0]),
                [one, other] if double(needs) => {
                    let helps = |repair: u16| 1.0 - problem.repairs[usize::from(repair)].fails;
                    let repairs = [one[0], other[0]];
                    groups.double.push(Double { repairs, helps: repairs.map(helps).iter().product() });
                }
                _ => groups.others.push(needs.clone()),
            }
            groups.cases.extend(cases);
            groups.ends.push(groups.cases.len() as u32);
        }
        groups
    }

    /// The groups of these cases only, which are places in the order of the groups, rising.
    pub fn only(&self, places: &[usize]) -> Self {
        let mut groups = Self { cases: places.iter().map(|place| self.cases[*place]).collect(), ..Self::default() };
        let mut begin = 0;
        for (number, end) in self.ends.iter().enumerate() {
            let end = begin + places[begin..].partition_point(|place| *place < *end as usize);
            if end == begin {
                continue;
            }
            let double = number.wrapping_sub(self.single.len());
            if let Some(single) = self.single.get(number) {
                groups.single.push(*single);
            } else if let Some(double) = self.double.get(double) {
                groups.double.push(*double);
            } else {
                groups.others.extend(self.others.get(double - self.double.len()).cloned());
            }
            groups.ends.push(end as u32);
            begin = end;
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
        let only = |one: u16| std::iter::once(one).collect();
        let concerned = |repairs: &[u16]| repairs.iter().any(|one| usize::from(*one) == repair);
        let simple = |repairs: &[u16]| {
            if concerned(repairs) { of(&repairs.iter().map(|one| only(*one)).collect()) } else { 1.0 }
        };
        left.clear();
        left.extend(self.single.iter().map(|one| simple(&[*one])));
        left.extend(self.double.iter().map(|double| simple(&double.repairs)));
        left.extend(self.others.iter().map(of));
    }

    /// The weights in [`Scratch::sums`] by kind of group.
    fn by_kind<'s>(&self, sums: &'s [f64]) -> (&'s [f64], &'s [f64], &'s [f64]) {
        let (single, more) = sums.split_at(self.single.len());
        let (double, others) = more.split_at(self.double.len());
        (single, double, others)
    }

    /// Minutes times weight as in [`Problem::by_repairs`], for the weights in [`Scratch::sums`].
    ///
    /// Cost: the groups, plus sorting the repairs that can be worth more than the last resort.
    pub fn repair_cost(&self, problem: &Problem, tried: &[bool], on_site: bool, scratch: &mut Scratch) -> f64 {
        let repairs = &problem.repairs[..];
        self.score(problem, tried, scratch);
        let Scratch { sums, score, worth, order, after_visit, elapsed, gain } = scratch;
        let total: f64 = sums.iter().sum();
        let open = |(repair, score): &(usize, &f64)| **score > 0.0 && !tried[*repair];
        // One more repair pays if what it puts right outweighs its minutes for all who are not helped before it, and
        // whom no repair helps are among these wherever it stands in the order.
        let helped: f64 = score.iter().enumerate().filter(open).map(|(_, score)| score).sum();
        let least = (total - helped) / (problem.last_resort + problem.again) * (1.0 - 1e-9);
        worth.resize(repairs.len(), 0.0);
        order.clear();
        for (repair, score) in score.iter().enumerate().filter(open) {
            worth[repair] = score / (repairs[repair].minutes + problem.again).max(1e-9);
            if worth[repair] >= least {
                order.push(key_of(repair, worth[repair]));
            }
        }
        order.sort_unstable();
        if !on_site {
            // The visit is worth as much as the best beginning of what can be done after it.
            let (mut probability, mut minutes, mut visit_worth) = (0.0, problem.visit.max(1e-9), 0.0_f64);
            for repair in order.iter().map(|key| repair_of(*key)).filter(|repair| repairs[*repair].on_site) {
                probability += score[repair];
                minutes += repairs[repair].minutes + problem.again;
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
        elapsed.clear();
        let (mut now, mut left, mut there) = (0.0, total, on_site);
        let (mut end, mut least, mut spent) = (0, total * problem.last_resort, 0.0);
        for (place, repair) in order.iter().map(|key| repair_of(*key)).enumerate() {
            let it = &repairs[repair];
            now += problem.price(it.minutes, it.on_site, there);
            there |= it.on_site;
            elapsed.push(now);
            spent += score[repair] * now;
            left -= score[repair];
            // Whom it has not helped looks again.
            now += problem.again;
            let cost = spent + left.max(0.0) * (now + problem.last_resort);
            if cost < least {
                (end, least) = (place + 1, cost);
            }
        }
        order.truncate(end);
        let in_the_end = end.checked_sub(1).map_or(0.0, |last| elapsed[last] + problem.again) + problem.last_resort;
        gain.clear();
        gain.extend(tried.iter().map(|tried| if *tried { TRIED } else { 0.0 }));
        for (key, elapsed) in order.iter().zip(&*elapsed) {
            gain[repair_of(*key)] = in_the_end - elapsed;
        }
        total * in_the_end - self.gained(problem, tried, sums, gain)
    }

    /// Minutes times weight that the repairs gain against the last resort, from the minutes that each of them gains.
    fn gained(&self, problem: &Problem, tried: &[bool], sums: &[f64], gain: &[f64]) -> f64 {
        let (single, double, others) = self.by_kind(sums);
        let of = |repair: u16| gain[usize::from(repair)];
        // A case of which all was put right in vain gains nothing any more.
        let open = |gain: f64| if gain < TRIED { gain } else { 0.0 };
        let one =
            self.single.iter().zip(single).map(|(repair, weight)| {
                weight * open(of(*repair)) * (1.0 - problem.repairs[usize::from(*repair)].fails)
            });
        let both = self.double.iter().zip(double).map(|(Double { repairs: [one, other], helps }, weight)| {
            let (one, other) = (of(*one), of(*other));
            weight * open(if one < other { one } else { other }) * helps
        });
        let other = self.others.iter().zip(others).map(|(needs, weight)| {
            let mut least = TRIED;
            let mut helps = 1.0;
            for need in needs {
                if is_met(need, tried) {
                    helps *= 1.0 - problem.in_vain(need, tried);
                } else {
                    let soonest = need.iter().copied().max_by(|a, b| of(*a).total_cmp(&of(*b)));
                    helps *= 1.0 - soonest.map_or(0.0, |repair| problem.repairs[usize::from(repair)].fails);
                    least = least.min(soonest.map_or(0.0, of));
                }
            }
            weight * open(least) * helps
        });
        one.sum::<f64>() + both.sum::<f64>() + other.sum::<f64>()
    }

    /// By repair, the weight of what it would put right. A case that needs several is shared among them.
    fn score(&self, problem: &Problem, tried: &[bool], scratch: &mut Scratch) {
        let Scratch { sums, score, .. } = scratch;
        let (single, double, others) = self.by_kind(sums);
        score.clear();
        score.resize(problem.repairs.len(), 0.0);
        let mut give = |repair: u16, weight: f64| score[usize::from(repair)] += weight;
        // What was tried is left out of the order afterwards.
        self.single.iter().zip(single).for_each(|(repair, weight)| give(*repair, *weight));
        for (Double { repairs: [one, other], .. }, weight) in self.double.iter().zip(double) {
            let share = if tried[usize::from(*one)] || tried[usize::from(*other)] { 1.0 } else { 0.5 };
            give(*one, weight * share);
            give(*other, weight * share);
        }
        for (needs, weight) in self.others.iter().zip(others) {
            let open = || needs.iter().filter(|need| !is_met(need, tried));
            let count = open().count();
            open().flatten().for_each(|repair| give(*repair, weight / count as f64));
        }
    }
}
