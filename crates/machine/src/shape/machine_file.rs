//! The keys of a machine file.

use super::library_file::{AFTER, CHECK_KEYS_ABOUT, FAULT};
use super::{Key, Kind, Shape, may, must};

/// The machine file.
pub static MACHINE_FILE: Shape = Shape {
    name: "machine-file",
    about: "What one type of machine is.",
    keys: &[
        must("format", Kind::Whole, "1", "The number of this format."),
        must("machine", Kind::Table(&MACHINE), "{ name = \"Jar filler\" }", "What the machine is called."),
        may("lamps", Kind::Table(&LAMPS), "{ rows = [ … ] }", "The lamps as they sit on the controller's front."),
        may(
            "supplies",
            Kind::Named(&Kind::TextOr(&Kind::Text, &SUPPLY)),
            "dc24 = { is = \"power-supply-24v\" }",
            "What feeds the devices, as a tree.",
        ),
        may(
            "mechanisms",
            Kind::Named(&Kind::Table(&MECHANISM)),
            "lift = { positions = [\"up\", \"down\"] }",
            "Everything that stands in one of a few positions.",
        ),
        must(
            "inputs",
            Kind::Named(&Kind::TextOr(&Kind::OneOf(&["spare", "out of use"]), &INPUT)),
            "X3 = { lit = \"lift = up\" }",
            "The inputs, by the label beside the lamp.",
        ),
        may(
            "outputs",
            Kind::Named(&Kind::TextOr(&Kind::OneOf(&["spare", "out of use"]), &OUTPUT)),
            "Y5 = { is = \"solenoid-valve-single\", moves = \"lift down\" }",
            "The outputs, by the label beside the lamp.",
        ),
        may(
            "prices",
            Kind::Table(&PRICES),
            "{ visit = 240 }",
            "What things cost that have no minutes of their own; what to do next is chosen by it.",
        ),
        may(
            "settings",
            Kind::Named(&Kind::ValueOr(&SETTING)),
            "fill_time = { default = \"T#4s\" }",
            "Times and counts that differ from machine to machine.",
        ),
        may(
            "latches",
            Kind::Named(&Kind::Table(&LATCH)),
            "armed = { set = \"R_TRIG(reset = pressed)\" }",
            "Bits that the program remembers.",
        ),
        may(
            "counters",
            Kind::Named(&Kind::Table(&COUNTER)),
            "jars = { words = \"jars filled\" }",
            "Numbers that the program counts.",
        ),
        may(
            "modes",
            Kind::Named(&Kind::TextOr(&Kind::Condition, &MODE)),
            "production = { when = \"selector = production\" }",
            "What the controller can be set to.",
        ),
        may("charts", Kind::Named(&Kind::Table(&CHART)), "cycle = { … }", "The sequences."),
        may(
            "routines",
            Kind::Named(&Kind::Table(&ROUTINE)),
            "make = { do = [ … ] }",
            "What people normally do, in order; the first is the usual one.",
        ),
        may("procedures", Kind::Named(&Kind::Table(&PROCEDURE)), "prime = { steps = [ … ] }", "Led service jobs."),
        may(
            "devices",
            Kind::Named(&Kind::Table(&DEVICE)),
            "X3 = { rate = { dead = 3.0 } }",
            "What is special about single devices.",
        ),
        may("checks", Kind::Tables(&OWN_CHECK), "{ device = \"X3\", … }", "Checks beside those of the device types."),
        may(
            "remedies",
            Kind::Tables(&OWN_REMEDY),
            "{ device = \"X3\", … }",
            "Remedies beside those of the device types.",
        ),
        may(
            "revisions",
            Kind::Named(&Kind::Table(&REVISION)),
            "B = { serials = \"1500-\", change = { … } }",
            "Differences by serial number.",
        ),
        may(
            "words",
            Kind::Named(&Kind::Translations),
            "de = { \"shut the door\" = \"Tür schließen\" }",
            "Translations, by language and then by English text or key.",
        ),
    ],
};

