//! Where what was worked out about machines is laid by: a folder among the user's caches. It may be emptied at any time.
//!
//! Nothing here is a mistake that anybody is told of: where the folder can't be made, written or read, everything is worked out
//! anew. What is read is looked at by `diagnose`, which takes nothing that is damaged.

use std::fs::{self, File};
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, SystemTime};

use diagnose::{NoShelf, Shelf};
use etcetera::BaseStrategy as _;

/// Bytes that the folder may have: some seventy of the largest demo.
const MOST: u64 = 500_000_000;
/// What the files' names end in; anything else in the folder is left alone.
const ENDING: &str = "worked-out";
/// What the names of files begin with that are being written.
const DRAFT: &str = "draft-";
/// After so long nobody goes on writing a draft.
const ABANDONED: Duration = Duration::from_secs(24 * 60 * 60);

/// The shelf of this user; none where everything is to be worked out anew, or nobody knows the user's folder.
pub fn of_user(work_out_anew: bool) -> Arc<dyn Shelf> {
    match etcetera::choose_base_strategy() {
        Ok(folders) if !work_out_anew => {
            Arc::new(Folder { path: folders.cache_dir().join("lampwise").join("worked-out"), most: MOST })
        }
        _ => Arc::new(NoShelf),
    }
}

/// A folder with a file for each machine.
#[derive(Debug)]
struct Folder {
    path: PathBuf,
    /// Bytes that it may have.
    most: u64,
}

impl Shelf for Folder {
    fn take(&self, name: &str) -> Option<Vec<u8>> {
        let file = File::open(self.place(name)).ok()?;
        let mut bytes = Vec::new();
        // Whatever else stands under that name, it is not read without end.
        file.take(self.most).read_to_end(&mut bytes).ok()?;
        // What is used stays longest. Not every folder lets itself be written.
        _ = touch(&self.place(name));
        Some(bytes)
    }

    fn lay_by(&self, name: &str, bytes: &[u8]) {
        if u64::try_from(bytes.len()).is_ok_and(|bytes| bytes <= self.most) {
            _ = self.write(name, bytes);
            self.tidy(&self.place(name));
        }
    }
}

impl Folder {
    fn place(&self, name: &str) -> PathBuf {
        self.path.join(format!("{name}.{ENDING}"))
    }

    /// Written under another name and then renamed, so that nobody ever reads half a file; for this user alone.
    fn write(&self, name: &str, bytes: &[u8]) -> std::io::Result<()> {
        fs::create_dir_all(&self.path)?;
        let mut draft = tempfile::Builder::new().prefix(DRAFT).tempfile_in(&self.path)?;
        draft.write_all(bytes)?;
        draft.persist(self.place(name))?;
        Ok(())
    }

    /// Removes what was not used for longest until all is within the bound, and drafts that nobody finished. `newest`
    /// stays.
    fn tidy(&self, newest: &Path) {
        let Ok(list) = fs::read_dir(&self.path) else { return };
        let mut files: Vec<(SystemTime, PathBuf, u64)> = Vec::new();
        for one in list.flatten() {
            let Ok((about, used)) = one.metadata().and_then(|about| Ok((about.clone(), about.modified()?))) else {
                continue;
            };
            let path = one.path();
            let old = || used.elapsed().is_ok_and(|age| age > ABANDONED);
            if one.file_name().to_string_lossy().starts_with(DRAFT) {
                if old() {
                    _ = fs::remove_file(path);
                }
            } else if about.is_file() && path.extension().is_some_and(|ending| ending == ENDING) {
                files.push((used, path, about.len()));
            }
        }
        files.sort();
        let mut all: u64 = files.iter().map(|(.., bytes)| bytes).sum();
        for (_, path, bytes) in files.iter().filter(|(_, path, _)| path != newest) {
            if all <= self.most {
                break;
            }
            if fs::remove_file(path).is_ok() {
                all = all.saturating_sub(*bytes);
            }
        }
    }
}

/// Notes that a file is used now.
fn touch(path: &Path) -> std::io::Result<()> {
    File::options().append(true).open(path)?.set_modified(SystemTime::now())
}

#[cfg(test)]
#[allow(clippy::unwrap_used, clippy::expect_used)]
mod tests {
    use super::*;

    fn names(folder: &Folder) -> Vec<String> {
        let list = fs::read_dir(&folder.path).unwrap();
        let mut names: Vec<String> = list.map(|one| one.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    fn used(folder: &Folder, name: &str, hours_ago: u64) {
        let file = File::options().append(true).open(folder.path.join(name)).unwrap();
        file.set_modified(SystemTime::now() - Duration::from_secs(3600 * hours_ago)).unwrap();
    }

    #[test]
    fn what_was_laid_by_is_there_again_and_nothing_else() {
        let place = tempfile::tempdir().unwrap();
        let folder = Folder { path: place.path().join("not/there/yet"), most: 100 };
        assert_eq!(folder.take("one"), None);
        folder.lay_by("one", b"first");
        assert_eq!(folder.take("one").as_deref(), Some(&b"first"[..]));
        folder.lay_by("one", b"again");
        assert_eq!(folder.take("one").as_deref(), Some(&b"again"[..]));
        assert_eq!(folder.take("two"), None);
        assert_eq!(names(&folder), ["one.worked-out"]);
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt as _;
            let mode = fs::metadata(folder.place("one")).unwrap().permissions().mode();
            assert_eq!(mode & 0o077, 0, "others can read it: {mode:o}");
        }
    }

    #[test]
    fn what_was_not_used_for_longest_goes_first_and_other_files_stay() {
        let place = tempfile::tempdir().unwrap();
        let folder = Folder { path: place.path().to_owned(), most: 25 };
        fs::write(place.path().join("letter.txt"), [0; 1000]).unwrap();
        fs::write(place.path().join("draft-left"), [0; 1000]).unwrap();
        fs::write(place.path().join("draft-now"), [0; 1000]).unwrap();
        used(&folder, "draft-left", 25);
        folder.lay_by("a", &[0; 10]);
        folder.lay_by("b", &[0; 10]);
        used(&folder, "a.worked-out", 3);
        used(&folder, "b.worked-out", 2);
        // Used again, so that the other is now the older one.
        assert!(folder.take("a").is_some());
        folder.lay_by("c", &[0; 10]);
        assert_eq!(names(&folder), ["a.worked-out", "c.worked-out", "draft-now", "letter.txt"]);
    }

    #[test]
    fn what_is_too_large_is_not_kept() {
        let place = tempfile::tempdir().unwrap();
        let folder = Folder { path: place.path().join("shelf"), most: 25 };
        folder.lay_by("a", &[0; 26]);
        assert!(!folder.path.exists());
    }

    #[test]
    fn a_folder_that_cannot_be_is_no_mistake() {
        let place = tempfile::tempdir().unwrap();
        let file = place.path().join("file");
        fs::write(&file, "in the way").unwrap();
        let folder = Folder { path: file.join("shelf"), most: 100 };
        folder.lay_by("one", b"first");
        assert_eq!(folder.take("one"), None);
    }
}
