//! The planned history, told and written: who said what when, what helped, what it took.

use super::people::{NOT_IN_FILE, STOPS_MIDWAY, TECHNICIANS, WONT_FINISH, WONT_START, WRONG_RESULT};
use super::plan::{self, Cause, Placed, Planned, WEEKS, Wanted, pick};
use super::stage::{Scene, Stage};
use super::{TYPES, Written};
use crate::calls::{self, ChangeError, NewCall};
use crate::entries::{Change, What};
use crate::error::{Error, Result};
use crate::findings::{self, Finding, PartUsed, Solved, Stated};
use crate::id::{CallId, ExposureId, MachineId, RunId, TypeId, VersionId};
use crate::machine_types::NewVersion;
use crate::machines::{self, Exposure, NewMachine, Unit};
use crate::procedures::{self, Measured, ProcedureRun};
use crate::store::Store;
use diagnose::call::{Entry, Kind, entries_of};
use diagnose::evidence::{CheckReport, Complaint, Deed, Evidence, LampPlace, LampReport, LampState, Moment, Naming};
use fastrand::Rng;
use jiff::{SignedDuration, Timestamp};
use machine::id::{Id, RemedyId, RoutineId};
use machine::model::{DeviationKind, Who};
use rusqlite::{Connection, params};
use sim::View;

/// Calls that are still open at the end.
const OPEN: usize = 3;
/// Of the versions of the parts washer, the older was in use for this share of the history.
const OLDER: f64 = 0.45;

pub(super) fn write(store: &mut Store, wanted: &Wanted, now: Timestamp) -> Result<Written> {
    let mut dice = Rng::with_seed(wanted.seed);
    let stages = plan::stages();
    let begin = now - SignedDuration::from_hours(WEEKS * 7 * 24);
    let mut types = Vec::new();
    let mut older = None;
    for (name, text) in TYPES {
        if name == "parts-washer" {
            let text = text.replace("version = \"7\"", "version = \"6\"");
            let first = NewVersion { name, text: &text, note: "as delivered", ..NewVersion::default() };
            older = Some(store.add_version(&first, begin)?.version);
        }
        let new = NewVersion { name, text, note: "", ..NewVersion::default() };
        let time = if older.is_some() && name == "parts-washer" { later(begin, now, OLDER) } else { begin };
        types.push(store.add_version(&new, time)?);
    }
    let machines = plan::machines(&stages, &mut dice);
    let planned = plan::calls(&stages, &machines, wanted.calls, now, &mut dice);
    store.write(|database| {
        let mut ids = Vec::with_capacity(machines.len());
        for placed in &machines {
            ids.push(add_machine(database, placed, types[placed.kind].machine_type, begin)?);
        }
        for (placed, id) in machines.iter().zip(&ids) {
            add_exposures(database, placed, *id, begin)?;
            add_runs(database, &stages[placed.stage], *id, types[placed.kind].version, (begin, now), &mut dice)?;
        }
        let washer = types[2];
        let mut current = older;
        set_current(database, washer.machine_type, older.unwrap_or(washer.version))?;
        for (number, call) in planned.iter().enumerate() {
            if current.is_some() && call.began >= later(begin, now, OLDER) {
                set_current(database, washer.machine_type, washer.version)?;
                current = None;
            }
            let told =
                Told { stage: &stages[machines[call.machine].stage], call, open: number + OPEN >= planned.len() };
            told.write(database, ids[call.machine], now, &mut dice)?;
        }
        set_current(database, washer.machine_type, washer.version)?;
        Ok(Written { machines: machines.len(), calls: planned.len() })
    })
}

fn later(begin: Timestamp, end: Timestamp, share: f64) -> Timestamp {
    begin + SignedDuration::from_secs((end.duration_since(begin).as_secs() as f64 * share) as i64)
}

fn set_current(database: &Connection, machine_type: TypeId, version: VersionId) -> Result<()> {
    database.execute("UPDATE machine_type SET current = ?2 WHERE id = ?1", params![machine_type, version])?;
    Ok(())
}

fn add_machine(database: &Connection, placed: &Placed, machine_type: TypeId, at: Timestamp) -> Result<MachineId> {
    let new = NewMachine {
        serial: placed.serial.clone(),
        site: Some(placed.site.to_owned()),
        settings: placed.settings.clone(),
        contact: placed.contact.to_owned(),
        notes: placed.notes.to_owned(),
        running_hours: Some(placed.hours_before + placed.weekly_hours * WEEKS as f64),
        ..NewMachine::of(machine_type)
    };
    machines::keep(database, None, &new, at)
}