static PRICES: Shape = Shape {
    name: "prices",
    about: "What things cost that have no minutes of their own, in minutes.",
    keys: &[
        may(
            "visit",
            Kind::Number,
            "240",
            "Until somebody qualified for everything is there; default 180. A call can say otherwise.",
        ),
        may(
            "last_resort",
            Kind::Number,
            "2880",
            "The last resort, such as the machine builder coming, that helps whatever it is; default 1440.",
        ),
        may("trial_run", Kind::Number, "5", "Finding out whether it runs again; default 2."),
        may(
            "remedy_in_vain",
            Kind::Number,
            "15",
            "What a remedy in vain costs beside all minutes that it takes: parts used up, patience, trust; default 0.",
        ),
    ],
};

static MACHINE: Shape = Shape {
    name: "machine",
    about: "What the machine is called, and whose it is.",
    keys: &[
        must("name", Kind::Text, "\"Jar filler\"", "Name of the machine type."),
        may("maker", Kind::Text, "\"Pottlesham Bench Works\"", "Who builds it."),
        may("version", Kind::Version, "\"3\"", "Version of this file."),
        may("date", Kind::Date, "2026-11-25", "Date of this file."),
        may("about", Kind::Text, "\"Fills one jar at a time.\"", "What it does, in a sentence."),
        may("revision", Kind::Text, "\"A\"", "Name of the revision that the file describes without changes."),
        may("serials", Kind::Text, "\"1000-1499\"", "Serial numbers of that revision."),
        may("scan", Kind::Time, "\"T#10ms\"", "Scan time of the controller; without it no pulse is too short."),
        may(
            "supply",
            Kind::Text,
            "\"dc24\"",
            "What feeds the controller; without it, it has power as long as the machine is on.",
        ),
        may(
            "hours_since_well",
            Kind::Number,
            "40",
            "Running hours since it last ran well, if a call doesn't say; default 40.",
        ),
        may(
            "switched_off",
            Kind::Chance,
            "\"1 in 300\"",
            "How often somebody switches it off and on meanwhile and does not say so.",
        ),
        may("library", Kind::Texts, "\"shop-devices.toml\"", "Further device libraries, beside this file."),
    ],
};

static LAMPS: Shape = Shape {
    name: "lamps",
    about: "The lamps on the controller's front, row by row.",
    keys: &[
        may(
            "numbering",
            Kind::OneOf(&["decimal", "octal"]),
            "\"octal\"",
            "How ranges such as X0..X17 count; default decimal.",
        ),
        may(
            "rows",
            Kind::Tables(&LAMP_ROW),
            "[ { title = \"inputs\", labels = \"X0..X7\" } ]",
            "The rows from top to bottom.",
        ),
        may(
            "status",
            Kind::Named(&Kind::Condition),
            "{ POWER = \"powered\" }",
            "Lamps that are no points: powered, running, error, or a condition of the program.",
        ),
    ],
};

static LAMP_ROW: Shape = Shape {
    name: "lamp-row",
    about: "One row of lamps.",
    keys: &[
        may("title", Kind::Text, "\"inputs\"", "What the row is called."),
        must("labels", Kind::Texts, "\"X0..X7\"", "The labels from left to right, ranges allowed."),
    ],
};

static SUPPLY: Shape = Shape {
    name: "supply",
    about: "Something that feeds devices.",
    keys: &[
        may("is", Kind::Text, "\"fuse\"", "Device type."),
        may("from", Kind::Text, "\"dc24\"", "The supply that feeds it."),
        may("when", Kind::Condition, "\"safety = on\"", "What else must be so for it to be there."),
        may(
            "kind",
            Kind::OneOf(&["electric", "air", "vacuum", "water"]),
            "\"air\"",
            "What flows, where the type doesn't say.",
        ),
        may("shut_by_hand", Kind::Chance, "\"1 in 300\"", "How often somebody has shut it off."),
        AFTER,
        may("words", Kind::Text, "\"sensor fuse F3\"", "What people call it."),
        may("place", Kind::Text, "\"cabinet, fuse row\"", "Where it is."),
    ],
};

