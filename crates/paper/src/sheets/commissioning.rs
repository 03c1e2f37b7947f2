//! The commissioning sheet, for acceptance and after a repair: each point with how it is worked, the lamp that is
//! due and a box to tick; travel times to measure with their tolerance; settings; what protects people.

use machine::Condition;
use machine::caution::{Caution, Doing};
use machine::id::MechanismId;
use machine::model::{
    Device, DeviceRole, Guarding, HandMove, Input, Mechanism, MechanismClass, Move, PointUse, SettingValue, WorldFact,
};

use crate::desk::Desk;
use crate::document::{Block, Cell, Column, Sheet, Span, Table};
use crate::language::{Label, Language};
use crate::wording::caution;

const TITLE: Label = Label::new("Commissioning sheet", "Inbetriebnahmeblatt", "Hoja de puesta en servicio");
const ABOUT: Label = Label::new(
    "For acceptance and after a repair. Tick what is as it should be; write down what was measured.",
    "Für die Abnahme und nach einer Reparatur. Abhaken, was stimmt; aufschreiben, was gemessen wurde.",
    "Para la recepción y después de una reparación. Marque lo que está bien; anote lo medido.",
);
const BY: Label = Label::new("Done by", "Ausgeführt von", "Hecho por");
const DATE: Label = Label::new("Date", "Datum", "Fecha");
const SERIAL: Label = Label::new("Serial number", "Seriennummer", "Número de serie");
const INPUTS: Label = Label::new("Inputs", "Eingänge", "Entradas");
const OUTPUTS: Label = Label::new("Outputs", "Ausgänge", "Salidas");
const TIMES: Label = Label::new("Travel times", "Laufzeiten", "Tiempos de recorrido");
const SETTINGS: Label = Label::new("Settings", "Einstellungen", "Ajustes");
const GUARDS: Label = Label::new("What protects people", "Was Menschen schützt", "Lo que protege a las personas");
const LAMP: Label = Label::new("Lamp", "Lampe", "Lámpara");
const TAG: Label = Label::new("Tag", "Kennz.", "Identif.");
const MEANS: Label = Label::new("Meaning", "Bedeutung", "Significado");
const MAKE_SO: Label = Label::new("Make it so", "So herbeiführen", "Cómo provocarlo");
const LIT: Label = Label::new("● lit", "● leuchtet", "● encend.");
const DARK: Label = Label::new("then ○ dark", "dann ○ dunkel", "luego ○ apag.");
const ACTS: Label = Label::new("What must follow when lit", "Was folgen muss", "Qué debe seguir");
const RIGHT: Label = Label::new("OK", "Stimmt", "Bien");
const MOVES: Label = Label::new("Moves", "Bewegung", "Movimiento");
const DUE: Label = Label::new("Nominal", "Soll", "Valor nominal");
const MEASURED: Label = Label::new("Measured", "Gemessen", "Medido");
const SETTING: Label = Label::new("Setting", "Einstellung", "Ajuste");
const WHERE: Label = Label::new("Where", "Wo", "Dónde");
const FILE_VALUE: Label = Label::new("In the file", "In der Datei", "En el archivo");
const RANGE: Label = Label::new("Range", "Bereich", "Margen");
const SET_TO: Label = Label::new("Set to", "Eingestellt", "Ajustado a");
const DEVICE: Label = Label::new("Device", "Gerät", "Dispositivo");
const TEST: Label = Label::new(
    "Tested by the machine builder's manual",
    "Nach Handbuch des Herstellers geprüft",
    "Probado según el manual del fabricante",
);
const BY_HAND: Label = Label::new("by hand", "von Hand", "a mano");
const PRESS: Label = Label::new("press", "drücken", "pulsar");
const AND: Label = Label::new(" and ", " und ", " y ");
const OR: Label = Label::new(" or ", " oder ", " o ");
const NOT: Label = Label::new("not {}", "nicht {}", "no {}");
const SPARE: Label = Label::new("spare: must stay dark", "frei: muss dunkel bleiben", "libre: debe seguir apagada");
const BETWEEN: Label = Label::new("between positions", "zwischen den Stellungen", "entre posiciones");
const WITH: Label = Label::new("while: {}", "bei: {}", "con: {}");
const ANY: Label = Label::new("anywhere", "irgendwo", "cualquier sitio");

