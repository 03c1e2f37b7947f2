//! Sites, and machines by serial number with what is their own.

use crate::error::{Error, ErrorKind, Result};
use crate::filter::Filter;
use crate::id::{ExposureId, MachineId, SiteId, TypeId};
use crate::page::{Listed, NamePlace, Page};
use crate::search::{self, About};
use crate::store::Store;
use crate::text::{self, serial_number};
use jiff::Timestamp;
use machine::Choice;
use rusqlite::types::Value;
use rusqlite::{Connection, OptionalExtension as _, Row, params, params_from_iter};
use serde::{Deserialize, Serialize};

/// Settings of one machine at most.
const MOST_SETTINGS: usize = 500;
/// Running hours of a machine at most: a thousand years.
pub const MOST_HOURS: f64 = 10_000_000.0;
/// Cycles in one span at most.
pub const MOST_CYCLES: f64 = 1e12;

/// A place at which machines stand.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Site {
    /// Its number.
    pub id: SiteId,
    /// Its name.
    pub name: String,
    /// Notes about it.
    pub notes: String,
    /// How many machines stand there.
    pub machines: u32,
}

/// A machine to be kept.
#[derive(Clone, Debug, PartialEq)]
pub struct NewMachine {
    /// The serial number as it stands on the plate.
    pub serial: String,
    /// The number by which the machine file tells revisions; none: the digits at the end of the serial number.
    pub number: Option<u64>,
    /// Its type.
    pub machine_type: TypeId,
    /// The site's name; a new name makes a new site.
    pub site: Option<String>,
    /// The revision by name, where the number does not tell it: it was rebuilt.
    pub revision: Option<String>,
    /// Its own settings: name and value.
    pub settings: Vec<(String, String)>,
    /// Whom to ask there.
    pub contact: String,
    /// Notes.
    pub notes: String,
    /// Running hours, as last read.
    pub running_hours: Option<f64>,
}

impl NewMachine {
    /// A machine of this type of which nothing else is known.
    #[must_use]
    pub fn of(machine_type: TypeId) -> Self {
        Self {
            serial: String::new(),
            number: None,
            machine_type,
            site: None,
            revision: None,
            settings: Vec::new(),
            contact: String::new(),
            notes: String::new(),
            running_hours: None,
        }
    }
}

/// A machine.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Machine {
    /// Its number in the records.
    pub id: MachineId,
    /// The serial number as it stands on the plate.
    pub serial: String,
    /// The number by which the machine file tells revisions.
    pub number: Option<u64>,
    /// Its type.
    pub machine_type: TypeId,
    /// The type's short name.
    pub type_name: String,
    /// Where it stands.
    pub site: Option<SiteId>,
    /// The site's name; empty if none is known.
    pub site_name: String,
    /// The revision by name, if that was said.
    pub revision: Option<String>,
    /// Its own settings, by name.
    pub settings: Vec<(String, String)>,
    /// Whom to ask there.
    pub contact: String,
    /// Notes.
    pub notes: String,
    /// Running hours, as last read.
    pub running_hours: Option<f64>,
    /// Since when it is in the records.
    pub added: Timestamp,
}

impl Machine {
    /// What to resolve its machine file for.
    #[must_use]
    pub fn choice(&self) -> Choice {
        Choice { revision: self.revision.clone(), serial: self.number, settings: self.settings.clone() }
    }

    /// As it would be given to be kept.
    #[must_use]
    pub fn to_new(&self) -> NewMachine {
        NewMachine {
            serial: self.serial.clone(),
            number: self.number,
            machine_type: self.machine_type,
            site: self.site.map(|_| self.site_name.clone()),
            revision: self.revision.clone(),
            settings: self.settings.clone(),
            contact: self.contact.clone(),
            notes: self.notes.clone(),
            running_hours: self.running_hours,
        }
    }
}

/// Which machines to list; without any of these, all.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct MachineFilter {
    /// Of this type.
    pub machine_type: Option<TypeId>,
    /// At this site.
    pub site: Option<SiteId>,
}

/// What exposure is counted in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Unit {
    /// Running hours.
    Hours,
    /// Cycles.
    Cycles,
}

