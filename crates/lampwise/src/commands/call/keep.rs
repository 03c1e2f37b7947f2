//! The file of a call. It is written anew after every entry: to another file beside it, which takes its place
//! once it is on the disk. So there is always a whole call, the last or the one before.

use std::fs::{self, File};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use diagnose::call::{Entry, Record};

use crate::failure::Failure;

/// Where a call is kept, if anywhere.
pub struct Keeper {
    record: Record,
    place: Option<PathBuf>,
}

impl Keeper {
    /// Keeps this call here. A `fresh` file must not be there yet.
    pub fn new(record: Record, place: Option<PathBuf>, fresh: bool) -> Result<Self, Failure> {
        let mut keeper = Self { record, place: None };
        match place {
            Some(place) if fresh => keeper.move_to(&place, &[])?,
            place => keeper.place = place,
        }
        Ok(keeper)
    }

    /// Where it is kept.
    pub fn place(&self) -> Option<&Path> {
        self.place.as_deref()
    }

    /// The call with its head.
    pub fn record(&self) -> &Record {
        &self.record
    }

    /// Keeps it here from now on; a file that is there is not overwritten.
    pub fn move_to(&mut self, place: &Path, entries: &[Entry]) -> Result<(), Failure> {
        if place.as_os_str().is_empty() {
            return Err(Failure::new(
                "save",
                "a name for the file is missing",
                "type it behind, as `save call-117.txt`",
            ));
        }
        if fs::symlink_metadata(place).is_ok() {
            let hint = "choose another name, or go on with that call: `lampwise call --resume FILE`";
            return Err(Failure::new("exists", format!("`{}` is there already", place.display()), hint));
        }
        let before = self.place.replace(place.to_owned());
        self.keep(entries).inspect_err(|_| self.place = before)
    }

    /// Writes the call with these entries; gives only when it is on the disk.
    pub fn keep(&mut self, entries: &[Entry]) -> Result<(), Failure> {
        self.record.entries = entries.to_vec();
        let Some(place) = &self.place else { return Ok(()) };
        write_whole(place, self.record.to_string().as_bytes()).map_err(|error| {
            let what = format!("can't save the call in `{}`: {error}", place.display());
            Failure::new("save", what, "save it elsewhere: `save FILE`")
        })
    }
}

fn write_whole(place: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut name = place.file_name().unwrap_or_default().to_owned();
    name.push(format!(".{}.part", std::process::id()));
    let beside = place.with_file_name(name);
    let written = File::create(&beside).and_then(|mut file| {
        file.write_all(bytes)?;
        file.sync_all()
    });
    let done = written.and_then(|()| fs::rename(&beside, place));
    if done.is_err() {
        _ = fs::remove_file(&beside);
        return done;
    }
    // The new name is on the disk only once its folder is; where folders can't be opened this is left to the system.
    let folder = place.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    if let Ok(folder) = File::open(folder) {
        _ = folder.sync_all();
    }
    Ok(())
}