static MECHANISM: Shape = Shape {
    name: "mechanism",
    about: "Something that stands in one of a few positions.",
    keys: &[
        may("positions", Kind::Texts, "[\"up\", \"down\"]", "Names of the positions, at least two."),
        may("rest", Kind::Text, "\"up\"", "Where it stands before the routine begins; default the first position."),
        may("by", Kind::OneOf(&["hand", "button", "drive"]), "\"hand\"", "Who moves it."),
        may("is", Kind::Text, "\"cylinder\"", "Device type, for its own faults."),
        may("words", Kind::Text, "\"nozzle lift\"", "What people call it."),
        may("place", Kind::Text, "\"behind the left panel\"", "Where it is."),
        may("raised", Kind::Text, "\"up\"", "Position in which it holds up a load that can come down."),
        may("moving", Kind::OneOf(&["hazard", "harmless"]), "\"harmless\"", "Whether its movement can hurt somebody."),
        may(
            "found",
            Kind::Named(&Kind::Chance),
            "{ priming = \"1 in 80\" }",
            "How often it is found elsewhere before the routine begins.",
        ),
        may(
            "unasked",
            Kind::Named(&Kind::Chance),
            "{ open = \"1 in 300\" }",
            "How often somebody moves it meanwhile and does not say so; by hand it is put back again.",
        ),
        AFTER,
        may(
            "moves",
            Kind::List(&Kind::Table(&MOVE)),
            "{ down = { when = \"Y5 AND air\" } }",
            "How it moves, where its outputs don't say it all: a table by target position, or a list.",
        ),
    ],
};

static MOVE: Shape = Shape {
    name: "move",
    about: "One way in which a mechanism moves.",
    keys: &[
        may("to", Kind::Text, "\"down\"", "The position it leads to."),
        may("from", Kind::Texts, "[\"up\"]", "The positions it can start from; default any."),
        may("when", Kind::Condition, "\"Y5 AND air\"", "What drives it."),
        may("takes", Kind::Time, "\"T#1.2s\"", "Travel time; default T#1s."),
        may("tolerance", Kind::Percent, "\"30 %\"", "Tolerance of the travel time, either way."),
    ],
};

static INPUT: Shape = Shape {
    name: "input",
    about: "A controller input.",
    keys: &[
        may("tag", Kind::Text, "\"B1\"", "Tag in the drawing."),
        may("is", Kind::Text, "\"reed-switch\"", "Device type; guessed where it is left out."),
        must("lit", Kind::Condition, "\"lift = up\"", "What is really so when the lamp is lit on a healthy machine."),
        may("words", Kind::Text, "\"lift is up\"", "What a lit lamp means."),
        may("supply", Kind::Text, "\"F3\"", "What feeds it."),
        may("cable", Kind::Text, "\"W2\"", "Cable that it shares with others."),
        may("box", Kind::Text, "\"J1\"", "Junction box that it shares with others."),
        may("card", Kind::Text, "\"card 1\"", "Card of the controller that it shares with others."),
        may("place", Kind::Text, "\"top of the lift mast\"", "Where it is."),
        may("on_delay", Kind::Time, "\"T#0ms\"", "Delay before the program sees it lit."),
        may("off_delay", Kind::Time, "\"T#0ms\"", "Delay before the program sees it dark."),
        may(
            "guarding",
            Kind::OneOf(&["none", "guard", "stop", "two-hand"]),
            "\"stop\"",
            "Whether it guards people, where the type doesn't say.",
        ),
        may(
            "picture",
            Kind::Table(&PICTURE),
            "{ file = \"front.png\", across = 0.4, down = 0.2 }",
            "A picture with a marked spot.",
        ),
        may("use", Kind::OneOf(&["used", "spare", "out of use"]), "\"out of use\"", "Whether it is in use."),
    ],
};