impl Unit {
    /// The word for it.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Hours => "hours",
            Self::Cycles => "cycles",
        }
    }

    /// The most that is believed of one span.
    fn most(self) -> f64 {
        match self {
            Self::Hours => MOST_HOURS,
            Self::Cycles => MOST_CYCLES,
        }
    }

    /// The unit of this word.
    #[must_use]
    pub fn called(word: &str) -> Option<Self> {
        [Self::Hours, Self::Cycles].into_iter().find(|unit| unit.word() == word)
    }
}

/// How much a machine ran in a span of time.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Exposure {
    /// Its number; whatever is given for a new one.
    pub id: ExposureId,
    /// The machine.
    pub machine: MachineId,
    /// The beginning of the span.
    pub since: Timestamp,
    /// Its end.
    pub until: Timestamp,
    /// How much it ran.
    pub amount: f64,
    /// In what.
    pub unit: Unit,
}

const MACHINE: &str =
    "SELECT m.id, m.serial, m.number, m.machine_type, t.name, m.site, coalesce(s.name, ''), m.revision,
    m.contact, m.notes, m.running_hours, m.added
    FROM machine m JOIN machine_type t ON t.id = m.machine_type LEFT JOIN site s ON s.id = m.site";

fn machine_of(row: &Row<'_>) -> rusqlite::Result<Machine> {
    Ok(Machine {
        id: row.get(0)?,
        serial: row.get(1)?,
        number: row.get(2)?,
        machine_type: row.get(3)?,
        type_name: row.get(4)?,
        site: row.get(5)?,
        site_name: row.get(6)?,
        revision: row.get(7)?,
        settings: Vec::new(),
        contact: row.get(8)?,
        notes: row.get(9)?,
        running_hours: row.get(10)?,
        added: text::of_database(row.get(11)?),
    })
}

pub(crate) fn machine(database: &Connection, id: MachineId) -> Result<Machine> {
    let mut statement = database.prepare_cached(&format!("{MACHINE} WHERE m.id = ?1"))?;
    let found = statement.query_row([id], machine_of).optional()?;
    let mut found = found
        .ok_or_else(|| Error::unknown(format!("machine {id}"), "`lampwise records machines` lists all of them"))?;
    found.settings = settings(database, id)?;
    Ok(found)
}

fn settings(database: &Connection, machine: MachineId) -> Result<Vec<(String, String)>> {
    let mut statement =
        database.prepare_cached("SELECT name, value FROM machine_setting WHERE machine = ?1 ORDER BY name")?;
    let rows = statement.query_map([machine], |row| Ok((row.get(0)?, row.get(1)?)))?;
    Ok(rows.collect::<rusqlite::Result<_>>()?)
}

/// A machine of this serial number and type.
pub(crate) fn find_machine(database: &Connection, serial: &str, machine_type: TypeId) -> Result<Option<MachineId>> {
    let mut statement = database.prepare_cached("SELECT id FROM machine WHERE serial = ?1 AND machine_type = ?2")?;
    Ok(statement.query_row(params![serial.trim(), machine_type], |row| row.get(0)).optional()?)
}

/// The site of this name, made if it is not there.
pub(crate) fn site_named(database: &Connection, name: &str) -> Result<SiteId> {
    let name = text::name("the site's name", name)?;
    let found = database
        .prepare_cached("SELECT id FROM site WHERE name = ?1")?
        .query_row([&name], |row| row.get(0))
        .optional()?;
    if let Some(found) = found {
        return Ok(found);
    }
    database.prepare_cached("INSERT INTO site (name) VALUES (?1)")?.execute([&name])?;
    let id = SiteId(database.last_insert_rowid());
    search::put(database, About::Site(id), &name, "")?;
    Ok(id)
}

