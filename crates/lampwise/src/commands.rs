//! One module for each command; each takes its arguments and prints its answer.

mod accounts;
mod call;
mod demo;
mod describe;
mod draft;
mod guide;
mod lint;
mod manual;
mod play;
mod practice;
mod procedure;
mod records;
mod review;
mod schema;
mod serve;
mod sheet;
mod tree;
mod trial;
mod types;
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
        Command::Call(call) => answered(call::run(call, screen)),
        Command::Lint(lint) => lint::run(lint, screen),
        Command::Play(play) => answered(play::run(play, screen)),
        Command::Practice(practice) => answered(practice::run(practice, screen)),
        Command::Procedure(procedure) => answered(procedure::run(procedure, screen)),
        Command::Draft(draft) => answered(draft::run(draft, screen)),
        Command::Describe(describe) => answered(describe::run(describe, screen)),
        Command::Trial(trial) => answered(trial::run(trial, screen)),
        Command::Tree(tree) => answered(tree::run(tree, matches, screen)),
        Command::Serve(serve) => answered(serve::run(serve, screen)),
        Command::Sheet(sheet) => answered(sheet::run(sheet, screen)),
        Command::Guide(guide) => answered(guide::run(guide, screen)),
        Command::Review(review) => answered(review::run(review, screen)),
        Command::Accounts(accounts) => answered(accounts::run(accounts, screen)),
        Command::Records(records) => records::run(records, screen),
        Command::Types(types) => answered(types::run(types, screen)),
        Command::Demo(demo) => answered(demo::run(demo, screen)),
        Command::Schema(schema) => answered(schema::run(schema, screen)),
        Command::Completions(completions) => answered(manual::completions(completions, screen)),
        Command::Man(man) => answered(manual::pages(man, screen)),
    }
}

fn answered(result: Result<(), Failure>) -> Result<ExitCode, Failure> {
    result.map(|()| ExitCode::SUCCESS)
}
