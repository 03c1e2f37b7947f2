//! That a machine runs again after one thing was put right speaks against another that would still stand in its way,
//! whichever of the two the program looks at first.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use diagnose::evidence::{Circumstances, Complaint, Deed, Evidence, Moment};
use diagnose::reading::{read_lamps, read_positions};
use diagnose::{Alternative, Diagnoser};
use sim::Options;

fn text(needs: &str) -> String {
    format!(
        "format = 1\n[machine]\nname = \"Stamp\"\n[supplies]\ndc24 = {{ is = \"power-supply-24v\" }}\n\
         [mechanisms]\npart = {{ positions = [\"gone\", \"there\"], by = \"hand\" }}\n\
         tray = {{ positions = [\"out\", \"in\"], by = \"hand\" }}\n\
         [lamps]\nrows = [{{ title = \"inputs\", labels = \"I0 I1 I2 I3\" }}, {{ title = \"outputs\", labels = \"Q0\" }}]\n\
         [inputs]\nI0 = {{ lit = \"start = pressed\" }}\n\
         I1 = {{ is = \"inductive-npn\", lit = \"part = there\", supply = \"dc24\" }}\n\
         I2 = {{ is = \"inductive-npn\", lit = \"tray = in\", supply = \"dc24\" }}\n\
         I3 = {{ is = \"reed-switch\", lit = \"ram = out\", supply = \"dc24\" }}\n\
         [outputs]\nQ0 = {{ is = \"solenoid-valve-single\", moves = \"ram out\" }}\n\
         [charts.cycle]\nstart = \"start = pressed\"\nneeds = [{needs}]\non_loss = \"nothing\"\n\
         [charts.cycle.steps]\nwork = {{ do = \"ram out\", until = \"ram = out\" }}\nhome = {{ do = \"ram back\", until = \"T#2s\" }}\n\
         [routines.make]\ndo = [\"part there\", \"tray in\", \"press start\"]\n"
    )
}

/// How much more probable it is that an input is dead as well than that another is, which was put right.
fn as_well(diagnoser: &Diagnoser, [mended, other]: [&str; 2], runs: Option<bool>) -> f64 {
    let machine = diagnoser.machine().unwrap();
    let lamps = read_lamps(machine, "all off").unwrap();
    let positions = read_positions(machine, "part there, tray in").unwrap();
    let call = Moment { lamps, positions, ..Moment::default() };
    let dead = format!("{mended}/dead");
    let remedy = machine.deviations.rows().find(|row| row.key == dead).and_then(|row| row.remedy).unwrap();
    let tried = Moment { remedies: vec![remedy], runs, ..Moment::default() };
    let complaint = Some(Complaint::WontStart);
    let evidence = Evidence { complaint, moments: vec![call, tried], ..Evidence::default() };
    let found = diagnoser.marginals(&evidence).deviations;
    found[&format!("{other}/dead")] / found[&dead]
}

#[test]
fn what_would_still_stand_in_the_way_is_not_there_if_it_runs() {
    for needs in ["\"part = there\", \"tray = in\"", "\"tray = in\", \"part = there\""] {
        let machine = machine::load_str("stamp.toml", &text(needs)).unwrap_or_else(|problems| panic!("{problems:#?}"));
        let alternative = Alternative { weight: 1.0, choices: Vec::new(), machine };
        let diagnoser = Diagnoser::new(vec![alternative], &Circumstances::default(), &Options::default());
        for pair in [["I1", "I2"], ["I2", "I1"]] {
            let [nothing_said, it_runs] = [None, Some(true)].map(|runs| as_well(&diagnoser, pair, runs));
            assert!(it_runs < 0.1 * nothing_said, "{pair:?}, needs {needs}: {it_runs} against {nothing_said}");
        }
    }
}

/// What somebody left somewhere holds nothing, and before the start all is as always; but the machine can't be started.
#[test]
fn what_was_left_somewhere_is_in_the_way_as_long_as_it_is_there() {
    let mode =
        "mode = { positions = [\"auto\", \"hand\"], by = \"hand\", rest = \"auto\", found = { hand = \"1 in 50\" } }";
    let text = text("\"mode = auto\"")
        .replace("tray = {", &format!("{mode}\ntray = {{"))
        .replace("I2 I3", "I2 I3 I4")
        .replace("[outputs]", "I4 = { lit = \"mode = auto\", supply = \"dc24\" }\n[outputs]");
    let machine = machine::load_str("stamp.toml", &text).unwrap_or_else(|problems| panic!("{problems:#?}"));
    let alternative = Alternative { weight: 1.0, choices: Vec::new(), machine };
    let diagnoser = Diagnoser::new(vec![alternative], &Circumstances::default(), &Options::default());
    let machine = diagnoser.machine().unwrap();
    // Only powered on: nothing has gone otherwise yet.
    let positions = read_positions(machine, "part gone").unwrap();
    let call = Moment { positions, deeds: vec![Deed::Routine(None)], ..Moment::default() };
    // How much more probable it is that the selector was left at "hand" than that nothing is wrong.
    let left = |runs: Option<bool>, put_back: bool| {
        let movement = machine.remedies.rows().find(|row| row.key.contains("mode found hand")).unwrap().does.unwrap();
        let deeds = if put_back { vec![Deed::Extra(movement)] } else { Vec::new() };
        let later = Moment { deeds, runs, ..Moment::default() };
        let evidence = Evidence { moments: vec![call.clone(), later], ..Evidence::default() };
        let found = diagnoser.marginals(&evidence);
        found.deviations["lapse/mode found hand"] / found.nothing
    };
    assert!(left(Some(false), false) > 20.0 * left(None, false));
    assert!(left(Some(true), false) < 0.1 * left(None, false));
    // Once somebody has put it back, it explains nothing any more by itself, only together with something else.
    assert!(left(Some(false), true) < 0.5 * left(Some(false), false));
    assert!(left(Some(true), true) > 0.5 * left(None, true));
}