/// A machine as it is kept: cleaned.
fn clean(new: &NewMachine) -> Result<NewMachine> {
    let serial = text::name("the serial number", &new.serial)?;
    let number = new.number.or_else(|| serial_number(&serial));
    if number.is_some_and(|number| i64::try_from(number).is_err()) {
        let hint = "give the digits by which the machine file tells revisions";
        return Err(Error::refused("the serial number", "the number is too large", hint));
    }
    if new.settings.len() > MOST_SETTINGS {
        let cause = format!("there are more than {MOST_SETTINGS}");
        return Err(Error::refused("the settings", cause, "keep those that differ from the machine file"));
    }
    let mut settings: Vec<(String, String)> = Vec::new();
    for (name, value) in &new.settings {
        let name = text::name("the setting's name", name)?;
        if name.contains('=') {
            let hint = "a setting is called as in the machine file";
            return Err(Error::refused(format!("the setting {name}"), "its name holds `=`", hint));
        }
        if settings.iter().any(|(known, _)| *known == name) {
            return Err(Error::refused(format!("the setting {name}"), "it is there twice", "give each setting once"));
        }
        settings.push((name, text::line("the setting's value", value, text::LONGEST_NAME)?));
    }
    let optional = |what: &str, given: &Option<String>| match given.as_deref().map(str::trim) {
        None | Some("") => Ok(None),
        Some(given) => text::name(what, given).map(Some),
    };
    Ok(NewMachine {
        serial,
        number,
        machine_type: new.machine_type,
        site: optional("the site's name", &new.site)?,
        revision: optional("the revision", &new.revision)?,
        settings,
        contact: text::line("the contact", &new.contact, text::LONGEST_LINE)?,
        notes: text::notes("the notes", &new.notes)?,
        running_hours: new
            .running_hours
            .map(|hours| text::up_to("the running hours", hours, MOST_HOURS))
            .transpose()?,
    })
}

/// Keeps a machine: a new one, or in the place of one that is there.
pub(crate) fn keep(
    database: &Connection,
    known: Option<MachineId>,
    new: &NewMachine,
    at: Timestamp,
) -> Result<MachineId> {
    let new = clean(new)?;
    if find_machine(database, &new.serial, new.machine_type)?.is_some_and(|other| Some(other) != known) {
        let cause = "there is a machine of this type with this serial number already";
        return Err(Error::new(ErrorKind::Exists, new.serial, cause, "change that one, or look at the plate again"));
    }
    let type_name: Option<String> = database
        .prepare_cached("SELECT name FROM machine_type WHERE id = ?1")?
        .query_row([new.machine_type], |row| row.get(0))
        .optional()?;
    let Some(type_name) = type_name else {
        return Err(Error::unknown(format!("machine type {}", new.machine_type), "add its machine file first"));
    };
    let site = new.site.as_deref().map(|name| site_named(database, name)).transpose()?;
    let id = match known {
        Some(id) => {
            let changed = database
                .prepare_cached(
                    "UPDATE machine SET serial = ?2, number = ?3, machine_type = ?4, site = ?5, revision = ?6,
                 contact = ?7, notes = ?8, running_hours = ?9 WHERE id = ?1",
                )?
                .execute(params![
                    id,
                    new.serial,
                    new.number,
                    new.machine_type,
                    site,
                    new.revision,
                    new.contact,
                    new.notes,
                    new.running_hours
                ])?;
            if changed == 0 {
                return Err(Error::unknown(format!("machine {id}"), "look whether it was named rightly"));
            }
            database.prepare_cached("DELETE FROM machine_setting WHERE machine = ?1")?.execute([id])?;
            id
        }
        None => {
            database.prepare_cached(
                "INSERT INTO machine (serial, number, machine_type, site, revision, contact, notes, running_hours, added)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
            )?
            .execute(params![
                new.serial, new.number, new.machine_type, site, new.revision, new.contact, new.notes,
                new.running_hours, text::to_database(at)
            ])?;
            MachineId(database.last_insert_rowid())
        }
    };
    for (name, value) in &new.settings {
        database
            .prepare_cached("INSERT INTO machine_setting VALUES (?1, ?2, ?3)")?
            .execute(params![id, name, value])?;
    }
    let title = format!("{} {type_name}", new.serial);
    let body = format!("{}\n{}\n{}", new.site.unwrap_or_default(), new.contact, new.notes);
    search::put(database, About::Machine(id), &title, &body)?;
    Ok(id)
}

