//! Figures for whoever answers for the service: what it was, how long it took, what to keep in stock.

use std::sync::Arc;

use axum::extract::{Query, State};
use axum::response::Response;
use maud::{Markup, html};
use records::figures::{Figures, Share};
use serde::Deserialize;

use crate::calls::work;
use crate::layout::{self, Here};
use crate::mistake::Mistake;
use crate::office::{FiguresOf, Office};
use crate::words::{day, minutes, moment, percent, share};

/// Rows that are shown of long lists.
const SHOWN: usize = 15;

/// Machines that do not stand out and are shown all the same.
const NEXT: usize = 5;

/// Of which span of time, and for which stock.
#[derive(Debug, Default, Deserialize)]
pub struct Wanted {
    #[serde(default)]
    days: String,
    #[serde(default)]
    lead: String,
    #[serde(default)]
    level: String,
}

/// A number as it was typed; what is usual where nothing was.
fn number<T: std::str::FromStr>(typed: &str, usual: T) -> Result<T, Mistake> {
    let typed = typed.trim().replace(',', ".");
    if typed.is_empty() {
        return Ok(usual);
    }
    typed.parse().map_err(|_| Mistake::wrong(format!("\"{typed}\" is no number here"), "write digits, such as 365"))
}

/// The figures.
pub async fn page(State(office): State<Arc<Office>>, Query(wanted): Query<Wanted>) -> Result<Response, Mistake> {
    work(move || {
        let usual = FiguresOf::usual();
        let of = FiguresOf {
            days: number(&wanted.days, usual.days)?.clamp(1, 36_500),
            lead_days: number(&wanted.lead, usual.lead_days)?,
            service_level: number(&wanted.level, usual.service_level)?,
        };
        let figures = office.figures(of)?;
        Ok(layout::page("Figures", Here::Figures, &body(&figures, of)))
    })
    .await
}

fn interval(one: &Share) -> Markup {
    html! {
        @match one.share {
            Some(value) => { (share(value)) " (" (one.count) " of " (one.of) "; with 90 % between " (percent(one.low)) " and " (percent(one.high)) ")" }
            None => { "no such call" }
        }
    }
}

