//! The integral over what is not known: the shapes by a sum over their grid, `φ` by a sum over an even grid of its
//! logarithm (for a smooth function that falls off at both ends such a sum is exact to many digits).

use super::{Estimate, KIN, Shapes, TRUST};
use crate::statistics::{gamma_below, log_gamma};

/// Widest and narrowest step of the logarithm of φ. The gamma distributions that are summed are as narrow as 1/√27 there,
/// by the largest of [`KIN`].
const WIDEST: f64 = 0.15;
const NARROWEST: f64 = 0.01;
/// Points whose logarithm is so far below the greatest are left out.
const FAR: f64 = 25.0;
/// Parts of a mixture lighter than this are left out; all of them together weigh less than 1e-6.
const LIGHT: f64 = 1e-10;

/// Findings and expected findings of one fault, by machine type.
#[derive(Clone, Debug)]
pub(super) struct Fault {
    rows: Vec<(f64, f64)>,
}

impl Fault {
    pub fn new(rows: impl Iterator<Item = (f64, f64)>) -> Self {
        Self { rows: rows.collect() }
    }

    /// Logarithm of the joint density of `ln φ` and the counts, save for what depends on the counts alone.
    fn log_density(&self, log_phi: f64, trust: f64, kin: f64, constant: f64) -> f64 {
        let phi = libm::exp(log_phi);
        // Gamma with shape and rate `trust`, of the logarithm.
        let mut sum = trust * log_phi - trust * phi + constant;
        for (found, expected) in &self.rows {
            // Negative binomial: kin·ln(kin/(kin+mean)) + found·ln(mean/(kin+mean)), what is constant left out.
            sum += found * log_phi - (kin + found) * libm::log(kin + phi * expected);
        }
        sum
    }

    /// What the density has beside φ.
    fn constant(&self, trust: f64, kin: f64) -> f64 {
        let row = |(found, expected): &(f64, f64)| {
            log_gamma(kin + found) - log_gamma(kin) + found * libm::log(*expected) + kin * libm::log(kin)
        };
        trust * libm::log(trust) - log_gamma(trust) + self.rows.iter().map(row).sum::<f64>()
    }

    /// The grid of `ln φ` for this pair of shapes: points with the logarithms of their weights.
    fn grid(&self, trust: f64, kin: f64) -> Vec<(f64, f64)> {
        let constant = self.constant(trust, kin);
        let density = |at: f64| self.log_density(at, trust, kin, constant);
        // The density has one top: climb, then halve.
        let (mut top, mut step) = (0.0, 1.0);
        let mut highest = density(top);
        while step > 1e-3 {
            let (left, right) = (density(top - step), density(top + step));
            if left > highest {
                (top, highest) = (top - step, left);
            } else if right > highest {
                (top, highest) = (top + step, right);
            } else {
                step /= 2.0;
            }
        }
        let bend = 1e-2;
        let curvature = (2.0 * highest - density(top - bend) - density(top + bend)) / (bend * bend);
        let width = if curvature > 0.0 { 1.0 / curvature.sqrt() } else { 1.0 };
        let step = (width / 1.5).clamp(NARROWEST, WIDEST);
        let mut points = vec![(top, highest + libm::log(step))];
        for direction in [-1.0, 1.0] {
            let mut at = top;
            loop {
                at += direction * step;
                let here = density(at);
                if here.is_nan() || here < highest - FAR || at.abs() > 60.0 {
                    break;
                }
                points.push((at, here + libm::log(step)));
            }
        }
        points
    }
}

/// The weights of the pairs of shapes after all that was counted.
#[derive(Clone, Debug)]
pub(super) struct Posterior {
    shapes: Vec<Shapes>,
}

impl Posterior {
    pub fn new<'f>(faults: impl IntoIterator<Item = &'f Fault> + Clone) -> Self {
        let mut pairs: Vec<(f64, f64, f64)> = Vec::new();
        for trust in TRUST {
            for kin in KIN {
                let log: f64 = faults.clone().into_iter().map(|fault| log_sum(&fault.grid(trust, kin))).sum();
                pairs.push((trust, kin, log));
            }
        }
        let highest = pairs.iter().map(|(.., log)| *log).fold(f64::NEG_INFINITY, f64::max);
        let sum: f64 = pairs.iter().map(|(.., log)| libm::exp(log - highest)).sum();
        let shapes = pairs
            .into_iter()
            .map(|(trust, kin, log)| Shapes { trust, kin, weight: libm::exp(log - highest) / sum })
            .collect();
        Self { shapes }
    }

    pub fn shapes(&self) -> impl Iterator<Item = Shapes> + '_ {
        self.shapes.iter().copied()
    }

    /// What is known of one fault: all pairs of shapes with all points of φ, each with its weight.
    pub fn of(&self, fault: &Fault) -> Mixed {
        let mut parts = Vec::new();
        for shapes in self.shapes.iter().filter(|shapes| shapes.weight > LIGHT) {
            let grid = fault.grid(shapes.trust, shapes.kin);
            let sum = log_sum(&grid);
            for (log_phi, log) in grid {
                let weight = shapes.weight * libm::exp(log - sum);
                if weight > LIGHT {
                    parts.push((weight, libm::exp(log_phi), shapes.kin));
                }
            }
        }
        Mixed { parts, rows: fault.rows.clone() }
    }
}

