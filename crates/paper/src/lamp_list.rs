//! Lists of lamps by their labels, short and exact: three or more that sit side by side on the controller, with labels
//! of one kind, are named by the first and the last of them, as they may be typed, too.

use machine::Machine;

/// Fewer lamps than this are named one by one.
const WORTH: usize = 3;

/// The lamps that are wanted, by their numbers in the order of the panel: "X0–X3 X6 Y10".
pub fn named(machine: &Machine, wanted: impl Fn(usize) -> bool) -> String {
    let mut words: Vec<String> = Vec::new();
    let mut first = 0;
    for row in &machine.lamp_rows {
        let labels: Vec<&str> = row.lamps.iter().map(|lamp| lamp.label.as_str()).collect();
        let mut at = 0;
        while at < labels.len() {
            if !wanted(first + at) {
                at += 1;
                continue;
            }
            let kind = kind(labels[at]);
            let alike = |next: &usize| kind.is_some() && wanted(first + next) && self::kind(labels[*next]) == kind;
            let count = 1 + (at + 1..labels.len()).take_while(alike).count();
            if count >= WORTH {
                words.push(format!("{}–{}", labels[at], labels[at + count - 1]));
            } else {
                words.extend(labels[at..at + count].iter().map(|label| (*label).to_owned()));
            }
            at += count;
        }
        first += labels.len();
    }
    words.join(" ")
}

/// The letters before the number of a label, such as `X`; none for a label that is no letters and a number.
fn kind(label: &str) -> Option<&str> {
    let letters = label.trim_end_matches(|letter: char| letter.is_ascii_digit());
    (!letters.is_empty() && letters.len() < label.len()).then_some(letters)
}

#[cfg(test)]
mod tests {
    use super::*;
    use machine::model::{LampKind, LampRow, PanelLamp, Words};

    fn panel(rows: &[&[&str]]) -> Machine {
        let lamp = |label: &&str| PanelLamp { label: (*label).to_owned(), kind: LampKind::Unused };
        let row = |labels: &&[&str]| LampRow { title: Words::default(), lamps: labels.iter().map(lamp).collect() };
        Machine { lamp_rows: rows.iter().map(row).collect(), ..Machine::default() }
    }

    #[test]
    fn neighbours_of_one_kind_are_told_by_the_first_and_the_last() {
        let machine = panel(&[&["X4", "X5", "X6", "X7"], &["X10", "X11", "Y0"], &["POWER", "RUN", "ERROR"]]);
        assert_eq!(named(&machine, |_| true), "X4–X7 X10 X11 Y0 POWER RUN ERROR");
        assert_eq!(named(&machine, |lamp| lamp != 1), "X4 X6 X7 X10 X11 Y0 POWER RUN ERROR");
        assert_eq!(named(&machine, |_| false), "");
    }
}
