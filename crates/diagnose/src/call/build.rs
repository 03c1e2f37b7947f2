//! From the entries to the evidence: which moment each belongs to.
//!
//! A report belongs to the present moment. `then`, `tried` and `again` begin a new one, unless the present one was
//! just begun by such an act and nothing has been reported in it. `did` always belongs to the first.

use super::as_said::says_it_runs;
use super::entry::{Entry, EntryMistake, Kind};
use super::record::MOST_ENTRIES;
use crate::evidence::{Deed, Evidence, Moment};
use crate::larger::MOST_AT_ONCE;
use crate::next::ToDo;
use crate::reading::{
    LONGEST_TEXT, MistakeKind, ReadingError, read_checks, read_complained, read_deeds, read_events, read_lamps,
    read_positions, read_remedies,
};
use machine::Machine;
use machine::id::{Id, RoutineId};
use machine::model::{HandMove, Who};
use std::ops::Range;

/// Entries understood.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Built {
    pub evidence: Evidence,
    /// What nobody there knows or can do.
    pub left_out: Vec<ToDo>,
    /// Who is there, if it was said.
    pub who: Option<Who>,
    /// The remedy that was tried last, with its entry's place.
    pub tried: Option<machine::id::RemedyId>,
    /// Whether it was said last that it runs again.
    pub runs: bool,
}

/// Reads all entries with the names of this machine.
pub(super) fn build(machine: &Machine, entries: &[Entry]) -> Result<Built, Vec<EntryMistake>> {
    if entries.len() > MOST_ENTRIES {
        let hint = "begin a new call".to_owned();
        return Err(vec![plain(MOST_ENTRIES, "", "a call holds no more entries", hint)]);
    }
    let mut mistakes = Vec::new();
    let routine = match entries.iter().position(|entry| entry.kind == Kind::Routine) {
        None => fitting_routine(machine, entries),
        Some(at) => match routine_called(machine, &entries[at].text) {
            Some(routine) => Some(routine),
            None => {
                let names: Vec<&str> = machine.routines.rows().map(|routine| routine.name.as_str()).collect();
                mistakes.push(plain(
                    at,
                    &entries[at].text,
                    "there is no such routine",
                    format!("there is: {}", names.join(", ")),
                ));
                None
            }
        },
    };
    let mut builder = Builder {
        machine,
        routine: routine.unwrap_or(RoutineId::new(0)),
        built: Built::default(),
        moments: vec![Parts::default()],
        mistakes,
    };
    builder.built.evidence.routine = routine;
    for (at, entry) in entries.iter().enumerate() {
        if entry.text.len() > LONGEST_TEXT {
            let hint = format!("say it in at most {LONGEST_TEXT} bytes");
            builder.mistakes.push(plain(at, "", "this is too long", hint));
            continue;
        }
        builder.put(at, entry);
    }
    builder.finish(entries)
}

/// A moment, with the texts that are read jointly: what is "the rest" depends on all of them.
#[derive(Default)]
struct Parts {
    moment: Moment,
    begun_by_act: bool,
    reported: bool,
    lamps: Joint,
    saw: Joint,
    found: Joint,
}

/// Texts of several entries put together.
#[derive(Default)]
struct Joint {
    text: String,
    /// Each entry with where its text is.
    places: Vec<(usize, Range<usize>)>,
}

impl Joint {
    fn put(&mut self, at: usize, text: &str) {
        if !self.text.is_empty() {
            self.text.push_str("; ");
        }
        let from = self.text.len();
        self.text.push_str(text);
        self.places.push((at, from..self.text.len()));
    }

    /// The mistakes of the whole as mistakes of the entries that they are in.
    fn of_entries(&self, mistakes: Vec<ReadingError>, entries: &[Entry], all: &mut Vec<EntryMistake>) {
        for mut mistake in mistakes {
            let here = |span: &Range<usize>| self.places.iter().rev().find(|(_, place)| place.start <= span.start);
            let Some((at, place)) = here(&mistake.span).or(self.places.last()) else { continue };
            let shifted = |span: &Range<usize>| {
                let length = place.end - place.start;
                span.start.saturating_sub(place.start).min(length)..span.end.saturating_sub(place.start).min(length)
            };
            if let Some(other) = mistake.other.take() {
                match here(&other) {
                    Some((same, _)) if same == at => mistake.other = Some(shifted(&other)),
                    Some((entry, _)) => {
                        mistake.what = format!("{}: entry {} says the other", mistake.what, entry + 1);
                        let word = if entries[*at].kind == Kind::Lamps { "again" } else { "then" };
                        mistake.hint = format!(
                            "`change {} …` puts it right; if it has changed meanwhile, begin with `{word}`",
                            entry + 1
                        );
                    }
                    None => {}
                }
            }
            mistake.span = shifted(&mistake.span);
            match all.iter_mut().find(|known| known.entry == *at) {
                Some(known) => known.mistakes.push(mistake),
                None => all.push(EntryMistake { entry: *at, text: entries[*at].text.clone(), mistakes: vec![mistake] }),
            }
        }
    }
}

