//! Machine types, with every version of each machine file. A version is never changed or taken away, as calls
//! refer to it.

use crate::error::{Error, ErrorKind, Result};
use crate::id::{TypeId, VersionId};
use crate::search::{self, About};
use crate::store::Store;
use crate::text;
use diagnose::call::fingerprint;
use jiff::Timestamp;
use machine::{Choice, LARGEST_FILE, Reading, Source};
use rusqlite::{Connection, OptionalExtension as _, Row, params};
use serde::Serialize;

/// Libraries that a machine file may come with.
const MOST_LIBRARIES: usize = 20;

/// A machine type.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct MachineType {
    /// Its number.
    pub id: TypeId,
    /// Its short name, such as `jar-filler`.
    pub name: String,
    /// The version with which calls begin.
    pub current: VersionId,
    /// What the machine file calls the machine.
    pub title: String,
    /// How many versions there are.
    pub versions: u32,
    /// How many machines there are.
    pub machines: u32,
}

/// One version of a machine type's file.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Version {
    /// Its number in the records.
    pub id: VersionId,
    /// The type.
    pub machine_type: TypeId,
    /// Its number within the type, from 1.
    pub number: u32,
    /// The version that the file says of itself; empty if it says none.
    pub label: String,
    /// What the file calls the machine.
    pub title: String,
    /// Fingerprint of the file and the libraries that it was added with, by [`diagnose::call::fingerprint`]. (What
    /// `lampwise call` keeps also covers the library inside the program.)
    pub fingerprint: String,
    /// What was changed, in the words of whoever added it.
    pub note: String,
    /// When it was added.
    pub added: Timestamp,
}

/// A version with its texts.
#[derive(Clone, Debug, PartialEq)]
pub struct VersionText {
    /// Which version.
    pub version: Version,
    /// The machine file.
    pub text: String,
    /// Device libraries beside it: name and text, in order.
    pub libraries: Vec<(String, String)>,
}

impl VersionText {
    /// Reads the machine file with its libraries.
    #[must_use]
    pub fn reading(&self) -> Reading {
        read(&self.version.title, &self.text, &self.libraries)
    }
}

/// A version to be added.
#[derive(Clone, Debug, Default)]
pub struct NewVersion<'t> {
    /// The type's short name; a new name makes a new type.
    pub name: &'t str,
    /// The machine file.
    pub text: &'t str,
    /// Device libraries beside it: name and text.
    pub libraries: &'t [(String, String)],
    /// What was changed.
    pub note: &'t str,
}

/// What adding a version gave.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Added {
    /// The type.
    pub machine_type: TypeId,
    /// The version, with which calls begin from now on.
    pub version: VersionId,
    /// Whether this text was not there before.
    pub fresh: bool,
}

const VERSION: &str = "id, machine_type, number, label, title, fingerprint, note, added";

fn version_of(row: &Row<'_>) -> rusqlite::Result<Version> {
    Ok(Version {
        id: row.get(0)?,
        machine_type: row.get(1)?,
        number: row.get(2)?,
        label: row.get(3)?,
        title: row.get(4)?,
        fingerprint: row.get(5)?,
        note: row.get(6)?,
        added: text::of_database(row.get(7)?),
    })
}

const TYPE: &str = "SELECT t.id, t.name, t.current, v.title,
    (SELECT count(*) FROM type_version WHERE machine_type = t.id),
    (SELECT count(*) FROM machine WHERE machine_type = t.id)
    FROM machine_type t JOIN type_version v ON v.id = t.current";

fn type_of(row: &Row<'_>) -> rusqlite::Result<MachineType> {
    Ok(MachineType {
        id: row.get(0)?,
        name: row.get(1)?,
        current: row.get(2)?,
        title: row.get(3)?,
        versions: row.get(4)?,
        machines: row.get(5)?,
    })
}

fn read(title: &str, text: &str, libraries: &[(String, String)]) -> Reading {
    let libraries: Vec<Source> =
        libraries.iter().map(|(name, text)| Source::new(name.as_str(), text.as_str())).collect();
    machine::read(Source::new(format!("{title}.toml"), text), &libraries)
}

