//! The list as rows of address, tag and words: text encoding, delimiter, columns.

use super::{DraftError, Line, cell_name};

/// Whether a point is an input or an output.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Direction {
    Input,
    Output,
}

/// A row of the list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Row {
    pub direction: Direction,
    pub address: String,
    pub tag: String,
    pub words: String,
}

/// The most points that are read.
const MOST_POINTS: usize = 2_000;

/// Header words of the address column, in English, German, Spanish.
const ADDRESS: &[&str] = &[
    "address",
    "addr",
    "io",
    "i/o",
    "point",
    "operand",
    "adresse",
    "absolutadresse",
    "e/a",
    "sps-adresse",
    "dirección",
    "direccion",
    "punto",
    "e/s",
    "plc address",
];
const TAG: &[&str] = &[
    "tag",
    "symbol",
    "device",
    "designation",
    "bmk",
    "betriebsmittel",
    "betriebsmittelkennzeichen",
    "kennzeichen",
    "etiqueta",
    "símbolo",
    "simbolo",
    "aparato",
];
const WORDS: &[&str] = &[
    "words",
    "description",
    "comment",
    "text",
    "function",
    "meaning",
    "kommentar",
    "beschreibung",
    "bezeichnung",
    "funktion",
    "descripción",
    "descripcion",
    "comentario",
    "función",
    "funcion",
    "denominación",
    "denominacion",
];
const DIRECTION: &[&str] = &["direction", "type", "kind", "richtung", "typ", "art", "tipo", "sentido"];

/// A list as rows of cells.
pub(super) struct Table {
    cells: Vec<Vec<String>>,
    /// By row, what to call it in messages; empty for a text, whose rows are told by what stands in them.
    places: Vec<String>,
    /// Cells that hold an error value: row, column, what is said of it.
    errors: Vec<(usize, usize, String)>,
}

/// The rows of a text.
pub(super) fn of_text(list: &[u8]) -> Table {
    let cells = cells(&decode(list));
    Table { places: vec![String::new(); cells.len()], cells, errors: Vec::new() }
}

/// The rows of a sheet.
pub(super) fn of_sheet(sheet: &str, lines: &[Line]) -> Table {
    let mut table = Table { cells: Vec::new(), places: Vec::new(), errors: Vec::new() };
    for (row, line) in lines.iter().enumerate() {
        for (column, cell) in line.cells.iter().enumerate() {
            if let Err(error) = cell {
                let what = format!("sheet `{sheet}`, cell {}: it shows {error}", cell_name(line.row, column));
                table.errors.push((row, column, what));
            }
        }
        table.places.push(format!("sheet `{sheet}`, row {}: ", line.row));
        table.cells.push(line.cells.iter().map(|cell| cell.as_deref().map(clean).unwrap_or_default()).collect());
    }
    table
}

impl Table {
    /// The rows that are points; also those left out, with reasons.
    pub(super) fn points(&self) -> Result<(Vec<Row>, Vec<String>), DraftError> {
        if self.cells.iter().flatten().all(String::is_empty) {
            return Err(DraftError::Empty);
        }
        let columns = columns(&self.cells).ok_or(DraftError::NoAddresses)?;
        let spanish = self.cells.iter().any(|row| columns.cell(row, columns.address).starts_with('S'))
            && !self.cells.iter().any(|row| columns.cell(row, columns.address).starts_with('A'));
        let used = [Some(columns.address), columns.tag, columns.words, columns.direction];
        let mut rows: Vec<Row> = Vec::new();
        let mut left_out = Vec::new();
        for (index, (cells, place)) in self.cells.iter().zip(&self.places).enumerate().skip(columns.first_row) {
            if let Some((.., what)) =
                self.errors.iter().find(|(row, column, _)| *row == index && used.contains(&Some(*column)))
            {
                left_out.push(what.clone());
                continue;
            }
            let address = columns.cell(cells, columns.address).trim_start_matches('%').to_string();
            let words = columns.words.map_or("", |at| columns.cell(cells, at)).to_string();
            let tag = columns.tag.map_or("", |at| columns.cell(cells, at)).to_string();
            let said = columns.direction.and_then(|at| said_direction(columns.cell(cells, at)));
            let shown = cells.join(" ").trim().to_string();
            if shown.is_empty() {
                continue;
            }
            let mut leave_out = |why: &str| left_out.push(format!("{place}{shown}: {why}"));
            match said.or_else(|| direction(&address, spanish)) {
                _ if !is_address(&address) => leave_out("no address"),
                None => leave_out("neither input nor output"),
                Some(_) if rows.iter().any(|row| row.address == address) => leave_out("the address is there already"),
                Some(_) if rows.len() >= MOST_POINTS => leave_out(&format!("more than {MOST_POINTS} points")),
                Some(direction) => rows.push(Row { direction, address, tag, words }),
            }
        }
        if rows.is_empty() { Err(DraftError::NoAddresses) } else { Ok((rows, left_out)) }
    }
}

