//! The arguments of `lampwise records`.

use std::path::PathBuf;

use clap::{Args, Subcommand, ValueEnum};

const EXAMPLES: &str = "\
Examples:
  An invented history to look at:
    lampwise records demo shop.db
    lampwise records figures shop.db

  Records of your own:
    lampwise records init shop.db
    lampwise records add shop.db my-machine.toml --name press
    lampwise records import shop.db machines machines.csv --dry-run
    lampwise records hours shop.db P-17 1850 --since 2026-01-01 --until 2026-07-01

  A diagnosis of a machine in the records, with its own settings and the learned rates:
    lampwise why JF-0231 --records shop.db --lamps \"X12 X14 on, rest off\"";

/// What to do with the records.
#[derive(Debug, Args)]
#[command(after_help = EXAMPLES, subcommand_required = true, arg_required_else_help = true)]
pub struct Records {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// The commands of the group.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Begin new records in a file that is not there yet.
    #[command(after_help = "Example:\n  lampwise records init shop.db")]
    Init(Place),
    /// Begin new records with an invented history of calls.
    #[command(after_help = "Example:\n  lampwise records demo shop.db --seed 2")]
    Demo(Demo),
    /// Add a machine file: a new machine type, or a new version of one.
    #[command(
        after_help = "Example:\n  lampwise records add shop.db my-machine.toml --name press --note \"new valve\""
    )]
    Add(Add),
    /// List machine types, or machines with --of or --at.
    #[command(
        after_help = "Examples:\n  lampwise records machines shop.db\n  lampwise records machines shop.db --of press"
    )]
    Machines(Machines),
    /// Keep how many hours a machine ran; learned rates and the hours between failures need it.
    #[command(
        after_help = "Example:\n  lampwise records hours shop.db P-17 1850 --since 2026-01-01 --until 2026-07-01"
    )]
    Hours(Hours),
    /// List calls, the newest first.
    #[command(
        after_help = "Examples:\n  lampwise records calls shop.db --open\n  lampwise records calls shop.db --serial JF-0231"
    )]
    Calls(Calls),
    /// Print a call with its finding, or as a file that `lampwise call --resume` reads.
    #[command(after_help = "Example:\n  lampwise records call shop.db 17")]
    Call(Call),
    /// Search machine types, sites, machines, calls and findings for words.
    #[command(after_help = "Example:\n  lampwise records search shop.db fuse holder")]
    Search(Search),
    /// Take machines, calls, findings, hours or procedures in from CSV or JSON Lines: all of them or, with any problem, none.
    #[command(after_help = "Example:\n  lampwise records import shop.db machines machines.csv --dry-run")]
    Import(Import),
    /// Write machines, calls, findings, hours or procedures out as CSV or JSON Lines.
    #[command(after_help = "Example:\n  lampwise records export shop.db calls --output calls.csv")]
    Export(Export),
    /// Copy the records to a new file, while they are in use.
    #[command(after_help = "Example:\n  lampwise records backup shop.db shop-friday.db")]
    Backup(Backup),
    /// Look the file over: whether it is sound and whether everything that is referred to is there.
    #[command(after_help = "Example:\n  lampwise records check shop.db")]
    Check(Place),
    /// Say which faults come oftener or more seldom than the library says.
    #[command(after_help = "Example:\n  lampwise records rates shop.db --all")]
    Rates(Rates),
    /// Print the service manager's figures.
    #[command(after_help = "Example:\n  lampwise records figures shop.db --since 2026-01-01 --lead-days 21")]
    Figures(Figures),
}

/// Where the records are.
#[derive(Debug, Args)]
pub struct Place {
    /// The file of the records.
    #[arg(value_name = "RECORDS")]
    pub records: PathBuf,
}

/// Which history.
#[derive(Debug, Args)]
pub struct Demo {
    #[command(flatten)]
    pub place: Place,

    /// How many calls.
    #[arg(long, value_name = "NUMBER", default_value_t = 400, value_parser = clap::value_parser!(u32).range(1..=5_000))]
    pub calls: u32,

    /// Which history: the same number and end give the same one.
    #[arg(long, value_name = "NUMBER", default_value_t = 1)]
    pub seed: u64,

    /// The day on which it ends; today if nothing is said.
    #[arg(long, value_name = "DAY", value_parser = day)]
    pub until: Option<jiff::Timestamp>,
}

/// Which machine file.
#[derive(Debug, Args)]
pub struct Add {
    #[command(flatten)]
    pub place: Place,

    /// The machine file; `demo:NAME` takes one from inside the program.
    #[arg(value_name = "MACHINE")]
    pub machine: PathBuf,

    /// The short name of the machine type; if nothing is said, that of the file.
    #[arg(long, value_name = "NAME")]
    pub name: Option<String>,

    /// A further device library; may be given several times.
    #[arg(long, value_name = "FILE")]
    pub library: Vec<PathBuf>,

    /// What was changed.
    #[arg(long, value_name = "WORDS", default_value = "")]
    pub note: String,
}

/// Which machines.
#[derive(Debug, Args)]
pub struct Machines {
    #[command(flatten)]
    pub place: Place,

    /// The machines of this type, by its short name.
    #[arg(long, value_name = "TYPE")]
    pub of: Option<String>,

    /// The machines at this site.
    #[arg(long, value_name = "SITE")]
    pub at: Option<String>,

    /// List all machines.
    #[arg(long)]
    pub all: bool,
}

/// How long a machine ran.
#[derive(Debug, Args)]
pub struct Hours {
    #[command(flatten)]
    pub place: Place,

