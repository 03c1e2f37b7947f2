//! Numbers as letters of a text: read at once by any browser, and small once it is packed.

/// The letter of 0.
const FIRST: u32 = 35;
/// Needs a second letter in JSON, and is passed over.
const BACKSLASH: u32 = 92;
/// Letters end before the surrogates.
const MOST: u32 = 0xd7ff - FIRST - 1;

/// Weights are told in this many steps for each halving.
pub const WEIGHT_STEPS: f64 = 1024.0;

/// Numbers below 55,000 as letters; a larger one is taken for the largest.
pub fn packed(numbers: impl IntoIterator<Item = u32>) -> String {
    let letter = |number: u32| {
        let code = number.min(MOST) + FIRST;
        char::from_u32(if code >= BACKSLASH { code + 1 } else { code }).unwrap_or(char::REPLACEMENT_CHARACTER)
    };
    numbers.into_iter().map(letter).collect()
}

/// A weight as steps below the whole.
pub fn steps(weight: f64, whole: f64) -> u32 {
    let halvings = -(weight / whole).log2();
    // The weight is a part of the whole and not too small, so that the number is in range.
    (halvings.max(0.0) * WEIGHT_STEPS).round().min(f64::from(MOST)) as u32
}

/// A number with six digits, which is enough for a thousandth of a percent and shorter than all of them.
pub fn short(number: f64) -> f64 {
    format!("{number:.6e}").parse().unwrap_or(number)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_number_has_a_letter_of_its_own_that_needs_no_second_one() {
        let text = packed(0..=MOST);
        assert_eq!(text.chars().count(), MOST as usize + 1);
        assert!(!text.contains(['\\', '"']) && text.chars().is_sorted());
        let letters: std::collections::BTreeSet<char> = text.chars().collect();
        assert_eq!(letters.len(), MOST as usize + 1);
    }

    #[test]
    fn a_weight_comes_back_to_a_thousandth() {
        for weight in [1.0, 0.3, 1e-3, 7.7e-10] {
            let back = 2.0 * 2_f64.powf(-f64::from(steps(weight * 2.0, 2.0)) / WEIGHT_STEPS);
            assert!((back / 2.0 / weight - 1.0).abs() < 1e-3, "{weight}: {back}");
        }
    }
}
