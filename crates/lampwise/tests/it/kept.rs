use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use crate::support::{command, finish, press};

/// An empty folder for caches.
fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("kept").join(name);
    _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).unwrap();
    folder
}

/// The program with its caches there.
fn with_caches(caches: &Path, arguments: &[&str]) -> Command {
    let mut program = command(arguments);
    program.env("XDG_CACHE_HOME", caches);
    program
}

fn printed(caches: &Path, arguments: &[&str]) -> String {
    finish(with_caches(caches, arguments).output().unwrap()).good()
}

/// The files that are kept there.
fn kept(caches: &Path) -> Vec<PathBuf> {
    let list = fs::read_dir(caches.join("lampwise/worked-out"));
    let mut files: Vec<PathBuf> = list.into_iter().flatten().map(|one| one.unwrap().path()).collect();
    files.sort();
    files
}

/// Notes that a file was not written since: its time of writing is long ago.
const LONG_AGO: std::time::Duration = std::time::Duration::from_secs(1_000_000_000);

fn made_old(file: &Path) {
    let open = fs::File::options().append(true).open(file).unwrap();
    open.set_modified(std::time::UNIX_EPOCH + LONG_AGO).unwrap();
}

#[test]
fn a_second_start_prints_the_same_byte_for_byte() {
    for (number, machine) in ["minimal", "jar-filler", "parts-washer", "lidding-line"].into_iter().enumerate() {
        let caches = folder(machine);
        let demo = format!("demo:{machine}");
        let lamps = if number == 0 { "I1-I4 I7 on, rest off" } else { "all dark" };
        let then = ["--then", "power cycled", "--lamps", lamps];
        let why = ["--json", "why", &demo, "--lamps", lamps, "--complaint", "won't start"];
        let (why, later) = (why.to_vec(), [&why[..], &then[..]].concat());
        let cold = printed(&caches, &why);
        let [file] = &kept(&caches)[..] else { panic!("one file for {machine}") };
        let whole = fs::read(file).unwrap();
        assert_eq!(printed(&caches, &why), cold, "{machine}");
        let warm = printed(&caches, &later);
        assert!(fs::read(file).unwrap() == whole && kept(&caches).len() == 1, "{machine}");
        let without = printed(&caches, &[&later[..], &["--work-out-anew"]].concat());
        assert_eq!(warm, without, "{machine}");
    }
}

#[test]
fn what_is_kept_is_used_and_what_is_damaged_or_another_s_is_made_anew() {
    let caches = folder("damaged");
    let press = press();
    let why = ["why", press.as_str(), "--complaint", "won't start"];
    let expected = printed(&caches, &why);
    let file = kept(&caches)[0].clone();
    let whole = fs::read(&file).unwrap();
    // It is noted as used, and not written anew.
    #[cfg(unix)]
    {
        use std::os::unix::fs::MetadataExt as _;
        let number = |file: &Path| fs::metadata(file).unwrap().ino();
        let before = number(&file);
        made_old(&file);
        assert_eq!(printed(&caches, &why), expected);
        assert_eq!(number(&file), before);
        let used = fs::metadata(&file).unwrap().modified().unwrap();
        assert!(used > std::time::UNIX_EPOCH + LONG_AGO);
    }
    // Of another version of the program: the name that stands within is another.
    let mut of_another = whole.clone();
    of_another[..32].reverse();
    let mut damaged = whole.clone();
    damaged[whole.len() / 2] ^= 0x10;
    for bytes in [of_another, damaged, whole[..whole.len() - 7].to_vec(), Vec::new(), b"a letter".to_vec()] {
        fs::write(&file, bytes).unwrap();
        assert_eq!(printed(&caches, &why), expected);
        assert!(fs::read(&file).unwrap() == whole);
    }
    // A folder stands where the file should.
    fs::remove_file(&file).unwrap();
    fs::create_dir(&file).unwrap();
    assert_eq!(printed(&caches, &why), expected);
    assert!(kept(&caches).iter().all(|one| one.is_dir()), "a draft was left: {:?}", kept(&caches));
}

#[test]
fn several_that_begin_at_once_do_not_disturb_each_other() {
    let caches = folder("at-once");
    let press = press();
    let why = ["why", press.as_str(), "--complaint", "won't start"];
    let expected = printed(&folder("alone"), &why);
    let begun: Vec<_> = (0..6)
        .map(|_| with_caches(&caches, &why).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap())
        .collect();
    for one in begun {
        assert_eq!(finish(one.wait_with_output().unwrap()).good(), expected);
    }
    assert_eq!(kept(&caches).len(), 1);
    assert!(fs::read(&kept(&caches)[0]).unwrap() == fs::read(&kept(&folder_of("alone"))[0]).unwrap());
}

fn folder_of(name: &str) -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join("kept").join(name)
}

#[test]
fn where_nothing_can_be_kept_nothing_is_said_about_it() {
    let caches = folder("not-writable");
    let press = press();
    let why = ["why", press.as_str(), "--complaint", "won't start"];
    let expected = printed(&folder("writable"), &why);
    // A file where a folder should be: nobody can write there, whoever runs this.
    let file = caches.join("a-file");
    fs::write(&file, "in the way").unwrap();
    assert_eq!(printed(&file, &why), expected);
    // No folder is known at all, or it is on a medium that can't be written.
    let mut nowhere = with_caches(Path::new("/proc/nowhere"), &why);
    assert_eq!(finish(nowhere.output().unwrap()).good(), expected);
    assert_eq!(fs::read_to_string(&file).unwrap(), "in the way");
}

#[test]
fn whoever_wants_it_worked_out_anew_leaves_no_trace() {
    let caches = folder("anew");
    let press = press();
    let anew = printed(&caches, &["--work-out-anew", "why", &press, "--complaint", "won't start"]);
    assert_eq!(fs::read_dir(&caches).unwrap().count(), 0);
    assert_eq!(printed(&caches, &["why", &press, "--complaint", "won't start"]), anew);
    assert_eq!(kept(&caches).len(), 1);
}

#[test]
fn the_other_commands_take_up_what_why_has_kept() {
    let caches = folder("others");
    let press = press();
    _ = printed(&caches, &["why", &press, "--complaint", "won't start"]);
    made_old(&kept(&caches)[0]);
    for arguments in
        [vec!["review", &press], vec!["tree", &press], vec!["sheet", &press, "symptoms", "--format", "html"]]
    {
        let warm = printed(&caches, &arguments);
        assert_eq!(kept(&caches).len(), 1, "{arguments:?}");
        let used = fs::metadata(&kept(&caches)[0]).unwrap().modified().unwrap();
        assert!(used > std::time::UNIX_EPOCH + LONG_AGO, "{arguments:?}");
        made_old(&kept(&caches)[0]);
        assert_eq!(printed(&caches, &[&arguments[..], &["--work-out-anew"]].concat()), warm, "{arguments:?}");
    }
}
