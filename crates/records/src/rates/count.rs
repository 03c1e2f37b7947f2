//! Findings and running hours, counted by device type, fault mode and machine type.

use crate::error::Result;
use crate::id::{MachineId, TypeId, VersionId};
use crate::machines::Machine;
use crate::store::Store;
use crate::text;
use jiff::{SignedDuration, Timestamp};
use machine::model::{Chance, DeviationKind};
use machine::{Choice, Reading};
use serde::Serialize;
use std::collections::BTreeMap;
use std::collections::btree_map::Entry;

/// The same fault on the same machine within so many days is the same finding: it had not been put right (common
/// practice, no source).
pub(crate) const SAME_WITHIN_DAYS: i64 = 30;

/// Counts of one fault on one machine type.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Counted {
    /// The device type's key in the library.
    pub device_type: String,
    /// The fault mode's key.
    pub mode: String,
    /// The machine type.
    pub machine_type: TypeId,
    /// Its short name.
    pub type_name: String,
    /// The library's rate of one device per million hours; where devices differ, their mean.
    pub library: f64,
    /// Running hours of all such devices.
    pub device_hours: f64,
    /// Findings to be expected by the library's rate in these hours.
    pub expected: f64,
    /// Findings. One that was only half sure counts one half.
    pub found: f64,
}

/// What could not be counted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct LeftOut {
    /// Findings of lapses: of these no running hours tell how often they were possible.
    pub lapses: u32,
    /// Findings that are not in the machine file.
    pub not_in_file: u32,
    /// Deviations that their machine file does not know, or that belong to calls without a machine in the records.
    pub unknown: u32,
    /// The same fault on the same machine again within thirty days.
    pub again: u32,
    /// Machines without recorded running hours.
    pub machines_without_hours: u32,
}

/// All counts.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Counts {
    /// The rows, by device type, mode and machine type.
    pub rows: Vec<Counted>,
    /// What could not be counted.
    pub left_out: LeftOut,
}

/// What a fault is on a machine: device type and mode.
type Name = (String, String);

/// The faults of one kind of machine: how many devices have each, and the sum of their rates.
#[derive(Default)]
pub(crate) struct Faults {
    by_name: BTreeMap<Name, (f64, f64)>,
    /// Device type and mode of each deviation, none of lapses, and its words.
    by_key: BTreeMap<String, (Option<Name>, String)>,
}

impl Faults {
    /// Whether this is the key of a fault.
    pub fn is_fault(&self, key: &str) -> bool {
        self.by_key.get(key).is_some_and(|(name, _)| name.is_some())
    }

    /// The kind of a deviation, whatever its device is called on this machine, and its words.
    pub fn known(&self, key: &str) -> Option<(String, String)> {
        let (name, words) = self.by_key.get(key)?;
        let kind = name.as_ref().map_or_else(|| key.to_owned(), |(device, mode)| format!("{device}/{mode}"));
        Some((kind, words.clone()))
    }
}

/// Reads each version once for each revision.
#[derive(Default)]
pub(crate) struct Files {
    readings: BTreeMap<VersionId, Reading>,
    faults: BTreeMap<(VersionId, Option<String>), Faults>,
}

impl Files {
    /// The faults of a version, on machines like this one.
    pub fn faults(&mut self, store: &Store, version: VersionId, choice: &Choice) -> Result<&Faults> {
        let reading = match self.readings.entry(version) {
            Entry::Occupied(entry) => entry.into_mut(),
            Entry::Vacant(entry) => entry.insert(store.version_text(version)?.reading()),
        };
        // Settings change no rates; only the revision matters.
        let holds = |serials: &[(u64, Option<u64>)]| {
            choice.serial.is_some_and(|serial| {
                serials.iter().any(|(from, to)| *from <= serial && to.is_none_or(|to| serial <= to))
            })
        };
        let named = choice.revision.clone();
        let by_serial = || reading.revisions().iter().find(|one| holds(&one.serials)).map(|one| one.name.clone());
        let revision = named.or_else(by_serial);
        let key = (version, revision);
        if !self.faults.contains_key(&key) {
            let choice = Choice { revision: key.1.clone(), ..Choice::default() };
            let alternatives = reading.resolve(&choice).alternatives;
            let faults = alternatives.first().map(|one| faults_of(&one.machine)).unwrap_or_default();
            self.faults.insert(key.clone(), faults);
        }
        Ok(self.faults.entry(key).or_default())
    }
}

/// Device type and mode of a fault: the mode is what its key has behind the device's name.
pub(super) fn name_of(machine: &machine::Machine, deviation: &machine::model::Deviation) -> Option<Name> {
    let DeviationKind::Fault(device) = deviation.kind else { return None };
    let device = &machine.devices[device];
    let mode = deviation.key.strip_prefix(device.name.as_str())?.strip_prefix('/')?;
    Some((device.type_key.clone(), mode.to_owned()))
}

fn faults_of(machine: &machine::Machine) -> Faults {
    let mut faults = Faults::default();
    for deviation in machine.deviations.rows() {
        let name = name_of(machine, deviation);
        faults.by_key.insert(deviation.key.clone(), (name.clone(), deviation.words.english.clone()));
        if let (Some(name), Chance::PerMillionHours(rate)) = (name, deviation.rate.chance)
            && rate > 0.0
        {
            let sum = faults.by_name.entry(name).or_default();
            *sum = (sum.0 + 1.0, sum.1 + rate);
        }
    }
    faults
}