fn body(figures: &Figures, of: FiguresOf) -> Markup {
    html! {
        h1 { "Figures" }
        form.ways action="/figures" {
            div { label for="days" { "Days back" } input id="days" name="days" size="6" value=(of.days) inputmode="numeric" maxlength="6"; }
            div { label for="lead" { "Days until a part is there" } input id="lead" name="lead" size="6" value=(of.lead_days) inputmode="decimal" maxlength="6"; }
            div { label for="level" { "Chance that the stock lasts" } input id="level" name="level" size="6" value=(of.service_level) inputmode="decimal" maxlength="6"; }
            button { "Work out" }
        }
        p { (figures.calls) " calls from " (day(figures.since)) " to " (day(figures.until)) ", " (figures.with_finding) " of them with a finding." }
        p.aside { "Worked out on " (moment(figures.until)) "; what was kept since then is in it when you look again." }
        h2 { "What it was" }
        div.wide tabindex="0" { table {
            thead { tr { th scope="col" { "Cause" } th.number scope="col" { "Calls" } th scope="col" { "Share" } th scope="col" { "Together" } th.number scope="col" { "Work" } } }
            tbody { @for one in figures.causes.iter().take(SHOWN) { tr { td { (one.words) } td.number { (one.calls) } td { (share(one.share)) } td { (percent(one.together)) } td.number { (minutes(one.minutes)) } } } }
        } }
        h2 { "How it went" }
        ul.plain {
            li { "Solved on the phone: " (interval(&figures.by_phone)) }
            li { "Fixed at the first visit: " (interval(&figures.first_visit)) }
            li { "Another call on the same machine within 30 days: " (interval(&figures.again)) }
            @if let (Some(median), Some(ninetieth)) = (figures.repair.median_minutes, figures.repair.ninetieth_minutes) { li { "Minutes of work: half of the calls below " (minutes(median)) ", nine of ten below " (minutes(ninetieth)) } }
            @if let (Some(median), Some(ninetieth)) = (figures.repair.median_hours, figures.repair.ninetieth_hours) { li { "From call to close: half below " (minutes(median * 60.0)) ", nine of ten below " (minutes(ninetieth * 60.0)) } }
        }
        h2 { "Parts" }
        p.aside { "What to keep so that the stock lasts with a chance of " (percent(of.service_level)) " until an order is there after " (of.lead_days) " days." }
        div.wide tabindex="0" { table {
            thead { tr { th scope="col" { "Part" } th.number scope="col" { "Used" } th.number scope="col" { "In a year" } th.number scope="col" { "Keep" } th.number scope="col" { "Keep, as use comes in bursts" } } }
            tbody { @for one in figures.parts.iter().take(SHOWN) { tr { td { (one.part) } td.number { (one.used) } td.number { (format!("{:.1}", one.in_a_year)) } td.number { (one.stock) } td.number { (one.stock_in_bursts) } } } }
        } }
        h2 { "Machines that call more than their kin" }
        p.aside { "A machine is named only where chance would hardly do it, all comparisons allowed for." }
        @let standing_out: Vec<_> = figures.machines.iter().filter(|one| one.stands_out).collect();
        @if standing_out.is_empty() { p { "None stands out." } }
        ul.plain { @for one in standing_out { li {
            a href={ "/machines/" (one.machine) } { (one.type_name) " " (one.serial) } @if !one.site.is_empty() { ", " (one.site) }
            ": " (one.calls) " calls, " (format!("{:.1}", one.more.expected)) " to be expected"
        } } }
        @let others: Vec<_> = figures.machines.iter().filter(|one| !one.stands_out && one.calls > 0).take(NEXT).collect();
        @if !others.is_empty() { details {
            summary { "Those that come next, as they may by chance" }
            div.wide tabindex="0" { table {
                thead { tr { th scope="col" { "Machine" } th.number scope="col" { "Calls" } th.number scope="col" { "Expected" } th.number scope="col" { "By chance" } th.number scope="col" { "allowing for all" } } }
                tbody { @for one in others { tr {
                    td { a href={ "/machines/" (one.machine) } { (one.type_name) " " (one.serial) } @if !one.site.is_empty() { " " small.below { (one.site) } } }
                    td.number { (one.calls) } td.number { (format!("{:.1}", one.more.expected)) }
                    td.number { (percent(one.more.chance)) } td.number { (percent(one.more.adjusted)) }
                } } }
            } }
        } }
        h2 { "Hours between failures" }
        div.wide tabindex="0" { table {
            thead { tr { th scope="col" { "Machine type" } th.number scope="col" { "Failures" } th.number scope="col" { "Between" } th.number scope="col" { "with 90 %" } } }
            tbody { @for one in &figures.reliability { tr {
                td { (one.type_name) " " small.below { (one.machines) " machines, " (format!("{:.0}", one.hours)) " h" } } td.number { (one.failures) }
                td.number { @if let Some(between) = one.between { (format!("{between:.0}")) } @else { "–" } }
                td.number { @if let Some(low) = one.low { (format!("{low:.0}")) } " to " @if let Some(high) = one.high { (format!("{high:.0}")) } @else { "…" } }
            } } }
        } }
        h2 { "How well stated probabilities held" }
        p { "The first cause was it: " (interval(&figures.stated.first_was_it)) }
        div.wide tabindex="0" { table {
            thead { tr { th scope="col" { "Stated" } th scope="col" { "It was so" } } }
            tbody { @for tenth in &figures.stated.tenths { @if tenth.so.of > 0 { tr { td.nowrap { (format!("{:.0} to {:.0} %", tenth.from * 100.0, tenth.to * 100.0)) } td { (interval(&tenth.so)) } } } } }
        } }
    }
}
