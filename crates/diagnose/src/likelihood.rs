//! How likely a caller's report of the lamps is.
//!
//! A report can be wrong in two ways, and the likelihood is a mixture of both: each
//! lamp misread by itself, and the whole report slipped (two neighbouring lamps
//! taken for each other, a row read one lamp further, two rows exchanged). Every
//! slip is a permutation of the lamps, so each part of the mixture, and with it the
//! whole, sums to 1 over all reports about the lamps that were looked at.

use crate::evidence::{LampReport, LampState, Naming};
use crate::panel::{LampChange, LampTruth, Misreading, Panel, Truth};
use smallvec::SmallVec;

/// Of the misreadings of a steady lamp, how many say "flickers" rather than the opposite.
const SAYS_FLICKERS: f64 = 0.15;

/// How often a flickering lamp is called so, rather than lit or dark.
const SEEN_FLICKERING: f64 = 0.7;

/// Kinds of report: lit, dark, flickers, each of a lamp named by itself and of one among the rest.
const KINDS: usize = 6;

/// The kind of a lamp that nobody reported.
const SILENT: u8 = KINDS as u8;

/// What is left of a sum is added up anew if it is less than this share of it: most of its digits would be rounding.
const MOSTLY_ROUNDING: f64 = 1e-3;

const STATES: [LampState; 3] = [LampState::Lit, LampState::Dark, LampState::Flickers];

/// The probability of a report about one lamp.
#[inline]
pub(crate) fn lamp_likelihood(state: LampState, truth: Truth, error: f64) -> f64 {
    match truth {
        Truth::Steady(lit) => match (state, lit) {
            (LampState::Lit, true) | (LampState::Dark, false) => 1.0 - error,
            (LampState::Lit, false) | (LampState::Dark, true) => error * (1.0 - SAYS_FLICKERS),
            (LampState::Flickers, _) => error * SAYS_FLICKERS,
        },
        Truth::Varies(share, flickers) => {
            let seen = if flickers { SEEN_FLICKERING } else { 0.0 };
            let right = match state {
                LampState::Flickers => seen,
                LampState::Lit => (1.0 - seen) * share,
                LampState::Dark => (1.0 - seen) * (1.0 - share),
            };
            (1.0 - error) * right + error / 3.0
        }
    }
}

/// One part of the mixture: which lamps, after the slip, were reported how.
#[derive(Clone, Debug)]
struct Component {
    weight: f64,
    /// For each lamp, the kind of report, or [`SILENT`].
    kinds: Vec<u8>,
    /// The kinds that occur, each with its lamps as bits.
    masks: Vec<(usize, Vec<u64>)>,
}

/// A caller's report of the lamps, ready to be weighed against many situations.
#[derive(Clone, Debug)]
pub struct LampLikelihood {
    /// The first is the report taken as it stands, without a slip.
    components: Vec<Component>,
    /// By lamp, as bits: the components in which another report falls on it than in the first.
    slipped: Vec<Vec<u64>>,
    /// By lamp, and by component: the kind of report that falls on it.
    falls: Vec<Vec<u8>>,
    /// By lamp: whether any component has a report about it.
    reported: Vec<bool>,
    /// For each kind of report and each truth (dark, lit): powers of its probability.
    powers: Vec<[Vec<f64>; 2]>,
    errors: [f64; 2],
    /// By what a steady lamp shows.
    steady: [ByKind; 2],
    /// By what a steady lamp shows now and what it has shown.
    turned: [[ByKind; 2]; 2],
}

/// By kind of report, how probable it is, or by how much it gets more probable; of a lamp that nobody reported nothing
/// is said.
type ByKind = [f64; KINDS + 1];

/// How probable each kind of report is of a lamp.
#[inline]
fn likelihoods(errors: &[f64; 2], truth: Truth) -> ByKind {
    let likelihood = |kind: usize| lamp_likelihood(STATES[kind % 3], truth, errors[kind / 3]);
    std::array::from_fn(|kind| if kind == KINDS { 1.0 } else { likelihood(kind) })
}

#[inline]
fn ratios(now: &ByKind, was: &ByKind) -> ByKind {
    std::array::from_fn(|kind| now[kind] / was[kind])
}

/// A lamp that was reported and shows something else now.
struct Turned<'l> {
    /// By component: the kind of report that falls on it.
    falls: &'l [u8],
    /// As bits: the components in which another report falls on it than in the first.
    slipped: &'l [u64],
    /// By how much a report of each kind gets more probable.
    ratios: ByKind,
}

impl Turned<'_> {
    /// By how much the report gets more probable in a component.
    #[inline]
    fn ratio(&self, component: usize) -> f64 {
        self.ratios[usize::from(self.falls[component])]
    }
}

