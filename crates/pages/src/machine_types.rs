//! Machine types: what the file describes, its drawings, its devices with their rates, what it makes hard to find, and
//! the file itself, which can be changed.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use axum::Form;
use axum::extract::{Path, Query, State};
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use diagnose::evidence::Circumstances;
use diagnose::next::Terms;
use machine::model::{Chance, DeviationKind};
use machine::{Alternative, Choice, Problem, Severity, Source};
use maud::{Markup, html};
use paper::{Desk, Language, PageSize, Request, render};
use records::accounts::Role;
use records::rates::Learned;
use records::{NewVersion, TypeId, VersionText};
use serde::Deserialize;

use crate::calls::{About, work, work_about};
use crate::guard::SHEET_POLICY;
use crate::layout::{self, Here};
use crate::mistake::Mistake;
use crate::office::Office;
use crate::rooms;
use crate::visitor;
use crate::words::{LANGUAGES, day, marked, minutes, moment, percent};

/// The sheets: name in the address, and what it is called.
const SHEETS: [(&str, &str); 8] = [
    ("lamps", "Lamps, for the cabinet door"),
    ("lamp-chart", "Steps and lamps"),
    ("timing", "Timing diagram"),
    ("chart", "Charts by IEC 60848"),
    ("commissioning", "Commissioning"),
    ("procedures", "Procedures"),
    ("symptoms", "Symptom index (takes a while)"),
    ("tree", "Check tree (takes a while)"),
];

/// Groups of what looks alike that are shown, and how many things of each at once.
const GROUPS: usize = 12;
const ALIKE: usize = 3;
/// Lines that are shown before and behind a line with a remark.
const AROUND: usize = 2;

/// All machine types.
pub async fn list(State(office): State<Arc<Office>>) -> Result<Response, Mistake> {
    work(move || {
        let types = office.store().machine_types()?;
        let body = html! {
            h1 { "Machine types" }
            ul.plain { @for one in &types {
                li {
                    a href={ "/types/" (one.id) } { (one.title) } " (" (one.name) "): "
                    (one.machines) @if one.machines == 1 { " machine, " } @else { " machines, " }
                    (one.versions) @if one.versions == 1 { " version of the file" } @else { " versions of the file" }
                }
            } }
        };
        Ok(layout::page("Machine types", Here::Types, &body))
    })
    .await
}

/// The current version of a type, and the machine of the newest revision.
struct Shown {
    name: String,
    title: String,
    id: TypeId,
    text: VersionText,
    alternatives: Vec<Alternative>,
}

impl Shown {
    fn of(office: &Office, id: i64) -> Result<Self, Mistake> {
        let (one, text) = {
            let store = office.store();
            let one = store.machine_type(TypeId(id))?;
            let text = store.version_text(one.current)?;
            (one, text)
        };
        let alternatives = office.alternatives(one.current, &Choice::default())?;
        Ok(Self { name: one.name, title: one.title, id: one.id, text, alternatives })
    }
}