/// The type of what is so around the machine.
const SURROUNDINGS: &str = "surroundings";

/// The sheet.
pub(crate) fn commissioning(desk: &Desk<'_>) -> Sheet {
    let language = desk.language();
    let heading = |label: Label| Block::Heading(label.of(language).to_owned());
    let mut blocks = vec![signatures(desk), Block::Caution(cautions(desk))];
    let sections: [(Label, Option<Table>); 5] = [
        (GUARDS, guards(desk)),
        (INPUTS, inputs(desk)),
        (OUTPUTS, outputs(desk)),
        (TIMES, times(desk)),
        (SETTINGS, settings(desk)),
    ];
    for (label, table) in sections {
        if let Some(table) = table {
            blocks.extend([heading(label), Block::Table(table)]);
        }
    }
    Sheet {
        name: "commissioning".to_owned(),
        title: TITLE.of(language).to_owned(),
        about: ABOUT.of(language).to_owned(),
        one_page: false,
        landscape: false,
        blocks,
    }
}

fn plain(text: impl Into<String>) -> Cell {
    vec![Span::plain(text)]
}

fn table(columns: Vec<Column>, rows: Vec<Vec<Cell>>) -> Option<Table> {
    (!rows.is_empty()).then_some(Table { columns, rows, small: true }.without_empty_columns())
}

fn signatures(desk: &Desk<'_>) -> Block {
    let mut spans = Vec::new();
    for label in [SERIAL, DATE, BY] {
        spans.push(Span::plain(format!("{}: ", label.of(desk.language()))));
        spans.push(Span::blank());
        spans.push(Span::plain("  "));
    }
    Block::Text(spans)
}

/// What is to be minded while everything is worked once.
fn cautions(desk: &Desk<'_>) -> Vec<String> {
    let machine = desk.machine();
    let mut all = vec![Caution::Moves, Caution::Protects];
    for (id, mechanism) in machine.mechanisms.iter() {
        let movement = match mechanism.class {
            MechanismClass::Hand => HandMove::Put(id, mechanism.rest),
            MechanismClass::Button => HandMove::Press(id, 0),
            MechanismClass::Driven => continue,
        };
        all.extend(Doing::of_hand(machine, movement).cautions());
    }
    all.sort();
    all.dedup();
    all.into_iter().map(|one| caution(one, desk.language())).collect()
}

fn inputs(desk: &Desk<'_>) -> Option<Table> {
    let language = desk.language();
    let rows = desk.machine().inputs.rows().filter(|row| row.usage != PointUse::OutOfUse).map(|row| {
        let used = row.usage == PointUse::Used;
        let (words, how) = if used {
            (plain(desk.words(&row.words, &row.tag)), plain(make_so(desk, row)))
        } else {
            (vec![Span::faint(SPARE.of(language))], Cell::new())
        };
        let tick = |wanted: bool| if wanted { vec![Span::tick()] } else { Cell::new() };
        let tag = if used { row.tag.as_str() } else { "" };
        vec![vec![Span::strong(&row.label)], plain(tag), words, how, tick(used), tick(true)]
    });
    table(
        vec![
            Column::narrow(LAMP.of(language)),
            Column::narrow(TAG.of(language)),
            Column::wide(MEANS.of(language), 4),
            Column::wide(MAKE_SO.of(language), 4),
            Column::mark(LIT.of(language)),
            Column::mark(DARK.of(language)),
        ],
        rows.collect(),
    )
}

/// How a lamp is brought to light.
fn make_so(desk: &Desk<'_>, input: &Input) -> String {
    world(desk, &input.lit, false)
}

