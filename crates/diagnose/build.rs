//! Tells the crate from which sources it is made: what another program worked out is not taken for its own, also where
//! nobody has counted the version up.

use blake2::{Blake2b256, Digest as _};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::{env, fs, io};

/// Folders and files, from this crate's folder, on which it depends what is worked out.
const SOURCES: [&str; 4] = ["src", "../sim/src", "../machine/src", "../../Cargo.lock"];

fn main() -> io::Result<()> {
    let here = env::var_os("CARGO_MANIFEST_DIR").map(PathBuf::from).unwrap_or_default();
    let mut hash = Blake2b256::new();
    for source in SOURCES {
        println!("cargo::rerun-if-changed={source}");
        add(&here.join(source), &mut hash)?;
    }
    let mut hexadecimal = String::new();
    for byte in hash.finalize() {
        // Writing to a text does not fail.
        let _ = write!(hexadecimal, "{byte:02x}");
    }
    println!("cargo::rustc-env=LAMPWISE_SOURCES={hexadecimal}");
    Ok(())
}

/// Adds a file, or all in a folder in the order of their names, each with its name and length.
fn add(path: &Path, hash: &mut Blake2b256) -> io::Result<()> {
    if path.is_dir() {
        let mut inside: Vec<PathBuf> = fs::read_dir(path)?.map(|one| Ok(one?.path())).collect::<io::Result<_>>()?;
        inside.sort();
        return inside.iter().try_for_each(|one| add(one, hash));
    }
    // A clone may have other line ends, which change nothing.
    let text: Vec<u8> = fs::read(path)?.into_iter().filter(|byte| *byte != b'\r').collect();
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    hash.update(format!("{name} {}\n", text.len()));
    hash.update(text);
    Ok(())
}