    /// The machine's serial number.
    #[arg(value_name = "SERIAL")]
    pub serial: String,

    /// Hours that it ran in this time.
    #[arg(value_name = "HOURS")]
    pub hours: f64,

    /// From the beginning of this day.
    #[arg(long, value_name = "DAY", value_parser = day)]
    pub since: jiff::Timestamp,

    /// Up to the beginning of this day.
    #[arg(long, value_name = "DAY", value_parser = day)]
    pub until: jiff::Timestamp,
}

/// Which calls.
#[derive(Debug, Args)]
pub struct Calls {
    #[command(flatten)]
    pub place: Place,

    /// Only those that are open.
    #[arg(long)]
    pub open: bool,

    /// Only those on the machine with this serial number.
    #[arg(long, value_name = "SERIAL")]
    pub serial: Option<String>,

    /// Only those on machines of this type.
    #[arg(long, value_name = "TYPE")]
    pub of: Option<String>,

    /// How many at most.
    #[arg(long, value_name = "NUMBER", default_value_t = 20, value_parser = clap::value_parser!(u16).range(1..=1_000))]
    pub most: u16,
}

/// Which call.
#[derive(Debug, Args)]
pub struct Call {
    #[command(flatten)]
    pub place: Place,

    /// The call's number.
    #[arg(value_name = "NUMBER")]
    pub number: i64,
}

/// What to search for.
#[derive(Debug, Args)]
pub struct Search {
    #[command(flatten)]
    pub place: Place,

    /// The words; all of them have to be there, or the beginnings of them.
    #[arg(value_name = "WORD", required = true)]
    pub words: Vec<String>,

    /// How many hits at most.
    #[arg(long, value_name = "NUMBER", default_value_t = 20, value_parser = clap::value_parser!(u8).range(1..=200))]
    pub most: u8,
}

/// What is taken along.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Things {
    /// Machines; their types have to be there.
    Machines,
    /// Calls with what was said in them.
    Calls,
    /// Findings; their calls have to be there.
    Findings,
    /// Running hours or cycles; their machines have to be there.
    Hours,
    /// Procedures that were gone through, with what was measured; their machines have to be there.
    Procedures,
}

/// How it is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum ListFormat {
    /// Comma-separated values; semicolons and tabs are read too.
    Csv,
    /// One JSON object a line.
    JsonLines,
}

/// What to take in.
#[derive(Debug, Args)]
pub struct Import {
    #[command(flatten)]
    pub place: Place,

    /// What it is.
    #[arg(value_name = "WHAT")]
    pub things: Things,

    /// The list.
    #[arg(value_name = "FILE")]
    pub list: PathBuf,

    /// How it is written, where the end of the file's name (.csv, .jsonl) does not say it.
    #[arg(long, value_name = "FORMAT")]
    pub format: Option<ListFormat>,

    /// Only say what would be done, and every problem by line.
    #[arg(long)]
    pub dry_run: bool,
}

/// What to write out.
#[derive(Debug, Args)]
pub struct Export {
    #[command(flatten)]
    pub place: Place,

    /// What.
    #[arg(value_name = "WHAT")]
    pub things: Things,

    /// Save it here; a file that is there is not overwritten.
    #[arg(long, short, value_name = "FILE")]
    pub output: Option<PathBuf>,

    /// How to write it, where the end of the file's name does not say it; else CSV.
    #[arg(long, value_name = "FORMAT")]
    pub format: Option<ListFormat>,
}

/// Where to copy to.
#[derive(Debug, Args)]
pub struct Backup {
    #[command(flatten)]
    pub place: Place,

    /// The new file.
    #[arg(value_name = "COPY")]
    pub copy: PathBuf,
}

/// Which rates.
#[derive(Debug, Args)]
pub struct Rates {
    #[command(flatten)]
    pub place: Place,

    /// List every fault, not only those that stand out.
    #[arg(long)]
    pub all: bool,

    /// Only what was known at the beginning of this day.
    #[arg(long, value_name = "DAY", value_parser = day)]
    pub until: Option<jiff::Timestamp>,
}

/// Which figures.
#[derive(Debug, Args)]
pub struct Figures {
    #[command(flatten)]
    pub place: Place,

    /// From the beginning of this day; two years ago if nothing is said.
    #[arg(long, value_name = "DAY", value_parser = day)]
    pub since: Option<jiff::Timestamp>,

    /// Up to the beginning of this day; up to now if nothing is said.
    #[arg(long, value_name = "DAY", value_parser = day)]
    pub until: Option<jiff::Timestamp>,

    /// Only machines of this type.
    #[arg(long, value_name = "TYPE")]
    pub of: Option<String>,

    /// Only at this site.
    #[arg(long, value_name = "SITE")]
    pub at: Option<String>,

    /// Days until an ordered part is there.
    #[arg(long, value_name = "DAYS", default_value_t = 14.0)]
    pub lead_days: f64,

    /// How probable it is to be that the stock lasts so long.
    #[arg(long, value_name = "SHARE", default_value_t = 0.95)]
    pub service_level: f64,
}

/// A day, as the beginning of it in UTC, or a time.
fn day(text: &str) -> Result<jiff::Timestamp, String> {
    let time = text.parse::<jiff::Timestamp>().ok();
    let day = || text.parse::<jiff::civil::Date>().ok()?.to_zoned(jiff::tz::TimeZone::UTC).ok();
    time.or_else(|| day().map(|day| day.timestamp())).ok_or_else(|| "write a day as 2026-03-01".to_owned())
}
