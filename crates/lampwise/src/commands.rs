//! One module for each command; each takes its arguments and prints its answer.

mod why;

use std::process::ExitCode;

use clap::ArgMatches;

use crate::arguments::{Arguments, Command};
use crate::failure::Failure;
use crate::screen::Screen;

/// Runs the command that was asked for.
pub fn run(arguments: &Arguments, matches: &ArgMatches, screen: &Screen) -> Result<ExitCode, Failure> {
    let matches = matches.subcommand().map_or(matches, |(_, matches)| matches);
    match &arguments.command {
        Command::Why(why) => why::run(why, matches, screen),
    }
}
