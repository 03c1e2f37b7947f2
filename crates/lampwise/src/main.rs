//! The command line of Lampwise: reads arguments and files, asks the libraries,
//! and prints. All knowledge of machines is in the crates `machine`, `sim` and
//! `diagnose`; all printing and all exit codes are here.

mod answers;
mod arguments;
mod commands;
mod failure;
mod input;
mod progress;
mod screen;
mod shelf;

use std::process::ExitCode;

use clap::{CommandFactory, FromArgMatches};

use crate::arguments::Arguments;
use crate::failure::Failure;
use crate::screen::Screen;

/// Exploring a machine makes and drops many small states on all cores at once.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> ExitCode {
    let wants_json = std::env::args_os().skip(1).take_while(|arg| arg != "--").any(|arg| arg == "--json");
    let matches = match Arguments::command().try_get_matches() {
        Ok(matches) => matches,
        Err(error) => return usage(&error, wants_json),
    };
    let arguments = match Arguments::from_arg_matches(&matches) {
        Ok(arguments) => arguments,
        Err(error) => return usage(&error, wants_json),
    };
    arguments.colour.apply();
    let screen = Screen::new(arguments.json);
    match commands::run(&arguments, &matches, &screen) {
        Ok(code) => code,
        Err(failure) => failure.report(&screen),
    }
}

/// What the argument parser has to say: help and version are no mistakes.
fn usage(error: &clap::Error, json: bool) -> ExitCode {
    if !error.use_stderr() {
        // A reader that has gone away is no error; nothing else can be done about it here.
        _ = error.print();
        return ExitCode::SUCCESS;
    }
    if json {
        return Failure::usage(error).report(&Screen::new(true));
    }
    _ = error.print();
    ExitCode::from(failure::WRONG_USE)
}
