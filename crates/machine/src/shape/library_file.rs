//! The keys of a device library and of a file of translations.

use super::machine_file::{ACCESS, ENERGY, LOAD, ROLE, WHO};
use super::{Key, Kind, Shape, may, must};

/// A device library.
pub static LIBRARY_FILE: Shape = Shape {
    name: "device-library",
    about: "Device types with their faults, checks and remedies.",
    keys: &[
        must("format", Kind::Whole, "1", "The number of this format."),
        must("types", Kind::Named(&Kind::Table(&TYPE)), "reed-switch = { … }", "The types, by key."),
        may("words", Kind::Named(&Kind::Translations), "de = { … }", "Translations, by language."),
    ],
};

/// A file of translations.
pub static WORDS_FILE: Shape = Shape {
    name: "library-words",
    about: "Translations of a device library's texts into one language.",
    keys: &[
        must("format", Kind::Whole, "1", "The number of this format."),
        must("language", Kind::Text, "\"de\"", "Language tag."),
        may("reviewed", Kind::Flag, "false", "Whether a native speaker has reviewed it."),
        must("text", Kind::Translations, "\"types.reed-switch\" = \"Zylinderschalter\"", "The texts, by key."),
    ],
};

static TYPE: Shape = Shape {
    name: "device-type",
    about: "A kind of device.",
    keys: &[
        must("words", Kind::Text, "\"cylinder switch (reed)\"", "What people call it."),
        may("also", Kind::Texts, "[\"reed\", \"zylinderschalter\"]", "Other words for it, in any language."),
        must(
            "stands_in",
            Kind::OneOf(&["input", "output", "supply", "mechanism", "controller", "shared"]),
            "\"input\"",
            "What it stands in.",
        ),
        may(
            "chain",
            Kind::Texts,
            "[\"target\", \"device\", \"cable\", \"terminal-row\", \"input-card\"]",
            "The parts of its chain.",
        ),
        may("own_led", Kind::Flag, "true", "Whether it has a light of its own."),
        may("guarding", Kind::OneOf(&["none", "guard", "stop", "two-hand"]), "\"guard\"", "Whether it guards people."),
        may("returns", Kind::Flag, "true", "Outputs: whether the mechanism goes back when it is off."),
        may(
            "supply_kind",
            Kind::OneOf(&["electric", "air", "vacuum", "water"]),
            "\"electric\"",
            "Supplies: what flows.",
        ),
        may(
            "needs",
            Kind::OneOf(&["electric", "air", "vacuum", "water"]),
            "\"air\"",
            "Outputs: the kind of supply that the actuator needs too.",
        ),
        may("takes", Kind::Time, "\"T#1s\"", "Outputs: usual travel time."),
        may(
            "put_back",
            Kind::Text,
            "\"reset\"",
            "Mechanisms: the remedy by which it is put back where it was found elsewhere; without it anybody does.",
        ),
        may("faults", Kind::Named(&Kind::Table(&FAULT)), "dead = { … }", "Fault modes, which exclude each other."),
        may("checks", Kind::Named(&Kind::Table(&CHECK)), "own-led = { … }", "What one can look at, measure or try."),
        may("remedies", Kind::Named(&Kind::Table(&REMEDY)), "replace = { … }", "What puts its faults right."),
    ],
};

pub(super) const AFTER: Key =
    may("after", Kind::Table(&EVENTS), "{ moved = 4 }", "How many times likelier after recent events.");

static EVENTS: Shape = Shape {
    name: "list-of-events",
    about: "How many times likelier something is after an event; what is left out is as usual for its kind.",
    keys: &[
        may("moved", Kind::Number, "4", "After the machine was moved."),
        may("cleaned", Kind::Number, "3", "After it was cleaned."),
        may("repaired", Kind::Number, "2", "After something on it was repaired or serviced."),
        may("power_cut", Kind::Number, "5", "After its mains was lost."),
    ],
};

