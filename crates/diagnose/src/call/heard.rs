//! Evidence that came from elsewhere, such as a procedure, as the entries of a call.

use super::entry::{Entry, Kind};
use crate::evidence::Evidence;
use crate::reading::{describe_checks, describe_deeds, describe_lamps, describe_positions};
use machine::Machine;
use machine::id::{Id, RoutineId};

/// The entries that say the same as this evidence, moment by moment.
#[must_use]
pub fn entries_of(machine: &Machine, evidence: &Evidence) -> Vec<Entry> {
    let routine = evidence.routine.unwrap_or(RoutineId::new(0));
    let mut entries = Vec::new();
    let mut put = |kind: Kind, text: String| {
        if !text.is_empty() {
            entries.push(Entry::new(kind, text));
        }
    };
    if let Some(hours) = evidence.hours_since_well {
        put(Kind::Hours, hours.to_string());
    }
    if let Some(most) = evidence.most_at_once {
        put(Kind::AtOnce, most.to_string());
    }
    put(Kind::Recently, evidence.recently.iter().map(|event| event.key()).collect::<Vec<_>>().join(", "));
    let complaint = evidence.complaint.map(|complaint| complaint.to_string());
    let often = evidence.once_in.map(|cycles| format!("1 in {cycles} cycles"));
    put(Kind::Complaint, complaint.into_iter().chain(often).collect::<Vec<_>>().join(", "));
    if let Some(row) = evidence.routine.and_then(|routine| machine.routines.get(routine)) {
        put(Kind::Routine, row.name.clone());
    }
    for (at, moment) in evidence.moments.iter().enumerate() {
        put(if at == 0 { Kind::Did } else { Kind::Then }, describe_deeds(machine, routine, &moment.deeds));
        let remedies = moment.remedies.iter().filter_map(|remedy| machine.remedies.get(*remedy));
        put(Kind::Tried, remedies.map(|remedy| remedy.key.as_str()).collect::<Vec<_>>().join(", "));
        let by_itself = at > 0 && moment.deeds.is_empty() && moment.remedies.is_empty();
        put(if by_itself { Kind::Again } else { Kind::Lamps }, describe_lamps(machine, &moment.lamps));
        put(Kind::Saw, describe_positions(machine, &moment.positions));
        put(Kind::Found, describe_checks(machine, &moment.checks));
        if let (Some(runs), true) = (moment.runs, at > 0) {
            put(Kind::Runs, if runs { "yes" } else { "no" }.to_owned());
        }
    }
    entries
}
