//! Lists of what is kept, one call, and the search.

use std::fmt::Write as _;

use jiff::Timestamp;
use records::{CallFilter, CallId, Exposure, ExposureId, Listed, Machine, MachineFilter, Page, State, Store, Unit};
use serde_json::json;

use super::{site_named, type_named, wrong};
use crate::arguments::records::{Call, Calls, Hours, Machines, Search};
use crate::failure::Failure;
use crate::input::recorded::open;
use crate::screen::{FAINT, STRONG, Screen, TITLE, padded, paragraph};

/// Machines at a time.
const AT_A_TIME: usize = 500;

/// A time to the minute.
pub(super) fn minute(time: Timestamp) -> String {
    time.strftime("%Y-%m-%d %H:%M").to_string()
}

/// Lists machine types or machines.
pub fn machines(arguments: &Machines, screen: &Screen) -> Result<(), Failure> {
    let store = open(&arguments.place.records)?;
    if arguments.of.is_none() && arguments.at.is_none() && !arguments.all {
        let types = store.machine_types().map_err(wrong)?;
        if screen.json {
            return screen
                .print_json(&json!({ "schema": "lampwise.records.machines/1", "types": types, "machines": [] }));
        }
        let mut out = String::new();
        if types.is_empty() {
            out.push_str("There is no machine type yet; `lampwise records add` adds a machine file\n");
        }
        for one in types {
            let counts = format!("machines: {}, versions: {}", one.machines, one.versions);
            _ = writeln!(out, "  {} {} {FAINT}{counts}{FAINT:#}", padded(&one.name, 20), padded(&one.title, 20));
        }
        return screen.print(&out);
    }
    let filter = MachineFilter {
        machine_type: type_named(&store, arguments.of.as_ref())?,
        site: site_named(&store, arguments.at.as_ref())?,
    };
    let mut rows = Vec::new();
    let mut page = Page::first(AT_A_TIME);
    loop {
        let listed: Listed<_, _> = store.machines(&filter, &page).map_err(wrong)?;
        rows.extend(listed.rows);
        match listed.next {
            Some(next) => page.after = Some(next),
            None => break,
        }
    }
    if screen.json {
        return screen.print_json(&json!({ "schema": "lampwise.records.machines/1", "types": [], "machines": rows }));
    }
    let mut out = String::new();
    for one in rows {
        let hours = one.running_hours.map(|hours| format!("{hours:.0} h")).unwrap_or_default();
        let (serial, kind, site) = (padded(&one.serial, 14), padded(&one.type_name, 18), padded(&one.site_name, 24));
        _ = writeln!(out, "  {serial} {kind} {site} {hours:>10}");
    }
    screen.print(&out)
}

/// The one machine with this serial number.
fn machine_named(store: &Store, serial: &str) -> Result<Machine, Failure> {
    let mut found = store.machines_with_serial(serial).map_err(wrong)?;
    match (found.pop(), found.is_empty()) {
        (Some(machine), true) => Ok(machine),
        (None, _) => {
            let hint = "`lampwise records machines RECORDS --all` lists the machines";
            Err(Failure::new("not-in-records", format!("there is no machine `{serial}`"), hint))
        }
        (Some(last), false) => {
            found.push(last);
            let list: Vec<String> = found.iter().map(|one| format!("{} ({})", one.serial, one.type_name)).collect();
            let what = format!("`{serial}` may be any of {} machines", list.len());
            Err(Failure::new("several-machines", what, format!("there is: {}", list.join(", "))))
        }
    }
}

/// Keeps how long a machine ran. A span that overlaps another would count twice, and is refused.
pub fn hours(arguments: &Hours, screen: &Screen) -> Result<(), Failure> {
    let mut store = open(&arguments.place.records)?;
    let machine = machine_named(&store, &arguments.serial)?;
    let overlaps =
        |one: &&Exposure| one.unit == Unit::Hours && one.since < arguments.until && arguments.since < one.until;
    let kept = store.exposures(machine.id).map_err(wrong)?;
    if let Some(other) = kept.iter().find(overlaps) {
        let (since, until) = (minute(other.since), minute(other.until));
        let what = format!("{:.0} hours from {since} to {until} are kept already", other.amount);
        return Err(Failure::new("exists", what, "give a time that does not overlap; hours would count twice"));
    }
    let (since, until) = (arguments.since, arguments.until);
    let exposure =
        Exposure { id: ExposureId(0), machine: machine.id, since, until, amount: arguments.hours, unit: Unit::Hours };
    store.add_exposure(&exposure).map_err(wrong)?;
    if screen.json {
        return screen.print_json(&json!({
            "schema": "lampwise.records.hours/1", "serial": machine.serial, "machine_type": machine.type_name,
            "since": since, "until": until, "hours": arguments.hours,
        }));
    }
    screen.print(&format!(
        "{} ran {} hours from {} to {}\n",
        machine.serial,
        arguments.hours,
        minute(since),
        minute(until)
    ))
}