static PICTURE: Shape = Shape {
    name: "picture",
    about: "A picture with a marked spot.",
    keys: &[
        must("file", Kind::Text, "\"front.png\"", "Picture file, beside this file."),
        may("across", Kind::Number, "0.4", "Spot from the left, 0 to 1."),
        may("down", Kind::Number, "0.2", "Spot from the top, 0 to 1."),
    ],
};

static OUTPUT: Shape = Shape {
    name: "output",
    about: "A controller output.",
    keys: &[
        may("tag", Kind::Text, "\"V1\"", "Tag in the drawing."),
        may("is", Kind::Text, "\"solenoid-valve-single\"", "Device type."),
        may("moves", Kind::Texts, "\"lift down\"", "Mechanism and position that it drives to."),
        may("back", Kind::Texts, "\"lift up\"", "Where the mechanism goes when it is off."),
        may("returns", Kind::Flag, "true", "Whether the mechanism goes back at all, where the type doesn't say."),
        may("on", Kind::Condition, "\"ready.X\"", "When the program drives it, beside the actions of steps."),
        may("words", Kind::Text, "\"nozzle down\"", "What a lit lamp means."),
        may("supply", Kind::Text, "\"drives\"", "What feeds it."),
        may("needs", Kind::Text, "\"air\"", "Supply that its actuator needs too."),
        may("takes", Kind::Time, "\"T#1.2s\"", "Travel time."),
        may("back_takes", Kind::Time, "\"T#1.2s\"", "Travel time back."),
        may("tolerance", Kind::Percent, "\"30 %\"", "Tolerance of the travel times."),
        may("cable", Kind::Text, "\"W2\"", "Cable that it shares with others."),
        may("box", Kind::Text, "\"J1\"", "Junction box that it shares with others."),
        may("card", Kind::Text, "\"card 1\"", "Card of the controller that it shares with others."),
        may("place", Kind::Text, "\"valve block, third\"", "Where it is."),
        may("guarding", Kind::OneOf(&["none", "guard", "stop", "two-hand"]), "\"none\"", "Whether it guards people."),
        may("picture", Kind::Table(&PICTURE), "{ file = \"front.png\" }", "A picture with a marked spot."),
        may("use", Kind::OneOf(&["used", "spare", "out of use"]), "\"out of use\"", "Whether it is in use."),
    ],
};

static SETTING: Shape = Shape {
    name: "setting",
    about: "A value that differs from machine to machine.",
    keys: &[
        must("default", Kind::TimeOrSetting, "\"T#4s\"", "A time, or a whole number."),
        may("from", Kind::TimeOrSetting, "\"T#1s\"", "Least value."),
        may("to", Kind::TimeOrSetting, "\"T#20s\"", "Greatest value."),
        may("place", Kind::Text, "\"dial P1\"", "Where it is adjusted."),
        may("words", Kind::Text, "\"filling time\"", "What people call it."),
    ],
};

static LATCH: Shape = Shape {
    name: "latch",
    about: "A bit that the program remembers; reset wins.",
    keys: &[
        may("set", Kind::Condition, "\"R_TRIG(reset = pressed)\"", "What sets it."),
        may("reset", Kind::Condition, "\"NOT door = shut\"", "What resets it."),
        may("at_power_on", Kind::Flag, "false", "Its value after power-on."),
        may("words", Kind::Text, "\"reset was pressed\"", "What people call it."),
    ],
};

static COUNTER: Shape = Shape {
    name: "counter",
    about: "A number that the program counts.",
    keys: &[may("words", Kind::Text, "\"jars filled\"", "What people call it.")],
};

