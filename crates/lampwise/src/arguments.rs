//! The arguments as typed: every flag once, with its help. What they mean
//! together is worked out by the commands.

use std::path::PathBuf;

use clap::builder::styling::{AnsiColor, Styles};
use clap::{Args, Parser, Subcommand, ValueEnum};

const STYLES: Styles = Styles::styled()
    .header(AnsiColor::Yellow.on_default().bold())
    .usage(AnsiColor::Yellow.on_default().bold())
    .literal(AnsiColor::Cyan.on_default())
    .placeholder(AnsiColor::White.on_default());

const EXAMPLES: &str = "\
A first try, with a machine that is inside the program:

  lampwise why demo:minimal --lamps \"I1-I4 on, I7 on, rest off\" \\
    --did \"pressed start\" --complaint \"won't start\"

  lampwise play demo:minimal --lamps
  lampwise demo minimal --output my-machine.toml

Exit codes:
  0  an answer was given
  1  a machine file or device library has mistakes
  2  wrong usage, a file that can't be read, or a report that can't be understood

A machine is described in a file; `lampwise demo` lists examples. The machine
builder's manual, lockout rules and local codes come before anything printed here.";

/// Finds out why a sequenced machine stands still, from what can be seen of it.
#[derive(Debug, Parser)]
#[command(name = "lampwise", version, styles = STYLES, max_term_width = 96, after_help = EXAMPLES)]
#[command(disable_help_subcommand = true, subcommand_required = true, arg_required_else_help = true)]
pub struct Arguments {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,

    /// Print JSON instead of text; `lampwise schema COMMAND` describes it.
    #[arg(long, global = true, help_heading = "Everywhere")]
    pub json: bool,

    /// When to use colour. `auto`: on a terminal, unless NO_COLOR is set.
    #[arg(long = "color", visible_alias = "colour", global = true, value_name = "WHEN", default_value = "auto")]
    #[arg(help_heading = "Everywhere", hide_possible_values = false)]
    pub colour: Colour,
}

/// When to use colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Colour {
    /// On a terminal.
    Auto,
    /// Always.
    Always,
    /// Never.
    Never,
}

impl Colour {
    /// Makes it so for all that is printed.
    pub fn apply(self) {
        let choice = match self {
            Self::Auto => anstream::ColorChoice::Auto,
            Self::Always => anstream::ColorChoice::Always,
            Self::Never => anstream::ColorChoice::Never,
        };
        choice.write_global();
    }
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Say what is wrong, from lamps and whatever else was reported.
    Why(Why),
}

/// Which machine it is.
#[derive(Debug, Args)]
pub struct MachineChoice {
    /// The machine file; `demo:NAME` takes one from inside the program.
    #[arg(value_name = "MACHINE")]
    pub machine: PathBuf,

    /// A further device library; may be given several times.
    #[arg(long, value_name = "FILE", help_heading = "Which machine")]
    pub library: Vec<PathBuf>,

    /// The machine's revision, by the name it has in the file.
    #[arg(long, value_name = "NAME", help_heading = "Which machine", conflicts_with = "serial")]
    pub revision: Option<String>,

    /// The machine's serial number, which tells the revision.
    #[arg(long, value_name = "NUMBER", help_heading = "Which machine")]
    pub serial: Option<u64>,

    /// A setting of this machine, such as `fill_time=T#3s`; may be given several times.
    #[arg(long = "set", value_name = "NAME=VALUE", help_heading = "Which machine")]
    pub settings: Vec<String>,
}

const WHY_EXAMPLES: &str = "\
Examples:
  The start button does nothing; the lamps are read out over the phone:
    lampwise why demo:jar-filler --lamps \"X12 X14 on, X3 off, rest off\" \\
      --did \"pressed start\" --saw \"nozzle up\" --complaint wont-start

  Somebody looked at the sensor's own LED:
    lampwise why demo:minimal --lamps \"I1-I4 I7 on, rest off\" \\
      --found \"I8 own led: off\"

  And later moments, in order; each --then or --tried begins a new one:
    lampwise why demo:minimal --lamps \"I1-I4 I7 on, rest off\" \\
      --then \"power cycled\" --lamps \"I1-I4 I7 I8 on, rest off\"";

/// What was reported.
#[derive(Debug, Args)]
#[command(after_help = WHY_EXAMPLES)]
pub struct Why {
    #[command(flatten)]
    pub choice: MachineChoice,

    /// How the lamps are, as one says it: "X12 X14 on, X3 off, rest off",
    /// "X0-X7 lit except X3", "X5 flickers", "door shut on", "all others dark".
    #[arg(long, value_name = "REPORT", help_heading = "What was reported", allow_hyphen_values = true)]
    pub lamps: Vec<String>,

    /// What was done last before the call: "shut the door, pressed start",
    /// "powered on", "pushed the lift up".
    #[arg(long, value_name = "DEEDS", help_heading = "What was reported")]
    pub did: Vec<String>,

    /// Where things stand: "nozzle up, door shut, table between".
    #[arg(long, value_name = "POSITIONS", help_heading = "What was reported")]
    pub saw: Vec<String>,

    /// What checks gave: "B1 own-led: off; F3 supply: missing".
    #[arg(long, value_name = "ANSWERS", help_heading = "What was reported")]
    pub found: Vec<String>,

    /// What the caller complains of: wont-start, stops-midway, wont-finish,
    /// wrong-result, or in the caller's words.
    #[arg(long, value_name = "COMPLAINT", help_heading = "What was reported")]
    pub complaint: Option<String>,

    /// Running hours since the machine last ran well.
    #[arg(long, value_name = "HOURS", help_heading = "What was reported")]
    pub hours: Option<f64>,

    /// The routine that people were doing, by its name in the file.
    #[arg(long, value_name = "NAME", help_heading = "What was reported")]
    pub routine: Option<String>,

    /// What was done then; reports behind it belong to the time after.
    /// "pressed reset, pressed start", "power cycled".
    #[arg(long, value_name = "DEEDS", help_heading = "Later moments")]
    pub then: Vec<String>,

    /// A remedy that was tried then, by its key: "B1/replace".
    #[arg(long, value_name = "REMEDY", help_heading = "Later moments")]
    pub tried: Vec<String>,

    /// List every cause, however improbable.
    #[arg(long, help_heading = "What is printed")]
    pub all: bool,
}