fn world(desk: &Desk<'_>, whole: &Condition<WorldFact>, inside: bool) -> String {
    let language = desk.language();
    match whole {
        Condition::Always(_) => "–".to_owned(),
        Condition::Fact(fact) => world_fact(desk, *fact),
        Condition::Not(inner) => NOT.fill(language, &[&world(desk, inner, true)]),
        Condition::All(list) | Condition::Any(list) => {
            let joint = if matches!(whole, Condition::All(_)) { AND } else { OR };
            let parts: Vec<String> = list.iter().map(|part| world(desk, part, true)).collect();
            let text = parts.join(joint.of(language));
            if inside && list.len() > 1 { format!("({text})") } else { text }
        }
    }
}

fn world_fact(desk: &Desk<'_>, fact: WorldFact) -> String {
    let machine = desk.machine();
    let language = desk.language();
    match fact {
        WorldFact::At(id, position) => {
            let row = &machine.mechanisms[id];
            let name = desk.words(&row.words, &row.name);
            let at = self::position(desk, row, position);
            match row.class {
                MechanismClass::Hand if is_given(desk, id) => format!("{name}: {at}"),
                MechanismClass::Hand => format!("{name}: {at} ({})", BY_HAND.of(language)),
                MechanismClass::Button if position == row.rest => format!("{name}: {at}"),
                MechanismClass::Button => format!("{name}: {}", PRESS.of(language)),
                MechanismClass::Driven => format!("{name}: {at}"),
            }
        }
        WorldFact::Between(id) => {
            let row = &machine.mechanisms[id];
            format!("{}: {}", desk.words(&row.words, &row.name), BETWEEN.of(language))
        }
        WorldFact::Supply(id) => {
            let row = &machine.supplies[id];
            desk.words(&row.words, &row.name).to_owned()
        }
        WorldFact::Driven(id) => {
            let row = &machine.outputs[id];
            row.label.clone().unwrap_or_else(|| desk.words(&row.words, &row.tag).to_owned())
        }
    }
}

/// Whether this is so by itself: no hand makes a cabinet cool.
fn is_given(desk: &Desk<'_>, id: MechanismId) -> bool {
    let devices = &desk.machine().devices;
    devices.rows().any(|device| device.role == DeviceRole::Mechanism(id) && device.type_key == SURROUNDINGS)
}

fn outputs(desk: &Desk<'_>) -> Option<Table> {
    let language = desk.language();
    let machine = desk.machine();
    let rows = machine.outputs.iter().filter(|(_, row)| row.usage != PointUse::OutOfUse).filter_map(|(id, row)| {
        let label = row.label.as_ref()?;
        if row.usage == PointUse::Spare {
            let words = vec![Span::faint(SPARE.of(language))];
            return Some(vec![vec![Span::strong(label)], Cell::new(), words, Cell::new(), vec![Span::tick()]]);
        }
        let mut follows = Vec::new();
        for mechanism in machine.mechanisms.rows() {
            for one in &mechanism.moves {
                // What moves while this output is on, not what springs back without it.
                let on = |fact: &WorldFact| *fact == WorldFact::Driven(id);
                let concerned = one.when.facts().into_iter().any(on);
                let alone = one.when.holds(&|fact| !matches!(fact, WorldFact::Driven(_)) || on(fact));
                if concerned && alone {
                    follows.push(format!(
                        "{} → {}",
                        desk.words(&mechanism.words, &mechanism.name),
                        position(desk, mechanism, one.to)
                    ));
                }
            }
        }
        follows.dedup();
        Some(vec![
            vec![Span::strong(label)],
            plain(&row.tag),
            plain(desk.words(&row.words, &row.tag)),
            plain(follows.join("; ")),
            vec![Span::tick()],
        ])
    });
    table(
        vec![
            Column::narrow(LAMP.of(language)),
            Column::narrow(TAG.of(language)),
            Column::wide(MEANS.of(language), 4),
            Column::wide(ACTS.of(language), 5),
            Column::mark(RIGHT.of(language)),
        ],
        rows.collect(),
    )
}

fn position<'d>(desk: &'d Desk<'_>, mechanism: &'d Mechanism, at: u8) -> &'d str {
    mechanism.position_words.get(usize::from(at)).map_or("", |words| desk.words(words, ""))
}

