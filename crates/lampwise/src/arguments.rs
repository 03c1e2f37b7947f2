//! The arguments as typed: every flag once, with its help. What they mean
//! together is worked out by the commands.

pub mod accounts;
pub mod records;

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
    #[arg(help_heading = "Everywhere")]
    pub colour: Colour,

    /// Work the machine out anew, and keep nothing of it. Otherwise what was worked out is
    /// kept among your caches, at most 500 MB, and the next start is quicker; the answers
    /// are the same.
    #[arg(long, global = true, help_heading = "Everywhere")]
    pub work_out_anew: bool,
}

/// When to use colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Colour {
    #[allow(missing_docs)]
    Auto,
    #[allow(missing_docs)]
    Always,
    #[allow(missing_docs)]
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
    /// Lead a call: question after question until the machine runs.
    Call(Call),
    /// Play a routine, with or without something wrong, and print what happens.
    Play(Play),
    /// Show the pages: calls worked in the browser, on this computer.
    Serve(Serve),
    /// Practise on a simulated machine: find what is hidden in it, or read its lamps.
    Practice(Practice),
    /// Lead through a service job: cautions, actions, lamps to be seen, values to measure.
    Procedure(Procedure),
    /// Look machine files or device libraries over: all mistakes in one go.
    Lint(Lint),
    /// Draft a first machine file from an I/O list.
    Draft(Draft),
    /// Say what a machine file describes.
    Describe(Describe),
    /// Try the advice out on simulated calls, beside simpler ways to choose.
    Trial(Trial),
    /// Write out for paper what to do for every answer, as a tree.
    Tree(Tree),
    /// Print sheets for the cabinet door, the binder and the bench: as PDF, SVG or HTML.
    Sheet(Sheet),
    /// Make a page for an operator's phone that works without a network.
    Guide(Guide),
    /// Say what a machine makes hard to find, and which lamp would help most.
    Review(Review),
    /// Keep machines, calls and findings, and learn from them.
    Records(records::Records),
    /// Say who may use the pages from other computers, and what each may do there.
    Accounts(accounts::Accounts),
    /// List the device types that are known, or tell all about one.
    Types(Types),
    /// Print or save a demo machine file from inside the program.
    Demo(Demo),
    /// Print a JSON Schema: of machine files, for editors, or of a command's --json.
    Schema(Schema),
    /// Print a completion script for a shell.
    Completions(Completions),
    /// Print the manual page, or save all of them.
    Man(Man),
}

/// Which machine it is.
#[derive(Clone, Debug, Args)]
pub struct MachineChoice {
    /// The machine file; `demo:NAME` takes one from inside the program. With --records,
    /// the serial number of a machine in the records, or the name of a machine type there.
    #[arg(value_name = "MACHINE")]
    pub machine: PathBuf,

    /// A further device library; may be given several times.
    #[arg(long, value_name = "FILE", help_heading = "Which machine")]
    pub library: Vec<PathBuf>,

    /// Take the machine from these records, with its settings, and with the fault rates
    /// that were learned from findings.
    #[arg(long, value_name = "RECORDS", help_heading = "Which machine", conflicts_with = "library")]
    pub records: Option<PathBuf>,

    /// With --records: take the library's fault rates, not the learned ones.
    #[arg(long, requires = "records", help_heading = "Which machine")]
    pub library_rates: bool,

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

    /// Running hours since the machine last ran well, such as 40.
    #[arg(long, value_name = "HOURS", help_heading = "What was reported", allow_negative_numbers = true, value_parser = hours)]
    pub hours: Option<f64>,

    /// What happened to the machine since it last ran well: moved, cleaned, repaired,
    /// power cut; several with commas between. It makes some causes likelier.
    #[arg(long, value_name = "EVENTS", help_heading = "What was reported")]
    pub recently: Vec<String>,

    /// The routine that people were doing, by its name in the file.
    #[arg(long, value_name = "NAME", help_heading = "What was reported")]
    pub routine: Option<String>,