impl Store {
    /// Adds a version of a machine file, and the machine type if its name is new. The same texts once more are the
    /// version that is there already. Either way calls begin with this version from now on.
    ///
    /// # Errors
    /// When the file has mistakes that keep it from being used, or a name is none.
    pub fn add_version(&mut self, new: &NewVersion<'_>, at: Timestamp) -> Result<Added> {
        let name = text::name("the machine type's name", new.name)?;
        let note = text::notes("the note", new.note)?;
        let place = format!("the machine file of {name}");
        if new.libraries.len() > MOST_LIBRARIES {
            let cause = format!("it comes with more than {MOST_LIBRARIES} libraries");
            return Err(Error::refused(place, cause, "put them into one file"));
        }
        let texts = || std::iter::once(new.text).chain(new.libraries.iter().map(|(_, text)| text.as_str()));
        if texts().any(|text| text.len() > LARGEST_FILE || text.contains('\0')) {
            let cause = "it is larger than 1 MB or is no text";
            return Err(Error::refused(place, cause, "look whether it is the right file"));
        }
        let reading = read(&name, new.text, new.libraries);
        let resolved = reading.resolve(&Choice::default());
        let wrong = resolved.problems.iter().find(|problem| problem.is_error());
        let (Some(first), None) = (resolved.alternatives.first(), wrong) else {
            let cause = wrong.map_or_else(|| "it describes no machine".to_owned(), |problem| problem.what.clone());
            return Err(Error::refused(place, cause, "`lampwise lint` shows all mistakes with their places"));
        };
        let title = text::line("the machine's name", &first.machine.name, text::LONGEST_NAME)?;
        let label = text::line("the version", &first.machine.version, text::LONGEST_NAME)?;
        let fingerprint = fingerprint(texts());
        self.write(|database| {
            let known: Option<TypeId> = database
                .prepare_cached("SELECT id FROM machine_type WHERE name = ?1")?
                .query_row([&name], |row| row.get(0))
                .optional()?;
            let machine_type = match known {
                Some(known) => known,
                None => {
                    database.execute("INSERT INTO machine_type (name) VALUES (?1)", [&name])?;
                    TypeId(database.last_insert_rowid())
                }
            };
            let same = same_version(database, machine_type, &fingerprint, new)?;
            let fresh = same.is_none();
            let version = match same {
                Some(version) => version,
                None => {
                    database.execute(
                        "INSERT INTO type_version (machine_type, number, label, title, text, fingerprint, note, added)
                         SELECT ?1, 1 + coalesce(max(number), 0), ?2, ?3, ?4, ?5, ?6, ?7
                         FROM type_version WHERE machine_type = ?1",
                        params![machine_type, label, title, new.text, fingerprint, note, text::to_database(at)],
                    )?;
                    let version = VersionId(database.last_insert_rowid());
                    for (position, (library, text)) in new.libraries.iter().enumerate() {
                        let library = text::name("the library's name", library)?;
                        let row = params![version, position, library, text];
                        database.execute("INSERT INTO version_library VALUES (?1, ?2, ?3, ?4)", row)?;
                    }
                    version
                }
            };
            database.execute("UPDATE machine_type SET current = ?2 WHERE id = ?1", params![machine_type, version])?;
            let body = format!("{} {} {note}", first.machine.maker, first.machine.about);
            search::put(database, About::Type(machine_type), &format!("{name} {title}"), &body)?;
            Ok(Added { machine_type, version, fresh })
        })
    }

