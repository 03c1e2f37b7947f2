//! What is said of checks and remedies reads as a sentence, also where something has no name of its own.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use machine::Machine;

/// One output has no lamp: the lift's valve is only implied by what the chart does.
const WITHOUT_LAMP: &str = "format = 1\n[machine]\nname = \"Lift\"\n\
    [lamps]\nrows = [{ title = \"inputs\", labels = \"I0 I1\" }, { title = \"outputs\", labels = \"Q0\" }]\n\
    [inputs]\nI0 = { lit = \"start = pressed\" }\nI1 = { lit = \"lift = down\" }\n\
    [outputs]\nQ0 = { is = \"solenoid-valve-single\", moves = \"ram out\" }\n\
    [charts.cycle]\nstart = \"start = pressed\"\n\
    [charts.cycle.steps]\nlower = { do = \"lift down\", until = \"lift = down\" }\n\
    press = { do = \"ram out\", until = \"T#2s\" }\nraise = { do = \"lift up\", until = \"T#2s\" }\n\
    [routines.make]\ndo = [\"press start\"]\n";

/// All that is told of checks and remedies, in all languages.
fn texts(machine: &Machine) -> Vec<String> {
    let checks = machine.checks.rows().flat_map(|check| [&check.operator, &check.technician]);
    let remedies = machine.remedies.rows().map(|remedy| &remedy.words);
    let all = checks.chain(remedies);
    all.flat_map(|words| {
        std::iter::once(&words.english).chain(words.translations.iter().map(|(_, text)| text)).cloned()
    })
    .collect()
}

#[test]
fn what_is_said_of_an_output_without_a_lamp_has_no_gap() {
    let machine = machine::load_str("lift.toml", WITHOUT_LAMP).unwrap_or_else(|problems| panic!("{problems:#?}"));
    let tag = &machine.outputs.rows().find(|output| output.label.is_none()).expect("an output without a lamp").tag;
    let all = texts(&machine);
    for text in &all {
        let gap = ["  ", "()", "(lamp lit)", "lamp is lit", " :"].into_iter().find(|gap| text.contains(gap));
        assert_eq!(gap, None, "{text}");
    }
    let of_coil = |coil: &str| all.iter().find(|text| text.contains(&format!("at the coil of {coil} "))).unwrap();
    let own = of_coil(tag);
    assert!(own.contains("while its output is on: 20.4 to 28.8 V; while off"), "{own}");
    // The other has a lamp, and it is named.
    let other = machine.outputs.rows().find(|output| output.label.is_some()).unwrap();
    assert!(of_coil(&other.tag).contains("while its output is on (lamp Q0 lit): "), "{}", of_coil(&other.tag));
}