/// What a machine type is.
pub async fn page(State(office): State<Arc<Office>>, Path(id): Path<i64>) -> Result<Response, Mistake> {
    work(move || {
        let shown = Shown::of(&office, id)?;
        let versions = office.store().versions(shown.id)?;
        let Some(machine) = shown.alternatives.first().map(|one| &one.machine) else {
            return Err(Mistake::wrong("the machine file describes nothing", "look at the file"));
        };
        let at = format!("/types/{id}");
        let body = html! {
            h1 { (shown.title) }
            p { (machine.about) }
            p.aside {
                (machine.inputs.len()) " inputs, " (machine.outputs.len()) " outputs, " (machine.devices.len()) " devices, "
                (machine.deviations.len()) " things that can be wrong"
                @if let Some(revision) = &machine.revision { "; shown for revision " (revision) }
            }
            @if visitor::may(Role::Desk) {
                form method="post" action="/calls" {
                    (visitor::proof())
                    input type="hidden" name="machine_type" value=(shown.name);
                    button { "Begin a call about one" }
                }
            }
            nav.parts aria-label="Of this machine type" {
                a href={ "/machines?type=" (id) } { "Its machines" }
                a href={ (at) "/devices" } { "Devices and rates" }
                a href={ (at) "/review" } { "What is hard to find" }
                a href={ (at) "/file" } { "The machine file" }
                a href={ "/practice?type=" (shown.name) } { "Practise on it" }
            }
            h2 { "Sheets" }
            div.wide tabindex="0" {
                table {
                    thead { tr { th scope="col" { "Sheet" } @for (_, name) in LANGUAGES { th scope="col" { (name) } } } }
                    tbody { @for (name, words) in SHEETS { tr {
                        td { (words) }
                        @for (tag, language) in LANGUAGES { td {
                            a href={ (at) "/sheets/" (name) ".html?language=" (tag) } aria-label={ (words) ", " (language) ", for the screen" } { "screen" }
                            @if cfg!(feature = "typeset") { " " a href={ (at) "/sheets/" (name) ".pdf?language=" (tag) } aria-label={ (words) ", " (language) ", PDF" } { "PDF" } }
                        } }
                    } } }
                }
            }
            @if !cfg!(feature = "typeset") { p.aside { "This program was built without PDF: open a sheet for the screen and print it from there." } }
            h2 { "Steps and lamps" }
            iframe.drawing src={ (at) "/sheets/lamp-chart.html" } title={ "Steps and lamps of " (machine.name) } loading="lazy" {}
            h2 { "Charts" }
            a href={ (at) "/sheets/chart.html" } { img.drawing src={ (at) "/sheets/chart.svg" } alt={ "Charts of " (machine.name) " by IEC 60848; the sheet has them as text" }; }
            h2 { "Timing" }
            a href={ (at) "/sheets/timing.html" } { img.drawing src={ (at) "/sheets/timing.svg" } alt={ "Timing of " (machine.name) "; the sheet has it as text" }; }
            h2 { "Versions of the file" }
            ul.plain { @for one in versions.iter().rev() { li { "No. " (one.number) @if !one.label.is_empty() { ", version " (one.label) } ", " (day(one.added)) @if !one.note.is_empty() { ": " (one.note) } } } }
        };
        Ok(layout::page(&shown.title, Here::Types, &body))
    })
    .await
}

/// How a sheet is wanted.
#[derive(Debug, Default, Deserialize)]
pub struct Wanted {
    #[serde(default)]
    language: String,
    #[serde(default)]
    paper: String,
}

/// A sheet, as HTML, SVG or PDF.
pub async fn sheet(
    State(office): State<Arc<Office>>,
    Path((id, sheet)): Path<(i64, String)>,
    Query(wanted): Query<Wanted>,
) -> Result<Response, Mistake> {
    work_about(&Arc::clone(&office), About::Type(id), move || {
        let (name, format) = sheet.rsplit_once('.').unwrap_or((&sheet, "html"));
        let request = match name {
            "lamps" => Request::Lamps,
            "lamp-chart" => Request::LampChart,
            "timing" => Request::Timing,
            "chart" => Request::Chart,
            "symptoms" => Request::Symptoms,
            "tree" => Request::CheckTree,
            "commissioning" => Request::Commissioning,
            "procedures" => Request::Procedures(None),
            _ => return Err(Mistake::not_there("there is no such sheet")),
        };
        let shown = Shown::of(&office, id)?;
        let language = Language::ALL.into_iter().find(|one| one.tag() == wanted.language).unwrap_or_default();
        let file = format!("{}.toml", shown.name);
        let desk = Desk::new(&shown.alternatives, &file, None, language)
            .ok_or_else(|| Mistake::wrong("the machine file describes nothing", "look at the file"))?
            .with_shelf(office.shelf());
        let size = if wanted.paper == "letter" { PageSize::LETTER } else { PageSize::A4 };
        let sheets = desk.sheets(&request, size).map_err(|error| Mistake::wrong(error.what, error.hint))?;
        let failed = |error: render::TypesetError| Mistake {
            status: StatusCode::NOT_IMPLEMENTED,
            what: error.to_string(),
            hint: "take the sheet for the screen, and print that".to_owned(),
        };
        let (kind, bytes) = match (format, sheets.first()) {
            ("pdf", _) => ("application/pdf", render::pdf::pdf(desk.head(), &sheets, size, false).map_err(failed)?),
            ("svg", Some(first)) => {
                ("image/svg+xml", render::svg::svg(desk.head(), first, size).map_err(failed)?.into_bytes())
            }
            ("html", _) => ("text/html; charset=utf-8", render::html::html(desk.head(), &sheets).into_bytes()),
            _ => return Err(Mistake::not_there("there is no such sheet")),
        };
        let mut response = ([(header::CONTENT_TYPE, kind)], bytes).into_response();
        let policy = HeaderValue::from_static(SHEET_POLICY);
        response.headers_mut().insert(header::CONTENT_SECURITY_POLICY, policy);
        Ok(response)
    })
    .await
}

