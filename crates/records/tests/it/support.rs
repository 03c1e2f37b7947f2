//! What the tests share.

use jiff::{SignedDuration, Timestamp};
use records::{Added, NewMachine, NewVersion, Store};
use std::path::{Path, PathBuf};

pub const CAPPER: &str = include_str!("../../../../demos/minimal.toml");

/// A time: so many minutes after some morning.
pub fn minute(minutes: i64) -> Timestamp {
    "2026-03-01T09:00:00Z".parse::<Timestamp>().unwrap() + SignedDuration::from_mins(minutes)
}

/// Adds the jar capper.
pub fn add_capper(store: &mut Store) -> Added {
    store.add_version(&NewVersion { name: "jar-capper", text: CAPPER, ..NewVersion::default() }, minute(0)).unwrap()
}

/// A machine of this type with this serial number.
pub fn new_machine(added: Added, serial: &str) -> NewMachine {
    NewMachine { serial: serial.to_owned(), ..NewMachine::of(added.machine_type) }
}

/// A folder of its own, taken away at the end.
pub struct Folder(PathBuf);

impl Folder {
    pub fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("lampwise-records-{name}-{}", std::process::id()));
        _ = std::fs::remove_dir_all(&path);
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    pub fn file(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }

    #[allow(dead_code)]
    pub fn path(&self) -> &Path {
        &self.0
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        _ = std::fs::remove_dir_all(&self.0);
    }
}
