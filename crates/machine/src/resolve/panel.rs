//! The rows of lamps on the controller's front.

use super::conditions::Scope;
use super::{Point, Resolver};
use crate::library::Filling;
use crate::model::{LampKind, LampRow, PanelLamp, StatusMeaning, Words};
use crate::source::Span;
use crate::text::label_range::expand;
use crate::tree::{Entry, Table};

impl<'r> Resolver<'r> {
    pub fn panel(&mut self) {
        match self.root.table("lamps").filter(|table| table.get("rows").is_some()) {
            Some(table) => self.written_panel(table),
            None => self.implied_panel(),
        }
    }

    fn implied_panel(&mut self) {
        let inputs = self.machine.inputs.iter();
        let inputs = inputs.map(|(id, input)| PanelLamp { label: input.label.clone(), kind: LampKind::Input(id) });
        let inputs = LampRow { title: self.row_title("inputs"), lamps: inputs.collect() };
        let outputs = self.machine.outputs.iter();
        let outputs = outputs
            .filter_map(|(id, output)| Some(PanelLamp { label: output.label.clone()?, kind: LampKind::Output(id) }));
        let outputs = LampRow { title: self.row_title("outputs"), lamps: outputs.collect() };
        let status = self.status_entries().iter().map(|entry| entry.key.clone()).collect::<Vec<_>>();
        let status = status.into_iter().filter_map(|label| self.status_lamp(&label)).collect();
        let status = LampRow { title: self.row_title("status"), lamps: status };
        let rows = [inputs, outputs, status];
        self.machine.lamp_rows = rows.into_iter().filter(|row| !row.lamps.is_empty()).collect();
    }

    /// What a row is called: usual titles as the library has them, others as the file does.
    fn row_title(&self, english: &str) -> Words {
        self.translations.words(&format!("rows.{english}"), english, &Filling::default())
    }

    fn status_entries(&self) -> &'r [Entry] {
        self.root.table("lamps").map_or(&[], |table| table.entries_of("status"))
    }

    fn written_panel(&mut self, table: &'r Table) {
        let octal = table.string("numbering").is_some_and(|numbering| numbering == "octal");
        let mut seen: Vec<(String, Span)> = Vec::new();
        for row in table.tables("rows") {
            let mut lamps = Vec::new();
            for text in row.texts("labels") {
                let labels = match expand(&text.text, octal) {
                    Ok(labels) => labels,
                    Err(mistake) => {
                        self.mistake(text, mistake);
                        continue;
                    }
                };
                for word in labels {
                    let span = text.part(word.range.clone());
                    if seen.iter().any(|(label, _)| *label == word.text) {
                        let what = format!("the lamp `{}` is in the layout twice", word.text);
                        self.problems.error(span, "lamp-twice", what, "each label may appear once");
                        continue;
                    }
                    seen.push((word.text.clone(), span));
                    lamps.push(self.lamp(&word.text));
                }
            }
            let title = self.row_title(&row.string("title").unwrap_or_default());
            self.machine.lamp_rows.push(LampRow { title, lamps });
        }
        self.note_missing_lamps(&seen);
    }

    fn lamp(&mut self, label: &str) -> PanelLamp {
        let input = self.machine.inputs.find(|input| input.label == label).map(|(id, _)| LampKind::Input(id));
        let output = || {
            let found = self.machine.outputs.find(|output| output.label.as_deref() == Some(label));
            found.map(|(id, _)| LampKind::Output(id))
        };
        if let Some(kind) = input.or_else(output) {
            return PanelLamp { label: label.to_string(), kind };
        }
        self.status_lamp(label).unwrap_or(PanelLamp { label: label.to_string(), kind: LampKind::Unused })
    }

    fn status_lamp(&mut self, label: &str) -> Option<PanelLamp> {
        let entry = self.status_entries().iter().find(|entry| entry.key == label)?;
        let text = entry.node.text()?;
        let meaning = match text.text.as_str() {
            "powered" => StatusMeaning::Powered,
            "running" => StatusMeaning::Running,
            "error" => StatusMeaning::Error,
            _ => {
                let expression = self.parse_condition(text)?;
                StatusMeaning::Program(self.program(&expression, text, Scope::default()))
            }
        };
        Some(PanelLamp { label: label.to_string(), kind: LampKind::Status(meaning) })
    }

    fn note_missing_lamps(&mut self, seen: &[(String, Span)]) {
        let known: Vec<&str> = seen.iter().map(|(label, _)| label.as_str()).collect();
        for (group, what) in [("inputs", "input"), ("outputs", "output")] {
            for entry in self.entries(group) {
                if !known.contains(&entry.key.as_str()) {
                    let hint = self.hint(&entry.key, known.iter().copied());
                    let what = format!("{what} `{}` has no lamp in [lamps]", entry.key);
                    self.problems.error(entry.key_span, "not-in-layout", what, hint);
                }
            }
        }
        for entry in self.status_entries() {
            if !known.contains(&entry.key.as_str()) {
                let hint = self.hint(&entry.key, known.iter().copied());
                let what = format!("the status lamp `{}` is in no row of [lamps]", entry.key);
                self.problems.error(entry.key_span, "not-in-layout", what, hint);
            }
            if let Some(Point::Input(_) | Point::Output(_)) = self.point(&entry.key) {
                let what = format!("`{}` is a point, so it can't be a status lamp too", entry.key);
                self.problems.error(entry.key_span, "two-points", what, "take one of the two out");
            }
        }
    }
}