    /// What was done then, such as "pressed reset, pressed start" or "power cycled";
    /// reports behind it belong to the time after.
    #[arg(long, value_name = "DEEDS", help_heading = "Later moments")]
    pub then: Vec<String>,

    /// A remedy that was tried then, by its key: "B1/replace".
    #[arg(long, value_name = "REMEDY", help_heading = "Later moments")]
    pub tried: Vec<String>,

    /// Up to how many things that are wrong at once are thought of: all sets of two always are;
    /// of larger ones, up to 5, those that the reports speak for most.
    #[arg(long, value_name = "NUMBER", help_heading = "What is printed", value_parser = at_once)]
    pub at_once: Option<usize>,

    /// List every cause, however improbable.
    #[arg(long, help_heading = "What is printed")]
    pub all: bool,
}

/// How many things may be wrong at once.
fn at_once(text: &str) -> Result<usize, String> {
    let most = diagnose::MOST_AT_ONCE;
    let number: Option<usize> = text.trim().parse().ok();
    number.filter(|number| (2..=most).contains(number)).ok_or_else(|| format!("a number from 2 to {most} is wanted"))
}

/// Running hours as typed; their range is judged with everything else that was reported.
fn hours(text: &str) -> Result<f64, String> {
    text.trim().replace(',', ".").parse().map_err(|_| "this is no number of hours, such as 40 or 2.5".to_owned())
}

const CALL_EXAMPLES: &str = "\
Examples:
  Led by questions, kept in a file after every answer:
    lampwise call demo:jar-filler --save call-117.txt

  Going on where the call was left, or showing all of it once more:
    lampwise call --resume call-117.txt
    lampwise call --replay call-117.txt

  Going on from the code that the offline guide shows (see `lampwise guide`):
    lampwise call demo:jar-filler --from-code \"BZ9G-1S20-...\" --save call-118.txt

  For programs, one JSON object a line (docs/json.md):
    lampwise call demo:jar-filler --json-lines

Answer with a number or in words; `?` says that nobody knows, `can't` that nobody can
do that. `help` lists what else can be typed.";

/// Which call.
#[derive(Debug, Args)]
#[command(after_help = CALL_EXAMPLES)]
pub struct Call {
    /// The machine file; `demo:NAME` takes one from inside the program. A call that was
    /// saved knows its machine file. With --records, a serial number or the name of a machine type.
    #[arg(value_name = "MACHINE", required_unless_present_any = ["resume", "replay"])]
    pub machine: Option<PathBuf>,

    /// A further device library; may be given several times.
    #[arg(long, value_name = "FILE", help_heading = "Which machine")]
    pub library: Vec<PathBuf>,

    /// Take the machine from these records, with its settings, and with the fault rates
    /// that were learned from findings.
    #[arg(long, value_name = "RECORDS", help_heading = "Which machine", conflicts_with = "library")]
    pub records: Option<PathBuf>,

    /// With --records: take the library's fault rates, not the learned ones.
    #[arg(long, requires = "records", help_heading = "Which machine")]
    pub library_rates: bool,

    /// The machine's revision, by the name it has in the file.
    #[arg(long, value_name = "NAME", help_heading = "Which machine", conflicts_with = "serial")]
    pub revision: Option<String>,

    /// The machine's serial number, which tells the revision.
    #[arg(long, value_name = "NUMBER", help_heading = "Which machine")]
    pub serial: Option<u64>,

    /// A setting of this machine, such as `fill_time=T#3s`; may be given several times.
    #[arg(long = "set", value_name = "NAME=VALUE", help_heading = "Which machine")]
    pub settings: Vec<String>,

    /// Who is at the machine.
    #[arg(long, value_name = "WHO", help_heading = "The call")]
    pub who: Option<Qualification>,

    /// Minutes until somebody qualified for everything can be there; as the machine file says if nothing is said, else 180.
    #[arg(long, value_name = "MINUTES", help_heading = "The call", value_parser = clap::value_parser!(u32).range(0..=100_000))]
    pub visit: Option<u32>,