pub(crate) fn add_exposure(database: &Connection, exposure: &Exposure) -> Result<ExposureId> {
    let amount = text::up_to("the exposure", exposure.amount, exposure.unit.most())?;
    machine(database, exposure.machine)?;
    if exposure.until < exposure.since {
        return Err(Error::refused("the exposure", "it ends before it begins", "change the two times"));
    }
    database
        .prepare_cached("INSERT INTO exposure (machine, since, until, amount, unit) VALUES (?1, ?2, ?3, ?4, ?5)")?
        .execute(params![
            exposure.machine,
            text::to_database(exposure.since),
            text::to_database(exposure.until),
            amount,
            exposure.unit.word()
        ])?;
    Ok(ExposureId(database.last_insert_rowid()))
}

/// The spans of a machine that overlap with this one and count the same; what overlaps would count twice.
pub(crate) fn overlapping(database: &Connection, new: &Exposure) -> Result<Vec<Exposure>> {
    let mut statement = database.prepare_cached(
        "SELECT id, machine, since, until, amount, unit FROM exposure
         WHERE machine = ?1 AND unit = ?2 AND since < ?4 AND until > ?3 ORDER BY since, id",
    )?;
    let (since, until) = (text::to_database(new.since), text::to_database(new.until));
    let rows = statement.query_map(params![new.machine, new.unit.word(), since, until], exposure_of)?;
    Ok(rows.collect::<rusqlite::Result<_>>()?)
}

/// Puts another amount into a span.
pub(crate) fn set_amount(database: &Connection, id: ExposureId, amount: f64, unit: Unit) -> Result<()> {
    let amount = text::up_to("the exposure", amount, unit.most())?;
    database.prepare_cached("UPDATE exposure SET amount = ?2 WHERE id = ?1")?.execute(params![id, amount])?;
    Ok(())
}

pub(crate) fn exposure(database: &Connection, id: ExposureId) -> Result<Exposure> {
    let mut statement =
        database.prepare_cached("SELECT id, machine, since, until, amount, unit FROM exposure WHERE id = ?1")?;
    Ok(statement.query_row([id], exposure_of)?)
}

fn exposure_of(row: &Row<'_>) -> rusqlite::Result<Exposure> {
    let unit: String = row.get(5)?;
    Ok(Exposure {
        id: row.get(0)?,
        machine: row.get(1)?,
        since: text::of_database(row.get(2)?),
        until: text::of_database(row.get(3)?),
        amount: row.get(4)?,
        unit: Unit::called(&unit).unwrap_or(Unit::Hours),
    })
}

impl Store {
    /// Keeps a new machine.
    ///
    /// # Errors
    /// When there is one of this type and serial number, its type is not there, or a text can't be kept.
    pub fn add_machine(&mut self, new: &NewMachine, at: Timestamp) -> Result<MachineId> {
        self.write(|database| keep(database, None, new, at))
    }

    /// Puts all of a machine anew.
    ///
    /// # Errors
    /// As [`Store::add_machine`], and when it is not there.
    pub fn change_machine(&mut self, id: MachineId, new: &NewMachine) -> Result<()> {
        // When it was added stays as it is.
        self.write(|database| keep(database, Some(id), new, Timestamp::UNIX_EPOCH)).map(|_| ())
    }

    /// A machine.
    ///
    /// # Errors
    /// When there is none with this number.
    pub fn machine(&self, id: MachineId) -> Result<Machine> {
        machine(&self.connection, id)
    }

    /// The machines with this serial number, as it stands on the plate, of whatever type; large and small letters are
    /// the same. Where none has it, those whose serial number ends with these digits, up to ten.
    ///
    /// # Errors
    /// When the file can't be read.
    pub fn machines_with_serial(&self, serial: &str) -> Result<Vec<Machine>> {
        let serial = serial.trim();
        let exact = self.found("m.serial = ?1 ORDER BY t.name", params![serial])?;
        let digits = !serial.is_empty() && serial.bytes().all(|byte| byte.is_ascii_digit());
        if !exact.is_empty() || !digits {
            return Ok(exact);
        }
        self.found("m.number = ?1 ORDER BY m.serial, t.name LIMIT 10", params![serial.parse::<i64>().ok()])
    }

