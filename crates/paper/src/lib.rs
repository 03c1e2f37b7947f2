//! Printed sheets of a machine: what stands on the inside of the cabinet door, in the binder beside the
//! machine, on the bench of whoever learns it.
//!
//! 1. A [`Desk`] is made for a machine and a language.
//! 2. [`Desk::sheets`] computes what stands on a [`Request`]ed sheet, as [`document::Sheet`]s.
//! 3. [`render`] makes PDF, SVG or HTML of sheets.
//!
//! Nothing here reads files, a clock or the environment: the same machine gives the same bytes.

mod desk;
pub mod document;
pub mod drawing;
pub mod entry;
mod font;
pub mod guide;
mod head;
mod lamp_list;
mod language;
mod page;
mod phrase;
pub mod render;
mod request;
pub mod said;
mod sheets;
mod wording;

pub use desk::Desk;
pub use head::Head;
pub use language::Language;
pub use page::PageSize;
pub use request::{Request, RequestError};
