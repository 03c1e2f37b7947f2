//! Starting the program and looking at what it printed.

use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::atomic::{AtomicUsize, Ordering};

/// What the program printed and how it ended.
pub struct Ran {
    pub out: String,
    pub err: String,
    pub code: i32,
}

/// Runs the program from the folder that holds the demos' folder.
pub fn lampwise(arguments: &[&str]) -> Ran {
    finish(command(arguments).output().expect("the program starts"))
}

/// The program, not started yet.
pub fn command(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_lampwise"));
    command.args(arguments).current_dir(root()).env_remove("NO_COLOR").env_remove("CLICOLOR_FORCE");
    // Nobody's own folder is written to.
    command.env("XDG_CACHE_HOME", Path::new(env!("CARGO_TARGET_TMPDIR")).join("caches"));
    command.stdin(Stdio::null());
    command
}

/// What came of it.
pub fn finish(output: Output) -> Ran {
    Ran {
        out: String::from_utf8(output.stdout).expect("UTF-8 on the standard output"),
        err: String::from_utf8(output.stderr).expect("UTF-8 on the standard error"),
        code: output.status.code().expect("no signal"),
    }
}

/// The repository's folder.
pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

/// A file with this content. It is never seen half written, as tests that run side by side write the same ones.
pub fn file(name: &str, content: impl AsRef<[u8]>) -> String {
    static WRITTEN: AtomicUsize = AtomicUsize::new(0);
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR"));
    let number = WRITTEN.fetch_add(1, Ordering::Relaxed);
    let (path, draft) = (folder.join(name), folder.join(format!("{}-{number}.draft", std::process::id())));
    std::fs::write(&draft, content).expect("a file can be written");
    std::fs::rename(&draft, &path).expect("a file can be renamed");
    path.display().to_string()
}

/// A machine so small that all about it is worked out in a moment.
pub fn press() -> String {
    file("press.toml", PRESS)
}

pub const PRESS: &str = include_str!("../../../machine/tests/files/bare_press.toml");

impl Ran {
    /// The output, after a good end with nothing on the standard error.
    pub fn good(self) -> String {
        assert_eq!((self.code, self.err.as_str()), (0, ""), "{}", self.out);
        self.out
    }

    /// The standard error, after an end with this code and nothing on the standard output.
    pub fn bad(self, code: i32) -> String {
        assert_eq!((self.code, self.out.as_str()), (code, ""), "{}", self.err);
        self.err
    }
}