impl Store {
    /// Counts all faults found and all hours run up to this time.
    ///
    /// # Errors
    /// When the file can't be read.
    pub fn count_faults(&self, until: Timestamp) -> Result<Counts> {
        let mut files = Files::default();
        let mut left_out = LeftOut::default();
        let mut rows: BTreeMap<(Name, TypeId), (f64, f64, f64)> = BTreeMap::new();
        let types: BTreeMap<TypeId, (String, VersionId)> =
            self.machine_types()?.into_iter().map(|one| (one.id, (one.name, one.current))).collect();
        let hours = self.hours_until(until)?;
        for machine in self.all_machines()? {
            let Some(hours) = hours.get(&machine.id).copied().filter(|hours| *hours > 0.0) else {
                left_out.machines_without_hours += 1;
                continue;
            };
            let Some((_, version)) = types.get(&machine.machine_type) else { continue };
            let faults = files.faults(self, *version, &machine.choice())?;
            for (name, (devices, rates)) in &faults.by_name {
                let row = rows.entry((name.clone(), machine.machine_type)).or_default();
                row.0 += devices * hours;
                row.1 += rates * hours / 1e6;
            }
        }
        self.count_findings(until, &hours, &mut files, &mut rows, &mut left_out)?;
        let rows = rows.into_iter().filter(|(_, (hours, ..))| *hours > 0.0);
        let rows = rows.map(|(((device_type, mode), machine_type), (device_hours, expected, found))| Counted {
            device_type,
            mode,
            machine_type,
            type_name: types.get(&machine_type).map(|(name, _)| name.clone()).unwrap_or_default(),
            library: expected * 1e6 / device_hours,
            device_hours,
            expected,
            found,
        });
        Ok(Counts { rows: rows.collect(), left_out })
    }

    fn count_findings(
        &self,
        until: Timestamp,
        hours: &BTreeMap<MachineId, f64>,
        files: &mut Files,
        rows: &mut BTreeMap<(Name, TypeId), (f64, f64, f64)>,
        left_out: &mut LeftOut,
    ) -> Result<()> {
        let until = text::to_database(until);
        left_out.not_in_file = self
            .connection
            .prepare_cached(
                "SELECT count(*) FROM finding f JOIN call c ON c.id = f.call WHERE not_in_file AND c.began < ?1",
            )?
            .query_row([until], |row| row.get(0))?;
        let mut statement = self.connection.prepare_cached(
            "SELECT c.machine, c.machine_type, c.version, c.number, c.revision, c.began, f.sure, d.key
             FROM finding_deviation d JOIN finding f ON f.call = d.call JOIN call c ON c.id = d.call
             WHERE c.began < ?1 ORDER BY c.began, c.id, d.position",
        )?;
        let mut found = statement.query([until])?;
        let mut last: BTreeMap<(MachineId, String), Timestamp> = BTreeMap::new();
        while let Some(row) = found.next()? {
            let machine: Option<MachineId> = row.get(0)?;
            let (machine_type, version): (TypeId, VersionId) = (row.get(1)?, row.get(2)?);
            let choice = Choice { revision: row.get(4)?, serial: row.get(3)?, settings: Vec::new() };
            let (began, sure, key): (i64, f64, String) = (row.get(5)?, row.get(6)?, row.get(7)?);
            let began = text::of_database(began);
            let faults = files.faults(self, version, &choice)?;
            let Some(machine) = machine.filter(|machine| hours.contains_key(machine)) else {
                left_out.unknown += 1;
                continue;
            };
            let name = match faults.by_key.get(&key) {
                Some((Some(name), _)) => name.clone(),
                Some((None, _)) => {
                    left_out.lapses += 1;
                    continue;
                }
                None => {
                    left_out.unknown += 1;
                    continue;
                }
            };
            let before = last.insert((machine, key), began);
            let again =
                |before: Timestamp| began.duration_since(before) <= SignedDuration::from_hours(SAME_WITHIN_DAYS * 24);
            if before.is_some_and(again) {
                left_out.again += 1;
                continue;
            }
            match rows.get_mut(&(name, machine_type)) {
                Some(row) => row.2 += sure,
                None => left_out.unknown += 1,
            }
        }
        Ok(())
    }

    /// The running hours of each machine that end by this time.
    pub(crate) fn hours_until(&self, until: Timestamp) -> Result<BTreeMap<MachineId, f64>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT machine, sum(amount) FROM exposure WHERE unit = 'hours' AND until <= ?1 GROUP BY machine",
        )?;
        let rows = statement.query_map([text::to_database(until)], |row| Ok((row.get(0)?, row.get(1)?)))?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    pub(crate) fn all_machines(&self) -> Result<Vec<Machine>> {
        use crate::page::{LARGEST_PAGE, Page};
        let mut all = Vec::new();
        let mut page = Page::first(LARGEST_PAGE);
        loop {
            let listed = self.machines(&crate::machines::MachineFilter::default(), &page)?;
            all.extend(listed.rows);
            match listed.next {
                Some(next) => page.after = Some(next),
                None => return Ok(all),
            }
        }
    }
}