struct Builder<'m> {
    machine: &'m Machine,
    routine: RoutineId,
    built: Built,
    moments: Vec<Parts>,
    mistakes: Vec<EntryMistake>,
}

impl Builder<'_> {
    fn put(&mut self, at: usize, entry: &Entry) {
        let text = entry.text.as_str();
        let machine = self.machine;
        match entry.kind {
            Kind::Who => match who_called(text) {
                Some(who) => self.built.who = Some(who),
                None => self.wrong(at, text, "it is not clear who that is", "say operator, technician or electrician"),
            },
            Kind::Hours => match hours(text) {
                Some(hours) => self.built.evidence.hours_since_well = Some(hours),
                None => self.wrong(at, text, "this is no number of running hours", "write a number, such as 40"),
            },
            Kind::AtOnce => match at_once(text) {
                Some(most) => self.built.evidence.most_at_once = most,
                None => {
                    let hint = format!("write a number from 2 to {MOST_AT_ONCE}");
                    self.wrong(at, text, "this is no number of things that can be wrong at once", &hint);
                }
            },
            Kind::Recently => {
                if let Some(events) = self.read(at, text, read_events(text)) {
                    let all = &mut self.built.evidence.recently;
                    events.into_iter().for_each(|event| {
                        if !all.contains(&event) {
                            all.push(event);
                        }
                    });
                }
            }
            Kind::Complaint => self.complaint(at, text),
            Kind::Routine | Kind::Note => {}
            Kind::Did => {
                if let Some(deeds) = self.read(at, text, read_deeds(machine, self.routine, text)) {
                    self.moments[0].moment.deeds.extend(deeds);
                }
            }
            Kind::Lamps | Kind::Again => {
                if entry.kind == Kind::Again && self.present().reported {
                    self.moments.push(Parts::default());
                }
                self.report(|present| present.lamps.put(at, text));
            }
            Kind::Saw => self.report(|present| present.saw.put(at, text)),
            Kind::Found => self.report(|present| present.found.put(at, text)),
            Kind::Then => {
                if let Some(deeds) = self.read(at, text, read_deeds(machine, self.routine, text)) {
                    self.act().moment.deeds.extend(deeds);
                }
            }
            Kind::Tried => {
                if let Some(remedies) = self.read(at, text, read_remedies(machine, text)) {
                    self.built.tried = remedies.last().copied().or(self.built.tried);
                    self.act().moment.remedies.extend(remedies);
                }
                self.built.runs = false;
            }
            Kind::Runs => match says_it_runs(text) {
                Some(runs) => {
                    self.built.runs = runs;
                    if !runs {
                        // What was tried did not help: should it run later, it was something else.
                        self.built.tried = None;
                    }
                    if self.moments.len() == 1 {
                        // Before anything was done it does not run, or nobody would call.
                        self.moments.push(Parts::default());
                    }
                    self.report(|present| present.moment.runs = Some(runs));
                }
                None => self.wrong(at, text, "it is not clear whether it runs", "say yes or no"),
            },
            Kind::Unknown | Kind::Cannot => match OPENING.contains(&text) {
                true if text != "lamps" => {}
                _ => match to_do_called(machine, text) {
                    Some(to_do) => self.built.left_out.push(to_do),
                    None => {
                        let hint = "name what was asked by its key, such as check:B1/own-led";
                        self.wrong(at, text, "nothing that can be asked has this key", hint);
                    }
                },
            },
        }
    }

    /// "it stops midway, 1 in 20 cycles": what, how often, or both.
    fn complaint(&mut self, at: usize, text: &str) {
        if let Some((complaint, once_in)) = self.read(at, text, read_complained(text)) {
            (self.built.evidence.complaint, self.built.evidence.once_in) = (complaint, once_in);
        }
    }

    fn present(&mut self) -> &mut Parts {
        let last = self.moments.len() - 1;
        &mut self.moments[last]
    }

    fn report(&mut self, put: impl FnOnce(&mut Parts)) {
        let present = self.present();
        put(present);
        present.reported = true;
    }

    fn act(&mut self) -> &mut Parts {
        let present = self.present();
        if !present.begun_by_act || present.reported {
            self.moments.push(Parts { begun_by_act: true, ..Parts::default() });
        }
        self.present()
    }

    fn read<T>(&mut self, at: usize, text: &str, read: Result<T, Vec<ReadingError>>) -> Option<T> {
        match read {
            Ok(value) => Some(value),
            Err(mistakes) => {
                self.mistakes.push(EntryMistake { entry: at, text: text.to_owned(), mistakes });
                None
            }
        }
    }

    fn wrong(&mut self, at: usize, text: &str, what: &str, hint: &str) {
        self.mistakes.push(plain(at, text, what, hint.to_owned()));
    }

    fn finish(self, entries: &[Entry]) -> Result<Built, Vec<EntryMistake>> {
        let Self { machine, mut built, moments, mut mistakes, .. } = self;
        for mut parts in moments {
            let moment = &mut parts.moment;
            match read_lamps(machine, &parts.lamps.text) {
                Ok(lamps) => moment.lamps = lamps,
                Err(wrong) => parts.lamps.of_entries(wrong, entries, &mut mistakes),
            }
            match read_positions(machine, &parts.saw.text) {
                Ok(positions) => moment.positions = positions,
                Err(wrong) => parts.saw.of_entries(wrong, entries, &mut mistakes),
            }
            match read_checks(machine, &parts.found.text) {
                Ok(checks) => moment.checks = checks,
                Err(wrong) => parts.found.of_entries(wrong, entries, &mut mistakes),
            }
            built.evidence.moments.push(parts.moment);
        }
        if mistakes.is_empty() {
            Ok(built)
        } else {
            mistakes.sort_by_key(|mistake| mistake.entry);
            Err(mistakes)
        }
    }
}