static MODE: Shape = Shape {
    name: "mode",
    about: "What the controller can be set to.",
    keys: &[
        may("when", Kind::Condition, "\"selector = production\"", "How the program knows that it is chosen."),
        may("words", Kind::Text, "\"production\"", "What people call it."),
    ],
};

static CHART: Shape = Shape {
    name: "chart",
    about: "A sequence of steps.",
    keys: &[
        may("words", Kind::Text, "\"fill one jar\"", "What people call it."),
        may("mode", Kind::Text, "\"production\"", "The mode it belongs to."),
        may("start", Kind::Condition, "\"start = pressed\"", "What begins it."),
        may("needs", Kind::Condition, "[\"door = shut\", \"lift = up\"]", "What must hold for it to begin."),
        may("on_loss", Kind::Effect, "\"not known\"", "What losing such a condition does while it runs."),
        may("stop", Kind::Condition, "\"stop = pressed\"", "What takes it back to its first step at any time."),
        may(
            "interlocks",
            Kind::Tables(&INTERLOCK),
            "[ { needs = \"door = shut\", on_loss = \"hold, outputs off\" } ]",
            "Conditions whose loss holds or aborts it.",
        ),
        may("repeat", Kind::Flag, "true", "Whether the last step leads to the second step, without a new start."),
        may(
            "steps",
            Kind::Named(&Kind::TextOr(&Kind::Text, &STEP)),
            "lower = \"do lift down until lift = down\"",
            "The steps in order.",
        ),
        may(
            "transitions",
            Kind::Tables(&TRANSITION),
            "[ { from = [\"a\", \"b\"], to = \"c\", when = \"…\" } ]",
            "Transitions beside those of the steps, such as joins.",
        ),
    ],
};

static INTERLOCK: Shape = Shape {
    name: "interlock",
    about: "A condition whose loss holds or aborts a running chart.",
    keys: &[
        must("needs", Kind::Condition, "\"door = shut\"", "What must hold."),
        may("on_loss", Kind::Effect, "\"hold, outputs off\"", "What its loss does; not known where it is left out."),
        may("in", Kind::Texts, "[\"lower\", \"fill\"]", "The steps in which it is watched; default all but the first."),
        may("words", Kind::Text, "\"guard door\"", "What people call it."),
    ],
};

static STEP: Shape = Shape {
    name: "step",
    about: "A step; the short form is a sentence.",
    keys: &[
        may("do", Kind::Texts, "\"lift down\"", "Commands that stay until another `do` for the same mechanism."),
        may("run", Kind::Texts, "\"pump\"", "What runs only during this step."),
        may("set", Kind::Texts, "\"Y5\"", "Outputs or latches that stay on."),
        may("reset", Kind::Texts, "\"Y5\"", "Outputs or latches that go off."),
        may("count", Kind::Texts, "\"jars\"", "Counters that count one."),
        may("clear", Kind::Texts, "\"jars\"", "Counters that go to nought."),
        may("until", Kind::Condition, "\"lift = down\"", "What ends it: a condition or a time."),
        may("timeout", Kind::TimeOrSetting, "\"T#5s\"", "How long it may last."),
        may("on_timeout", Kind::Effect, "\"go to fault\"", "What happens then; default nothing."),
        may("next", Kind::Texts, "\"fill\"", "The step after it; a list begins parallel branches."),
        may("or", Kind::Tables(&WAY_OUT), "[ { when = \"level = low\", next = \"fault\" } ]", "Further ways out."),
        may("words", Kind::Text, "\"the nozzle comes down\"", "What people call it."),
        may("alarm", Kind::Flag, "true", "It stands for an alarm; such steps are out of line, reached only by name."),
        may("initial", Kind::Flag, "true", "Active at power-on."),
        may("after", Kind::Text, "\"lower\"", "The step behind which it comes; only in a revision."),
    ],
};