/// Lists calls.
pub fn calls(arguments: &Calls, screen: &Screen) -> Result<(), Failure> {
    let store = open(&arguments.place.records)?;
    let machine = arguments.serial.as_deref().map(|serial| machine_named(&store, serial)).transpose()?;
    let filter = CallFilter {
        state: arguments.open.then_some(State::Open),
        machine: machine.map(|machine| machine.id),
        machine_type: type_named(&store, arguments.of.as_ref())?,
        ..CallFilter::default()
    };
    let all = store.count_calls(&filter).map_err(wrong)?;
    let listed = store.calls(&filter, &Page::first(usize::from(arguments.most))).map_err(wrong)?;
    if screen.json {
        return screen.print_json(&json!({ "schema": "lampwise.records.calls/1", "count": all, "calls": listed.rows }));
    }
    let mut out = String::new();
    for row in &listed.rows {
        let head = format!("  {:>5}  {}  {} {}", row.id, minute(row.began), padded(&row.serial, 12), row.site_name);
        _ = writeln!(out, "{}", head.trim_end());
        let said = match (row.state, row.finding.as_str()) {
            (State::Open, _) => format!("open: {}", row.complaint),
            (State::Closed, "") => row.complaint.clone(),
            (State::Closed, finding) => finding.lines().next().unwrap_or_default().to_owned(),
        };
        paragraph(&mut out, screen.width, "         ", "         ", FAINT, &said);
    }
    _ = writeln!(out, "{} of {all} calls", listed.rows.len());
    screen.print(&out)
}

/// Prints one call.
pub fn call(arguments: &Call, screen: &Screen) -> Result<(), Failure> {
    let store = open(&arguments.place.records)?;
    let id = CallId(arguments.number);
    let (call, record) = (store.call(id).map_err(wrong)?, store.call_record(id).map_err(wrong)?);
    if screen.json {
        let entries: Vec<_> =
            call.entries.iter().map(|entry| json!({ "kind": entry.kind.word(), "text": entry.text })).collect();
        return screen.print_json(&json!({
            "schema": "lampwise.records.call/1", "call": call.row, "entries": entries, "finding": call.finding,
            "text": record.to_string(),
        }));
    }
    // What is not read by `lampwise call` stands behind `#`.
    let mut out = record.to_string();
    _ = writeln!(out, "# began {}", minute(call.row.began));
    if let Some(finding) = &call.finding {
        let solved = finding.solved.word();
        _ = writeln!(
            out,
            "# finding ({solved}, {:.0} % sure): {}",
            finding.sure * 100.0,
            finding.words.replace('\n', " ")
        );
        for key in &finding.deviations {
            _ = writeln!(out, "# it was {key}");
        }
        for part in &finding.parts {
            _ = writeln!(out, "# used {} x {}", part.count, part.part);
        }
    }
    screen.print(&out)
}

/// Searches.
pub fn search(arguments: &Search, screen: &Screen) -> Result<(), Failure> {
    let store = open(&arguments.place.records)?;
    let hits = store.search(&arguments.words.join(" "), usize::from(arguments.most)).map_err(wrong)?;
    if screen.json {
        return screen.print_json(&json!({ "schema": "lampwise.records.search/1", "hits": hits }));
    }
    let mut out = String::new();
    if hits.is_empty() {
        out.push_str("Nothing has all these words\n");
    }
    for hit in hits {
        let about = serde_json::to_value(hit.about).unwrap_or_default();
        let what = about["what"].as_str().unwrap_or_default();
        _ = writeln!(out, "{TITLE}{what} {}{TITLE:#}  {}", about["id"], hit.title);
        let around: String = hit
            .around
            .iter()
            .map(|piece| if piece.found { format!("{STRONG}{}{STRONG:#}", piece.text) } else { piece.text.clone() })
            .collect();
        let around = around.replace('\n', " / ");
        if !around.trim().is_empty() {
            _ = writeln!(out, "    {around}");
        }
    }
    screen.print(&out)
}
