//! Distributions that rates and figures need. The functions of `statrs` are taken where they are good; its quantiles
//! of the gamma and χ² distributions are wrong in the far lower tail, so that quantiles are searched here.

use statrs::function::beta::checked_beta_reg;
use statrs::function::gamma::{checked_gamma_lr, checked_gamma_ur, ln_gamma};

pub(crate) use statrs::function::gamma::ln_gamma as log_gamma;

/// P(X ≤ x) of a gamma distribution with this shape and rate 1.
pub(crate) fn gamma_below(shape: f64, x: f64) -> f64 {
    match x {
        x if x.is_nan() || shape.is_nan() || shape <= 0.0 => f64::NAN,
        x if x <= 0.0 => 0.0,
        x if x.is_infinite() => 1.0,
        x => checked_gamma_lr(shape, x).unwrap_or(f64::NAN),
    }
}

/// P(X > x) of a gamma distribution with this shape and rate 1.
pub(crate) fn gamma_above(shape: f64, x: f64) -> f64 {
    match x {
        x if x.is_nan() || shape.is_nan() || shape <= 0.0 => f64::NAN,
        x if x <= 0.0 => 1.0,
        x if x.is_infinite() => 0.0,
        x => checked_gamma_ur(shape, x).unwrap_or(f64::NAN),
    }
}

/// The value below which a gamma distribution with this shape and rate 1 lies with this probability.
pub(crate) fn gamma_quantile(shape: f64, probability: f64) -> f64 {
    if shape.is_nan() || shape <= 0.0 || !(0.0..=1.0).contains(&probability) {
        return f64::NAN;
    }
    if probability == 0.0 {
        return 0.0;
    }
    if probability == 1.0 {
        return f64::INFINITY;
    }
    // For small x, P ≈ xᵃ/Γ(a+1), and never more: a value that is not too large.
    let lowest = (libm::log(probability) + ln_gamma(shape + 1.0)) / shape;
    if lowest < -690.0 {
        // So far down that is what it is, and too small to be searched for.
        return libm::exp(lowest);
    }
    let is_below = |x: f64| {
        if probability <= 0.5 { gamma_below(shape, x) < probability } else { gamma_above(shape, x) > 1.0 - probability }
    };
    search(lowest - 1e-9, is_below)
}

/// The value at which `is_below` turns from true to false, given a logarithm that is not above that of the value.
pub(crate) fn search(lowest: f64, is_below: impl Fn(f64) -> bool) -> f64 {
    let (mut from, mut step) = (lowest, 0.5);
    while is_below(libm::exp(from + step)) && step < 1e4 {
        from += step;
        step *= 2.0;
    }
    let mut to = from + step;
    // Halving 60 times leaves less than the last digit.
    for _ in 0..60 {
        let middle = f64::midpoint(from, to);
        if is_below(libm::exp(middle)) { from = middle } else { to = middle }
    }
    libm::exp(f64::midpoint(from, to))
}

/// The value below which a χ² distribution lies with this probability.
pub(crate) fn chi_square_quantile(degrees: f64, probability: f64) -> f64 {
    2.0 * gamma_quantile(degrees / 2.0, probability)
}

/// P(N ≥ count) of a Poisson distribution.
pub(crate) fn poisson_at_least(count: u64, mean: f64) -> f64 {
    if count == 0 { 1.0 } else { gamma_below(count as f64, mean) }
}

/// P(N ≤ count) of a negative binomial distribution with this shape and mean.
pub(crate) fn negative_binomial_up_to(count: u64, shape: f64, mean: f64) -> f64 {
    if mean <= 0.0 {
        return 1.0;
    }
    checked_beta_reg(shape, count as f64 + 1.0, shape / (shape + mean)).unwrap_or(f64::NAN)
}

/// P(N ≥ count) of a binomial distribution.
pub(crate) fn binomial_at_least(count: u64, trials: u64, chance: f64) -> f64 {
    if count == 0 {
        return 1.0;
    }
    if count > trials {
        return 0.0;
    }
    checked_beta_reg(count as f64, (trials - count) as f64 + 1.0, chance.clamp(0.0, 1.0)).unwrap_or(f64::NAN)
}

/// The value below which a beta distribution lies with this probability.
pub(crate) fn beta_quantile(a: f64, b: f64, probability: f64) -> f64 {
    let (mut from, mut to) = (0.0, 1.0);
    for _ in 0..60 {
        let middle = f64::midpoint(from, to);
        let below = checked_beta_reg(a, b, middle).unwrap_or(f64::NAN);
        if below < probability { from = middle } else { to = middle }
    }
    f64::midpoint(from, to)
}

/// The 90 % interval of Clopper and Pearson (1934) for a share, of which so many were counted.
pub(crate) fn share_interval(count: u64, of: u64) -> (f64, f64) {
    let (some, rest) = (count as f64, of.saturating_sub(count) as f64);
    let low = if count == 0 { 0.0 } else { beta_quantile(some, rest + 1.0, 0.05) };
    let high = if count >= of { 1.0 } else { beta_quantile(some + 1.0, rest, 0.95) };
    (low, high)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(one: f64, other: f64, share: f64) {
        assert!((one / other - 1.0).abs() < share, "{one} {other}");
    }

    #[test]
    fn quantiles_hold_in_the_far_lower_tail() {
        // χ² with one degree at 1e-6: 1.57e-12 (π/2·1e-12 to first order).
        near(chi_square_quantile(1.0, 1e-6), std::f64::consts::FRAC_PI_2 * 1e-12, 1e-9);
        // With shape 1 it is −ln(1 − p).
        for probability in [1e-12, 1e-3, 0.5, 0.9, 1.0 - 1e-9] {
            near(gamma_quantile(1.0, probability), -libm::log1p(-probability), 1e-9);
        }
        for shape in [0.01, 0.3, 1.0, 7.5, 300.0, 1e5] {
            for probability in [1e-9, 0.05, 0.5, 0.95, 0.999_999] {
                let x = gamma_quantile(shape, probability);
                // For shape 0.01 it is e^−2072, which no number holds.
                if x > 0.0 {
                    near(gamma_below(shape, x), probability, 1e-9);
                }
            }
        }
        assert_eq!(gamma_quantile(0.01, 1e-9), 0.0);
        assert!(gamma_quantile(-1.0, 0.5).is_nan() && gamma_quantile(1.0, f64::NAN).is_nan());
    }

    #[test]
    fn sums_agree_with_adding_up() {
        let (mean, shape) = (3.7_f64, 1.9_f64);
        let (mut poisson, mut negative) = (0.0, 0.0);
        assert_eq!(poisson_at_least(0, mean), 1.0);
        for count in 0..20_u64 {
            let n = count as f64;
            poisson += libm::exp(n * libm::log(mean) - mean - ln_gamma(n + 1.0));
            near(1.0 - poisson_at_least(count + 1, mean), poisson, 1e-9);
            let log = ln_gamma(shape + n) - ln_gamma(shape) - ln_gamma(n + 1.0);
            negative +=
                libm::exp(log + shape * libm::log(shape / (shape + mean)) + n * libm::log(mean / (shape + mean)));
            near(negative_binomial_up_to(count, shape, mean), negative, 1e-9);
        }
        // Clopper and Pearson: none of n leaves 1 − 0.05^(1/n).
        near(share_interval(0, 10).1, 1.0 - libm::pow(0.05, 0.1), 1e-9);
        assert_eq!(share_interval(10, 10).1, 1.0);
        near(binomial_at_least(2, 3, 0.5), 0.5, 1e-12);
    }
}