/// UTF-8 or UTF-16 by its mark, else UTF-8 if it is, else Windows-1252 (its letters are those of Latin-1).
fn decode(bytes: &[u8]) -> String {
    let wide = |pair: fn([u8; 2]) -> u16| -> String {
        let units: Vec<u16> = bytes[2..].chunks_exact(2).map(|two| pair([two[0], two[1]])).collect();
        String::from_utf16_lossy(&units)
    };
    match bytes {
        [0xFF, 0xFE, ..] => wide(u16::from_le_bytes),
        [0xFE, 0xFF, ..] => wide(u16::from_be_bytes),
        _ => match std::str::from_utf8(bytes) {
            Ok(text) => text.trim_start_matches('\u{feff}').to_string(),
            Err(_) => bytes.iter().map(|&byte| char::from(byte)).collect(),
        },
    }
}

fn cells(text: &str) -> Vec<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(delimiter(text))
        .from_reader(text.as_bytes());
    let rows = reader.records().filter_map(Result::ok);
    rows.map(|row| row.iter().map(clean).collect()).collect()
}

fn clean(cell: &str) -> String {
    cell.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The delimiter that the most lines have in the same number.
fn delimiter(text: &str) -> u8 {
    let lines: Vec<&str> = text.lines().filter(|line| !line.trim().is_empty()).take(50).collect();
    let steadiness = |delimiter: char| {
        let counts: Vec<usize> = lines.iter().map(|line| line.matches(delimiter).count()).collect();
        let most = counts.iter().copied().filter(|count| *count > 0).max().unwrap_or(0);
        (1..=most).map(|count| counts.iter().filter(|found| **found == count).count()).max().unwrap_or(0)
    };
    [';', '\t', ',', '|']
        .into_iter()
        .rev()
        .max_by_key(|delimiter| steadiness(*delimiter))
        .and_then(|delimiter| u8::try_from(delimiter).ok())
        .unwrap_or(b',')
}

struct Columns {
    address: usize,
    tag: Option<usize>,
    words: Option<usize>,
    direction: Option<usize>,
    first_row: usize,
}

impl Columns {
    fn cell<'c>(&self, row: &'c [String], at: usize) -> &'c str {
        row.get(at).map_or("", String::as_str)
    }
}

fn columns(rows: &[Vec<String>]) -> Option<Columns> {
    columns_by_header(rows).or_else(|| columns_by_content(rows))
}

fn columns_by_header(rows: &[Vec<String>]) -> Option<Columns> {
    rows.iter().take(10).enumerate().find_map(|(index, row)| {
        let find = |words: &[&str]| row.iter().position(|cell| words.contains(&cell.to_lowercase().as_str()));
        let (tag, words) = (find(TAG), find(WORDS));
        tag.or(words)?;
        Some(Columns { address: find(ADDRESS)?, tag, words, direction: find(DIRECTION), first_row: index + 1 })
    })
}

/// Without headers: the column with the most addresses of known kinds; the one with the longest texts; one between.
fn columns_by_content(rows: &[Vec<String>]) -> Option<Columns> {
    let width = rows.iter().map(Vec::len).max()?;
    let cells = |at: usize| rows.iter().filter_map(move |row| row.get(at)).filter(|cell| !cell.is_empty());
    let addresses = |at: &usize| cells(*at).filter(|cell| is_address(cell) && direction(cell, false).is_some()).count();
    let address = (0..width).rev().max_by_key(addresses).filter(|at| addresses(at) > 0)?;
    let letters = |at: &usize| cells(*at).map(|cell| cell.chars().count()).sum::<usize>();
    let words = (0..width).filter(|at| *at != address).max_by_key(letters).filter(|at| letters(at) > 0);
    let tag_like = |at: &usize| cells(*at).filter(|cell| is_address(cell)).count();
    let tag = (0..width).filter(|at| *at != address && Some(*at) != words).max_by_key(tag_like);
    Some(Columns { address, tag: tag.filter(|at| tag_like(at) > 0), words, direction: None, first_row: 0 })
}

/// One to three letters and a number, with points or colons in it: `X10`, `%I0.3`, `DI1.2`.
fn is_address(text: &str) -> bool {
    let text = text.trim_start_matches('%');
    let letters = text.chars().take_while(char::is_ascii_alphabetic).count();
    let rest = &text[letters..];
    (1..=4).contains(&letters)
        && rest.starts_with(|first: char| first.is_ascii_digit())
        && rest.chars().all(|c| c.is_ascii_digit() || matches!(c, '.' | ':' | '_'))
        && rest.len() <= 12
}

fn direction(address: &str, spanish: bool) -> Option<Direction> {
    let letters: String = address.trim_start_matches('%').chars().take_while(char::is_ascii_alphabetic).collect();
    match letters.to_ascii_uppercase().as_str() {
        "X" | "I" | "E" | "DI" | "IX" | "IN" | "EX" => Some(Direction::Input),
        "Y" | "Q" | "A" | "O" | "DO" | "DQ" | "QX" | "OUT" | "AX" => Some(Direction::Output),
        "S" if spanish => Some(Direction::Output),
        _ => None,
    }
}

fn said_direction(cell: &str) -> Option<Direction> {
    match cell.to_lowercase().as_str() {
        "input" | "in" | "i" | "di" | "eingang" | "e" | "entrada" => Some(Direction::Input),
        "output" | "out" | "o" | "q" | "do" | "ausgang" | "a" | "salida" | "s" => Some(Direction::Output),
        _ => None,
    }
}