fn kind_of_report(report: &LampReport) -> u8 {
    let state = match report.state {
        LampState::Lit => 0,
        LampState::Dark => 1,
        LampState::Flickers => 2,
    };
    state + if report.naming == Naming::Rest { 3 } else { 0 }
}

impl LampLikelihood {
    /// Prepares a report. Reports about places where there is no lamp are left aside.
    #[must_use]
    pub fn new(panel: &Panel, reports: &[LampReport], misreading: &Misreading) -> Self {
        let placed: Vec<_> =
            reports.iter().filter_map(|report| Some((panel.number(report.place)?, kind_of_report(report)))).collect();
        let mut components: Vec<Component> = Vec::new();
        for (weight, order) in panel.slips(misreading) {
            let mut kinds = vec![SILENT; panel.len()];
            for (lamp, kind) in &placed {
                kinds[order[*lamp]] = *kind;
            }
            match components.iter_mut().find(|known| known.kinds == kinds) {
                Some(known) => known.weight += weight,
                None => components.push(Component { weight, masks: masks(&kinds), kinds }),
            }
        }
        let slipped = (0..panel.len())
            .map(|lamp| {
                let mut bits = vec![0; components.len().div_ceil(64)];
                for (index, component) in components.iter().enumerate() {
                    if component.kinds[lamp] != components[0].kinds[lamp] {
                        bits[index >> 6] |= 1 << (index & 63);
                    }
                }
                bits
            })
            .collect();
        let falls = |lamp: usize| components.iter().map(|one| one.kinds[lamp]).collect();
        let falls: Vec<Vec<u8>> = (0..panel.len()).map(falls).collect();
        let reported = falls.iter().map(|kinds| kinds.iter().any(|kind| *kind != SILENT)).collect();
        let errors = [misreading.named, misreading.rest];
        let powers = (0..KINDS)
            .map(|kind| {
                [false, true].map(|lit| {
                    let p = lamp_likelihood(STATES[kind % 3], Truth::Steady(lit), errors[kind / 3]);
                    let mut powers = vec![1.0];
                    for n in 0..panel.len() {
                        powers.push(powers[n] * p);
                    }
                    powers
                })
            })
            .collect();
        let steady = [false, true].map(|lit| likelihoods(&errors, Truth::Steady(lit)));
        let turned = steady.map(|now| steady.map(|was| ratios(&now, &was)));
        Self { components, slipped, falls, reported, powers, errors, steady, turned }
    }

    /// Whether what this lamp shows bears on the probability of the report.
    #[must_use]
    pub fn bears_on(&self, lamp: usize) -> bool {
        self.reported[lamp]
    }

    /// The probability of the report when the lamps really show this.
    #[must_use]
    pub fn of(&self, truth: &LampTruth) -> f64 {
        self.parts(truth).iter().sum()
    }

    /// The same by the parts of the mixture, whose sum it is; see [`LampLikelihood::changed`].
    #[must_use]
    pub fn parts(&self, truth: &LampTruth) -> Vec<f64> {
        self.components.iter().map(|component| component.weight * self.component(component, truth)).collect()
    }