pub(super) static FAULT: Shape = Shape {
    name: "fault",
    about: "A fault mode.",
    keys: &[
        may("words", Kind::Text, "\"the switch is dead\"", "What is wrong."),
        may(
            "at",
            Kind::OneOf(&["target", "sensor", "cable", "terminal", "card", "lamp", "coil", "valve"]),
            "\"sensor\"",
            "The stage of the chain that it sits at.",
        ),
        must(
            "effect",
            Kind::OneOf(&["off", "on", "chatters", "stuck", "slow", "stops short", "creeps", "stopped", "error"]),
            "\"off\"",
            "What it does.",
        ),
        may("make", Kind::Time, "\"T#300ms\"", "Chatters: mean time made."),
        may("break", Kind::Time, "\"T#100ms\"", "Chatters: mean time broken."),
        may("percent", Kind::Whole, "400", "Slow: percent of the usual time."),
        may("of", Kind::Text, "\"any\"", "Stops short: of which position."),
        may("within", Kind::Time, "\"T#30s\"", "Creeps: how long it takes."),
        must("rate", Kind::Number, "0.4", "How often, per million hours of running."),
        AFTER,
        may("remedy", Kind::Text, "\"replace\"", "The remedy's key, or words."),
        SOURCE,
    ],
};

pub(super) const CHECK_KEYS_ABOUT: &str = "Something to look at, to measure or to try.";
pub(super) const OBSERVES: Key = may(
    "observes",
    Kind::OneOf(&[
        "target",
        "sensor",
        "cable",
        "terminal",
        "card",
        "lamp",
        "coil",
        "valve",
        "supply",
        "position",
        "moves freely",
    ]),
    "\"sensor\"",
    "A stage of the chain, \"supply\", \"position\" or \"moves freely\".",
);
pub(super) const INSPECT: Key =
    may("inspect", Kind::Texts, "[\"blown\"]", "Fault modes that one can see by looking at the device.");
pub(super) const OPERATOR: Key =
    may("operator", Kind::Text, "\"Look at … Is its small light on?\"", "Asked of an operator on the phone.");
pub(super) const TECHNICIAN: Key = may("technician", Kind::Text, "\"LED of {tag}?\"", "Told to a technician.");
pub(super) const YES: Key = may("yes", Kind::Text, "\"light is on\"", "The answer for on, there, so.");
pub(super) const NO: Key = may("no", Kind::Text, "\"light is off\"", "The other answer.");
pub(super) const MINUTES: Key = may("minutes", Kind::Number, "1", "Minutes it takes.");
pub(super) const WHO_KEY: Key = may("who", Kind::OneOf(WHO), "\"operator\"", "Who may do it.");
pub(super) const ENERGY_KEY: Key = may("energy", Kind::OneOf(ENERGY), "\"normal\"", "Energy while it is done.");
pub(super) const ACCESS_KEY: Key = may("access", Kind::OneOf(ACCESS), "\"outside\"", "Access it needs.");
pub(super) const LOAD_KEY: Key = may("load", Kind::OneOf(LOAD), "\"none\"", "Whether it is done near a raised load.");
pub(super) const ROLE_KEY: Key = may("role", Kind::OneOf(ROLE), "\"look\"", "What part it plays.");
pub(super) const ERROR: Key = may("error", Kind::Chance, "\"2 %\"", "How often the answer is wrong.");
pub(super) const SOURCE: Key = may("source", Kind::Text, "\"from memory: …\"", "Where the numbers come from.");
pub(super) const REMEDY_WORDS: Key =
    must("words", Kind::Text, "\"replace the switch\"", "What to do, in the imperative.");
pub(super) const PART: Key = may("part", Kind::Text, "\"reed switch\"", "Spare part.");
pub(super) const PRICE: Key = may("price", Kind::Number, "18", "Price of the part, in your currency.");

static CHECK: Shape = Shape {
    name: "check",
    about: CHECK_KEYS_ABOUT,
    keys: &[
        OBSERVES, INSPECT, OPERATOR, TECHNICIAN, YES, NO, MINUTES, WHO_KEY, ENERGY_KEY, ACCESS_KEY, LOAD_KEY, ROLE_KEY,
        ERROR, SOURCE,
    ],
};

static REMEDY: Shape = Shape {
    name: "remedy",
    about: "What puts a fault right.",
    keys: &[REMEDY_WORDS, MINUTES, PART, PRICE, WHO_KEY, ENERGY_KEY, ACCESS_KEY, LOAD_KEY, SOURCE],
};
