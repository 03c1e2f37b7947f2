//! The offline guide: one page for an operator's phone, with everything in it that is needed to go from a
//! complaint and the lamps to what only a technician can do. It loads nothing from anywhere.
//!
//! The page weighs what is tapped in by the rows of [`diagnose::digest`], with the sums of docs/reckoning.md in
//! JavaScript (`weigh.js`), chooses what to ask by docs/next-check.md, one step ahead (`choose.js`), and turns what
//! was entered into a code (`code.js`) that `diagnose::call::code` takes in. `page.js` shows it.

mod data;
mod numbers;
mod rows;
mod texts;
mod words;

use base64::Engine as _;
use diagnose::digest::digest;
use diagnose::{Alternative, Diagnoser, NoShelf, Shelf};
use flate2::Compression;
use flate2::write::DeflateEncoder;
use machine::Machine;
use machine::caution::Caution;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use serde_json::{Value, json};
use std::io::Write as _;

use crate::head::Head;
use crate::language::Language;

const LOOK: &str = include_str!("guide/look.css");
const SCRIPTS: [&str; 5] = [
    include_str!("guide/inflate.js"),
    include_str!("guide/weigh.js"),
    include_str!("guide/choose.js"),
    include_str!("guide/code.js"),
    include_str!("guide/page.js"),
];

/// The largest page that a phone should be sent, bytes.
pub const LARGEST: usize = 1_500_000;

/// A picture that the machine file names.
#[derive(Clone, Debug)]
pub struct Picture {
    /// The file's name, as the machine file has it.
    pub name: String,
    /// The kind of picture, such as `image/png`.
    pub kind: &'static str,
    /// What is in the file.
    pub bytes: Vec<u8>,
}

/// What a guide is made of.
#[derive(Debug)]
pub struct Request<'r> {
    /// The machine file's name, without folders.
    pub file: &'r str,
    /// Its fingerprint, see [`diagnose::call::fingerprint`].
    pub fingerprint: &'r str,
    /// The serial number, where it is known.
    pub serial: Option<u64>,
    /// The pictures that the machine file names, as far as they are there.
    pub pictures: &'r [Picture],
}

/// A guide.
#[derive(Clone, Debug, PartialEq)]
pub struct Guide {
    /// The page.
    pub html: String,
    /// Questions that it can ask.
    pub questions: usize,
    /// Causes that it tells apart.
    pub causes: usize,
    /// Ways to stand that it knows.
    pub rows: usize,
    /// Share of the weight of all calls that it leaves aside; for the routine or alternative where that is largest.
    pub left_out: f64,
}

/// Makes the guide of a machine file's alternatives, the first of which names things. `None` without alternatives.
///
/// ```
/// let text = r#"
/// format = 1
/// [machine]
/// name = "Press"
/// [inputs]
/// X1 = { lit = "start = pressed" }
/// X2 = { lit = "ram = up" }
/// X3 = { lit = "ram = down" }
/// [charts.press]
/// start = "start = pressed"
/// needs = ["ram = up"]
/// [charts.press.steps]
/// lower = "do ram down until ram = down"
/// raise = "do ram up until ram = up"
/// "#;
/// let reading = machine::read(machine::Source::new("press.toml", text), &[]);
/// let resolved = reading.resolve(&machine::Choice::default());
/// let request = paper::guide::Request { file: "press.toml", fingerprint: "0", serial: None, pictures: &[] };
/// let guide = paper::guide::guide(&resolved.alternatives, &request).map(|guide| guide.html.len());
/// assert!(guide.is_some_and(|bytes| bytes < paper::guide::LARGEST));
/// ```
#[must_use]
pub fn guide(alternatives: &[Alternative], request: &Request<'_>) -> Option<Guide> {
    guide_from_shelf(alternatives, request, &NoShelf)
}

