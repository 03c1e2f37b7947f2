//! What a cause that is not in the machine file makes of what is seen: anything at first, and after that rather what was
//! seen before. Nobody knows what such a cause does, so its likelihood is broad; but what nobody touches stays as it is,
//! whatever keeps it so, and reading it once more says nothing new against what is not known.

use crate::evidence::{Evidence, LampPlace, LampReport, LampState, Moment, PositionReport};
use crate::likelihood::lamp_likelihood;
use crate::next::ToDo;
use crate::panel::{LampTruth, Panel};
use crate::world::World;
use machine::id::{CheckId, MechanismId};
use smallvec::SmallVec;

/// How often a cause that is not in the file goes away by whatever was done, so that the machine runs. Common
/// practice, no source.
pub const RUNS_BY_ITSELF: f64 = 0.1;

/// How often everything stays as it was before, where nobody worked the machine and where somebody did. Common practice,
/// no source.
const STAYS: f64 = 0.98;
const STAYS_WHEN_WORKED: f64 = 0.6;

/// How often something that has stayed as it was is told otherwise: about as often as a lamp is misread, so that reading all
/// lamps once more does not by itself speak against such a cause. Common practice, no source.
const TOLD_OTHERWISE: f64 = 0.02;

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
        Some(told(&positions_before(before, report.mechanism, count), place_of(report, count), count, stays))
    });
    let checks = moment.checks.iter().filter_map(|report| {
        let count = world.machine.checks.get(report.check)?.answers.len().max(1);
        Some(told(&checks_before(before, report.check), report.answer, count, stays))
    });
    lamps(&world.panel, before, moment, passing) * positions.chain(checks).product::<f64>() * runs
}

/// How probable it is that everything has stayed as it was until this moment.
fn stays(moment: &Moment) -> f64 {
    if moment.deeds.is_empty() { STAYS } else { STAYS_WHEN_WORKED }
}

/// What was said of something before, each time.
type Before = SmallVec<[usize; 4]>;

fn positions_before(before: &[Moment], mechanism: MechanismId, count: usize) -> Before {
    let reports = before.iter().flat_map(|moment| &moment.positions).filter(|one| one.mechanism == mechanism);
    reports.map(|report| place_of(report, count)).collect()
}

/// "Between" comes after all positions.
fn place_of(report: &PositionReport, count: usize) -> usize {
    report.position.map_or(count - 1, usize::from)
}

fn checks_before(before: &[Moment], check: CheckId) -> Before {
    let reports = before.iter().flat_map(|moment| &moment.checks).filter(|one| one.check == check);
    reports.map(|report| report.answer).collect()
}

fn lamp_before(before: &[Moment], place: LampPlace) -> Before {
    let reports = before.iter().flat_map(|moment| &moment.lamps).filter(|one| one.place == place);
    reports.map(|report| report.state as usize).collect()
}

/// The probability of one of so many answers, after those before.
fn told(before: &Before, said: usize, count: usize, stays: f64) -> f64 {
    let any = 1.0 / count as f64;
    if before.is_empty() { any } else { stays * again(before, said, count) + (1.0 - stays) * any }
}

/// The probability of an answer where all has stayed as it was: what that is, the answers before have told, each of them
/// wrong now and then.
fn again(before: &Before, said: usize, count: usize) -> f64 {
    if count < 2 {
        return 1.0;
    }
    let of = |told: usize, truth: usize| {
        if told == truth { 1.0 - TOLD_OTHERWISE } else { TOLD_OTHERWISE / (count - 1) as f64 }
    };
    let (mut with, mut all) = (0.0, 0.0);
    for truth in 0..count {
        let weight: f64 = before.iter().map(|told| of(*told, truth)).product();
        all += weight;
        with += weight * of(said, truth);
    }
    with / all
}

/// The probability of the lamps: as they were, or anything.
fn lamps(panel: &Panel, before: &[Moment], moment: &Moment, passing: &[LampTruth]) -> f64 {
    let mut as_before = 1.0;
    let mut new: Vec<&LampReport> = Vec::new();
    for report in &moment.lamps {
        match lamp_before(before, report.place) {
            known if known.is_empty() => new.push(report),
            known => as_before *= again(&known, report.state as usize, 3),
        }
    }
    if new.len() == moment.lamps.len() {
        return any_lamps(panel, &new, passing);
    }
    let stays = stays(moment);
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
pub(crate) fn answers(evidence: &Evidence, question: ToDo, count: usize) -> Vec<f64> {
    let moments = &evidence.moments[..];
    let before = match question {
        ToDo::Check(check) => checks_before(moments, check),
        ToDo::Position(mechanism) => positions_before(moments, mechanism, count),
        ToDo::Lamp(place) => lamp_before(moments, place),
        ToDo::Lamps | ToDo::Act(_) | ToDo::Remedy(_) | ToDo::GoOn => Before::new(),
    };
    let stays = moments.last().map_or(STAYS, stays);
    (0..count).map(|answer| told(&before, answer, count, stays)).collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::evidence::Naming;

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
        // By hand from docs/reckoning.md: each of two lamps was told once, and is told the same with
        // 0.98² + 2 · 0.01²; the third is dark with 0.6, and the rest is 0.02 · 0.35 · 0.6 · 0.6.
        let same = of([LampState::Lit, LampState::Dark, LampState::Dark]);
        let once: f64 = 0.98 * 0.98 + 2.0 * 0.01 * 0.01;
        assert!((same - (0.98 * once * once * 0.6 + 0.02 * 0.35 * 0.6 * 0.6)).abs() < 1e-12, "{same}");
    }

    #[test]
    fn one_wrong_answer_does_not_make_the_right_one_improbable() {
        let all = |before: &[usize], count| -> f64 {
            (0..count).map(|said| told(&Before::from_slice(before), said, count, STAYS)).sum()
        };
        for (before, count) in [(&[][..], 3), (&[1][..], 3), (&[1, 1, 0][..], 2), (&[0, 0, 0][..], 1)] {
            assert!((all(before, count) - 1.0).abs() < 1e-12, "{before:?} {count}");
        }
        // Told three times and otherwise once, it is most probably told as before, and hardly less so than ever.
        let wrong_once = told(&Before::from_slice(&[1, 1, 1, 0]), 1, 2, STAYS);
        let never_wrong = told(&Before::from_slice(&[1, 1, 1]), 1, 2, STAYS);
        assert!(wrong_once > 0.95 && never_wrong - wrong_once < 0.01, "{wrong_once} {never_wrong}");
    }
}
