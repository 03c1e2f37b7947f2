//! Which keys a machine file and a device library may have: one declarative
//! table for the reader's messages, the JSON Schema, and the reference page.

mod check;
mod library_file;
mod machine_file;
mod schema;

pub use check::check;
pub use library_file::{LIBRARY_FILE, WORDS_FILE};
pub use machine_file::MACHINE_FILE;
pub use schema::json_schema;

/// A table and its keys.
#[derive(Debug)]
pub struct Shape {
    /// Name in the schema, one word.
    pub name: &'static str,
    /// One sentence.
    pub about: &'static str,
    /// The keys, in the order in which they are best written.
    pub keys: &'static [Key],
}

/// A key of a table.
#[derive(Debug)]
pub struct Key {
    /// The key.
    pub name: &'static str,
    /// What its value is.
    pub kind: Kind,
    /// Whether it must be there.
    pub required: bool,
    /// One sentence.
    pub about: &'static str,
    /// An example of the value as it is written.
    pub example: &'static str,
}

/// What a value is.
#[derive(Debug)]
pub enum Kind {
    /// Any text.
    Text,
    /// One of these texts.
    OneOf(&'static [&'static str]),
    /// A text, or a list of texts.
    Texts,
    /// A whole number, 0 or more.
    Whole,
    /// Any number.
    Number,
    /// true or false.
    Flag,
    /// A date, with or without quotes.
    Date,
    /// A time such as `T#2s`.
    Time,
    /// A time, or the name of a setting.
    TimeOrSetting,
    /// A chance such as `1 in 200`.
    Chance,
    /// A percentage such as `30 %`.
    Percent,
    /// A condition; several in a list must all hold.
    Condition,
    /// An effect such as `go to ready`.
    Effect,
    /// A version: text or number.
    Version,
    /// A table.
    Table(&'static Shape),
    /// A list of tables; a single table counts as a list of one.
    Tables(&'static Shape),
    /// A table with free names, each of the same kind.
    Named(&'static Kind),
    /// A list whose members are of this kind, or one such value.
    List(&'static Kind),
    /// A text of this form, or a table.
    TextOr(&'static Kind, &'static Shape),
    /// A short form (time or whole number), or a table.
    ValueOr(&'static Shape),
    /// Texts, or tables of texts within.
    Translations,
}

/// A required key, for the tables.
const fn must(name: &'static str, kind: Kind, example: &'static str, about: &'static str) -> Key {
    Key { name, kind, required: true, about, example }
}

/// An optional key, for the tables.
const fn may(name: &'static str, kind: Kind, example: &'static str, about: &'static str) -> Key {
    Key { name, kind, required: false, about, example }
}

/// Every shape below this one, itself first, each once.
#[must_use]
pub fn all_shapes(root: &'static Shape) -> Vec<&'static Shape> {
    let mut shapes = vec![root];
    let mut at = 0;
    while let Some(shape) = shapes.get(at) {
        let inner: Vec<&'static Shape> = shape.keys.iter().filter_map(|key| inner_shape(&key.kind)).collect();
        for shape in inner {
            if !shapes.iter().any(|known| known.name == shape.name) {
                shapes.push(shape);
            }
        }
        at += 1;
    }
    shapes
}

fn inner_shape(kind: &'static Kind) -> Option<&'static Shape> {
    match kind {
        Kind::Table(shape) | Kind::Tables(shape) | Kind::TextOr(_, shape) | Kind::ValueOr(shape) => Some(shape),
        Kind::Named(inner) | Kind::List(inner) => inner_shape(inner),
        _ => None,
    }
}