    /// The probability of the report when these lamps show something else than in `truth`, whose
    /// parts and their sum are given. Costs a few factors for each lamp that was reported and each slip
    /// that bears on it, rather than a count of all lamps for all slips.
    #[must_use]
    pub fn changed<'c>(
        &self,
        truth: &LampTruth,
        parts: &[f64],
        sum: f64,
        changes: impl IntoIterator<Item = &'c LampChange>,
    ) -> f64 {
        let mut turned = self.reported(truth, changes);
        // Nearly always there is none or one, and no list of them is needed.
        match (turned.next(), turned.next()) {
            (None, _) => sum,
            (Some(one), None) => self.with_turned(parts, sum, &[one]),
            (Some(one), Some(two)) => {
                let mut all: SmallVec<[Turned<'_>; 8]> = SmallVec::from_iter([one, two]);
                all.extend(turned);
                self.with_turned(parts, sum, &all)
            }
        }
    }

    /// Of these lamps those that were reported.
    #[inline]
    fn reported<'c>(
        &self,
        truth: &LampTruth,
        changes: impl IntoIterator<Item = &'c LampChange>,
    ) -> impl Iterator<Item = Turned<'_>> {
        let reported = changes.into_iter().filter(|change| self.reported[change.lamp]);
        reported.map(|LampChange { lamp, truth: now }| Turned {
            falls: &self.falls[*lamp],
            slipped: &self.slipped[*lamp],
            ratios: self.turned_from(truth.of(*lamp), *now),
        })
    }

    #[inline]
    fn with_turned(&self, parts: &[f64], sum: f64, turned: &[Turned<'_>]) -> f64 {
        let ratio = |component: usize| -> f64 { turned.iter().map(|one| one.ratio(component)).product() };
        let mut apart = 0.0;
        let mut apart_changed = 0.0;
        for word in 0..self.components.len().div_ceil(64) {
            let mut bits = turned.iter().fold(0, |bits, one| bits | one.slipped[word]);
            while bits != 0 {
                let index = word * 64 + bits.trailing_zeros() as usize;
                bits &= bits - 1;
                apart += parts[index];
                apart_changed += parts[index] * ratio(index);
            }
        }
        let mut rest = sum - apart;
        if rest < MOSTLY_ROUNDING * sum {
            let slipped = |index: usize| turned.iter().any(|one| one.slipped[index >> 6] >> (index & 63) & 1 == 1);
            let straight = parts.iter().enumerate().filter(|(index, _)| !slipped(*index));
            rest = straight.map(|(_, part)| part).sum();
        }
        rest * ratio(0) + apart_changed
    }

    /// By part of the mixture: by how much the report gets more probable when these lamps show something else than in
    /// `truth`; see [`LampLikelihood::changed_both`].
    #[must_use]
    pub fn ratios(&self, truth: &LampTruth, changes: &[LampChange]) -> Vec<f64> {
        let mut ratios = vec![1.0; self.components.len()];
        for one in self.reported(truth, changes) {
            ratios.iter_mut().enumerate().for_each(|(component, ratio)| *ratio *= one.ratio(component));
        }
        ratios
    }

    /// The probability of the report when lamps of two lists show something else than in the truth whose parts are
    /// given. The lists have no lamp in common, and come as their ratios. Costs a product for each part.
    #[must_use]
    pub fn changed_both(parts: &[f64], one: &[f64], other: &[f64]) -> f64 {
        let ((parts, last), (one, one_last), (other, other_last)) =
            (parts.as_chunks::<4>(), one.as_chunks::<4>(), other.as_chunks::<4>());
        // Several sums side by side need not wait for each other.
        let mut sums = [0.0; 4];
        for ((parts, one), other) in parts.iter().zip(one).zip(other) {
            (0..4).for_each(|lane| sums[lane] += parts[lane] * (one[lane] * other[lane]));
        }
        let last = last.iter().zip(one_last).zip(other_last).map(|((part, one), other)| part * (one * other));
        sums.iter().sum::<f64>() + last.sum::<f64>()
    }

    /// By how much a report of each kind gets more probable when a lamp shows something else.
    #[inline]
    fn turned_from(&self, was: Truth, now: Truth) -> ByKind {
        let was = match (was, now) {
            (Truth::Steady(was), Truth::Steady(now)) => return self.turned[usize::from(now)][usize::from(was)],
            (Truth::Steady(was), _) => &self.steady[usize::from(was)],
            (Truth::Varies(..), _) => &likelihoods(&self.errors, was),
        };
        ratios(&likelihoods(&self.errors, now), was)
    }

    fn component(&self, component: &Component, truth: &LampTruth) -> f64 {
        let mut product = 1.0;
        for (kind, mask) in &component.masks {
            let mut lit = 0;
            let mut all = 0;
            for (reported, on) in mask.iter().zip(&truth.lit) {
                lit += (reported & on).count_ones() as usize;
                all += reported.count_ones() as usize;
            }
            for (lamp, share, flickers) in &truth.varies {
                if mask[lamp >> 6] >> (lamp & 63) & 1 == 1 {
                    all -= 1;
                    lit -= usize::from(truth.lit[lamp >> 6] >> (lamp & 63) & 1 == 1);
                    let error = self.errors[kind / 3];
                    product *= lamp_likelihood(STATES[kind % 3], Truth::Varies(*share, *flickers), error);
                }
            }
            product *= self.powers[*kind][1][lit] * self.powers[*kind][0][all - lit];
        }
        product
    }
}

fn masks(kinds: &[u8]) -> Vec<(usize, Vec<u64>)> {
    let mut masks = Vec::new();
    for kind in 0..KINDS {
        let mut mask = vec![0_u64; kinds.len().div_ceil(64)];
        for (lamp, _) in kinds.iter().enumerate().filter(|(_, one)| usize::from(**one) == kind) {
            mask[lamp >> 6] |= 1 << (lamp & 63);
        }
        if mask.iter().any(|word| *word != 0) {
            masks.push((kind, mask));
        }
    }
    masks
}

/// The probability of a report about one lamp, slips left aside; for asking which report is doubtful.
#[must_use]
pub fn single_lamp(panel: &Panel, report: &LampReport, truth: &LampTruth, misreading: &Misreading) -> f64 {
    let error = match report.naming {
        Naming::Named => misreading.named,
        Naming::Rest => misreading.rest,
    };
    panel.number(report.place).map_or(1.0, |lamp| lamp_likelihood(report.state, truth.of(lamp), error))
}