static WAY_OUT: Shape = Shape {
    name: "way-out",
    about: "A further way out of a step.",
    keys: &[
        must("when", Kind::Condition, "\"level = low\"", "When it is taken."),
        must("next", Kind::Texts, "\"fault\"", "Where it leads."),
    ],
};

static TRANSITION: Shape = Shape {
    name: "transition",
    about: "A transition between any steps of the chart.",
    keys: &[
        must("from", Kind::Texts, "[\"a\", \"b\"]", "The steps that must all be active."),
        must("to", Kind::Texts, "\"c\"", "The steps that become active."),
        may("when", Kind::Condition, "\"lift = up\"", "Its condition; default at once."),
    ],
};

static ROUTINE: Shape = Shape {
    name: "routine",
    about: "What people normally do, in order.",
    keys: &[
        may("mode", Kind::Text, "\"production\"", "The mode it is for."),
        may("words", Kind::Text, "\"fill one jar\"", "What people call it."),
        must(
            "do",
            Kind::List(&Kind::TextOr(&Kind::Text, &HAND_ACTION)),
            "[\"door shut\", \"press start\"]",
            "The actions in order.",
        ),
    ],
};

static HAND_ACTION: Shape = Shape {
    name: "hand-action",
    about: "One thing that a hand does.",
    keys: &[
        must("do", Kind::Text, "\"door shut\"", "The action."),
        may("words", Kind::Text, "\"shut the door\"", "For people, in the imperative."),
        may("forgotten", Kind::Chance, "\"1 in 100\"", "How often it is forgotten; default 1 in 300."),
        may("noticed", Kind::Chance, "\"9 in 10\"", "How often that is noticed at once; default 1 in 2."),
        AFTER,
        may("wait", Kind::Time, "\"T#2s\"", "How long people wait afterwards; default until nothing changes."),
    ],
};

static PROCEDURE: Shape = Shape {
    name: "procedure",
    about: "A led service job.",
    keys: &[
        may("words", Kind::Text, "\"prime the hose\"", "What people call it."),
        may("purpose", Kind::Text, "\"after a change of product\"", "What it is for, and when."),
        may("who", Kind::OneOf(WHO), "\"operator\"", "Who may do it."),
        must("steps", Kind::Tables(&PROCEDURE_STEP), "[ { do = \"press start\" } ]", "The steps in order."),
    ],
};

static PROCEDURE_STEP: Shape = Shape {
    name: "procedure-step",
    about: "One step of a procedure.",
    keys: &[
        may("do", Kind::Text, "\"selector priming\"", "What the hand does to the machine."),
        may("words", Kind::Text, "\"turn the selector to priming\"", "What to do."),
        may(
            "note",
            Kind::Text,
            "\"The tub is hot.\"",
            "What else is said before it; cautions and movements are worked out.",
        ),
        may("wait", Kind::Time, "\"T#20s\"", "How long to wait afterwards."),
        may("expect", Kind::Texts, "\"X5 X6 lit, Y2 dark\"", "Lamps as they must be then."),
        may(
            "measure",
            Kind::Table(&MEASURE),
            "{ words = \"product\", unit = \"ml\", from = 9, to = 11 }",
            "A value to measure.",
        ),
        may("energy", Kind::OneOf(ENERGY), "\"normal\"", "Energy while it is done."),
        may("access", Kind::OneOf(ACCESS), "\"outside\"", "Access it needs."),
        may("load", Kind::OneOf(LOAD), "\"none\"", "Whether it is done near a raised load."),
        may(
            "guarding",
            Kind::OneOf(&["none", "guard", "stop", "two-hand"]),
            "\"none\"",
            "Whether it is about something that guards people, where `do` doesn't say.",
        ),
    ],
};

static MEASURE: Shape = Shape {
    name: "measure",
    about: "A value to measure.",
    keys: &[
        must("words", Kind::Text, "\"product in the cup\"", "What is measured."),
        may("unit", Kind::Text, "\"ml\"", "Unit."),
        may("from", Kind::Number, "9.5", "Least value that is right."),
        may("to", Kind::Number, "10.5", "Greatest value that is right."),
        may("outside", Kind::Text, "\"turn P1\"", "What to do when it is outside."),
    ],
};