/// The devices, how each fails, and how often: by the library, and as learned from findings.
pub async fn devices(State(office): State<Arc<Office>>, Path(id): Path<i64>) -> Result<Response, Mistake> {
    work(move || {
        let shown = Shown::of(&office, id)?;
        let kept = office.learned()?;
        let rates = &kept.rates;
        let learned: BTreeMap<(&str, &str), &Learned> =
            rates.faults.iter().map(|one| ((one.device_type.as_str(), one.mode.as_str()), one)).collect();
        let Some(machine) = shown.alternatives.first().map(|one| &one.machine) else {
            return Err(Mistake::wrong("the machine file describes nothing", "look at the file"));
        };
        let body = html! {
            h1 { "Devices of " (shown.title) }
            p { "Rates are faults in a million running hours of one device. What was learned comes with the interval in which it lies with 90 %." }
            p.aside { "Learned on " (moment(kept.at)) "; what was found since then is in it when you look again." }
            div.wide tabindex="0" {
                table.devices {
                    thead { tr { th scope="col" { "Device, and what can be wrong with it" } th.number scope="col" { "Library" } th.number scope="col" { "Learned" } } }
                    @for (device, row) in machine.devices.iter() {
                        @let faults: Vec<_> = machine.deviations.rows().filter(|one| one.kind == DeviationKind::Fault(device)).collect();
                        @if !faults.is_empty() { tbody {
                            tr { th scope="rowgroup" colspan="3" { strong { (row.name) } " " (row.words.english) } }
                            @for fault in faults {
                                tr {
                                    td { (fault.words.english) }
                                    @let known = match fault.rate.chance { Chance::PerMillionHours(rate) => Some(rate), _ => None };
                                    td.number { @if let Some(rate) = known { (format!("{rate:.2}")) } @else { "–" } }
                                    @let mode = fault.key.rsplit_once('/').map_or("", |(_, mode)| mode);
                                    @let on_type = learned.get(&(row.type_key.as_str(), mode)).and_then(|one| one.types.iter().find(|on| on.machine_type == shown.id));
                                    td.number.nowrap {
                                        @if let Some(on) = on_type { (format!("{:.2}", on.rate.mean)) br; small { (format!("{:.2} to {:.2}", on.rate.low, on.rate.high)) } } @else { "–" }
                                    }
                                }
                            }
                        } }
                    }
                }
            }
        };
        Ok(layout::page(&format!("Devices of {}", shown.title), Here::Types, &body))
    })
    .await
}

/// What a machine makes hard to find.
pub async fn review(State(office): State<Arc<Office>>, Path(id): Path<i64>) -> Result<Response, Mistake> {
    work_about(&Arc::clone(&office), About::Type(id), move || {
        let shown = Shown::of(&office, id)?;
        let worked_out = office.worked_out(shown.text.version.id, &Choice::default(), None, None)?;
        let terms = Terms::of(worked_out.names());
        let review = diagnose::review::review(&worked_out.diagnoser(&Circumstances::default()), &terms);
        let review = review.ok_or_else(|| Mistake::wrong("there is nothing to be found", "look at the file"))?;
        let groups = |title: &str, groups: &[diagnose::review::Group]| -> Markup {
            html! {
                h2 { (title) }
                @if groups.is_empty() { p { "None." } }
                ul.plain { @for group in groups.iter().take(GROUPS) { li {
                    @let words = |members: &[diagnose::review::Member]| members.iter().map(|one| one.words.as_str()).collect::<Vec<_>>().join("; ");
                    @let (first, rest) = group.members.split_at(group.members.len().min(ALIKE));
                    strong { (percent(group.share)) " of the cases, " (group.members.len()) " things alike" } ": " (words(first))
                    @if group.same_remedy { " " span.mark { "same remedy" } }
                    @if !rest.is_empty() { details { summary { "and " (rest.len()) " more" } ul { @for one in rest { li { (one.words) } } } } }
                } } }
            }
        };
        let body = html! {
            h1 { "What " (shown.title) " makes hard to find" }
            p { (review.deviations) " things can be wrong, alone. From the first lamps on it takes " (minutes(review.minutes)) " on average until it runs." }
            (groups("Alike by lamps", &review.alike_by_lamps))
            (groups("Alike by lamps and eyes", &review.alike_by_eyes))
            (groups("Alike by all checks", &review.alike_by_checks))
            h2 { "Steps that stall in silence" }
            @if review.silent.is_empty() { p { "None: each says so by a time-out." } }
            ul.plain { @for step in &review.silent { li { (step.chart) "." (step.step) " (" (percent(step.share)) " of the cases)" } } }
            h2 { "What would help most" }
            ul.plain { @for one in review.additions.iter().take(6) { li { (one.words) ": saves " (minutes(one.saved)) } } }
        };
        Ok(layout::page("What is hard to find", Here::Types, &body))
    })
    .await
}

