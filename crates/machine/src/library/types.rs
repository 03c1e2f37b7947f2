//! A device type as the library gives it, before it stands anywhere in a machine.

use crate::model::{Access, CheckRole, Energy, Event, Guarding, Load, Source, SupplyKind, Who};
use crate::problem::Problems;
use crate::text::chance::parse_chance;
use crate::text::time::parse_time;
use crate::tree::{Node, Table, Value};

/// What devices of a type stand in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum StandsIn {
    Input,
    Output,
    Supply,
    Mechanism,
    Controller,
    Shared,
}

/// A device type.
#[derive(Clone, Debug)]
pub struct DeviceType {
    /// Its key, such as `reed-switch`.
    pub key: String,
    /// What people call it.
    pub words: String,
    /// Other words for it, in any language.
    pub also: Vec<String>,
    /// What it stands in.
    pub stands_in: StandsIn,
    /// The generic parts of its chain, `device` for itself.
    pub chain: Vec<String>,
    /// Whether it has a light of its own.
    pub own_led: bool,
    /// Whether it guards people.
    pub guarding: Guarding,
    /// Outputs: whether the mechanism goes back when it is not driven.
    pub returns: bool,
    /// Supplies: what flows.
    pub supply_kind: Option<SupplyKind>,
    /// Outputs: the kind of supply that the actuator needs beside the electric one.
    pub needs: Option<SupplyKind>,
    /// Outputs: usual travel time, ms.
    pub takes_ms: Option<u64>,
    /// Mechanisms: the key of the remedy by which it is put back where it was found elsewhere, such as a limiter that
    /// must not be reset before it is known why it tripped.
    pub put_back: Option<String>,
    /// Fault modes.
    pub faults: Vec<FaultType>,
    /// Checks.
    pub checks: Vec<CheckType>,
    /// Remedies.
    pub remedies: Vec<RemedyType>,
}

/// A fault mode of a type.
#[derive(Clone, Debug)]
pub struct FaultType {
    /// Its key within the type.
    pub key: String,
    /// What is wrong, for people.
    pub words: String,
    /// The stage it sits at, for inputs and outputs.
    pub at: Option<String>,
    /// What it does.
    pub action: FaultAction,
    /// Rate per million hours.
    pub rate: f64,
    /// Where the rate comes from.
    pub source: Source,
    /// How many times likelier it is after recent events, where the file says so.
    pub after: Vec<(Event, f64)>,
    /// The remedy's key within the type.
    pub remedy: Option<String>,
}

/// What a fault mode does.
#[derive(Clone, Debug, PartialEq)]
pub enum FaultAction {
    /// Forced off.
    Off,
    /// Forced on.
    On,
    /// Makes and breaks, mean ms made and broken.
    Chatters(u32, u32),
    /// Does not move.
    Stuck,
    /// Takes so many percent of its time.
    Slow(u32),
    /// Stops short of this position, or of any.
    StopsShort(Option<String>),
    /// Goes to another position by itself within so many ms.
    Creeps(u32),
    /// The controller stands.
    Stopped,
    /// The controller stands and shows its error lamp.
    Error,
}

/// What a check of a type looks at.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Observes {
    /// A stage of the chain, by name.
    Stage(String),
    /// The supply.
    Supply,
    /// The mechanism's position.
    Position,
    /// Whether the mechanism moves freely.
    MovesFreely,
    /// Whether one of these fault modes is there.
    Inspect(Vec<String>),
}

/// A check of a type.
#[derive(Clone, Debug)]
pub struct CheckType {
    /// Its key within the type.
    pub key: String,
    /// Asked of an operator.
    pub operator: String,
    /// Told to a technician.
    pub technician: String,
    /// What it looks at.
    pub observes: Observes,
    /// The answer for "on", "there", "moves freely", "it is so".
    pub yes: String,
    /// The other answer.
    pub no: String,
    /// Minutes.
    pub minutes: f64,
    /// Who.
    pub who: Who,
    /// Energy.
    pub energy: Energy,
    /// Access.
    pub access: Access,
    /// Load.
    pub load: Load,
    /// Role.
    pub role: CheckRole,
    /// Probability of a wrong answer.
    pub error: f64,
    /// Source of the numbers.
    pub source: Source,
}

/// A remedy of a type.
#[derive(Clone, Debug)]
pub struct RemedyType {
    /// Its key within the type.
    pub key: String,
    /// For people, in the imperative.
    pub words: String,
    /// Minutes.
    pub minutes: f64,
    /// Spare part, if any.
    pub part: Option<String>,
    /// Price of the part.
    pub price: f64,
    /// Who.
    pub who: Who,
    /// Energy.
    pub energy: Energy,
    /// Access.
    pub access: Access,
    /// Load.
    pub load: Load,
    /// Source of the numbers.
    pub source: Source,
}

