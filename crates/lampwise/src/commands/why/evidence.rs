//! What was typed, read with the names of the machine. All mistakes of all flags
//! are told in one go.

use diagnose::evidence::{Deed, Evidence, Moment};
use diagnose::reading::{
    ReadingError, read_checks, read_complaint, read_deeds, read_events, read_lamps, read_positions, read_remedies,
};
use machine::Machine;
use machine::id::{Id, RoutineId};

use super::moments::Typed;
use crate::arguments::Why;
use crate::failure::Failure;

/// The routine in which the deeds were read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TakenRoutine {
    /// Which; none if nothing was said that depends on it.
    pub routine: Option<RoutineId>,
    /// Whether it was taken although others would fit as well.
    pub guessed: bool,
}

/// Reads everything that was reported.
pub fn read(machine: &Machine, why: &Why, typed: &[Typed]) -> Result<(Evidence, TakenRoutine), Failure> {
    let mut failures = Failures::default();
    let complaint = why.complaint.as_deref().and_then(|text| {
        let read = if text.trim().is_empty() { Ok(None) } else { read_complaint(text).map(Some) };
        failures.keep("--complaint", text, read).flatten()
    });
    let named = match &why.routine {
        None => None,
        Some(name) => failures.take(routine_called(machine, name)),
    };
    if why.hours.is_some_and(|hours| !hours.is_finite() || hours < 0.0) {
        let hint = "give running hours, such as `--hours 40`";
        failures.take::<()>(Err(Failure::new("hours", "`--hours` must be a number that is not below 0", hint)));
    }
    let taken = match named {
        Some(routine) => TakenRoutine { routine: Some(routine), guessed: false },
        None => fitting_routine(machine, typed),
    };
    let routine = taken.routine.unwrap_or(RoutineId::new(0));
    let mut moments = Vec::new();
    for one in typed {
        let mut moment = Moment::default();
        if !one.deeds.is_empty() {
            let deeds = read_deeds(machine, routine, &one.deeds);
            moment.deeds = failures.keep(one.deeds_flag, &one.deeds, deeds).unwrap_or_default();
        }
        moment.lamps = failures.keep("--lamps", &one.lamps, read_lamps(machine, &one.lamps)).unwrap_or_default();
        moment.positions = failures.keep("--saw", &one.saw, read_positions(machine, &one.saw)).unwrap_or_default();
        moment.checks = failures.keep("--found", &one.found, read_checks(machine, &one.found)).unwrap_or_default();
        moment.remedies = failures.keep("--tried", &one.tried, read_remedies(machine, &one.tried)).unwrap_or_default();
        moments.push(moment);
    }
    let recently = why.recently.join(", ");
    let recently = failures.keep("--recently", &recently, read_events(&recently)).unwrap_or_default();
    let evidence = Evidence { complaint, routine: taken.routine, hours_since_well: why.hours, recently, moments };
    failures.or((evidence, taken))
}

/// Everything that could not be understood so far.
#[derive(Default)]
struct Failures(Option<Failure>);

impl Failures {
    fn keep<T>(&mut self, flag: &str, text: &str, read: Result<T, Vec<ReadingError>>) -> Option<T> {
        self.take(read.map_err(|mistakes| Failure::typed(flag, text, mistakes)))
    }

    fn take<T>(&mut self, result: Result<T, Failure>) -> Option<T> {
        match result {
            Ok(value) => Some(value),
            Err(failure) => {
                self.0 = Some(match self.0.take() {
                    Some(before) => before.and(failure),
                    None => failure,
                });
                None
            }
        }
    }

    fn or<T>(self, value: T) -> Result<T, Failure> {
        match self.0 {
            None => Ok(value),
            Some(failure) => Err(failure),
        }
    }
}

/// The routine of this name.
pub fn routine_called(machine: &Machine, name: &str) -> Result<RoutineId, Failure> {
    let wanted = name.trim().to_lowercase();
    let found = machine
        .routines
        .find(|routine| routine.name.to_lowercase() == wanted || routine.words.english.to_lowercase() == wanted);
    found.map(|(id, _)| id).ok_or_else(|| {
        let names: Vec<&str> = machine.routines.rows().map(|routine| routine.name.as_str()).collect();
        Failure::new(
            "unknown-routine",
            format!("there is no routine `{name}`"),
            format!("there is: {}", names.join(", ")),
        )
    })
}

/// The routine in which most of the deeds have their place; the first of those that fit alike.
fn fitting_routine(machine: &Machine, typed: &[Typed]) -> TakenRoutine {
    let unknown = TakenRoutine { routine: None, guessed: false };
    let fits: Vec<(usize, RoutineId)> = machine
        .routines
        .ids()
        .filter_map(|routine| {
            let mut placed = 0;
            for one in typed.iter().filter(|one| !one.deeds.is_empty()) {
                let deeds = read_deeds(machine, routine, &one.deeds).ok()?;
                placed += deeds.iter().filter(|deed| matches!(deed, Deed::Routine(Some(_)))).count();
            }
            Some((placed, routine))
        })
        .collect();
    let Some(most) = fits.iter().map(|(placed, _)| *placed).max().filter(|most| *most > 0) else { return unknown };
    let mut best = fits.iter().filter(|(placed, _)| *placed == most);
    let first = best.next().map(|(_, routine)| *routine);
    TakenRoutine { routine: first, guessed: best.next().is_some() }
}