/// The hours of each quarter year.
fn add_exposures(database: &Connection, placed: &Placed, machine: MachineId, begin: Timestamp) -> Result<()> {
    const QUARTER: i64 = 13;
    for quarter in 0..WEEKS / QUARTER {
        let week = |number: i64| begin + SignedDuration::from_hours(number * 7 * 24);
        let exposure = Exposure {
            id: ExposureId(0),
            machine,
            since: week(quarter * QUARTER),
            until: week((quarter + 1) * QUARTER),
            amount: placed.weekly_hours * QUARTER as f64,
            unit: Unit::Hours,
        };
        machines::add_exposure(database, &exposure)?;
    }
    Ok(())
}

/// Procedures that measure something, three or four times a year.
fn add_runs(
    database: &Connection,
    stage: &Stage,
    machine: MachineId,
    version: VersionId,
    (begin, end): (Timestamp, Timestamp),
    dice: &mut Rng,
) -> Result<()> {
    for procedure in stage.machine.procedures.rows() {
        let measurements: Vec<_> = procedure.steps.iter().filter_map(|step| step.measure.as_ref()).collect();
        if measurements.is_empty() {
            continue;
        }
        let mut at = begin + SignedDuration::from_hours(dice.i64(24..2_000));
        while at < end {
            let values = measurements.iter().map(|measured| {
                let (middle, half) = (f64::midpoint(measured.from, measured.to), (measured.to - measured.from) / 2.0);
                // The sum of two dice: mostly near the middle, now and then outside.
                let value = middle + half * 1.1 * (dice.f64() + dice.f64() - 1.0);
                Measured {
                    what: measured.words.english.clone(),
                    value: (value * 10.0).round() / 10.0,
                    unit: measured.unit.english.clone(),
                    lowest: Some(measured.from),
                    highest: Some(measured.to),
                }
            });
            let values: Vec<Measured> = values.collect();
            let run = ProcedureRun {
                id: RunId(0),
                machine,
                version,
                call: None,
                at,
                name: procedure.name.clone(),
                done_by: TECHNICIANS[dice.usize(0..TECHNICIANS.len())].to_owned(),
                completed: true,
                note: String::new(),
                values,
            };
            procedures::add(database, &run)?;
            at += SignedDuration::from_hours(dice.i64(1_800..3_600));
        }
    }
    Ok(())
}

/// One call as it is told.
struct Told<'t> {
    stage: &'t Stage,
    call: &'t Planned,
    open: bool,
}

