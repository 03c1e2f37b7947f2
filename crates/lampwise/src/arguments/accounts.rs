//! The arguments of `lampwise accounts`.

use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};
use records::accounts::Role as Kept;

const EXAMPLES: &str = "\
Examples:
  The first account; the password is asked for and not shown:
    lampwise accounts add desk.sqlite ada --role editor

  From a script the password comes as one line of the standard input:
    lampwise accounts add desk.sqlite ben --role desk < password.txt

  Who is there, and what they may do:
    lampwise accounts list desk.sqlite

  A new password; whoever is signed in with the old one is signed out:
    lampwise accounts change desk.sqlite ben --password

Roles: `reader` reads everything; `desk` works calls, procedures, practice and the
notes of machines; `editor` also changes machines and machine types, takes lists in,
and sees the accounts. A password has at least 12 letters.";

/// What to do with the accounts.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES, subcommand_required = true, arg_required_else_help = true)]
pub struct Accounts {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// The commands of the group.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Add an account; its password is asked for, or is one line of the standard input.
    #[command(after_help = "Example:\n  lampwise accounts add desk.sqlite ada --role editor")]
    Add(Add),
    /// List the accounts: name, role, when they were added, changed, and seen last.
    #[command(after_help = "Example:\n  lampwise accounts list desk.sqlite")]
    List(List),
    /// Change what an account may do, or its password.
    #[command(
        after_help = "Examples:\n  lampwise accounts change desk.sqlite ben --role reader\n  lampwise accounts change desk.sqlite ben --password"
    )]
    Change(Change),
    /// Remove an account; whoever is signed in with it is signed out.
    #[command(after_help = "Example:\n  lampwise accounts remove desk.sqlite ben")]
    Remove(Named),
}

/// What an account may do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Role {
    /// Reads everything.
    Reader,
    /// Works calls, procedures, practice and the notes of machines.
    Desk,
    /// Changes machines and machine types too, takes lists in, sees the accounts.
    Editor,
}

impl From<Role> for Kept {
    fn from(role: Role) -> Self {
        match role {
            Role::Reader => Self::Reader,
            Role::Desk => Self::Desk,
            Role::Editor => Self::Editor,
        }
    }
}

/// Whose accounts.
#[derive(Debug, Args)]
pub struct List {
    /// The file of the records.
    #[arg(value_name = "RECORDS")]
    pub records: PathBuf,
}

/// Which account.
#[derive(Debug, Args)]
pub struct Named {
    /// The file of the records.
    #[arg(value_name = "RECORDS")]
    pub records: PathBuf,

    /// The account's name; large and small letters are the same.
    #[arg(value_name = "NAME")]
    pub name: String,
}

/// A new account.
#[derive(Debug, Args)]
pub struct Add {
    #[command(flatten)]
    pub named: Named,

    /// What it may do.
    #[arg(long, value_name = "ROLE")]
    pub role: Role,
}

/// What to change.
#[derive(Debug, Args)]
#[command(group = clap::ArgGroup::new("what").args(["role", "password"]).required(true).multiple(true))]
pub struct Change {
    #[command(flatten)]
    pub named: Named,

    /// What it may do from now on.
    #[arg(long, value_name = "ROLE")]
    pub role: Option<Role>,

    /// Ask for a new password, or take one line of the standard input.
    #[arg(long)]
    pub password: bool,
}
