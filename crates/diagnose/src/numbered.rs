//! Things that many share, each once.

use rustc_hash::FxHashMap;

/// Each of these once, in the order in which they come first, and by place which of them it is. The same is what lies at
/// the same address.
///
/// Cost: one look-up for each.
pub(crate) fn numbered<'t, T>(all: impl IntoIterator<Item = &'t T>) -> (Vec<usize>, Vec<&'t T>) {
    let mut known: FxHashMap<*const T, usize> = FxHashMap::default();
    let mut each: Vec<&T> = Vec::new();
    let number = |one: &'t T| {
        *known.entry(std::ptr::from_ref(one)).or_insert_with(|| {
            each.push(one);
            each.len() - 1
        })
    };
    let places = all.into_iter().map(number).collect();
    (places, each)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_lies_at_one_address_is_the_same_and_what_looks_alike_is_not() {
        let (one, alike, other) = (vec![1], vec![1], vec![2]);
        let (places, each) = numbered([&one, &other, &one, &alike, &other]);
        assert_eq!(places, [0, 1, 0, 2, 1]);
        assert!(std::ptr::eq(each[0], &one) && std::ptr::eq(each[2], &alike) && each.len() == 3);
    }
}
