//! Lists in spreadsheets: one sheet of an .xlsx or .ods file as rows of cells. What is packed in such a file can be
//! a thousand times larger than the file, and its cells can lie anywhere, so all of it is counted before it is taken in.

use std::io::{Cursor, Read};
use std::path::Path;

use calamine::{Data, Ods, Reader, Xlsx};
use machine::draft::Line;

use crate::failure::Failure;

/// The largest spreadsheet that is read, bytes.
pub const LARGEST: usize = 5_000_000;
/// The most bytes that may come out of it.
const MOST_UNPACKED: u64 = 50_000_000;
/// Files that may be packed in it.
const MOST_FILES: usize = 2_000;
/// The most rows, columns and filled cells of a sheet; a list of points has far less.
const MOST_ROWS: usize = 20_000;
const MOST_COLUMNS: usize = 200;
const MOST_CELLS: usize = 400_000;

/// A sheet of a spreadsheet.
#[derive(Debug)]
pub struct Sheet {
    /// Its name.
    pub name: String,
    /// Its rows from the first filled one on.
    pub lines: Vec<Line>,
}

/// Whether this is a spreadsheet that can be read, by its first bytes: such a file is a packed folder.
pub fn is_spreadsheet(bytes: &[u8]) -> bool {
    bytes.starts_with(b"PK")
}

/// Reads the sheet of this name, else the first.
pub fn read(path: &Path, bytes: Vec<u8>, wanted: Option<&str>) -> Result<Sheet, Failure> {
    let damaged = |why: &str| fault(path, why, "open it in your spreadsheet program and save it anew as .xlsx or .ods");
    let kind = look_over(&bytes).map_err(|why| match why {
        Reason::TooLarge(why) => fault(path, &why, "leave only the sheet with the points, or save it as CSV"),
        Reason::Damaged(why) => damaged(&why),
    })?;
    let bytes = Cursor::new(bytes);
    match kind {
        Kind::Xlsx => {
            let mut book = Xlsx::new(bytes).map_err(|error| damaged(&plain(&error.to_string())))?;
            let name = choose(path, &book.sheet_names(), wanted)?;
            let mut cells = book.worksheet_cells_reader(&name).map_err(|error| damaged(&plain(&error.to_string())))?;
            let mut table = Table::default();
            loop {
                match cells.next_cell() {
                    Ok(Some(cell)) => table.put(cell.get_position(), cell.get_value().clone().into()),
                    Ok(None) => break,
                    Err(error) => {
                        let place = table.last.map_or_else(String::new, |at| format!(" behind cell {}", label(at)));
                        return Err(damaged(&format!("sheet `{name}`{place}: {}", plain(&error.to_string()))));
                    }
                }
                table.in_bounds(path, &name)?;
            }
            Ok(table.sheet(name))
        }
        Kind::Ods => {
            let mut book = Ods::new(bytes).map_err(|error| damaged(&plain(&error.to_string())))?;
            let name = choose(path, &book.sheet_names(), wanted)?;
            let range = book.worksheet_range(&name).map_err(|error| damaged(&plain(&error.to_string())))?;
            let (row, column) = range.start().unwrap_or_default();
            let mut table = Table::default();
            for (down, across, data) in range.used_cells() {
                let at = |first: u32, by: usize| first.saturating_add(u32::try_from(by).unwrap_or(u32::MAX));
                table.put((at(row, down), at(column, across)), data.clone());
                table.in_bounds(path, &name)?;
            }
            Ok(table.sheet(name))
        }
    }
}

fn fault(path: &Path, why: &str, hint: &str) -> Failure {
    Failure::new("unreadable", format!("can't read the spreadsheet `{}`: {why}", path.display()), hint)
}

/// A library's message as one line that is not too long.
fn plain(message: &str) -> String {
    const MOST: usize = 160;
    let line = message.split_whitespace().collect::<Vec<_>>().join(" ");
    if line.chars().count() > MOST { line.chars().take(MOST).chain(['…']).collect() } else { line }
}

enum Kind {
    Xlsx,
    Ods,
}

enum Reason {
    TooLarge(String),
    Damaged(String),
}

/// Unpacks everything once, to see what it is and that it is not too much.
fn look_over(bytes: &[u8]) -> Result<Kind, Reason> {
    let damaged =
        |error: &dyn std::fmt::Display| Reason::Damaged(format!("it is damaged ({})", plain(&error.to_string())));
    let mut packed = zip::ZipArchive::new(Cursor::new(bytes)).map_err(|error| damaged(&error))?;
    if packed.len() > MOST_FILES {
        return Err(Reason::TooLarge(format!("more than {MOST_FILES} files are packed in it")));
    }
    let mut left = MOST_UNPACKED;
    let mut kind = None;
    for index in 0..packed.len() {
        let file = packed.by_index(index).map_err(|error| damaged(&error))?;
        let name = file.name().map_err(|error| damaged(&error))?.into_owned();
        let mut text = Vec::new();
        // What the file says of its size need not be so.
        let mut limited = file.take(left + 1);
        limited.read_to_end(&mut text).map_err(|error| damaged(&error))?;
        let size = u64::try_from(text.len()).unwrap_or(u64::MAX);
        if size > left {
            return Err(Reason::TooLarge(format!("more than {} MB are packed in it", MOST_UNPACKED / 1_000_000)));
        }
        left -= size;
        match name.as_str() {
            "mimetype" if text.starts_with(b"application/vnd.oasis.opendocument.spreadsheet") => kind = Some(Kind::Ods),
            "xl/workbook.xml" => kind = Some(Kind::Xlsx),
            "content.xml" if repeated_cells(&text) > MOST_CELLS => {
                return Err(Reason::TooLarge(format!("it has more than {MOST_CELLS} filled cells")));
            }
            _ => {}
        }
    }
    kind.ok_or_else(|| Reason::Damaged("it is neither .xlsx nor .ods".to_owned()))
}