    fn found(&self, what: &str, values: impl rusqlite::Params) -> Result<Vec<Machine>> {
        let mut statement = self.connection.prepare_cached(&format!("{MACHINE} WHERE {what}"))?;
        let rows = statement.query_map(values, machine_of)?;
        let mut found: Vec<Machine> = rows.collect::<rusqlite::Result<_>>()?;
        for machine in &mut found {
            machine.settings = settings(&self.connection, machine.id)?;
        }
        Ok(found)
    }

    /// Machines by serial number, page by page.
    ///
    /// # Errors
    /// When the file can't be read.
    pub fn machines(&self, filter: &MachineFilter, page: &Page<NamePlace>) -> Result<Listed<Machine, NamePlace>> {
        let mut list = Filter::default();
        list.equal("m.machine_type", filter.machine_type);
        list.equal("m.site", filter.site);
        if let Some(place) = &page.after {
            list.and("(m.serial, m.id) > (?, ?)", [Value::from(place.name.clone()), Value::from(place.id)]);
        }
        let rows = self.found(&list.ending("ORDER BY m.serial, m.id", page.limit()), params_from_iter(list.values))?;
        Ok(Listed::of(rows, page, |row| NamePlace { name: row.serial.clone(), id: row.id.0 }))
    }

    /// All sites, by name.
    ///
    /// # Errors
    /// When the file can't be read.
    pub fn sites(&self) -> Result<Vec<Site>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT id, name, notes, (SELECT count(*) FROM machine WHERE site = site.id) FROM site ORDER BY name",
        )?;
        let rows = statement.query_map([], site_of)?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    /// A site.
    ///
    /// # Errors
    /// When there is none with this number.
    pub fn site(&self, id: SiteId) -> Result<Site> {
        let mut statement = self.connection.prepare_cached(
            "SELECT id, name, notes, (SELECT count(*) FROM machine WHERE site = site.id) FROM site WHERE id = ?1",
        )?;
        let found = statement.query_row([id], site_of).optional()?;
        found.ok_or_else(|| Error::unknown(format!("site {id}"), "look at the list of sites"))
    }

    /// Gives a site another name and other notes.
    ///
    /// # Errors
    /// When it is not there, or another one has that name.
    pub fn change_site(&mut self, id: SiteId, name: &str, notes: &str) -> Result<()> {
        let (name, notes) = (text::name("the site's name", name)?, text::notes("the notes", notes)?);
        self.write(|database| {
            let other: Option<SiteId> = database
                .prepare_cached("SELECT id FROM site WHERE name = ?1 AND id <> ?2")?
                .query_row(params![name, id], |row| row.get(0))
                .optional()?;
            if other.is_some() {
                return Err(Error::new(
                    ErrorKind::Exists,
                    name,
                    "there is a site of this name already",
                    "choose another",
                ));
            }
            let changed =
                database.execute("UPDATE site SET name = ?2, notes = ?3 WHERE id = ?1", params![id, name, notes])?;
            if changed == 0 {
                return Err(Error::unknown(format!("site {id}"), "look at the list of sites"));
            }
            search::put(database, About::Site(id), &name, &notes)
        })
    }

    /// Keeps how much a machine ran. Spans of one machine and unit should not overlap; sums take them as they are.
    ///
    /// # Errors
    /// When the machine is not there, or the span or amount is none.
    pub fn add_exposure(&mut self, exposure: &Exposure) -> Result<ExposureId> {
        self.write(|database| add_exposure(database, exposure))
    }

    /// All spans of a machine, the oldest first.
    ///
    /// # Errors
    /// When the file can't be read.
    pub fn exposures(&self, machine: MachineId) -> Result<Vec<Exposure>> {
        let mut statement = self.connection.prepare_cached(
            "SELECT id, machine, since, until, amount, unit FROM exposure WHERE machine = ?1 ORDER BY since, id",
        )?;
        let rows = statement.query_map([machine], exposure_of)?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }
}

fn site_of(row: &Row<'_>) -> rusqlite::Result<Site> {
    Ok(Site { id: row.get(0)?, name: row.get(1)?, notes: row.get(2)?, machines: row.get(3)? })
}
