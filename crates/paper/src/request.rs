//! Which sheets there are, and how one is asked for.

use diagnose::call::Record;
use rayon::prelude::*;

use crate::desk::Desk;
use crate::document::Sheet;
use crate::page::PageSize;
use crate::sheets;

/// A sheet that is wanted.
#[derive(Clone, Debug, PartialEq)]
pub enum Request {
    /// What each lamp means: one page for the cabinet door.
    Lamps,
    /// Which lamps go with which step, and what each step waits for.
    LampChart,
    /// What happens when in the usual routine.
    Timing,
    /// The charts, drawn by IEC 60848.
    Chart,
    /// By complaint and lamps: what it probably is.
    Symptoms,
    /// What to do next, for every answer.
    CheckTree,
    /// Every point once, for acceptance and after a repair.
    Commissioning,
    /// A procedure by its name in the file; all of them if none is named.
    Procedures(Option<String>),
    /// A saved call.
    Call {
        /// The call.
        record: Box<Record>,
        /// Whether the machine file has changed since it was saved.
        changed: bool,
    },
}

/// Why a sheet can't be made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RequestError {
    /// What is wrong.
    pub what: String,
    /// What to do.
    pub hint: String,
}

impl std::fmt::Display for RequestError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} ({})", self.what, self.hint)
    }
}

impl std::error::Error for RequestError {}

impl Desk<'_> {
    /// Computes what stands on a sheet, laid out for this paper. Some requests give several sheets.
    ///
    /// # Errors
    /// What the machine file does not have.
    pub fn sheets(&self, request: &Request, size: PageSize) -> Result<Vec<Sheet>, RequestError> {
        match request {
            Request::Lamps => Ok(vec![sheets::lamp_sheet(self)]),
            Request::LampChart => Ok(vec![sheets::lamp_chart(self, size)]),
            Request::Timing => Ok(vec![sheets::timing_diagram(self, size)]),
            Request::Chart => Ok(vec![sheets::chart_drawing(self, size)]),
            Request::Symptoms => Ok(vec![sheets::symptom_index(self)]),
            Request::CheckTree => Ok(vec![sheets::check_tree(self)]),
            Request::Commissioning => Ok(vec![sheets::commissioning(self)]),
            Request::Procedures(name) => self.procedures(name.as_deref()),
            Request::Call { record, changed } => Ok(vec![sheets::call_report(self, record, *changed)?]),
        }
    }

    /// Computes several requests side by side, in their order.
    ///
    /// ```
    /// # fn main() -> Result<(), Box<dyn std::error::Error>> {
    /// use paper::{Desk, Language, PageSize, Request};
    /// # let text = "format = 1\n[machine]\nname = \"Press\"\n[inputs]\nX1 = { lit = \"start = pressed\" }\nX2 = { lit = \"ram = up\" }\n\
    /// # X3 = { lit = \"ram = down\" }\n[charts.press]\nstart = \"start = pressed\"\nneeds = [\"ram = up\"]\n[charts.press.steps]\n\
    /// # lower = \"do ram down until ram = down\"\nraise = \"do ram up until ram = up\"\n";
    /// # let resolved = machine::read(machine::Source::new("press.toml", text), &[]).resolve(&machine::Choice::default());
    /// let desk = Desk::new(&resolved.alternatives, "press.toml", None, Language::English).ok_or("no machine")?;
    /// let sheets = desk.all(&[Request::Lamps, Request::Symptoms], PageSize::A4)?;
    /// assert_eq!(sheets.iter().map(|sheet| sheet.name.as_str()).collect::<Vec<_>>(), ["lamps", "symptoms"]);
    /// # Ok(())
    /// # }
    /// ```
    ///
    /// # Errors
    /// Those of the first request that has any.
    pub fn all(&self, requests: &[Request], size: PageSize) -> Result<Vec<Sheet>, RequestError> {
        // What several of them need comes before them: waiting for it within work that is done side by side could wait
        // for ever.
        self.nominal();
        let weighs = |request: &Request| matches!(request, Request::Symptoms | Request::CheckTree);
        let of = |wanted: bool| -> Vec<_> {
            let these = requests.par_iter().enumerate().filter(|(_, request)| weighs(request) == wanted);
            these.map(|(place, request)| (place, self.sheets(request, size))).collect()
        };
        let weighed = || {
            if requests.iter().any(weighs) {
                self.openings();
            }
            of(true)
        };
        let (weighed, others) = rayon::join(weighed, || of(false));
        let mut made: Vec<_> = weighed.into_iter().chain(others).collect();
        made.sort_by_key(|(place, _)| *place);
        let made = made.into_iter().map(|(_, sheets)| sheets);
        Ok(made.collect::<Result<Vec<_>, _>>()?.into_iter().flatten().collect())
    }

    fn procedures(&self, name: Option<&str>) -> Result<Vec<Sheet>, RequestError> {
        let wanted = |row: &machine::model::Procedure| name.is_none_or(|name| row.name.eq_ignore_ascii_case(name));
        let found: Vec<Sheet> = (self.machine().procedures.iter())
            .filter(|(_, row)| wanted(row))
            .map(|(id, _)| sheets::procedure_sheet(self, id))
            .collect();
        match name {
            Some(name) if found.is_empty() => {
                let names: Vec<&str> = self.machine().procedures.rows().map(|row| row.name.as_str()).collect();
                let hint = match names[..] {
                    [] => "this machine file has no procedures".to_owned(),
                    _ => format!("there is: {}", names.join(", ")),
                };
                Err(RequestError { what: format!("there is no procedure `{name}`"), hint })
            }
            _ => Ok(found),
        }
    }
}