/// The same, where what is worked out about the machine is taken up from a shelf, or laid by there.
#[must_use]
pub fn guide_from_shelf(alternatives: &[Alternative], request: &Request<'_>, shelf: &dyn Shelf) -> Option<Guide> {
    let circumstances = diagnose::evidence::Circumstances::default();
    let options = sim::Options::default();
    let diagnoser = Diagnoser::from_shelf(alternatives.to_vec(), &circumstances, &options, shelf);
    let digest = digest(&diagnoser);
    let mut data = data::document(alternatives, &diagnoser, &digest, request.fingerprint)?;
    data["pictures"] = pictures(request.pictures);
    let machine = of_all_revisions(alternatives)?;
    let heads = Language::ALL.map(|language| Head::new(&machine, request.file, request.serial, language));
    Some(Guide {
        html: page(&heads, &packed(&data)?),
        questions: digest.asked.len(),
        causes: digest.causes.len(),
        rows: digest.grounds.iter().map(|ground| ground.rows.len()).sum(),
        left_out: digest.left_out,
    })
}

/// Everything that the page knows, as it is before it is packed; for holding its answers against those of `diagnose`.
#[must_use]
pub fn document(alternatives: &[Alternative], diagnoser: &Diagnoser, fingerprint: &str) -> Option<Value> {
    data::document(alternatives, diagnoser, &digest(diagnoser), fingerprint)
}

fn pictures(pictures: &[Picture]) -> Value {
    let address = |one: &Picture| {
        let bytes = base64::engine::general_purpose::STANDARD.encode(&one.bytes);
        (one.name.clone(), json!(format!("data:{};base64,{bytes}", one.kind)))
    };
    Value::Object(pictures.iter().map(address).collect())
}

/// Deflated (RFC 1951) and in base 64 (RFC 4648), so that it can stand in a page.
fn packed(data: &Value) -> Option<String> {
    let mut encoder = DeflateEncoder::new(Vec::new(), Compression::best());
    // Writing to memory does not fail.
    encoder.write_all(data.to_string().as_bytes()).ok()?;
    Some(base64::engine::general_purpose::STANDARD.encode(encoder.finish().ok()?))
}

/// The machine as the head of the page names it: with every revision that the page is for.
fn of_all_revisions(alternatives: &[Alternative]) -> Option<Machine> {
    let mut machine = alternatives.first()?.machine.clone();
    let mut names: Vec<&str> = Vec::new();
    for name in alternatives.iter().filter_map(|one| one.machine.revision.as_deref()) {
        if !names.contains(&name) {
            names.push(name);
        }
    }
    machine.revision = (!names.is_empty()).then(|| names.join(", "));
    Some(machine)
}

/// One text in all languages, of which the page shows the one that was chosen, and the first until then.
fn in_each_language(heads: &[Head], text: impl Fn(&Head) -> String) -> Markup {
    html! {
        @for (at, head) in heads.iter().enumerate() { span lang=(head.language) hidden[at > 0] { (text(head)) } }
    }
}

fn page(heads: &[Head], data: &str) -> String {
    let first = Caution::ManualFirst.words();
    let markup = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:";
                link rel="icon" href="data:,";
                title { (heads.first().map_or("", |head| head.machine.as_str())) }
                style { (PreEscaped(LOOK)) }
            }
            body {
                header {
                    div.line {
                        p.machine data-languages { (in_each_language(heads, |head| head.machine.clone())) }
                        div.choices #languages {}
                    }
                    p.first #first data-languages {
                        @for language in Language::ALL {
                            span lang=(language.tag()) { (first.in_language(language.tag())) }
                        }
                    }
                }
                main #main aria-live="polite" tabindex="-1" { noscript { p { "JavaScript is needed. / JavaScript wird benötigt. / Se necesita JavaScript." } } }
                footer {
                    p data-languages {
                        (in_each_language(heads, |head| match head.about.as_str() {
                            "" => head.file.clone(),
                            about => format!("{} · {about}", head.file),
                        }))
                    }
                    p #reviewed {}
                }
                script type="application/octet-stream" #data { (PreEscaped(data)) }
                @for script in SCRIPTS { script { (PreEscaped(script)) } }
            }
        }
    };
    markup.into_string()
}
