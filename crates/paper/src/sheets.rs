//! One module for each sheet: each computes what stands on it.

mod call_report;
mod chart;
mod check_tree;
mod commissioning;
mod lamp_answers;
mod lamp_chart;
mod lamps;
mod procedures;
mod symptoms;
mod timing;

pub(crate) use call_report::call_report;
pub(crate) use chart::chart_drawing;
pub(crate) use check_tree::check_tree;
pub(crate) use commissioning::commissioning;
pub(crate) use lamp_chart::lamp_chart;
pub(crate) use lamps::lamp_sheet;
pub(crate) use procedures::procedure_sheet;
pub(crate) use symptoms::{COMPLAINTS, symptom_index};
pub(crate) use timing::timing_diagram;
