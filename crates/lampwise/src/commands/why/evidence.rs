//! What was typed, read with the names of the machine. All mistakes of all flags
//! are told in one go.

use diagnose::evidence::{Deed, Evidence, Moment, Told, retold};
use diagnose::reading::{
    ReadingError, read_checks, read_complained, read_deeds, read_events, read_lamps, read_positions, read_remedies,
};
use machine::Machine;
use machine::id::{Id, RoutineId};

use super::moments::Typed;
use crate::arguments::Why;
use crate::failure::Failure;

/// The routine in which the deeds were read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct TakenRoutine {
    /// Which; none if nothing was said that depends on it.
    pub routine: Option<RoutineId>,
    /// Whether it was taken although others would fit as well.
    pub guessed: bool,
}

/// What was reported, as each alternative of the machine understands it.
pub struct Heard {
    /// By alternative.
    pub told: Vec<Told>,
    /// The alternative that understands most; the most probable of those that do.
    pub best: usize,
    /// The routine in which that one reads the deeds.
    pub routine: TakenRoutine,
}

/// Reads everything that was reported with the names of every alternative: a revision can have a
/// lamp that the others don't have. What none of them knows is told with the names of the first.
pub fn read(machines: &[&Machine], why: &Why, typed: &[Typed]) -> Result<Heard, Failure> {
    let mut failures = Failures::default();
    let complained = why.complaint.as_deref().and_then(|text| {
        let read = if text.trim().is_empty() { Ok((None, None)) } else { read_complained(text) };
        failures.keep("--complaint", text, read)
    });
    let (complaint, once_in) = complained.unwrap_or_default();
    if why.hours.is_some_and(|hours| !hours.is_finite() || hours < 0.0) {
        let hint = "give running hours, such as `--hours 40`";
        failures.take::<()>(Err(Failure::new("hours", "`--hours` must be a number that is not below 0", hint)));
    }
    let recently = why.recently.join(", ");
    let recently = failures.keep("--recently", &recently, read_events(&recently)).unwrap_or_default();

    let readers = readers(machines);
    let taken = failures.take(taken_routines(&readers, why.routine.as_deref(), typed)).unwrap_or_default();
    let routine_of = |reader: usize| taken.get(reader).and_then(|one| one.routine).unwrap_or(RoutineId::new(0));
    let base = |routine: Option<RoutineId>| Evidence {
        complaint,
        routine,
        hours_since_well: why.hours,
        recently: recently.clone(),
        once_in,
        most_at_once: why.at_once.filter(|most| *most > 2),
        moments: vec![Moment::default(); typed.len()],
    };
    let mut told: Vec<Told> = taken.iter().map(|taken| Told { evidence: base(taken.routine), unknown: 0 }).collect();
    for (at, one) in typed.iter().enumerate() {
        for part in PARTS {
            let (flag, text) = part.typed(one);
            if text.is_empty() {
                continue;
            }
            let read: Vec<Result<Moment, _>> = (readers.iter().enumerate())
                .map(|(reader, machine)| part.read(machine, routine_of(reader), text))
                .collect();
            let Some(knows) = read.iter().position(Result::is_ok) else {
                failures.keep(flag, text, read.into_iter().next().unwrap_or_else(|| Ok(Moment::default())));
                continue;
            };
            let known = read.get(knows).and_then(|read| read.as_ref().ok()).cloned().unwrap_or_default();
            let routine = taken.get(knows).and_then(|one| one.routine);
            let known = Evidence { routine, moments: vec![known], ..Evidence::default() };
            for ((reader, read), told) in read.into_iter().enumerate().zip(&mut told) {
                let mut piece = match read {
                    Ok(moment) => {
                        Told { evidence: Evidence { moments: vec![moment], ..Evidence::default() }, unknown: 0 }
                    }
                    Err(_) => retold(&known, readers[knows], readers[reader]),
                };
                told.unknown += piece.unknown;
                if let (Some(moment), Some(more)) = (told.evidence.moments.get_mut(at), piece.evidence.moments.pop()) {
                    add(moment, more);
                }
            }
        }
    }
    let best = (0..told.len()).min_by_key(|reader| told[*reader].unknown).unwrap_or(0);
    let reader_of = |machine: &Machine| readers.iter().position(|reader| reader.revision == machine.revision);
    let told_to =
        |machine: &&Machine| reader_of(machine).and_then(|reader| told.get(reader)).cloned().unwrap_or_default();
    let heard = Heard {
        told: machines.iter().map(told_to).collect(),
        best: machines.iter().position(|machine| reader_of(machine) == Some(best)).unwrap_or(0),
        routine: taken.get(best).copied().unwrap_or_default(),
    };
    failures.or(heard)
}

/// One machine of each revision; alternatives of the same revision have the same names.
fn readers<'m>(machines: &[&'m Machine]) -> Vec<&'m Machine> {
    let mut readers: Vec<&Machine> = Vec::new();
    for machine in machines {
        if !readers.iter().any(|known| known.revision == machine.revision) {
            readers.push(machine);
        }
    }
    readers
}

/// The routine in which each reads the deeds.
fn taken_routines(readers: &[&Machine], named: Option<&str>, typed: &[Typed]) -> Result<Vec<TakenRoutine>, Failure> {
    let Some(name) = named else {
        return Ok(readers.iter().map(|machine| fitting_routine(machine, typed)).collect());
    };
    let found: Vec<_> = readers.iter().map(|machine| routine_called(machine, name)).collect();
    if found.iter().all(Result::is_err) {
        found.into_iter().next().transpose()?;
        return Ok(Vec::new());
    }
    Ok(found.into_iter().map(|found| TakenRoutine { routine: found.ok(), guessed: false }).collect())
}

/// A kind of report about one moment, read by itself.
#[derive(Clone, Copy)]
enum Part {
    Deeds,
    Lamps,
    Saw,
    Found,
    Tried,
}

const PARTS: [Part; 5] = [Part::Deeds, Part::Lamps, Part::Saw, Part::Found, Part::Tried];

impl Part {
    /// The flag, and what was typed behind it.
    fn typed(self, typed: &Typed) -> (&'static str, &str) {
        match self {
            Self::Deeds => (typed.deeds_flag, &typed.deeds),
            Self::Lamps => ("--lamps", &typed.lamps),
            Self::Saw => ("--saw", &typed.saw),
            Self::Found => ("--found", &typed.found),
            Self::Tried => ("--tried", &typed.tried),
        }
    }

    fn read(self, machine: &Machine, routine: RoutineId, text: &str) -> Result<Moment, Vec<ReadingError>> {
        let mut moment = Moment::default();
        match self {
            Self::Deeds => moment.deeds = read_deeds(machine, routine, text)?,
            Self::Lamps => moment.lamps = read_lamps(machine, text)?,
            Self::Saw => moment.positions = read_positions(machine, text)?,
            Self::Found => moment.checks = read_checks(machine, text)?,
            Self::Tried => moment.remedies = read_remedies(machine, text)?,
        }
        Ok(moment)
    }
}

fn add(moment: &mut Moment, more: Moment) {
    moment.deeds.extend(more.deeds);
    moment.remedies.extend(more.remedies);
    moment.lamps.extend(more.lamps);
    moment.positions.extend(more.positions);
    moment.checks.extend(more.checks);
    moment.runs = moment.runs.or(more.runs);
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