/// The machine file with what is remarked beside its lines.
fn file_page(shown: &Named, text: &str, looked: &LookedOver, note: &str) -> Markup {
    let errors = looked.errors();
    html! {
        h1 { "Machine file of " (shown.title) }
        p { a href={ "/types/" (shown.id) } { "Back to the machine type" } }
        @if errors > 0 {
            p.mistake role="alert" { "Not saved: " (errors) @if errors == 1 { " mistake. It stands beside its line." } @else { " mistakes. Each stands beside its line." } }
        }
        @if looked.problems.is_empty() { p { "Nothing is remarked." } } @else { h2 { "What is remarked" } (remarked(text, looked)) }
        h2 { "The file" }
        form method="post" action={ "/types/" (shown.id) "/file" } { (visitor::proof())
            input type="hidden" name="seen" value=(shown.version);
            label for="file" { "It can be changed here" }
            textarea.file id="file" name="text" rows="30" spellcheck="false" { (text) }
            @if visitor::may(Role::Editor) {
                label for="note" { "What was changed" }
                input id="note" name="note" maxlength="500" value=(note);
                div.line { button { "Look it over, and save it as a new version" } }
            }
        }
    }
}

/// The lines of which something is remarked, each with those around it; what is remarked of libraries below.
fn remarked(text: &str, looked: &LookedOver) -> Markup {
    let by_line = looked.by_line(text);
    let lines: Vec<&str> = text.lines().collect();
    let shown: BTreeSet<usize> = (by_line.keys())
        .flat_map(|line| line.saturating_sub(AROUND).max(1)..=line + AROUND)
        .filter(|line| *line <= lines.len().max(1))
        .collect();
    let elsewhere = looked.problems.iter().filter(|problem| problem.span.file != 0);
    html! {
        ol.listing {
            @for line in &shown {
                @let of_line = by_line.get(line);
                @let after_gap = *line > 1 && !shown.contains(&(line - 1));
                li.remarked[of_line.is_some()].gap[after_gap] {
                    // With scripts the cursor goes to that line of the file.
                    @if of_line.is_some() { a href="#file" data-line=(line) { (line) } } @else { span { (line) } }
                    code { (lines.get(line - 1).copied().unwrap_or_default()) }
                    @if let Some(of_line) = of_line { div.remarks { @for problem in of_line { (remark(problem)) } } }
                }
            }
        }
        @for problem in elsewhere {
            p { "In " (looked.source(problem)) ":" } (remark(problem))
        }
    }
}

fn remark(problem: &Problem) -> Markup {
    html! {
        p.mistake[problem.is_error()] {
            strong { @match problem.severity { Severity::Error => "mistake", Severity::Warning => "warning", Severity::Note => "note" } ": " }
            (marked(&problem.what)) @if let Some(hint) = &problem.hint { ". " (marked(hint)) }
        }
    }
}

/// A machine file that was looked over.
struct LookedOver {
    problems: Vec<Problem>,
    /// The names of the texts that problems can be in.
    sources: Vec<String>,
    /// The pairs of deviations that would be followed.
    pairs: f64,
}

impl LookedOver {
    fn of(title: &str, text: &str, libraries: &[(String, String)]) -> Self {
        let libraries: Vec<Source> =
            libraries.iter().map(|(name, text)| Source::new(name.clone(), text.clone())).collect();
        let reading = machine::read(Source::new(title, text), &libraries);
        let sources = reading.sources.iter().map(|source| source.name.clone()).collect();
        let problems = reading.lint();
        let pairs = match problems.iter().any(Problem::is_error) {
            true => 0.0,
            false => rooms::pairs(&reading.resolve(&Choice::default()).alternatives),
        };
        Self { problems, sources, pairs }
    }

