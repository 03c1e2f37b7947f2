//! What every sheet carries: of which machine it is, from which file, and what comes first.

use machine::Machine;
use machine::caution::Caution;
use serde::Serialize;

use crate::language::{Label, Language};

const REVISION: Label = Label::new("revision {}", "Revision {}", "revisión {}");
const SERIAL: Label = Label::new("serial number {}", "Seriennummer {}", "número de serie {}");
const FILE: Label = Label::new("machine file {}", "Maschinendatei {}", "archivo de máquina {}");
const VERSION: Label = Label::new("version {}", "Version {}", "versión {}");
const PAGE: Label = Label::new("page", "Seite", "página");
const CAUTIONS: Label =
    Label::new("cautions by letter: page", "Warnungen nach Buchstaben: Seite", "precauciones por letra: página");
const CONTENTS: Label = Label::new("Contents", "Inhalt", "Contenido");
const SHEETS: Label = Label::new("Sheets for service", "Blätter für den Service", "Hojas para el servicio");

/// Of which machine a sheet is.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Head {
    /// Language tag of the sheet.
    pub language: &'static str,
    /// Name of the machine type, with the revision.
    pub machine: String,
    /// Who builds it, and the serial number where it is known.
    pub about: String,
    /// The machine file with its version and date.
    pub file: String,
    /// That the builder's manual, lockout rules and local codes come first.
    pub safety: String,
    /// The word for a page.
    pub page: &'static str,
    /// What is said before the page on which cautions stand in full.
    pub cautions: &'static str,
    /// The title of the contents.
    pub contents: &'static str,
    /// The title of a binder.
    pub binder: &'static str,
}

impl Head {
    /// The head of all sheets of a machine. `file` is the name of the machine file, without folders.
    pub fn new(machine: &Machine, file: &str, serial: Option<u64>, language: Language) -> Self {
        let revision = machine.revision.as_ref().map(|name| REVISION.fill(language, &[name]));
        let name = [Some(machine.name.clone()), revision].into_iter().flatten().collect::<Vec<_>>().join(", ");
        let serial = serial.map(|serial| SERIAL.fill(language, &[&serial.to_string()]));
        let about = [(!machine.maker.is_empty()).then(|| machine.maker.clone()), serial];
        let version = (!machine.version.is_empty()).then(|| VERSION.fill(language, &[&machine.version]));
        let date = (!machine.date.is_empty()).then(|| machine.date.clone());
        let file = [Some(FILE.fill(language, &[file])), version, date];
        Self {
            language: language.tag(),
            machine: name,
            about: about.into_iter().flatten().collect::<Vec<_>>().join(", "),
            file: file.into_iter().flatten().collect::<Vec<_>>().join(", "),
            safety: Caution::ManualFirst.words().in_language(language.tag()).to_owned(),
            page: PAGE.of(language),
            cautions: CAUTIONS.of(language),
            contents: CONTENTS.of(language),
            binder: SHEETS.of(language),
        }
    }
}
