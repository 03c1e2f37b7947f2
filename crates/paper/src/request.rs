//! Which sheets there are, and how one is asked for.

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
        }
    }
}
