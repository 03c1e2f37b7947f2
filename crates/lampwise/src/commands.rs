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
use crate::shelf;

/// Runs the command that was asked for.
pub fn run(arguments: &Arguments, matches: &ArgMatches, screen: &Screen) -> Result<ExitCode, Failure> {
    let matches = matches.subcommand().map_or(matches, |(_, matches)| matches);
    let shelf = shelf::of_user(arguments.work_out_anew);
    match &arguments.command {
        Command::Why(why) => why::run(why, matches, screen, &*shelf),
        Command::Call(call) => answered(call::run(call, screen, shelf)),
        Command::Lint(lint) => lint::run(lint, screen),
        Command::Play(play) => answered(play::run(play, screen)),
        Command::Practice(practice) => answered(practice::run(practice, screen, &*shelf)),
        Command::Procedure(procedure) => answered(procedure::run(procedure, screen, shelf)),
        Command::Draft(draft) => answered(draft::run(draft, screen)),
        Command::Describe(describe) => answered(describe::run(describe, screen)),
        Command::Trial(trial) => answered(trial::run(trial, screen, &*shelf)),
        Command::Tree(tree) => answered(tree::run(tree, matches, screen, &*shelf)),
        Command::Serve(serve) => answered(serve::run(serve, screen, shelf)),
        Command::Sheet(sheet) => answered(sheet::run(sheet, screen, shelf)),
        Command::Guide(guide) => answered(guide::run(guide, screen, &*shelf)),
        Command::Review(review) => answered(review::run(review, screen, &*shelf)),
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
