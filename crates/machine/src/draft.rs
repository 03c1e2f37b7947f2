//! A first machine file from an I/O list, so that nobody starts from an empty
//! page: addresses, tags and words as a drawing office exports them. Device
//! types, mechanisms and positions are guessed from the words; every guess is
//! marked for the writer to confirm.

mod guess;
mod table;
mod write;

use std::fmt;

/// The largest list that is read, bytes.
pub const LARGEST_LIST: usize = 1_000_000;

/// Why no machine file could be drafted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum DraftError {
    /// The file is larger than [`LARGEST_LIST`].
    TooLarge,
    /// The file is a spreadsheet, not a text.
    Spreadsheet,
    /// There are no rows.
    Empty,
    /// No column holds addresses.
    NoAddresses,
}

impl DraftError {
    /// What to do about it.
    #[must_use]
    pub fn hint(&self) -> &'static str {
        match self {
            Self::TooLarge => "leave only the sheet with the points",
            Self::Spreadsheet => "save it in your spreadsheet program as .xlsx, .ods or CSV and give that file",
            Self::Empty => "a list has a line for each point, such as: X0;B1;lift is up",
            Self::NoAddresses => "one column must hold the addresses, such as X0, I0.3 or E1.2; name it \"address\"",
        }
    }
}

impl fmt::Display for DraftError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::TooLarge => "the list is larger than 1 MB",
            Self::Spreadsheet => "this is a spreadsheet of another kind, not a text",
            Self::Empty => "the list is empty",
            Self::NoAddresses => "no column holds addresses of inputs or outputs",
        })
    }
}

impl std::error::Error for DraftError {}

/// A drafted machine file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Draft {
    /// The text of the machine file.
    pub text: String,
    /// How many inputs and outputs it has.
    pub points: usize,
    /// Rows of the list that were left out, each with the reason.
    pub left_out: Vec<String>,
}

/// Drafts a machine file from the bytes of an I/O list (CSV with `,` `;` or tab; UTF-8, UTF-16 or Windows-1252).
///
/// # Errors
/// When the list has no points that could be read.
///
/// ```
/// let list = "address;tag;words\nX0;S1;start push button\nX1;B1;lift up, reed switch\nY0;V1;lift up, solenoid valve\n";
/// let draft = machine::draft::draft("Label lifter", list.as_bytes()).unwrap();
/// assert!(draft.text.contains("lit = \"lift = up\""));
/// assert!(machine::load_str("draft.toml", &draft.text).is_ok());
/// ```
pub fn draft(name: &str, list: &[u8]) -> Result<Draft, DraftError> {
    if list.len() > LARGEST_LIST {
        return Err(DraftError::TooLarge);
    }
    if list.starts_with(b"PK") || list.starts_with(&[0xD0, 0xCF, 0x11, 0xE0]) {
        return Err(DraftError::Spreadsheet);
    }
    Ok(drafted(name, table::of_text(list).points()?))
}

/// A row of a sheet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// Its number as the spreadsheet counts, from 1 on.
    pub row: usize,
    /// The cells' texts from the first column on; an error value, such as `#REF!`, as the error.
    pub cells: Vec<Result<String, String>>,
}

/// Drafts a machine file from the rows of a sheet of a spreadsheet.
///
/// # Errors
/// When the sheet has no points that could be read.
///
/// ```
/// use machine::draft::{Line, draft_sheet};
/// let line = |row, cells: [&str; 3]| Line { row, cells: cells.map(|cell| Ok(cell.to_owned())).to_vec() };
/// let lines = [line(3, ["address", "tag", "words"]), line(4, ["X0", "S1", "start push button"])];
/// assert_eq!(draft_sheet("Label lifter", "Points", &lines).unwrap().points, 1);
/// ```
pub fn draft_sheet(name: &str, sheet: &str, lines: &[Line]) -> Result<Draft, DraftError> {
    Ok(drafted(name, table::of_sheet(sheet, lines).points()?))
}

/// A cell as spreadsheets name it: row from 1 on, column from 0 on.
///
/// ```
/// assert_eq!(machine::draft::cell_name(7, 0), "A7");
/// assert_eq!(machine::draft::cell_name(1, 27), "AB1");
/// ```
#[must_use]
pub fn cell_name(row: usize, column: usize) -> String {
    let mut letters = Vec::new();
    let mut left = column + 1;
    while left > 0 {
        left -= 1;
        letters.push(char::from(b'A' + u8::try_from(left % 26).unwrap_or(0)));
        left /= 26;
    }
    letters.iter().rev().chain(row.to_string().chars().collect::<Vec<_>>().iter()).collect()
}

fn drafted(name: &str, (rows, left_out): (Vec<table::Row>, Vec<String>)) -> Draft {
    let guesses = guess::guess(&rows);
    Draft { text: write::machine_file(name, &guesses), points: guesses.len(), left_out }
}