/// Reads a type. Wrong kinds and unknown keys are found by the shapes; here only values are judged.
pub fn read_type(key: &str, table: &Table, problems: &mut Problems) -> DeviceType {
    let faults = table
        .entries_of("faults")
        .iter()
        .filter_map(|entry| entry.node.table().map(|fault| read_fault(&entry.key, fault, problems)));
    let faults = faults.collect();
    let texts = |key: &str| table.texts(key).into_iter().map(|text| text.text.clone()).collect::<Vec<_>>();
    DeviceType {
        key: key.to_string(),
        words: table.string("words").unwrap_or_else(|| key.replace('-', " ")),
        also: texts("also"),
        stands_in: match table.text("stands_in").map(|text| text.text.as_str()) {
            Some("output") => StandsIn::Output,
            Some("supply") => StandsIn::Supply,
            Some("mechanism") => StandsIn::Mechanism,
            Some("controller") => StandsIn::Controller,
            Some("shared") => StandsIn::Shared,
            _ => StandsIn::Input,
        },
        chain: texts("chain"),
        own_led: table.flag("own_led").unwrap_or(false),
        guarding: read_guarding(table).unwrap_or(Guarding::None),
        returns: table.flag("returns").unwrap_or(false),
        supply_kind: table.text("supply_kind").and_then(|text| supply_kind(&text.text)),
        needs: table.text("needs").and_then(|text| supply_kind(&text.text)),
        takes_ms: time_of(table, "takes"),
        put_back: table.string("put_back"),
        faults,
        checks: read_checks(table),
        remedies: read_remedies(table),
    }
}

/// The kind of supply of this word.
#[must_use]
pub fn supply_kind(word: &str) -> Option<SupplyKind> {
    Some(match word {
        "electric" => SupplyKind::Electric,
        "air" => SupplyKind::Air,
        "vacuum" => SupplyKind::Vacuum,
        "water" => SupplyKind::Water,
        _ => return None,
    })
}

/// The guarding of this table.
#[must_use]
pub fn read_guarding(table: &Table) -> Option<Guarding> {
    Some(match table.text("guarding")?.text.as_str() {
        "none" => Guarding::None,
        "guard" => Guarding::Guard,
        "stop" => Guarding::Stop,
        "two-hand" => Guarding::TwoHand,
        _ => return None,
    })
}

/// A time key, ms.
#[must_use]
pub fn time_of(table: &Table, key: &str) -> Option<u64> {
    parse_time(&table.text(key)?.text).ok()
}

/// A chance, as text or number.
#[must_use]
pub fn chance_of(node: &Node) -> Option<f64> {
    match &node.value {
        Value::Text(text) => parse_chance(&text.text).ok(),
        _ => node.number().filter(|chance| (0.0..=1.0).contains(chance)),
    }
}

/// Where a number comes from.
#[must_use]
pub fn read_source(table: &Table) -> Source {
    let Some(text) = table.string("source") else { return Source::File };
    if let Some(published) = text.strip_prefix("published:") {
        Source::Published(published.trim().to_string())
    } else if let Some(memory) = text.strip_prefix("from memory") {
        Source::Memory(memory.trim_start_matches(':').trim().to_string())
    } else if text.starts_with("common practice") {
        Source::Practice
    } else {
        Source::File
    }
}

fn short_time(table: &Table, key: &str, default: u32) -> u32 {
    time_of(table, key).and_then(|ms| u32::try_from(ms).ok()).unwrap_or(default)
}

/// Reads a fault mode.
pub fn read_fault(key: &str, table: &Table, problems: &mut Problems) -> FaultType {
    let percent = table.whole("percent").and_then(|percent| u32::try_from(percent).ok()).unwrap_or(400);
    let effect = table.string("effect").unwrap_or_default();
    let action = match effect.as_str() {
        "on" => FaultAction::On,
        "chatters" => FaultAction::Chatters(short_time(table, "make", 300), short_time(table, "break", 100)),
        "stuck" => FaultAction::Stuck,
        "slow" => FaultAction::Slow(percent),
        "stops short" => FaultAction::StopsShort(table.string("of").filter(|of| of != "any")),
        "creeps" => FaultAction::Creeps(short_time(table, "within", 30_000)),
        "stopped" => FaultAction::Stopped,
        "error" => FaultAction::Error,
        _ => FaultAction::Off,
    };
    let rate = table.number("rate").unwrap_or(0.0);
    if !(0.0..=1e6).contains(&rate) {
        let span = table.get("rate").map_or(table.span, |node| node.span);
        problems.error(span, "out-of-range", "this rate is not between 0 and 1,000,000", "rates are per million hours");
    }
    FaultType {
        key: key.to_string(),
        words: table.string("words").unwrap_or_else(|| key.replace('-', " ")),
        at: table.string("at"),
        action,
        rate: rate.clamp(0.0, 1e6),
        source: read_source(table),
        after: read_after(table, problems),
        remedy: table.string("remedy"),
    }
}

