//! Machines for tests that walk over everything there is.
// Each test takes what it needs.
#![allow(dead_code)]

use std::fs;
use std::path::{Path, PathBuf};

use machine::library::{Library, StandsIn};
use machine::{Choice, Machine, Problem, Source, read};

/// The `.toml` files of a folder, by its path from this crate.
pub fn folder(name: &str) -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(name);
    let mut files: Vec<PathBuf> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.retain(|path| path.extension().is_some_and(|end| end == "toml"));
    files.sort();
    files
}

/// Every demo machine in every revision, and a machine with one device of every type of the library.
pub fn machines() -> Vec<(String, Machine)> {
    let mut all = Vec::new();
    for path in folder("../../demos") {
        let name = path.file_stem().unwrap().to_string_lossy().into_owned();
        let reading = read(Source::new(&*name, fs::read_to_string(&path).unwrap()), &[]);
        let revisions: Vec<Option<String>> = match reading.revisions() {
            [] => vec![None],
            list => list.iter().map(|revision| Some(revision.name.clone())).collect(),
        };
        for revision in revisions {
            let choice = Choice { revision, ..Choice::default() };
            for alternative in reading.resolve(&choice).alternatives {
                all.push((name.clone(), alternative.machine));
            }
        }
    }
    all.push(("every type".to_owned(), every_type()));
    all
}

fn every_type() -> Machine {
    let mut parts = [const { String::new() }; 4];
    for (index, kind) in Library::embedded().types.values().enumerate() {
        let key = &kind.key;
        match kind.stands_in {
            StandsIn::Input => parts[2] += &format!("X{index} = {{ is = \"{key}\", lit = \"m{index} = a\" }}\n"),
            StandsIn::Output => parts[3] += &format!("Y{index} = {{ is = \"{key}\", moves = \"n{index} a\" }}\n"),
            StandsIn::Supply => parts[0] += &format!("s{index} = {{ is = \"{key}\" }}\n"),
            StandsIn::Mechanism => {
                parts[1] += &format!("k{index} = {{ is = \"{key}\", positions = [\"a\", \"b\"], raised = \"a\" }}\n");
            }
            StandsIn::Controller | StandsIn::Shared => {}
        }
    }
    let [supplies, mechanisms, inputs, outputs] = parts;
    let text = format!(
        "format = 1\n[machine]\nname = \"Every type\"\n[supplies]\n{supplies}[mechanisms]\n{mechanisms}[inputs]\n\
         {inputs}[outputs]\n{outputs}"
    );
    let resolved = read(Source::new("every-type.toml", text), &[]).resolve(&Choice::default());
    let errors: Vec<&Problem> = resolved.problems.iter().filter(|problem| problem.is_error()).collect();
    assert!(errors.is_empty(), "{errors:?}");
    resolved.alternatives.into_iter().next().unwrap().machine
}