/// How many cells stand in one place of an .ods file and are repeated: those that are written out have been counted
/// with the bytes.
fn repeated_cells(content: &[u8]) -> usize {
    // In any other encoding than the usual one nothing would be found; then nothing may be repeated.
    let Ok(text) = std::str::from_utf8(content) else { return usize::MAX };
    let cells = text.split("<table:table-cell").skip(1).filter_map(|part| {
        let element = part.split('>').next()?;
        // An empty cell is written as an element that ends at once.
        let filled = !element.ends_with('/') || element.contains("value");
        let after = element.split("number-columns-repeated").nth(1)?.trim_start_matches(['=', ' ', '"', '\'']);
        let digits: String = after.chars().take_while(char::is_ascii_digit).collect();
        filled.then(|| digits.parse::<usize>().unwrap_or(usize::MAX))
    });
    cells.fold(0, usize::saturating_add)
}

/// The sheet that is wanted, else the first.
fn choose(path: &Path, names: &[String], wanted: Option<&str>) -> Result<String, Failure> {
    let listed = || names.iter().map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ");
    match wanted {
        None => names.first().cloned().ok_or_else(|| fault(path, "it has no sheet", "is it the right file?")),
        Some(wanted) => {
            let same = |name: &&String| name.trim().eq_ignore_ascii_case(wanted.trim());
            let found = names.iter().find(|name| *name == wanted).or_else(|| names.iter().find(same));
            found.cloned().ok_or_else(|| {
                fault(path, &format!("it has no sheet `{wanted}`"), &format!("its sheets are {}", listed()))
            })
        }
    }
}

/// A cell as people name it, such as `B7`; both numbers count from 0.
fn label((row, column): (u32, u32)) -> String {
    machine::draft::cell_name(row as usize + 1, column as usize)
}

/// The filled cells of a sheet.
#[derive(Default)]
struct Table {
    lines: Vec<Line>,
    cells: usize,
    last: Option<(u32, u32)>,
    too_wide: bool,
}

impl Table {
    /// Cells come row by row.
    fn put(&mut self, at: (u32, u32), data: Data) {
        self.last = Some(at);
        let text = match data {
            Data::Empty => return,
            Data::Error(error) => Err(error.to_string()),
            Data::String(text) | Data::DateTimeIso(text) | Data::DurationIso(text) => Ok(text),
            Data::Int(number) => Ok(number.to_string()),
            Data::Float(number) => Ok(number.to_string()),
            Data::Bool(value) => Ok(value.to_string()),
            Data::DateTime(time) => Ok(time.as_f64().to_string()),
        };
        self.cells += 1;
        let (number, column) = (at.0 as usize + 1, at.1 as usize);
        if column >= MOST_COLUMNS {
            self.too_wide = true;
            return;
        }
        if self.lines.last().is_none_or(|line| line.row != number) {
            self.lines.push(Line { row: number, cells: Vec::new() });
        }
        if let Some(line) = self.lines.last_mut() {
            if line.cells.len() <= column {
                line.cells.resize(column + 1, Ok(String::new()));
            }
            line.cells[column] = text;
        }
    }

    fn in_bounds(&self, path: &Path, name: &str) -> Result<(), Failure> {
        let many = match self {
            _ if self.too_wide => format!("{MOST_COLUMNS} columns"),
            _ if self.lines.len() > MOST_ROWS => format!("{MOST_ROWS} rows"),
            _ if self.cells > MOST_CELLS => format!("{MOST_CELLS} filled cells"),
            _ => return Ok(()),
        };
        let place = self.last.map(label).unwrap_or_default();
        let why = format!("sheet `{name}` has more than {many} (cell {place})");
        Err(fault(path, &why, "leave only the rows and columns of the list of points"))
    }

    fn sheet(self, name: String) -> Sheet {
        Sheet { name, lines: self.lines }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_that_are_repeated_are_counted_where_they_are_filled() {
        let empty = r#"<table:table-cell table:number-columns-repeated="16380"/>"#;
        let filled = r#"<table:table-cell office:value-type="string" table:number-columns-repeated="7"><text:p>a</text:p></table:table-cell>"#;
        assert_eq!(repeated_cells(empty.as_bytes()), 0);
        assert_eq!(repeated_cells(format!("{filled}{empty}{filled}").as_bytes()), 14);
        assert_eq!(repeated_cells(&[0xff, 0xfe]), usize::MAX);
    }
}