    /// Begin with what an operator has entered in the offline guide, from the code that it ends with.
    #[arg(long, value_name = "CODE", help_heading = "The call", conflicts_with_all = ["resume", "replay"])]
    pub from_code: Option<String>,

    /// Keep the call in this new file, after every answer.
    #[arg(long, value_name = "FILE", help_heading = "The call", conflicts_with = "replay")]
    pub save: Option<PathBuf>,

    /// Go on with the call in this file, and keep it there.
    #[arg(long, value_name = "FILE", help_heading = "The call", conflicts_with = "replay")]
    pub resume: Option<PathBuf>,

    /// Show the whole call in this file once more.
    #[arg(long, value_name = "FILE", help_heading = "The call")]
    pub replay: Option<PathBuf>,

    /// Questions go out and answers come in as JSON, one object a line.
    #[arg(long, help_heading = "The call", conflicts_with = "replay")]
    pub json_lines: bool,
}

/// Who is at the machine.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Qualification {
    /// Runs the machine.
    Operator,
    /// Repairs machines.
    Technician,
    /// Qualified for electrical work.
    Electrician,
}

const PLAY_EXAMPLES: &str = "\
Examples:
  What a healthy machine does, with the chart of steps and lamps:
    lampwise play demo:minimal --lamps

  With a sensor that is dead from the beginning:
    lampwise play demo:minimal --with I9/dead

  With a fault that sets in when a step begins:
    lampwise play demo:minimal --with I8/dead@twist

Keys of deviations stand behind the causes in an answer of `lampwise why`;
`lampwise describe MACHINE --deviations` lists them all.";

/// What to play.
#[derive(Debug, Args)]
#[command(after_help = PLAY_EXAMPLES)]
pub struct Play {
    #[command(flatten)]
    pub choice: MachineChoice,

    /// The routine, by its name in the file; the first one if none is named.
    #[arg(long, value_name = "NAME")]
    pub routine: Option<String>,

    /// Something wrong: the key of a deviation, with `@STEP` behind it if it
    /// sets in when that step begins; may be given several times.
    #[arg(long, value_name = "KEY[@STEP]")]
    pub with: Vec<String>,

    /// Print the chart of steps and lamps as well.
    #[arg(long)]
    pub lamps: bool,

    /// Draw the times of loose contacts from this seed instead of taking the mean.
    #[arg(long, value_name = "NUMBER")]
    pub seed: Option<u64>,
}

const SERVE_EXAMPLES: &str = "\
Examples:
  Look around, with the demo machines and two years of invented calls:
    lampwise serve --demo

  The records of the service desk; the file is made if it is not there:
    lampwise serve --records desk.sqlite

  To other computers, encrypted by the program itself; everybody signs in:
    lampwise accounts add desk.sqlite ada --role editor
    lampwise serve --records desk.sqlite --listen 0.0.0.0:8443 --host desk.example \\
      --certificate desk.pem --key desk-key.pem

  Behind a proxy that encrypts:
    lampwise serve --records desk.sqlite --behind-proxy --host desk.example

Unless said otherwise the pages are shown on this computer only, nobody has to sign
in, and no network is needed.";

/// What to serve.
#[derive(Debug, Args)]
#[command(after_help = SERVE_EXAMPLES)]
pub struct Serve {
    /// The records, one SQLite file.
    #[arg(long, value_name = "FILE", default_value = "lampwise.sqlite")]
    pub records: PathBuf,

    /// The demo machines and invented calls instead; nothing is kept.
    #[arg(long, conflicts_with = "records")]
    pub demo: bool,

    /// The port at 127.0.0.1; 0 takes any that is free.
    #[arg(long, value_name = "NUMBER", default_value_t = 8420)]
    pub port: u16,

