//! What was learned of faults, beside what the library says.

use std::fmt::Write as _;

use jiff::Timestamp;
use records::rates::{Learned, learn};
use serde_json::json;

use super::wrong;
use crate::arguments::records::Rates;
use crate::failure::Failure;
use crate::input::recorded::open;
use crate::progress;
use crate::screen::{FAINT, Screen, TITLE, padded, paragraph};

/// Prints the rates.
pub fn run(arguments: &Rates, screen: &Screen) -> Result<(), Failure> {
    let store = open(&arguments.place.records)?;
    let until = arguments.until.unwrap_or_else(Timestamp::now);
    let counts = store.count_faults(until).map_err(wrong)?;
    let rates = progress::while_working("learning rates", || learn(&counts));
    // What can't be told apart from the library's rate is of no use to read.
    let stands_out = |one: &&Learned| one.types.iter().any(|on| on.factor.low > 1.0 || on.factor.high < 1.0);
    let listed: Vec<&Learned> = rates.faults.iter().filter(|one| arguments.all || stands_out(one)).collect();
    if screen.json {
        return screen.print_json(&json!({
            "schema": "lampwise.records.rates/1", "until": until, "faults": listed, "count": rates.faults.len(),
            "shapes": rates.shapes, "left_out": counts.left_out,
        }));
    }
    let mut out = String::new();
    for one in &listed {
        let found = format!("{} found, {:.1} expected", round(one.found), one.expected);
        _ = writeln!(out, "{TITLE}{}/{}{TITLE:#}  {FAINT}{found}{FAINT:#}", one.device_type, one.mode);
        for on in &one.types {
            let factor = format!("{:.1} times ({:.1} to {:.1})", on.factor.mean, on.factor.low, on.factor.high);
            let rate = format!("{} per million hours", round(on.rate.mean));
            let found = format!("{} found, {:.1} expected", round(on.found), on.expected);
            _ = writeln!(out, "  {} {} {}", padded(&on.type_name, 16), padded(&factor, 26), rate);
            _ = writeln!(out, "  {} {FAINT}{found}{FAINT:#}", padded("", 16));
        }
    }
    if listed.is_empty() {
        out.push_str("No fault comes clearly oftener or more seldom than the library says\n");
    }
    let left_out = counts.left_out;
    let words = format!(
        "{} of {} faults are listed. Factors are on the library's rate, with 90 % intervals. Not counted: {} findings of \
         lapses, {} that are not in the machine file, {} of the same fault again within 30 days, {} unknown; \
         {} machines without running hours.",
        listed.len(),
        rates.faults.len(),
        left_out.lapses,
        left_out.not_in_file,
        left_out.again,
        left_out.unknown,
        left_out.machines_without_hours
    );
    paragraph(&mut out, screen.width, "", "", FAINT, &words);
    screen.print(&out)
}

fn round(number: f64) -> String {
    if number >= 99.5 { format!("{number:.0}") } else { format!("{number:.1}") }
}
