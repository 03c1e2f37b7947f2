//! What a cause that is not in the machine file makes of what is seen: anything at first, and after that rather what was
//! seen before. Nobody knows what such a cause does, so its likelihood is broad; but what nobody touches stays as it is,
//! whatever keeps it so, and reading it once more says nothing new against what is not known.

use crate::evidence::{CheckReport, Evidence, LampReport, LampState, Moment, PositionReport};
use crate::likelihood::lamp_likelihood;
use crate::next::ToDo;
use crate::panel::{LampTruth, Panel};
use crate::world::World;
use machine::Machine;

/// How often a cause that is not in the file goes away by whatever was done, so that the machine runs. Common
/// practice, no source.
pub const RUNS_BY_ITSELF: f64 = 0.1;

/// How often everything stays as it was before, where nobody worked the machine and where somebody did.
const STAYS: f64 = 0.9;
const STAYS_WHEN_WORKED: f64 = 0.5;

/// How often something that has stayed as it was is told otherwise.
const TOLD_OTHERWISE: f64 = 0.03;

/// The probability of what was seen in a moment, after those before.
pub(crate) fn seen(world: &World, before: &[Moment], moment: &Moment, passing: &[LampTruth]) -> f64 {
    let runs = match moment.runs {
        None => 1.0,
        Some(false) => 1.0 - RUNS_BY_ITSELF,
        Some(true) => RUNS_BY_ITSELF,
    };
    let stays = stays(moment);
    let positions = moment.positions.iter().filter_map(|report| {
        let count = world.machine.mechanisms.get(report.mechanism)?.positions.len() + 1;
        let same = last(before, |moment| &moment.positions, |one: &PositionReport| one.mechanism == report.mechanism)
            .map(|one| one.position == report.position);
        Some(told(same, count, stays))
    });
    let checks = moment.checks.iter().filter_map(|report| {
        let count = world.machine.checks.get(report.check)?.answers.len().max(1);
        let same = last(before, |moment| &moment.checks, |one: &CheckReport| one.check == report.check)
            .map(|one| one.answer == report.answer);
        Some(told(same, count, stays))
    });
    lamps(&world.panel, before, moment, passing) * positions.chain(checks).product::<f64>() * runs
}

/// How probable it is that everything has stayed as it was until this moment.
fn stays(moment: &Moment) -> f64 {
    if moment.deeds.is_empty() { STAYS } else { STAYS_WHEN_WORKED }
}

/// What was last said of something, if it was.
fn last<'m, T>(before: &'m [Moment], of: impl Fn(&'m Moment) -> &'m Vec<T>, is: impl Fn(&T) -> bool) -> Option<&'m T> {
    before.iter().rev().find_map(|moment| of(moment).iter().rev().find(|one| is(one)))
}

/// The probability of one of so many answers: the same as before or another, if there was one before.
fn told(same: Option<bool>, count: usize, stays: f64) -> f64 {
    let any = 1.0 / count as f64;
    match same {
        None => any,
        Some(same) => stays * again(same, count) + (1.0 - stays) * any,
    }
}

/// The probability of an answer where all has stayed as it was.
fn again(same: bool, count: usize) -> f64 {
    match (same, count) {
        (_, 0 | 1) => 1.0,
        (true, _) => 1.0 - TOLD_OTHERWISE,
        (false, _) => TOLD_OTHERWISE / (count - 1) as f64,
    }
}

/// The probability of the lamps: as they were, or anything.
fn lamps(panel: &Panel, before: &[Moment], moment: &Moment, passing: &[LampTruth]) -> f64 {
    let known = |report: &LampReport| {
        last(before, |moment| &moment.lamps, |one: &LampReport| one.place == report.place).map(|one| one.state)
    };
    let (seen, new): (Vec<&LampReport>, Vec<&LampReport>) = moment.lamps.iter().partition(|one| known(one).is_some());
    if seen.is_empty() {
        return any_lamps(panel, &new, passing);
    }
    let stays = stays(moment);
    let as_before: f64 = seen.iter().map(|report| again(known(report) == Some(report.state), 3)).product();
    let all: Vec<&LampReport> = moment.lamps.iter().collect();
    stays * as_before * any_lamps(panel, &new, passing) + (1.0 - stays) * any_lamps(panel, &all, passing)
}