impl Told<'_> {
    fn write(&self, database: &Connection, machine: MachineId, end: Timestamp, dice: &mut Rng) -> Result<()> {
        let mut at = self.call.began;
        let call = calls::begin(database, &NewCall::On(machine), None, None, at)?;
        let mut counter = 0;
        let mut minutes = 0.0;
        let mut say = |entries: Vec<Entry>, at: Timestamp, dice: &mut Rng| -> Result<()> {
            if entries.is_empty() {
                return Ok(());
            }
            if dice.u32(0..25) == 0 {
                // Said wrongly and taken back.
                let slip = Change::Add(vec![Entry::new(Kind::Note, "wrong machine, one moment")]);
                counter = change(database, call, counter, &slip, at)?;
                counter = change(database, call, counter, &Change::Undo, at)?;
            }
            counter = change(database, call, counter, &Change::Add(entries), at)?;
            Ok(())
        };
        let (opening, checks, ending) = self.entries(dice);
        for entry in opening.into_iter().chain(checks) {
            at += SignedDuration::from_secs(dice.i64(20..200));
            minutes += 1.5;
            say(vec![entry], at, dice)?;
        }
        if self.open {
            return Ok(());
        }
        let finding = self.finding(minutes, dice);
        let wait = match finding.visits {
            0 => SignedDuration::from_mins(dice.i64(5..40)),
            visits => SignedDuration::from_hours(i64::from(visits) * dice.i64(3..40)),
        };
        at = (at + wait).min(end);
        if finding.solved != Solved::Unsolved {
            say(ending, at, dice)?;
        }
        findings::put(database, call, &finding, at)?;
        counter = calls::note(database, call, counter, &[calls::plain(What::Finding, counter, at)], at)?;
        calls::close(database, call, counter, at).map_err(plain)?;
        Ok(())
    }

    fn scene(&self) -> Option<&Scene> {
        match self.call.cause {
            Cause::Scene(number) => self.stage.scenes.get(number),
            Cause::NotInFile => None,
        }
    }

    fn remedy(&self) -> Option<RemedyId> {
        self.stage.machine.deviations[self.scene()?.deviation].remedy
    }

    /// What was said at first, what was checked, and what helped.
    fn entries(&self, dice: &mut Rng) -> (Vec<Entry>, Vec<Entry>, Vec<Entry>) {
        let machine = &self.stage.machine;
        let Some(scene) = self.scene() else {
            let opening = vec![
                Entry::new(Kind::Complaint, STOPS_MIDWAY[dice.usize(0..STOPS_MIDWAY.len())]),
                Entry::new(Kind::Note, "nothing fits with what is seen"),
            ];
            return (opening, Vec::new(), vec![Entry::new(Kind::Runs, "yes")]);
        };
        let complaints = scene.complaints();
        let complaint = complaints[pick(&complaints.map(|(_, probability)| probability), dice)].0;
        let said: &[&str] = match complaint {
            Complaint::WontStart => &WONT_START,
            Complaint::StopsMidway => &STOPS_MIDWAY,
            Complaint::WontFinish => &WONT_FINISH,
            Complaint::WrongResult => &WRONG_RESULT,
        };
        let mut opening = vec![Entry::new(Kind::Complaint, said[dice.usize(0..said.len())])];
        let deed = Deed::Routine(scene.stage.checked_sub(1));
        let heard = |moment: Moment| {
            let evidence = Evidence { routine: Some(RoutineId::new(0)), moments: vec![moment], ..Evidence::default() };
            entries_of(machine, &evidence).into_iter().filter(|entry| entry.kind != Kind::Routine).collect::<Vec<_>>()
        };
        opening.extend(heard(Moment { deeds: vec![deed], ..Moment::default() }));
        opening.extend(heard(Moment { lamps: self.lamps(scene, dice), ..Moment::default() }));
        let mut checks = Vec::new();
        for check in self.checks(scene, dice) {
            checks.extend(heard(Moment { checks: vec![check], ..Moment::default() }));
        }
        let mut ending = Vec::new();
        if let Some(remedy) = self.remedy() {
            ending.push(Entry::new(Kind::Tried, &machine.remedies[remedy].key));
        }
        ending.push(Entry::new(Kind::Runs, "yes"));
        (opening, checks, ending)
    }

    /// The lamps as read out: lit ones by name and the rest dark, or some of them by name.
    fn lamps(&self, scene: &Scene, dice: &mut Rng) -> Vec<LampReport> {
        let rest_dark = dice.u32(0..3) != 0;
        let mut reports = Vec::new();
        for (place, _) in LampPlace::all(&self.stage.machine) {
            let Some(number) = self.stage.panel.number(place) else { continue };
            let mut state = scene.lamps.state(number);
            if dice.u32(0..150) == 0 {
                state = if state == LampState::Dark { LampState::Lit } else { LampState::Dark };
            }
            let naming = if rest_dark && state == LampState::Dark { Naming::Rest } else { Naming::Named };
            if rest_dark || dice.u32(0..6) != 0 {
                reports.push(LampReport { place, state, naming });
            }
        }
        reports
    }

    /// One or two checks at the device, answered as it is.
    fn checks(&self, scene: &Scene, dice: &mut Rng) -> Vec<CheckReport> {
        let machine = &self.stage.machine;
        let DeviationKind::Fault(device) = machine.deviations[scene.deviation].kind else { return Vec::new() };
        let own: Vec<_> = machine.checks.iter().filter(|(_, check)| check.device == Some(device)).collect();
        let there = [scene.deviation];
        let view = View::new(machine, &self.stage.plant, &scene.situation, &there);
        let mut reports = Vec::new();
        for (id, check) in own {
            if reports.len() < 2 && dice.bool() {
                reports.push(CheckReport { check: id, answer: pick(&view.answers(&check.observes), dice) });
            }
        }
        reports
    }

    fn finding(&self, minutes: f64, dice: &mut Rng) -> Finding {
        let machine = &self.stage.machine;
        let confirmed_by = TECHNICIANS[dice.usize(0..TECHNICIANS.len())].to_owned();
        let Some(scene) = self.scene() else {
            return Finding {
                words: NOT_IN_FILE[dice.usize(0..NOT_IN_FILE.len())].to_owned(),
                sure: 0.9,
                confirmed_by,
                not_in_file: true,
                solved: Solved::Visit,
                minutes: Some((minutes + f64::from(dice.u32(30..120))).round()),
                visits: 1 + u32::from(dice.u32(0..4) == 0),
                stated: self.stated(None, dice),
                ..Finding::default()
            };
        };
        let deviation = &machine.deviations[scene.deviation];
        let device = match deviation.kind {
            DeviationKind::Fault(device) => Some(&machine.devices[device]),
            DeviationKind::Lapse => None,
        };
        let remedy = deviation.remedy.map(|remedy| &machine.remedies[remedy]);
        let by_caller = remedy.is_none_or(|remedy| remedy.who == Who::Operator);
        let solved = match dice.u32(0..100) {
            0..=1 => Solved::Unsolved,
            draw if (by_caller && draw < 92) || draw < 20 => Solved::Phone,
            _ => Solved::Visit,
        };
        let part = remedy.and_then(|remedy| remedy.part.as_ref()).filter(|_| solved != Solved::Unsolved);
        // The part was not in the van, or the first idea was wrong.
        let twice = dice.u32(0..100) < if part.is_some() { 24 } else { 10 };
        let visits = if solved == Solved::Visit { 1 + u32::from(twice) + u32::from(dice.u32(0..40) == 0) } else { 0 };
        let words = match device {
            Some(device) => format!("{}: {}", device.words.english, deviation.words.english),
            None => deviation.words.english.clone(),
        };
        let took = minutes + remedy.map_or(3.0, |remedy| remedy.minutes) * (0.7 + 0.9 * dice.f64());
        Finding {
            deviations: vec![deviation.key.clone()],
            words: if self.call.again { format!("{words}; the same as the time before") } else { words },
            remedies: remedy
                .map(|remedy| remedy.key.clone())
                .into_iter()
                .filter(|_| solved != Solved::Unsolved)
                .collect(),
            sure: [1.0, 1.0, 0.95, 0.9, 0.6][dice.usize(0..5)],
            confirmed_by: if solved == Solved::Phone { String::new() } else { confirmed_by },
            not_in_file: false,
            solved,
            minutes: Some((took + f64::from(visits.saturating_sub(1)) * 20.0).round()),
            visits,
            parts: part
                .map(|part| PartUsed {
                    part: part.words.english.clone(),
                    count: 1,
                    price: Some(part.price).filter(|price| *price > 0.0),
                })
                .into_iter()
                .collect(),
            stated: self.stated(Some(scene), dice),
        }
    }

    /// What was stated at the end: a leading cause that is right about as often as it is said to be, and others that
    /// look alike or lie near.
    fn stated(&self, truth: Option<&Scene>, dice: &mut Rng) -> Vec<Stated> {
        let machine = &self.stage.machine;
        let key = |scene: &Scene| machine.deviations[scene.deviation].key.clone();
        let alike: Vec<&Scene> = self
            .stage
            .scenes
            .iter()
            .filter(|scene| truth.is_none_or(|truth| scene.lamps == truth.lamps && scene.deviation != truth.deviation))
            .collect();
        let leading = match truth {
            Some(_) => 1.0 - 0.75 * dice.f64() * dice.f64(),
            // Nothing fits well.
            None => 0.15 + 0.4 * dice.f64(),
        };
        // A little too sure of itself, as people find that advice is.
        let right = truth.filter(|_| dice.f64() < 0.92 * leading);
        let mut keys: Vec<String> = right.map(key).into_iter().collect();
        let mut from = if alike.is_empty() { self.stage.scenes.iter().collect() } else { alike };
        dice.shuffle(&mut from);
        keys.extend(
            from.iter()
                .map(|scene| key(scene))
                .filter(|key| truth.is_none_or(|it| machine.deviations[it.deviation].key != *key))
                .take(3),
        );
        if let (Some(truth), None, true) = (truth, right, dice.bool()) {
            keys.insert(1.min(keys.len()), key(truth));
        }
        let (mut left, mut last) = (1.0, 1.0);
        let mut stated = Vec::new();
        for (at, key) in keys.into_iter().enumerate() {
            let probability = if at == 0 { leading } else { (left * (0.4 + 0.3 * dice.f64())).min(0.95 * last) };
            last = probability;
            left -= probability;
            stated.push(Stated { key, probability: (probability * 1e4).floor() / 1e4 });
        }
        stated
    }
}

fn change(database: &Connection, call: CallId, seen: u64, what: &Change, at: Timestamp) -> Result<u64> {
    calls::change(database, call, seen, what, at).map_err(plain)
}

/// Nobody else is there while the history is written.
fn plain(error: ChangeError) -> Error {
    match error {
        ChangeError::Error(error) => error,
        ChangeError::Conflict(conflict) => Error::refused("the call", conflict.to_string(), "try again"),
    }
}
