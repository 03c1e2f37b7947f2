//! The service manager's figures, as a page.

use std::fmt::Write as _;

use jiff::{SignedDuration, Timestamp};
use records::figures::{Asked, Figures as Worked, Share};
use serde_json::{Value, json};

use super::{site_named, type_named, wrong};
use crate::arguments::records::Figures;
use crate::failure::Failure;
use crate::input::recorded::open;
use crate::progress;
use crate::screen::{BAD, FAINT, LIT, Screen, TITLE, bar, padded, paragraph, percent};

/// Rows of each list on the page.
const ROWS: usize = 10;
/// Two years.
const SPAN: SignedDuration = SignedDuration::from_hours(731 * 24);

/// Prints the figures.
pub fn run(arguments: &Figures, screen: &Screen) -> Result<(), Failure> {
    let store = open(&arguments.place.records)?;
    let until = arguments.until.unwrap_or_else(Timestamp::now);
    let asked = Asked {
        machine_type: type_named(&store, arguments.of.as_ref())?,
        site: site_named(&store, arguments.at.as_ref())?,
        lead_days: arguments.lead_days,
        service_level: arguments.service_level,
        ..Asked::of(arguments.since.unwrap_or(until - SPAN), until)
    };
    let figures = progress::while_working("working the figures out", || store.figures(&asked)).map_err(wrong)?;
    if screen.json {
        let mut document = json!({
            "schema": "lampwise.records.figures/1", "lead_days": asked.lead_days, "service_level": asked.service_level,
        });
        if let (Value::Object(document), Ok(Value::Object(figures))) = (&mut document, serde_json::to_value(&figures)) {
            document.extend(figures);
        }
        return screen.print_json(&document);
    }
    screen.print(&page(&figures, &asked, screen.width))
}

fn page(figures: &Worked, asked: &Asked, width: usize) -> String {
    let mut out = String::new();
    let day = |time: Timestamp| time.strftime("%Y-%m-%d").to_string();
    let title = |out: &mut String, text: &str| _ = writeln!(out, "\n{TITLE}{text}{TITLE:#}");
    let (since, until) = (day(figures.since), day(figures.until));
    _ = writeln!(out, "{} calls from {since} to {until}, {} with a finding", figures.calls, figures.with_finding);
    if figures.calls == 0 {
        return out;
    }
    title(&mut out, "How they were put right");
    share(&mut out, "on the phone", figures.by_phone);
    share(&mut out, "of the visits: by the first", figures.first_visit);
    share(&mut out, "called again within 30 days", figures.again);
    let repair = &figures.repair;
    if let (Some(median), Some(ninetieth)) = (repair.median_minutes, repair.ninetieth_minutes) {
        _ = writeln!(out, "  half took up to {median:.0} min of work, nine in ten up to {ninetieth:.0} min");
    }
    if let (Some(median), Some(ninetieth)) = (repair.median_hours, repair.ninetieth_hours) {
        _ = writeln!(out, "  half were closed within {median:.1} h, nine in ten within {ninetieth:.1} h");
    }
    title(&mut out, "What it was");
    let most = figures.causes.first().map_or(1.0, |cause| cause.share);
    for cause in figures.causes.iter().take(ROWS) {
        let bar = bar(cause.share / most, 10);
        let key = padded(&cause.key, 38);
        _ = writeln!(
            out,
            "  {:>4}  {LIT}{bar}{LIT:#}  {key} {:>6} {FAINT}{:>7} with those above{FAINT:#}",
            cause.calls,
            percent(cause.share),
            percent(cause.together)
        );
    }
    more(&mut out, figures.causes.len(), "causes");
    title(&mut out, "Machines that call more than their kin");
    let standing_out: Vec<_> = figures.machines.iter().filter(|one| one.stands_out).collect();
    for one in standing_out.iter().take(ROWS) {
        let calls = format!("{} calls, {:.1} expected", one.calls, one.more.expected);
        let (serial, site) = (padded(&one.serial, 12), padded(&one.site, 22));
        _ = writeln!(out, "  {BAD}{serial}{BAD:#} {site} {calls}");
    }
    if standing_out.is_empty() {
        _ = writeln!(out, "  none stands out");
    }
    title(&mut out, "Running hours between failures");
    for one in &figures.reliability {
        let between = one.between.map_or_else(|| "no failure".to_owned(), |hours| format!("{hours:.0} h"));
        let high = one.high.map_or_else(|| "no upper end".to_owned(), |high| format!("{high:.0}"));
        let (name, between) = (padded(&one.type_name, 18), padded(&between, 10));
        _ = writeln!(out, "  {name} {between} {FAINT}({:.0} to {high}){FAINT:#}", one.low.unwrap_or(0.0));
    }
    let level = percent(asked.service_level);
    title(&mut out, &format!("Stock that lasts {} days with {level}", asked.lead_days));
    _ = writeln!(out, "  {FAINT}{} used  keep  if used in bursts{FAINT:#}", padded("part", 36));
    for part in figures.parts.iter().take(ROWS) {
        let name = padded(&part.part.chars().take(36).collect::<String>(), 36);
        _ = writeln!(out, "  {name} {:>4}  {:>4}  {:>4}", part.used, part.stock, part.stock_in_bursts);
    }
    more(&mut out, figures.parts.len(), "parts");
    title(&mut out, "How well stated probabilities held");
    for tenth in figures.stated.tenths.iter().filter(|tenth| tenth.so.of > 0) {
        let (stated, so) = (percent(tenth.stated.unwrap_or(0.0)), percent(tenth.so.share.unwrap_or(0.0)));
        let ends = format!("({} to {})", percent(tenth.so.low), percent(tenth.so.high));
        _ = writeln!(
            out,
            "  stated {stated:>6}, was so {so:>6}  {FAINT}{} of {}{FAINT:#}",
            padded(&ends, 20),
            tenth.so.of
        );
    }
    share(&mut out, "what led was it", figures.stated.first_was_it);
    out.push('\n');
    let note = "Intervals are 90 %. Calls of one machine are compared hour for hour with those of its type; of the machines \
                that stand out by this, at most one in twenty does so by chance, on average.";
    paragraph(&mut out, width, "", "", FAINT, note);
    out
}

fn share(out: &mut String, what: &str, share: Share) {
    let shown = match share.share {
        Some(of) => format!("{:>6}  ({} to {})", percent(of), percent(share.low), percent(share.high)),
        None => "  none".to_owned(),
    };
    _ = writeln!(out, "  {} {shown}", padded(what, 30));
}

fn more(out: &mut String, all: usize, what: &str) {
    if all > ROWS {
        _ = writeln!(out, "  {FAINT}and {} more {what}; --json lists all of them{FAINT:#}", all - ROWS);
    }
}