static DEVICE: Shape = Shape {
    name: "device",
    about: "What is special about one device: by label, tag, supply, mechanism or \"controller\".",
    keys: &[
        may("words", Kind::Text, "\"float of the tank\"", "What people call it."),
        may("place", Kind::Text, "\"at the outlet\"", "Where it is."),
        may("guarding", Kind::OneOf(&["none", "guard", "stop", "two-hand"]), "\"guard\"", "Whether it guards people."),
        may("rate", Kind::Named(&Kind::Number), "{ dead = 3.0 }", "Rates per million hours, by fault mode."),
        may("faults", Kind::Named(&Kind::Table(&FAULT)), "{ wet = { … } }", "Fault modes of its own."),
    ],
};

pub(super) const WHO: &[&str] = &["operator", "technician", "electrician"];
pub(super) const ENERGY: &[&str] = &["off", "normal", "pressure", "live"];
pub(super) const ACCESS: &[&str] = &["outside", "cabinet", "behind guard"];
pub(super) const LOAD: &[&str] = &["none", "raised"];
pub(super) const ROLE: &[&str] = &["look", "measure", "try", "swap"];

const WHICH: Key = must("device", Kind::Text, "\"X3\"", "The device: label, tag, supply, mechanism or \"controller\".");
const OWN_KEY: Key = may("key", Kind::Text, "\"wipe_lens\"", "Short name, for reference.");

static OWN_CHECK: Shape = Shape {
    name: "own-check",
    about: CHECK_KEYS_ABOUT,
    keys: &[
        WHICH,
        OWN_KEY,
        super::library_file::OBSERVES,
        super::library_file::INSPECT,
        super::library_file::OPERATOR,
        super::library_file::TECHNICIAN,
        super::library_file::YES,
        super::library_file::NO,
        super::library_file::MINUTES,
        super::library_file::WHO_KEY,
        super::library_file::ENERGY_KEY,
        super::library_file::ACCESS_KEY,
        super::library_file::LOAD_KEY,
        super::library_file::ROLE_KEY,
        super::library_file::ERROR,
        super::library_file::SOURCE,
    ],
};

static OWN_REMEDY: Shape = Shape {
    name: "own-remedy",
    about: "What puts a fault right.",
    keys: &[
        WHICH,
        OWN_KEY,
        super::library_file::REMEDY_WORDS,
        super::library_file::MINUTES,
        super::library_file::PART,
        super::library_file::PRICE,
        super::library_file::WHO_KEY,
        super::library_file::ENERGY_KEY,
        super::library_file::ACCESS_KEY,
        super::library_file::LOAD_KEY,
        super::library_file::SOURCE,
    ],
};

static REVISION: Shape = Shape {
    name: "revision",
    about: "What is different from some serial number on.",
    keys: &[
        may("serials", Kind::Text, "\"1500-1999, 2100-\"", "Serial numbers."),
        may("about", Kind::Text, "\"reset latch added\"", "What changed."),
        may("remove", Kind::Texts, "[\"inputs.X5\"]", "What of the base is not there."),
        may(
            "change",
            Kind::Table(&CHANGE),
            "{ inputs = { … } }",
            "What is new or different: the same tables as in the base.",
        ),
    ],
};

