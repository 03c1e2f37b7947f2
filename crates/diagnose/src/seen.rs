//! How probable all that was seen is, given how the machine stands and what is wrong with it.

use crate::class::Class;
use crate::evidence::{CheckReport, Moment, PositionReport};
use crate::panel::{LampChange, LampTruth};
use crate::tally::Doubt;
use crate::world::World;
use machine::id::{DeviationId, Id};
use machine::model::Observable;
use sim::{Situation, View};
use smallvec::SmallVec;

/// How often an unknown cause goes away by whatever was done.
const STOPS_BY_ITSELF: f64 = 0.1;

/// Positions and answers under an unknown cause: any as likely as any other.
pub(crate) fn anything_else(world: &World, moment: &Moment) -> f64 {
    let positions: f64 = moment
        .positions
        .iter()
        .filter_map(|report| world.machine.mechanisms.get(report.mechanism))
        .map(|mechanism| 1.0 / (mechanism.positions.len() + 1) as f64)
        .product();
    let checks: f64 = moment
        .checks
        .iter()
        .filter_map(|report| world.machine.checks.get(report.check))
        .map(|check| 1.0 / check.answers.len().max(1) as f64)
        .product();
    let runs = match moment.runs {
        None => 1.0,
        Some(false) => 1.0 - STOPS_BY_ITSELF,
        Some(true) => STOPS_BY_ITSELF,
    };
    positions * checks * runs
}

/// A member of each class to reckon with. Members of a class bear alike on the evidence, but only
/// where they can be there together with those of the other.
fn representatives(world: &World, set: &[&Class]) -> Vec<DeviationId> {
    if let [a, b] = set {
        let pairs = a.members.iter().flat_map(|a| b.members.iter().map(move |b| (*a, *b)));
        let together = |(a, b): &(DeviationId, DeviationId)| world.prior.group(*a) != world.prior.group(*b);
        if let Some((a, b)) = pairs.clone().find(together) {
            return vec![a, b];
        }
    }
    set.iter().map(|class| class.representative()).collect()
}

/// The probability of what was said of positions and answered to checks.
pub(crate) fn looked_at(
    world: &World,
    doubt: &Doubt,
    situation: &Situation,
    set: &[&Class],
    positions: &[PositionReport],
    checks: &[CheckReport],
) -> f64 {
    if positions.is_empty() && checks.is_empty() {
        return 1.0;
    }
    let deviations = representatives(world, set);
    let view = View::new(&world.machine, &world.plant, situation, &deviations);
    let mut product = 1.0;
    for report in positions {
        let shares = view.answers(&Observable::Position(report.mechanism));
        let said = report.position.map_or(shares.len() - 1, usize::from);
        product *= reported(&shares, said, doubt.position);
    }
    for report in checks {
        let Some(check) = world.machine.checks.get(report.check) else { continue };
        product *= reported(&view.answers(&check.observes), report.answer, check.error);
    }
    product
}

/// The probability of an answer, when each has a share of the truth and errors go evenly to the others.
pub(crate) fn reported(shares: &[f64], said: usize, error: f64) -> f64 {
    let others = (shares.len() - 1).max(1) as f64;
    let right = shares.get(said).copied().unwrap_or(0.0);
    right * (1.0 - error) + (1.0 - right) * error / others
}

/// The lamps that show something else than the situation says, with these deviations there.
/// Each comes with whether it is latent.
pub(crate) fn lamp_changes(
    world: &World,
    situation: &Situation,
    truth: &LampTruth,
    set: &[(&Class, bool)],
) -> Vec<LampChange> {
    let mut lamps: Vec<usize> = set
        .iter()
        .filter(|(class, latent)| class.changes_lamps(*latent))
        .flat_map(|(class, _)| class.lamps.iter().copied())
        .collect();
    if lamps.is_empty() {
        return Vec::new();
    }
    lamps.sort_unstable();
    lamps.dedup();
    let classes: Vec<&Class> = set.iter().map(|(class, _)| *class).collect();
    let deviations = representatives(world, &classes);
    let view = View::new(&world.machine, &world.plant, situation, &deviations);
    let error = set.iter().any(|(class, _)| class.error_lamp);
    world.panel.changes(&view, truth, &lamps, error)
}

/// What the lamps show with these deviations there, those included that they change by themselves, where the situation
/// alone says `truth`.
pub(crate) fn lamps_shown(
    world: &World,
    situation: &Situation,
    truth: LampTruth,
    deviations: &[DeviationId],
) -> LampTruth {
    let class = |deviation: &DeviationId| &world.classes[world.class_of[deviation.index()] as usize];
    let set: SmallVec<[(&Class, bool); 2]> = deviations.iter().map(|one| (class(one), true)).collect();
    let changes = lamp_changes(world, situation, &truth, &set);
    if changes.is_empty() { truth } else { truth.with(&changes) }
}