/// Lamps of which nothing is known: anything, but rather like the normal run than not. Half of the weight goes to the
/// situations of the undisturbed run with many errors, half to lamps lit or dark at random; both sum to 1 over all reports.
fn any_lamps(panel: &Panel, reports: &[&LampReport], passing: &[LampTruth]) -> f64 {
    const ERROR: f64 = 0.12;
    const LIT: f64 = 0.35;
    const DARK: f64 = 0.6;
    let random: f64 = reports
        .iter()
        .map(|report| match report.state {
            LampState::Lit => LIT,
            LampState::Dark => DARK,
            LampState::Flickers => 1.0 - LIT - DARK,
        })
        .product();
    if passing.is_empty() {
        return random;
    }
    let like_normal: f64 = passing
        .iter()
        .map(|truth| {
            let numbered = reports.iter().filter_map(|report| Some((report.state, panel.number(report.place)?)));
            numbered.map(|(state, lamp)| lamp_likelihood(state, truth.of(lamp), ERROR)).product::<f64>()
        })
        .sum::<f64>()
        / passing.len() as f64;
    0.5 * random + 0.5 * like_normal
}

/// The probability of each answer to a question that is asked next.
pub(crate) fn answers(machine: &Machine, evidence: &Evidence, question: ToDo, count: usize) -> Vec<f64> {
    let moments = &evidence.moments[..];
    let before = match question {
        ToDo::Check(check) => {
            last(moments, |moment| &moment.checks, |one: &CheckReport| one.check == check).map(|one| one.answer)
        }
        ToDo::Position(mechanism) => {
            let between = machine.mechanisms.get(mechanism).map_or(0, |mechanism| mechanism.positions.len());
            last(moments, |moment| &moment.positions, |one: &PositionReport| one.mechanism == mechanism)
                .map(|one| one.position.map_or(between, usize::from))
        }
        ToDo::Lamp(place) => {
            last(moments, |moment| &moment.lamps, |one: &LampReport| one.place == place).map(|one| one.state as usize)
        }
        ToDo::Lamps | ToDo::Act(_) | ToDo::Remedy(_) | ToDo::GoOn => None,
    };
    let stays = moments.last().map_or(STAYS, stays);
    (0..count).map(|answer| told(before.map(|before| before == answer), count, stays)).collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::evidence::{LampPlace, Naming};

    fn report(place: LampPlace, state: LampState) -> LampReport {
        LampReport { place, state, naming: Naming::Named }
    }

    #[test]
    fn all_that_can_be_told_of_lamps_is_certain_and_what_was_told_before_is_likelier() {
        let machine = machine::load_str("minimal.toml", include_str!("../../../demos/minimal.toml")).unwrap();
        let panel = Panel::new(&machine);
        let places: Vec<LampPlace> = LampPlace::all(&machine).map(|(place, _)| place).take(3).collect();
        let states = [LampState::Lit, LampState::Dark, LampState::Flickers];
        // Two lamps were read before, a third was not.
        let before = [Moment {
            lamps: vec![report(places[0], LampState::Lit), report(places[1], LampState::Dark)],
            ..Moment::default()
        }];
        let of = |seen: [LampState; 3]| {
            let lamps = places.iter().zip(seen).map(|(place, state)| report(*place, state)).collect();
            super::lamps(&panel, &before, &Moment { lamps, ..Moment::default() }, &[])
        };
        let all = (0..27).map(|number| [states[number / 9], states[number / 3 % 3], states[number % 3]]);
        let sum: f64 = all.map(of).sum();
        assert!((sum - 1.0).abs() < 1e-12, "{sum}");
        // 0.9 · 0.97² · 0.6 and the rest of 0.1 · 0.35 · 0.6 · 0.6, by hand from docs/reckoning.md.
        let same = of([LampState::Lit, LampState::Dark, LampState::Dark]);
        assert!((same - (0.9 * 0.97 * 0.97 * 0.6 + 0.1 * 0.35 * 0.6 * 0.6)).abs() < 1e-12, "{same}");
    }

    #[test]
    fn answers_are_told_as_before_or_anyhow() {
        for (same, stays) in [(Some(true), STAYS), (Some(false), STAYS_WHEN_WORKED), (None, STAYS)] {
            let others = same.map(|same| !same);
            let of_three = told(same, 3, stays);
            let sum = match same {
                None => 3.0 * of_three,
                Some(true) => of_three + 2.0 * told(others, 3, stays),
                Some(false) => 2.0 * of_three + told(others, 3, stays),
            };
            assert!((sum - 1.0).abs() < 1e-12, "{same:?} {sum}");
        }
        assert_eq!(told(Some(true), 1, STAYS), 1.0);
    }
}
