//! What stands in the place of PDF in a program that was built without the typesetter: it says so.

use crate::document::Sheet;
use crate::head::Head;
use crate::page::PageSize;

use super::TypesetError;

fn missing() -> TypesetError {
    let what = "this program was built without the typesetter; build it with the feature `typeset`, \
                or take --format html";
    TypesetError { messages: vec![what.to_owned()] }
}

/// Would set the sheets.
///
/// # Errors
/// Always: there is no typesetter.
pub fn pdf(_: &Head, _: &[Sheet], _: PageSize, _: bool) -> Result<Vec<u8>, TypesetError> {
    Err(missing())
}

/// Would count the pages.
///
/// # Errors
/// Always: there is no typesetter.
pub fn page_count(_: &Head, _: &[Sheet], _: PageSize, _: bool) -> Result<usize, TypesetError> {
    Err(missing())
}

pub(super) fn pages_as_svg(_: &Head, _: &Sheet, _: PageSize) -> Result<String, TypesetError> {
    Err(missing())
}
