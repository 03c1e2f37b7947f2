//! Conditions of a list, put together. Every combination is a query of its own, so that each walks along its index.

use rusqlite::types::Value;

/// Conditions that must all hold, with the values of their question marks.
#[derive(Clone, Debug, Default)]
pub(crate) struct Filter {
    conditions: Vec<String>,
    pub values: Vec<Value>,
}

impl Filter {
    /// A further condition; its values in the order of its question marks.
    pub fn and(&mut self, condition: &str, values: impl IntoIterator<Item = Value>) {
        self.conditions.push(condition.to_owned());
        self.values.extend(values);
    }

    /// That a column has this value, if there is one.
    pub fn equal<T: Into<Value>>(&mut self, column: &str, value: Option<T>) {
        if let Some(value) = value {
            self.and(&format!("{column} = ?"), [value.into()]);
        }
    }

    /// The conditions as they stand behind WHERE.
    pub fn conditions(&self) -> String {
        if self.conditions.is_empty() { "1".to_owned() } else { self.conditions.join(" AND ") }
    }

    /// The same with an order and a number of rows.
    pub fn ending(&self, order: &str, rows: usize) -> String {
        format!("{} {order} LIMIT {rows}", self.conditions())
    }
}