    /// Another address of this computer, such as `[::1]:8420`. Beyond the loopback
    /// interface everybody signs in, and it needs --certificate or --behind-proxy.
    #[arg(long, value_name = "ADDRESS", conflicts_with = "port")]
    pub listen: Option<std::net::SocketAddr>,

    /// Everybody signs in, also on this computer.
    #[arg(long, help_heading = "From other computers")]
    pub accounts: bool,

    /// A name by which it is called from elsewhere, with a port if that differs; may be
    /// given several times. Requests by any other name are refused.
    #[arg(long, value_name = "NAME", help_heading = "From other computers")]
    pub host: Vec<pages::HostName>,

    /// The certificate for these names, PEM, with what leads to its root.
    #[arg(long, value_name = "FILE", requires = "key", conflicts_with = "behind_proxy")]
    #[arg(help_heading = "From other computers")]
    pub certificate: Option<PathBuf>,

    /// The key of the certificate, PEM.
    #[arg(long, value_name = "FILE", requires = "certificate", help_heading = "From other computers")]
    pub key: Option<PathBuf>,

    /// A proxy in front encrypts; it passes on the host's name, and says in
    /// X-Forwarded-For who asks.
    #[arg(long, help_heading = "From other computers")]
    pub behind_proxy: bool,
}

const PRACTICE_EXAMPLES: &str = "\
Examples:
  Something was forgotten at the machine, or is missing; find out what:
    lampwise practice demo:minimal

  One fault; the same number gives the same exercise everywhere:
    lampwise practice demo:jar-filler --level fault --exercise 7

  Ten pictures of lamps: which step is this? How it went is kept in a file:
    lampwise practice demo:jar-filler --drill step --progress my-progress.jsonl

  From a script: what is done comes line by line, the look back is JSON:
    printf 'lamps\\nit is nothing\\n' | lampwise practice demo:minimal --json";

/// What to practise.
#[derive(Debug, Args)]
#[command(after_help = PRACTICE_EXAMPLES)]
pub struct Practice {
    #[command(flatten)]
    pub choice: MachineChoice,

    /// How hard it is.
    #[arg(long, value_name = "LEVEL", default_value = "lapse", help_heading = "What to practise")]
    pub level: LevelChoice,

    /// Which exercise, or the first drill; the next one of the file of progress if
    /// none is named, else 1.
    #[arg(long, value_name = "NUMBER", help_heading = "What to practise")]
    pub exercise: Option<u64>,

    /// Ask about pictures of lamps instead.
    #[arg(long, value_name = "DRILL", help_heading = "What to practise", conflicts_with = "level")]
    pub drill: Option<DrillChoice>,

    /// How many drills.
    #[arg(long, value_name = "NUMBER", default_value_t = 10, help_heading = "What to practise", value_parser = clap::value_parser!(u32).range(1..=1_000))]
    pub count: u32,

    /// Keep how it went in this file, a line for each exercise.
    #[arg(long, value_name = "FILE")]
    pub progress: Option<PathBuf>,

    /// Take what is done from this file, line by line.
    #[arg(long, value_name = "FILE")]
    pub answers: Option<PathBuf>,
}

/// How hard an exercise is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum LevelChoice {
    /// Something was forgotten, or is missing outside the machine.
    Lapse,
    /// One fault.
    Fault,
    /// A lapse, a fault, or nothing at all, as often as they come.
    AsItComes,
    /// Two things at once.
    Two,
    /// A fault that comes and goes.
    ComesAndGoes,
}

/// What a drill asks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum DrillChoice {
    /// Which step is this?
    Step,
    /// What does it wait for?
    WaitsFor,
}

const PROCEDURE_EXAMPLES: &str = "\
Examples:
  What procedures a machine has:
    lampwise procedure demo:jar-filler

  All steps with their cautions, movements and lamps, to be read out or printed:
    lampwise procedure demo:jar-filler line_priming --plan

  Led, step by step; answers come from the keyboard, a pipe or a file:
    lampwise procedure demo:jar-filler first_start
    lampwise procedure demo:jar-filler first_start --answers answers.txt

