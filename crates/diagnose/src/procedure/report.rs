//! What was seen and measured in a procedure, and what that is as evidence.

use super::course::{Course, Due, LampDue, StepCourse};
use super::routine::only_routine;
use crate::evidence::{Deed, Evidence, LampReport, LampState, Moment, Naming};

/// What was seen of the lamps after a step.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum Seen {
    /// Nobody looked.
    #[default]
    NotLooked,
    /// All as due.
    AsDue,
    /// These were reported; of the others nothing was said but that they are as due.
    Reported(Vec<LampReport>),
}

/// What is known of one step that was done.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Report {
    /// The lamps.
    pub seen: Seen,
    /// Whether lamps that were not as due were looked at once more and found the same.
    pub confirmed: bool,
    /// The measured value, if one was asked for and taken.
    pub measured: Option<f64>,
}

/// The lamps that were seen to be otherwise than due.
#[must_use]
pub fn deviations<'c>(step: &'c StepCourse, seen: &Seen) -> Vec<(&'c LampDue, LampState)> {
    let Seen::Reported(reports) = seen else { return Vec::new() };
    let lamps = reports.iter().filter_map(|report| Some((step.lamp(report.place)?, report.state)));
    lamps.filter(|(lamp, state)| due_state(lamp.due).is_some_and(|due| due != *state)).collect()
}

fn due_state(due: Due) -> Option<LampState> {
    match due {
        Due::Lit => Some(LampState::Lit),
        Due::Dark => Some(LampState::Dark),
        Due::Blinks => Some(LampState::Flickers),
        Due::MayVary => None,
    }
}

/// What was seen after a step as reports of single lamps. Of a panel that is as due people look at the lamps
/// that change, that are lit, and that the file names; the others count as "all the rest".
#[must_use]
pub fn lamps_seen(step: &StepCourse, seen: &Seen) -> Vec<LampReport> {
    let reported = match seen {
        Seen::NotLooked => return Vec::new(),
        Seen::AsDue => &[][..],
        Seen::Reported(reports) => reports,
    };
    step.lamps
        .iter()
        .filter_map(|lamp| {
            if let Some(report) = reported.iter().find(|report| report.place == lamp.place) {
                return Some(*report);
            }
            let state = due_state(lamp.due)?;
            let looked_at = reported.is_empty() && (lamp.changed || lamp.named || state != LampState::Dark);
            let naming = if looked_at { Naming::Named } else { Naming::Rest };
            Some(LampReport { place: lamp.place, state, naming })
        })
        .collect()
}

/// All that is known after these steps: powered on, then a moment for each, in order; what was looked at once
/// more is one moment more. For the machine of
/// [`as_routine`](super::as_routine) and the [`diagnoser`](super::diagnoser) of as many steps.
#[must_use]
pub fn evidence(course: &Course, reports: &[Report]) -> Evidence {
    let powered_on = Moment { deeds: vec![Deed::Routine(None)], ..Moment::default() };
    let mut moments = vec![powered_on];
    for (index, (step, report)) in course.steps.iter().zip(reports).enumerate() {
        let lamps = lamps_seen(step, &report.seen);
        let differ = deviations(step, &report.seen);
        let again: Vec<LampReport> =
            lamps.iter().copied().filter(|one| differ.iter().any(|(lamp, _)| lamp.place == one.place)).collect();
        moments.push(Moment { deeds: vec![Deed::Routine(Some(index))], lamps, ..Moment::default() });
        if report.confirmed && !again.is_empty() {
            moments.push(Moment { lamps: again, ..Moment::default() });
        }
    }
    Evidence { routine: Some(only_routine()), moments, ..Evidence::default() }
}