    /// The name of the text that a problem is in.
    fn source(&self, problem: &Problem) -> &str {
        let at = usize::try_from(problem.span.file).ok();
        at.and_then(|at| self.sources.get(at)).map_or("a library", String::as_str)
    }

    /// Why the machine would keep everybody waiting who calls about it.
    fn too_large(&self) -> Option<Mistake> {
        (self.pairs > rooms::MOST_PAIRS).then(|| {
            let (pairs, most) = (self.pairs / 1e6, rooms::MOST_PAIRS / 1e6);
            let what = format!(
                "{pairs:.1} million pairs of things that can be wrong would have to be followed, more than {most:.1} million"
            );
            Mistake::wrong(what, "split the machine into several files, or settle what the file leaves open")
        })
    }

    fn errors(&self) -> usize {
        self.problems.iter().filter(|problem| problem.is_error()).count()
    }

    /// What is remarked of the file itself, by line from 1.
    fn by_line(&self, text: &str) -> BTreeMap<usize, Vec<&Problem>> {
        let source = Source::new("", text);
        let mut by_line: BTreeMap<usize, Vec<&Problem>> = BTreeMap::new();
        for problem in self.problems.iter().filter(|problem| problem.span.file == 0) {
            by_line.entry(source.line_column(problem.span.range().start).line).or_default().push(problem);
        }
        by_line
    }
}

struct Named {
    id: i64,
    /// The version that is shown, or that was changed.
    version: i64,
    title: String,
}

/// The machine file, to be read and changed.
pub async fn file(State(office): State<Arc<Office>>, Path(id): Path<i64>) -> Result<Response, Mistake> {
    work(move || {
        let (one, text) = {
            let store = office.store();
            let one = store.machine_type(TypeId(id))?;
            (one.clone(), store.version_text(one.current)?)
        };
        let looked = LookedOver::of(&one.title, &text.text, &text.libraries);
        let named = Named { id, version: one.current.0, title: one.title };
        Ok(layout::page("Machine file", Here::Types, &file_page(&named, &text.text, &looked, "")))
    })
    .await
}

/// A changed file.
#[derive(Debug, Deserialize)]
pub struct Changed {
    text: String,
    /// The version that was changed.
    seen: i64,
    #[serde(default)]
    note: String,
}

/// Saves a changed file as a new version, if it has no mistakes.
pub async fn save(
    State(office): State<Arc<Office>>,
    Path(id): Path<i64>,
    Form(changed): Form<Changed>,
) -> Result<Response, Mistake> {
    work(move || {
        // Forms send lines as the old terminals ended them.
        let text = changed.text.replace("\r\n", "\n");
        if text.len() > machine::LARGEST_FILE {
            return Err(Mistake::wrong("the file is too large", "a machine file has at most a million bytes"));
        }
        let (one, known) = {
            let store = office.store();
            let one = store.machine_type(TypeId(id))?;
            (one.clone(), store.version_text(one.current)?)
        };
        if changed.seen != one.current.0 {
            let hint = "go back, copy what you changed, load the page anew, and change the newer version";
            return Err(Mistake::wrong("somebody has saved another version meanwhile; nothing was saved", hint));
        }
        let looked = LookedOver::of(&one.title, &text, &known.libraries);
        if looked.errors() > 0 {
            let named = Named { id, version: changed.seen, title: one.title };
            let page = layout::page("Machine file", Here::Types, &file_page(&named, &text, &looked, &changed.note));
            return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
        }
        if let Some(mistake) = looked.too_large() {
            return Err(mistake);
        }
        let new = NewVersion { name: &one.name, text: &text, libraries: &known.libraries, note: changed.note.trim() };
        office.store().add_version(&new, office.now())?;
        Ok(Redirect::to(&format!("/types/{id}")).into_response())
    })
    .await
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_wrong_in_a_library_is_told_with_its_name() {
        let text = include_str!("../../machine/tests/files/bare_press.toml");
        let libraries = [("own.toml".to_owned(), "format = 1\n[types.x]\nnonsense = 1\n".to_owned())];
        let looked = LookedOver::of("Press", text, &libraries);
        let shown = remarked(text, &looked).into_string();
        assert!(looked.errors() > 0 && shown.contains("In own.toml:") && shown.contains("nonsense"), "{shown}");
        // No line of the file itself is blamed for it.
        assert!(!shown.contains("data-line"), "{shown}");
    }
}