Before each step it is said what will move, after it the lamps are asked for. Enter
says that all is as it should be; else type what differs, as \"X17 off\", and the
program says what can be wrong with all that is known so far.";

/// Which procedure.
#[derive(Debug, Args)]
#[command(after_help = PROCEDURE_EXAMPLES)]
pub struct Procedure {
    #[command(flatten)]
    pub choice: MachineChoice,

    /// The procedure, by its name in the file; without a name all are listed.
    #[arg(value_name = "NAME")]
    pub name: Option<String>,

    /// Print the whole procedure without asking anything.
    #[arg(long, requires = "name")]
    pub plan: bool,

    /// Take the answers from this file, one a line, instead of the keyboard.
    #[arg(long, value_name = "FILE", requires = "name", conflicts_with = "plan")]
    pub answers: Option<PathBuf>,
}

const LINT_EXAMPLES: &str = "\
Examples:
  lampwise lint my-machine.toml
  lampwise lint machines/*.toml --json

Exit code 1 if any file has errors; warnings and notes alone give 0.";

/// What to look over.
#[derive(Debug, Args)]
#[command(after_help = LINT_EXAMPLES)]
pub struct Lint {
    /// Machine files, or device libraries.
    #[arg(value_name = "FILE", required = true)]
    pub files: Vec<PathBuf>,

    /// A further device library; may be given several times.
    #[arg(long, value_name = "FILE")]
    pub library: Vec<PathBuf>,
}

const DRAFT_EXAMPLES: &str = "\
Examples:
  lampwise draft io-list.csv
  lampwise draft io-list.csv --output my-machine.toml
  lampwise draft io-list.xlsx --sheet \"Points\" --output my-machine.toml

The list has a line for each point with its address, tag and words, such as
`X0;B1;lift is up`. Device types and positions are guessed from the words; each
guess is marked in the draft for you to confirm.";

/// From which list.
#[derive(Debug, Args)]
#[command(after_help = DRAFT_EXAMPLES)]
pub struct Draft {
    /// The I/O list: CSV or tab-separated text, .xlsx or .ods.
    #[arg(value_name = "IO-LIST")]
    pub list: PathBuf,

    /// Of a spreadsheet the sheet with this name; else the first.
    #[arg(long, value_name = "NAME")]
    pub sheet: Option<String>,

    /// Save the draft here; a file that is there is not overwritten.
    #[arg(long, short, value_name = "FILE")]
    pub output: Option<PathBuf>,
}

/// What to describe.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  lampwise describe demo:jar-filler --deviations")]
pub struct Describe {
    #[command(flatten)]
    pub choice: MachineChoice,

    /// List every deviation with its key and how often it is to be expected.
    #[arg(long)]
    pub deviations: bool,
}

const GUIDE_EXAMPLES: &str = "\
Examples:
  One file, to be sent to a phone and opened there:
    lampwise guide demo:jar-filler -o guide.html

  For one machine, whose serial number tells the revision:
    lampwise guide demo:parts-washer --serial 1400 -o washer-1400.html

  Going on from the code that the operator reads aloud at the end:
    lampwise call demo:jar-filler --from-code \"BZ9G 1S20 ...\"

The page asks only what an operator may do; docs/guide.md says what it holds.";

/// Of which machine.
#[derive(Debug, Args)]
#[command(after_help = GUIDE_EXAMPLES)]
pub struct Guide {
    #[command(flatten)]
    pub choice: MachineChoice,

    /// Save the page here; a file that is there is not overwritten.
    #[arg(long, short, value_name = "FILE")]
    pub output: PathBuf,

    /// Overwrite the file if it is there.
    #[arg(long)]
    pub replace: bool,
}

const SHEET_EXAMPLES: &str = "\
Examples:
  Which sheets there are:
    lampwise sheet demo:jar-filler

  One page for the cabinet door, in German:
    lampwise sheet demo:jar-filler lamps --language de -o lamps.pdf

  Everything bound, with contents and page numbers, on Letter paper:
    lampwise sheet demo:jar-filler --all --paper letter -o jar-filler.pdf

  A drawing for a page of your own, and a call as it was kept:
    lampwise sheet demo:jar-filler chart -o chart.svg
    lampwise sheet demo:jar-filler call --call call-117.txt -o call-117.pdf

The format is taken from the end of the file's name: .pdf, .svg or .html.";

/// Which sheets.
#[derive(Debug, Args)]
#[command(after_help = SHEET_EXAMPLES)]
pub struct Sheet {
    #[command(flatten)]
    pub choice: MachineChoice,

    /// The sheets, in the order in which they are to stand; without a name they are listed.
    #[arg(value_name = "SHEET")]
    pub sheets: Vec<SheetName>,

    /// All sheets of the machine, bound: contents, page numbers, cross-references.
    #[arg(long, conflicts_with = "sheets")]
    pub all: bool,

    /// Save them here; a file that is there is not overwritten.
    #[arg(long, short, value_name = "FILE")]
    pub output: Option<PathBuf>,

    /// Overwrite the file if it is there.
    #[arg(long, requires = "output")]
    pub replace: bool,

    /// The format, where the file's name does not say it.
    #[arg(long, value_name = "FORMAT")]
    pub format: Option<SheetFormat>,

    /// The size of the paper.
    #[arg(long, value_name = "SIZE", default_value = "a4")]
    pub paper: Paper,

    /// The language of the sheets.
    #[arg(long, value_name = "LANGUAGE", default_value = "en")]
    pub language: SheetLanguage,

    /// The procedure, by its name in the file; all of them if none is named.
    #[arg(long, value_name = "NAME")]
    pub procedure: Option<String>,

    /// The saved call that the sheet `call` is about.
    #[arg(long, value_name = "FILE")]
    pub call: Option<PathBuf>,
}

/// A sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum SheetName {
    /// What each lamp means: one page for the cabinet door.
    Lamps,
    /// Which lamps go with which step, and what each step waits for.
    LampChart,
    /// What happens when in the usual routine: steps, inputs, outputs.
    Timing,
    /// The charts, drawn by IEC 60848.
    Chart,
    /// By complaint and lamps: what it probably is, what to do first.
    Symptoms,
    /// What to do next, for every answer.
    Tree,
    /// Every point once, for acceptance and after a repair.
    Commissioning,
    /// The machine's service jobs, or the one named with --procedure.
    Procedures,
    /// A saved call, named with --call.
    Call,
}

/// How sheets are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum SheetFormat {
    /// Pages to print.
    Pdf,
    /// One picture.
    Svg,
    /// One page for the browser.
    Html,
}

/// A size of paper.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Paper {
    /// 210 mm by 297 mm.
    A4,
    /// 8.5 inches by 11 inches.
    Letter,
}

/// A language of sheets.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum SheetLanguage {
    /// English.
    En,
    /// German.
    De,
    /// Spanish.
    Es,
}

/// Which device types.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  lampwise types\n  lampwise types reed-switch")]
pub struct Types {
    /// The type to tell all about.
    #[arg(value_name = "NAME")]
    pub name: Option<String>,

    /// A further device library; may be given several times.
    #[arg(long, value_name = "FILE")]
    pub library: Vec<PathBuf>,
}

/// Which demo.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  lampwise demo\n  lampwise demo minimal --output my-machine.toml")]
pub struct Demo {
    /// The demo; without a name all are listed.
    #[arg(value_name = "NAME")]
    pub name: Option<String>,

    /// Save it here; a file that is there is not overwritten.
    #[arg(long, short, value_name = "FILE", requires = "name")]
    pub output: Option<PathBuf>,
}

/// Which schema.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  lampwise schema machine > machine.schema.json\n  lampwise schema why")]
pub struct Schema {
    /// Of what: `machine`, `library`, `words`, or the --json of a command; without a name all are listed.
    #[arg(value_name = "NAME")]
    pub name: Option<String>,
}

/// For which shell.
#[derive(Debug, Args)]
#[command(after_help = "Example:\n  lampwise completions bash > ~/.local/share/bash-completion/completions/lampwise")]
pub struct Completions {
    /// The shell.
    #[arg(value_name = "SHELL")]
    pub shell: clap_complete::Shell,
}

/// Where to.
#[derive(Debug, Args)]
#[command(after_help = "Examples:\n  lampwise man | man -l -\n  lampwise man --output ~/.local/share/man/man1")]
pub struct Man {
    /// Save a page for the program and one for each command in this folder.
    #[arg(long, short, value_name = "FOLDER")]
    pub output: Option<PathBuf>,
}

const TRIAL_EXAMPLES: &str = "\
Examples:
  Two hundred calls about the jar filler, the same ones for every way to choose:
    lampwise trial demo:jar-filler --calls 200 --seed 7

  The same where every rate in the file is wrong by a factor of three:
    lampwise trial demo:jar-filler --calls 200 --disturb rates

  Twenty calls, one by one, to see where the advice takes long:
    lampwise trial demo:jar-filler --calls 20 --each";

/// What to try out.
#[derive(Debug, Args)]
#[command(after_help = TRIAL_EXAMPLES)]
pub struct Trial {
    #[command(flatten)]
    pub choice: MachineChoice,

    /// How many calls.
    #[arg(long, value_name = "NUMBER", default_value_t = 200, value_parser = clap::value_parser!(u32).range(1..=100_000))]
    pub calls: u32,

    /// Which calls: the same number draws the same ones.
    #[arg(long, value_name = "NUMBER", default_value_t = 1)]
    pub seed: u64,

    /// Share of lamps that the callers misread.
    #[arg(long, value_name = "SHARE", default_value_t = 0.02)]
    pub misreading: f64,

    /// In what the file is wrong.
    #[arg(long, value_name = "WHAT")]
    pub disturb: Option<Disturb>,

    /// Only the program's own advice, without the simpler ways beside it.
    #[arg(long)]
    pub alone: bool,

    /// Also each call: what was wrong, the minutes that each way took, and what was done as advised.
    #[arg(long)]
    pub each: bool,
}

/// In what a file is wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Disturb {
    /// Every rate, three times too high or too low.
    Rates,
    /// One fault in ten is not in the file.
    LeftOut,
    /// The times of all movements, and an interlock is missing.
    Times,
}

const TREE_EXAMPLES: &str = "\
Examples:
  A page to hang up beside the machine:
    lampwise tree demo:minimal --complaint wont-start --depth 6

  What to do from here on, when some lamps are known already:
    lampwise tree demo:minimal --complaint wont-start --lamps \"I1-I4 on, I8 off\" --depth 3";

/// From what on, and how far.
#[derive(Debug, Args)]
#[command(mut_arg("all", |all| all.hide(true)))]
#[command(after_help = TREE_EXAMPLES)]
pub struct Tree {
    #[command(flatten)]
    pub why: Why,

    /// Things to do one after the other, at most.
    #[arg(long, value_name = "NUMBER", default_value_t = 6, help_heading = "What is printed", value_parser = clap::value_parser!(u8).range(1..=12))]
    pub depth: u8,

    /// Answers of a smaller share of all cases than this are put together.
    #[arg(long, value_name = "SHARE", default_value_t = 0.02, help_heading = "What is printed")]
    pub least: f64,
}

const REVIEW_EXAMPLES: &str = "\
Examples:
  What can't be told apart, where it stalls in silence, and what to add:
    lampwise review demo:jar-filler

  Every group with all its members:
    lampwise review demo:minimal --all";

/// Which machine to look over.
#[derive(Debug, Args)]
#[command(after_help = REVIEW_EXAMPLES)]
pub struct Review {
    #[command(flatten)]
    pub choice: MachineChoice,

    /// List every group and every member.
    #[arg(long, help_heading = "What is printed")]
    pub all: bool,
}
