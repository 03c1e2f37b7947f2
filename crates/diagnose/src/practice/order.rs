//! In which order things come by their numbers: round after round, so that nothing comes again before its round is over.

/// The place that this number has, and the seed of its round; `None` if there are no places.
fn place_of(number: u64, places: usize) -> Option<(u64, usize)> {
    let round = number.checked_div(places as u64)?;
    Some((round, usize::try_from(number % places as u64).ok()?))
}

/// Which of so many things has this number. Each round has all of them, in an order of its own.
pub(super) fn shuffled(number: u64, count: usize) -> Option<usize> {
    let (round, place) = place_of(number, count)?;
    let order = |round: u64| {
        let mut order: Vec<usize> = (0..count).collect();
        fastrand::Rng::with_seed(round).shuffle(&mut order);
        order
    };
    unlike_the_last(round, order).get(place).copied()
}

/// Which of these has this number, if it is drawn by these weights: a round has so many of them at most, none twice.
pub(super) fn drawn(number: u64, weights: &[f64], in_a_round: usize) -> Option<usize> {
    let (round, place) = place_of(number, weights.iter().filter(|weight| **weight > 0.0).count().min(in_a_round))?;
    let order = |round: u64| {
        let mut dice = fastrand::Rng::with_seed(round);
        let mut left = weights.to_vec();
        let mut order: Vec<usize> = Vec::new();
        while order.len() < in_a_round {
            let mut at = dice.f64() * left.iter().sum::<f64>();
            let mut those = left.iter().enumerate().filter(|(_, weight)| **weight > 0.0);
            let found = those.find(|(_, weight)| {
                at -= **weight;
                at < 0.0
            });
            // Rounding can leave a little behind the last of them.
            let last = left.iter().rposition(|weight| *weight > 0.0);
            let Some(one) = found.map(|(one, _)| one).or(last) else { break };
            left[one] = 0.0;
            order.push(one);
        }
        order
    };
    unlike_the_last(round, order).get(place).copied()
}

/// The order of a round, such that it does not begin with what the round before has ended with.
fn unlike_the_last(round: u64, order: impl Fn(u64) -> Vec<usize>) -> Vec<usize> {
    let mut this = order(round);
    let last = round.checked_sub(1).and_then(|before| order(before).last().copied());
    // Where there are two, what is swapped would be the last as well.
    if this.len() > 2 && this.first() == last.as_ref() {
        this.swap(0, 1);
    }
    this
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn a_round_has_everything_once_and_no_neighbours_are_the_same() {
        for count in 1..9 {
            let all: Vec<usize> = (0..60).map(|number| shuffled(number, count).unwrap()).collect();
            for round in all.chunks_exact(count) {
                assert_eq!(round.iter().collect::<BTreeSet<_>>().len(), count);
            }
            assert!(count < 3 || all.windows(2).all(|two| two[0] != two[1]), "{count}: {all:?}");
        }
        assert_eq!(shuffled(3, 0), None);
    }

    #[test]
    fn what_is_drawn_comes_once_in_a_round_and_what_weighs_more_comes_more_often() {
        let weights = [8.0, 1.0, 0.0, 4.0, 1.0, 1.0, 1.0];
        let all: Vec<usize> = (0..300).map(|number| drawn(number, &weights, 3).unwrap()).collect();
        for round in all.chunks_exact(3) {
            assert_eq!(round.iter().collect::<BTreeSet<_>>().len(), 3);
        }
        assert!(all.windows(2).all(|two| two[0] != two[1]));
        let times = |one: usize| all.iter().filter(|drawn| **drawn == one).count();
        assert!(times(0) > times(3) && times(3) > times(1) && times(1) > 0 && times(2) == 0);
        let first: BTreeSet<usize> = (0..6).map(|number| drawn(number, &weights, 12).unwrap()).collect();
        assert_eq!(first, BTreeSet::from([0, 1, 3, 4, 5, 6]));
        assert_eq!(drawn(0, &[0.0], 3), None);
    }
}
