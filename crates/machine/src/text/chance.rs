//! Chances as people say them: `1 in 200`, `0.5 %`, or a number from 0 to 1.

/// What to do about a bad chance.
pub const HINT: &str = "write chances like \"1 in 200\", \"0.5 %\" or 0.005";

/// Reads a chance, 0 to 1.
///
/// # Errors
/// When the text is no chance, or outside 0 to 1.
///
/// ```
/// use machine::text::chance::parse_chance;
/// assert_eq!(parse_chance("1 in 200"), Ok(0.005));
/// assert_eq!(parse_chance("50 %"), Ok(0.5));
/// assert!(parse_chance("3 in 2").is_err());
/// ```
pub fn parse_chance(text: &str) -> Result<f64, String> {
    let text = text.trim();
    let number = |part: &str| part.trim().replace('_', "").parse::<f64>().ok().filter(|value| value.is_finite());
    let chance = if let Some(percent) = text.strip_suffix('%') {
        number(percent).map(|value| value / 100.0)
    } else if let Some((of, all)) = text.split_once(" in ") {
        number(of).zip(number(all)).map(|(of, all)| of / all)
    } else {
        number(text)
    };
    match chance {
        Some(chance) if (0.0..=1.0).contains(&chance) => Ok(chance),
        Some(_) => Err(format!("the chance `{text}` is not between 0 and 1")),
        None => Err(format!("`{text}` is not a chance")),
    }
}