fn log_sum(points: &[(f64, f64)]) -> f64 {
    let highest = points.iter().map(|(_, log)| *log).fold(f64::NEG_INFINITY, f64::max);
    let sum: f64 = points.iter().map(|(_, log)| libm::exp(log - highest)).sum();
    highest + libm::log(sum)
}

/// What is known of one fault.
#[derive(Clone, Debug)]
pub(super) struct Mixed {
    /// Weight, φ and `kin`.
    parts: Vec<(f64, f64, f64)>,
    rows: Vec<(f64, f64)>,
}

impl Mixed {
    /// The factor on the machine type in this row.
    pub fn of_type(&self, row: usize) -> Mixture {
        let (found, expected) = self.rows.get(row).copied().unwrap_or_default();
        Mixture {
            parts: self.parts.iter().map(|(weight, phi, kin)| (*weight, kin + found, kin / phi + expected)).collect(),
        }
    }

    /// The factor on a machine type of which nothing was counted.
    pub fn of_a_new_type(&self) -> Mixture {
        Mixture { parts: self.parts.iter().map(|(weight, phi, kin)| (*weight, *kin, kin / phi)).collect() }
    }
}

/// A mixture of gamma distributions: weight, shape and rate of each.
#[derive(Clone, Debug)]
pub(super) struct Mixture {
    parts: Vec<(f64, f64, f64)>,
}

impl Mixture {
    fn total(&self) -> f64 {
        self.parts.iter().map(|(weight, ..)| weight).sum()
    }

    pub fn mean(&self) -> f64 {
        self.parts.iter().map(|(weight, shape, rate)| weight * shape / rate).sum::<f64>() / self.total()
    }

    /// The probability that it lies below this.
    pub fn below(&self, x: f64) -> f64 {
        let sum: f64 = self.parts.iter().map(|(weight, shape, rate)| weight * gamma_below(*shape, x * rate)).sum();
        sum / self.total()
    }

    pub fn estimate(&self) -> Estimate {
        if self.parts.is_empty() {
            return Estimate { mean: 1.0, low: 0.0, high: f64::INFINITY };
        }
        let mean = self.mean();
        let quantile = |probability: f64| root(libm::log(mean), |at| self.below(libm::exp(at)) - probability);
        Estimate { mean, low: libm::exp(quantile(0.05)), high: libm::exp(quantile(0.95)) }
    }
}

/// Where a rising function is 0: bracketed from a first guess, then by the Illinois rule (Dowell and Jarratt 1971).
fn root(guess: f64, function: impl Fn(f64) -> f64) -> f64 {
    /// No factor is so far from 1.
    const FARTHEST: f64 = 1e3;
    let first = function(guess);
    let direction = if first > 0.0 { -1.0 } else { 1.0 };
    // The end that was reached last, and the one before it, on the other side of the root.
    let (mut near, mut here) = (guess, first);
    let (mut far, mut there) = (guess, first);
    let mut step = 0.5;
    while here * direction < 0.0 && step < FARTHEST {
        (far, there) = (near, here);
        near += direction * step;
        here = function(near);
        step *= 2.0;
    }
    let mut before = 0.0;
    for _ in 0..200 {
        if (near - far).abs() < 1e-12 {
            break;
        }
        let secant = (far * here - near * there) / (here - there);
        let between = secant > near.min(far) && secant < near.max(far);
        let middle = if between { secant } else { f64::midpoint(near, far) };
        let value = function(middle);
        if value == 0.0 {
            return middle;
        }
        // The end that stays twice counts for half, so that it does not stay for ever.
        if value * here > 0.0 {
            (near, here) = (middle, value);
            there = if before * value > 0.0 { there / 2.0 } else { there };
        } else {
            (far, there) = (middle, value);
            here = if before * value > 0.0 { here / 2.0 } else { here };
        }
        before = value;
    }
    f64::midpoint(near, far)
}