/// What a table says under `after`: how many times likelier something is after an event.
pub fn read_after(table: &Table, problems: &mut Problems) -> Vec<(Event, f64)> {
    let mut factors = Vec::new();
    for entry in table.entries_of("after") {
        let Some(event) = Event::ALL.into_iter().find(|event| event.key() == entry.key) else { continue };
        let Some(factor) = entry.node.number() else { continue };
        if (0.001..=1000.0).contains(&factor) {
            factors.push((event, factor));
        } else {
            let hint = "write 4 for four times likelier, 0.5 for half as likely";
            problems.error(entry.node.span, "out-of-range", "this factor is not between 0.001 and 1000", hint);
        }
    }
    factors
}

fn read_checks(table: &Table) -> Vec<CheckType> {
    let checks = table.entries_of("checks").iter();
    checks.filter_map(|entry| Some(read_check(&entry.key, entry.node.table()?))).collect()
}

/// Reads a check.
#[must_use]
pub fn read_check(key: &str, table: &Table) -> CheckType {
    let inspect: Vec<String> = table.texts("inspect").into_iter().map(|text| text.text.clone()).collect();
    let observes = match table.string("observes") {
        _ if !inspect.is_empty() => Observes::Inspect(inspect),
        Some(stage) => match stage.as_str() {
            "supply" => Observes::Supply,
            "position" => Observes::Position,
            "moves freely" => Observes::MovesFreely,
            _ => Observes::Stage(stage),
        },
        None => Observes::Inspect(Vec::new()),
    };
    CheckType {
        key: key.to_string(),
        operator: table.string("operator").unwrap_or_default(),
        technician: table.string("technician").unwrap_or_default(),
        observes,
        yes: table.string("yes").unwrap_or_else(|| "yes".to_string()),
        no: table.string("no").unwrap_or_else(|| "no".to_string()),
        minutes: table.number("minutes").unwrap_or(5.0).clamp(0.0, 10_000.0),
        who: read_who(table),
        energy: read_energy(table),
        access: read_access(table),
        load: read_load(table),
        role: match table.string("role").as_deref() {
            Some("measure") => CheckRole::Measure,
            Some("try") => CheckRole::Try,
            Some("swap") => CheckRole::Swap,
            _ => CheckRole::Look,
        },
        error: table.get("error").and_then(chance_of).unwrap_or(0.02),
        source: read_source(table),
    }
}

fn read_remedies(table: &Table) -> Vec<RemedyType> {
    let remedies = table.entries_of("remedies").iter();
    remedies.filter_map(|entry| Some(read_remedy(&entry.key, entry.node.table()?))).collect()
}

/// Reads a remedy.
#[must_use]
pub fn read_remedy(key: &str, table: &Table) -> RemedyType {
    RemedyType {
        key: key.to_string(),
        words: table.string("words").unwrap_or_else(|| key.replace('-', " ")),
        minutes: table.number("minutes").unwrap_or(10.0).clamp(0.0, 100_000.0),
        part: table.string("part"),
        price: table.number("price").unwrap_or(0.0).max(0.0),
        who: read_who(table),
        // Putting something right is done with the energy off unless the file says otherwise.
        energy: if table.get("energy").is_some() { read_energy(table) } else { Energy::Off },
        access: read_access(table),
        load: read_load(table),
        source: read_source(table),
    }
}

/// Who may do it; a technician where nothing is said.
#[must_use]
pub fn read_who(table: &Table) -> Who {
    match table.string("who").as_deref() {
        Some("operator") => Who::Operator,
        Some("electrician") => Who::Electrician,
        _ => Who::Technician,
    }
}

/// The energy; normal where nothing is said.
#[must_use]
pub fn read_energy(table: &Table) -> Energy {
    match table.string("energy").as_deref() {
        Some("off") => Energy::Off,
        Some("pressure") => Energy::Pressure,
        Some("live") => Energy::Live,
        _ => Energy::Normal,
    }
}

/// The access; outside where nothing is said.
#[must_use]
pub fn read_access(table: &Table) -> Access {
    match table.string("access").as_deref() {
        Some("cabinet") => Access::Cabinet,
        Some("behind guard") => Access::BehindGuard,
        _ => Access::Outside,
    }
}

/// The load; none where nothing is said.
#[must_use]
pub fn read_load(table: &Table) -> Load {
    if table.string("load").as_deref() == Some("raised") { Load::Raised } else { Load::None }
}