    /// All machine types, by name.
    ///
    /// # Errors
    /// When the file can't be read.
    pub fn machine_types(&self) -> Result<Vec<MachineType>> {
        let mut statement = self.connection.prepare_cached(&format!("{TYPE} ORDER BY t.name"))?;
        let rows = statement.query_map([], type_of)?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    /// A machine type.
    ///
    /// # Errors
    /// When there is none with this number.
    pub fn machine_type(&self, id: TypeId) -> Result<MachineType> {
        let mut statement = self.connection.prepare_cached(&format!("{TYPE} WHERE t.id = ?1"))?;
        let found = statement.query_row([id], type_of).optional()?;
        found.ok_or_else(|| Error::unknown(format!("machine type {id}"), "`lampwise records machines` lists them"))
    }

    /// The machine type of this short name; large and small letters are the same.
    ///
    /// # Errors
    /// When the file can't be read.
    pub fn machine_type_named(&self, name: &str) -> Result<Option<MachineType>> {
        let mut statement = self.connection.prepare_cached(&format!("{TYPE} WHERE t.name = ?1"))?;
        Ok(statement.query_row([name.trim()], type_of).optional()?)
    }

    /// Gives a machine type another short name.
    ///
    /// # Errors
    /// When there is no such type, or another one of that name.
    pub fn rename_type(&mut self, id: TypeId, name: &str) -> Result<()> {
        let name = text::name("the machine type's name", name)?;
        let kind = self.machine_type(id)?;
        if self.machine_type_named(&name)?.is_some_and(|other| other.id != id) {
            let cause = "there is a machine type of this name already";
            return Err(Error::new(ErrorKind::Exists, name, cause, "choose another name"));
        }
        self.write(|database| {
            database.execute("UPDATE machine_type SET name = ?2 WHERE id = ?1", params![id, name])?;
            search::retitle(database, About::Type(id), &format!("{name} {}", kind.title))
        })
    }

    /// All versions of a type, the newest first.
    ///
    /// # Errors
    /// When the file can't be read.
    pub fn versions(&self, machine_type: TypeId) -> Result<Vec<Version>> {
        let sql = format!("SELECT {VERSION} FROM type_version WHERE machine_type = ?1 ORDER BY number DESC");
        let mut statement = self.connection.prepare_cached(&sql)?;
        let rows = statement.query_map([machine_type], version_of)?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    /// A version without its texts.
    ///
    /// # Errors
    /// When there is none with this number.
    pub fn version(&self, id: VersionId) -> Result<Version> {
        let mut statement =
            self.connection.prepare_cached(&format!("SELECT {VERSION} FROM type_version WHERE id = ?1"))?;
        let found = statement.query_row([id], version_of).optional()?;
        found.ok_or_else(|| Error::unknown(format!("version {id}"), "look at the machine type's list of versions"))
    }

    /// A version with its texts.
    ///
    /// # Errors
    /// When there is none with this number.
    pub fn version_text(&self, id: VersionId) -> Result<VersionText> {
        let version = self.version(id)?;
        let text = self
            .connection
            .prepare_cached("SELECT text FROM type_version WHERE id = ?1")?
            .query_row([id], |row| row.get(0))?;
        let libraries = libraries(&self.connection, id)?;
        Ok(VersionText { version, text, libraries })
    }
}

/// Looks whether a machine file has the revision and the settings that are named.
///
/// # Errors
/// With what there is instead, the nearest names first.
pub(crate) fn check_choice(database: &Connection, version: VersionId, choice: &Choice) -> Result<()> {
    if choice.revision.is_none() && choice.settings.is_empty() {
        return Ok(());
    }
    let (title, text): (String, String) = database
        .prepare_cached("SELECT title, text FROM type_version WHERE id = ?1")?
        .query_row([version], |row| Ok((row.get(0)?, row.get(1)?)))?;
    let reading = read(&title, &text, &libraries(database, version)?);
    if let (Some(name), true) = (&choice.revision, reading.revisions().is_empty()) {
        let cause = format!("there is no revision `{name}`");
        return Err(Error::refused("revision", cause, "the machine file has no revisions; leave it empty"));
    }
    let resolved = reading.resolve(choice);
    // What was named here has no place in the file.
    let named = resolved.problems.iter().find(|problem| problem.is_error() && problem.span == machine::Span::default());
    let Some(problem) = named else { return Ok(()) };
    let place = if problem.code == "unknown-revision" { "revision" } else { "settings" };
    let hint = problem.hint.clone().filter(|hint| !hint.is_empty());
    Err(Error::refused(place, problem.what.clone(), hint.unwrap_or_else(|| "look at the machine file".to_owned())))
}

impl Store {
    /// Looks whether the current machine file of a type has the revision and the settings that are named.
    ///
    /// # Errors
    /// With what there is instead, the nearest names first; and when there is no such type.
    pub fn check_choice(&self, machine_type: TypeId, choice: &Choice) -> Result<()> {
        check_choice(&self.connection, self.machine_type(machine_type)?.current, choice)
    }
}

fn libraries(database: &Connection, version: VersionId) -> Result<Vec<(String, String)>> {
    let mut statement =
        database.prepare_cached("SELECT name, text FROM version_library WHERE version = ?1 ORDER BY position")?;
    let rows = statement.query_map([version], |row| Ok((row.get(0)?, row.get(1)?)))?;
    Ok(rows.collect::<rusqlite::Result<_>>()?)
}

/// The version with just these texts; a fingerprint alone might be the same by chance.
fn same_version(
    database: &Connection,
    machine_type: TypeId,
    fingerprint: &str,
    new: &NewVersion<'_>,
) -> Result<Option<VersionId>> {
    let mut statement = database.prepare_cached(
        "SELECT id, text FROM type_version WHERE machine_type = ?1 AND fingerprint = ?2 ORDER BY number",
    )?;
    let rows = statement.query_map(params![machine_type, fingerprint], |row| Ok((row.get(0)?, row.get(1)?)))?;
    for row in rows {
        let (id, text): (VersionId, String) = row?;
        if text == new.text && libraries(database, id)? == new.libraries {
            return Ok(Some(id));
        }
    }
    Ok(None)
}