fn times(desk: &Desk<'_>) -> Option<Table> {
    let language = desk.language();
    let driven = desk.machine().mechanisms.rows().filter(|row| row.class == MechanismClass::Driven);
    let mut rows = Vec::new();
    for mechanism in driven {
        let name = desk.words(&mechanism.words, &mechanism.name);
        for one in &mechanism.moves {
            let from: Vec<&str> = match one.from[..] {
                [] if mechanism.positions.len() == 2 => vec![position(desk, mechanism, 1 - one.to.min(1))],
                [] => vec![ANY.of(language)],
                _ => one.from.iter().map(|at| position(desk, mechanism, *at)).collect(),
            };
            let mut way = format!("{name}: {} → {}", from.join(", "), position(desk, mechanism, one.to));
            // The same way at another pace: only what drives it tells the two apart.
            let alike = mechanism.moves.iter().filter(|other| (other.to, &other.from) == (one.to, &one.from)).count();
            if alike > 1 {
                way.push_str(&format!(" ({})", WITH.fill(language, &[&world(desk, &one.when, false)])));
            }
            rows.push(vec![plain(way), plain(due(one, language)), vec![Span::blank()], vec![Span::tick()]]);
        }
    }
    table(
        vec![
            Column::wide(MOVES.of(language), 6),
            Column::wide(DUE.of(language), 3),
            Column::wide(MEASURED.of(language), 2),
            Column::mark(RIGHT.of(language)),
        ],
        rows,
    )
}

/// The time of a move with its tolerance: "3 s (1.8 s to 4.2 s)".
fn due(one: &Move, language: Language) -> String {
    let duration = |ms: u64| language.duration(ms);
    let tolerance = u64::from(one.tolerance_percent.min(100));
    let share = |percent: u64| duration(rounded(one.takes_ms.saturating_mul(percent) / 100));
    format!("{} ({} – {})", duration(one.takes_ms), share(100 - tolerance), share(100 + tolerance))
}

/// To what a stop watch shows: hundredths of a second below ten seconds, else tenths, else whole ones.
fn rounded(ms: u64) -> u64 {
    match ms {
        0..1_000 => ms,
        1_000..60_000 => ms / 100 * 100,
        _ => ms / 1_000 * 1_000,
    }
}

fn settings(desk: &Desk<'_>) -> Option<Table> {
    let language = desk.language();
    let value = |value: SettingValue| match value {
        SettingValue::Time(ms) => language.duration(ms),
        SettingValue::Count(count) => count.to_string(),
    };
    let rows = desk.machine().settings.rows().map(|row| {
        let range = row.range.map(|(from, to)| format!("{} – {}", value(from), value(to))).unwrap_or_default();
        vec![
            plain(desk.words(&row.words, &row.name)),
            plain(desk.words(&row.place, "")),
            plain(value(row.value)),
            plain(range),
            vec![Span::blank()],
        ]
    });
    table(
        vec![
            Column::wide(SETTING.of(language), 4),
            Column::wide(WHERE.of(language), 4),
            Column::wide(FILE_VALUE.of(language), 2),
            Column::wide(RANGE.of(language), 2),
            Column::wide(SET_TO.of(language), 2),
        ],
        rows.collect(),
    )
}

/// Guards, stops and two-hand controls, which are tested as their builder says and in no other way.
fn guards(desk: &Desk<'_>) -> Option<Table> {
    let language = desk.language();
    let machine = desk.machine();
    // The device itself stands for its whole chain: the cable, the terminal and the card are tested with it.
    let itself = |row: &&Device| match row.role {
        DeviceRole::Input(input) => row.guarding != Guarding::None && row.name == machine.inputs[input].tag,
        _ => false,
    };
    let guarding = machine.devices.rows().filter(itself);
    let rows = guarding.map(|row| {
        vec![plain(desk.words(&row.words, &row.name)), plain(desk.words(&row.place, "")), vec![Span::tick()]]
    });
    table(
        vec![
            Column::wide(DEVICE.of(language), 4),
            Column::wide(WHERE.of(language), 4),
            Column { centred: true, ..Column::wide(TEST.of(language), 3) },
        ],
        rows.collect(),
    )
}
