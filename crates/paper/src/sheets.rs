//! One module for each sheet: each computes what stands on it.

mod chart;
mod check_tree;
mod lamp_chart;
mod lamps;
mod symptoms;
mod timing;

pub(crate) use chart::chart_drawing;
pub(crate) use check_tree::check_tree;
pub(crate) use lamp_chart::lamp_chart;
pub(crate) use lamps::lamp_sheet;
pub(crate) use symptoms::symptom_index;
pub(crate) use timing::timing_diagram;