/// Keys of the questions that every call begins with.
pub(super) const OPENING: [&str; 3] = ["complaint", "did", "lamps"];

fn plain(entry: usize, text: &str, what: &str, hint: String) -> EntryMistake {
    let kind = MistakeKind::NoSuchName;
    let mistake = ReadingError { kind, span: 0..text.len(), other: None, what: what.to_owned(), hint };
    EntryMistake { entry, text: text.to_owned(), mistakes: vec![mistake] }
}

/// The routine of this name.
#[must_use]
pub fn routine_called(machine: &Machine, name: &str) -> Option<RoutineId> {
    let wanted = name.trim().to_lowercase();
    let is_so = |routine: &machine::model::Routine| {
        routine.name.to_lowercase() == wanted || routine.words.english.to_lowercase() == wanted
    };
    machine.routines.find(is_so).map(|(id, _)| id)
}

/// The routine in which most of the deeds have their place; the first of those that fit alike.
fn fitting_routine(machine: &Machine, entries: &[Entry]) -> Option<RoutineId> {
    let deeds = || entries.iter().filter(|entry| matches!(entry.kind, Kind::Did | Kind::Then));
    let mut best: Option<(usize, RoutineId)> = None;
    for routine in machine.routines.ids() {
        let mut placed = 0;
        for entry in deeds() {
            let read = read_deeds(machine, routine, &entry.text).unwrap_or_default();
            placed += read.iter().filter(|deed| matches!(deed, Deed::Routine(Some(_)))).count();
        }
        if placed > best.map_or(0, |(most, _)| most) {
            best = Some((placed, routine));
        }
    }
    best.map(|(_, routine)| routine)
}

fn who_called(text: &str) -> Option<Who> {
    match text.trim().to_lowercase().as_str() {
        "operator" => Some(Who::Operator),
        "technician" => Some(Who::Technician),
        "electrician" => Some(Who::Electrician),
        _ => None,
    }
}

fn hours(text: &str) -> Option<f64> {
    let number = text.trim().trim_end_matches(|letter: char| letter.is_alphabetic()).trim().replace(',', ".");
    number.parse().ok().filter(|hours: &f64| hours.is_finite() && *hours >= 0.0)
}

/// How many things that are wrong at once are thought of: none for two, which always are. `None` if it is no number of them.
fn at_once(text: &str) -> Option<Option<usize>> {
    let most: usize = text.trim().parse().ok()?;
    (2..=MOST_AT_ONCE).contains(&most).then_some(Some(most).filter(|most| *most > 2))
}

/// What has this [key](ToDo::key).
#[must_use]
pub fn to_do_called(machine: &Machine, key: &str) -> Option<ToDo> {
    let (kind, name) = key.split_once(':').unwrap_or((key, ""));
    let all: Vec<ToDo> = match kind {
        "check" => vec![ToDo::Check(machine.checks.find(|check| check.key == name)?.0)],
        "remedy" => vec![ToDo::Remedy(machine.remedies.find(|remedy| remedy.key == name)?.0)],
        "position" => vec![ToDo::Position(machine.mechanisms.find(|mechanism| mechanism.name == name)?.0)],
        "lamps" => vec![ToDo::Lamps],
        "go-on" => vec![ToDo::GoOn],
        "lamp" => crate::evidence::LampPlace::all(machine).map(|(place, _)| ToDo::Lamp(place)).collect(),
        "do" => {
            let actions = || machine.routines.rows().flat_map(|routine| &routine.actions);
            let longest = machine.routines.rows().map(|routine| routine.actions.len()).max().unwrap_or(0);
            let numbered = (0..longest).map(|index| Deed::Routine(Some(index)));
            let moves = actions().map(|action| Deed::Extra(action.movement));
            let cycle = [Deed::Extra(HandMove::PowerCycle)];
            numbered.chain(moves).chain(cycle).map(ToDo::Act).collect()
        }
        _ => return None,
    };
    all.into_iter().find(|to_do| to_do.key(machine) == key)
}