static CHANGE: Shape = Shape {
    name: "change",
    about: "Changes laid over the base, table by table, key by key.",
    keys: &[
        may("machine", Kind::Table(&CHANGE_MACHINE), "{ scan = \"T#5ms\" }", "See the base."),
        may("lamps", Kind::Table(&LAMPS), "{ rows = [ … ] }", "See the base."),
        may("supplies", Kind::Named(&Kind::TextOr(&Kind::Text, &SUPPLY)), "F4 = { is = \"fuse\" }", "See the base."),
        may("mechanisms", Kind::Named(&Kind::Table(&MECHANISM)), "reset = { by = \"button\" }", "See the base."),
        may(
            "inputs",
            Kind::Named(&Kind::TextOr(&Kind::OneOf(&["spare", "out of use"]), &CHANGED_INPUT)),
            "X6 = \"out of use\"",
            "See the base.",
        ),
        may(
            "outputs",
            Kind::Named(&Kind::TextOr(&Kind::OneOf(&["spare", "out of use"]), &OUTPUT)),
            "Y9 = { … }",
            "See the base.",
        ),
        may("settings", Kind::Named(&Kind::ValueOr(&SETTING)), "fill_time = { … }", "See the base."),
        may("latches", Kind::Named(&Kind::Table(&LATCH)), "armed = { … }", "See the base."),
        may("counters", Kind::Named(&Kind::Table(&COUNTER)), "jars = { … }", "See the base."),
        may("modes", Kind::Named(&Kind::TextOr(&Kind::Condition, &MODE)), "priming = { … }", "See the base."),
        may("charts", Kind::Named(&Kind::Table(&CHART)), "cycle = { … }", "See the base."),
        may("routines", Kind::Named(&Kind::Table(&ROUTINE)), "make = { … }", "See the base."),
        may("procedures", Kind::Named(&Kind::Table(&PROCEDURE)), "prime = { … }", "See the base."),
        may("devices", Kind::Named(&Kind::Table(&DEVICE)), "X3 = { … }", "See the base."),
        may("checks", Kind::Tables(&OWN_CHECK), "{ device = \"X3\" }", "See the base; replaces its list."),
        may("remedies", Kind::Tables(&OWN_REMEDY), "{ device = \"X3\" }", "See the base; replaces its list."),
        may("words", Kind::Named(&Kind::Translations), "de = { … }", "See the base."),
    ],
};

static CHANGE_MACHINE: Shape = Shape {
    name: "changed-machine",
    about: "What of the machine's head is different.",
    keys: &[
        may("about", Kind::Text, "\"…\"", "What it does, in a sentence."),
        may("scan", Kind::Time, "\"T#5ms\"", "Scan time of the controller."),
        may("supply", Kind::Text, "\"dc24\"", "What feeds the controller."),
        may("hours_since_well", Kind::Number, "40", "Running hours since it last ran well."),
    ],
};

static CHANGED_INPUT: Shape = Shape {
    name: "changed-input",
    about: "An input that is new or different.",
    keys: &[
        may("tag", Kind::Text, "\"B1\"", "Tag in the drawing."),
        may("is", Kind::Text, "\"reed-switch\"", "Device type."),
        may("lit", Kind::Condition, "\"lift = up\"", "When its lamp is lit."),
        may("words", Kind::Text, "\"lift is up\"", "What a lit lamp means."),
        may("supply", Kind::Text, "\"F3\"", "What feeds it."),
        may("cable", Kind::Text, "\"W2\"", "Cable that it shares with others."),
        may("box", Kind::Text, "\"J1\"", "Junction box that it shares with others."),
        may("card", Kind::Text, "\"card 1\"", "Card of the controller that it shares with others."),
        may("place", Kind::Text, "\"mast\"", "Where it is."),
        may("on_delay", Kind::Time, "\"T#0ms\"", "Delay before the program sees it lit."),
        may("off_delay", Kind::Time, "\"T#0ms\"", "Delay before the program sees it dark."),
        may("guarding", Kind::OneOf(&["none", "guard", "stop", "two-hand"]), "\"stop\"", "Whether it guards people."),
        may("picture", Kind::Table(&PICTURE), "{ file = \"front.png\" }", "A picture with a marked spot."),
        may("use", Kind::OneOf(&["used", "spare", "out of use"]), "\"out of use\"", "Whether it is in use."),
    ],
};
