//! Numbers and times as people read them, and texts in the language of whoever is on the phone.

pub use diagnose::wording::percent;

use jiff::Timestamp;
use machine::model::Words;
use maud::{Markup, html};

/// A probability as a bar with its number. The number says it; the bar is for the eye.
pub fn share(probability: f64) -> Markup {
    html! {
        span.share {
            meter min="0" max="1" value=(format!("{probability:.4}")) aria-hidden="true" {}
            span { (percent(probability)) }
        }
    }
}

/// A text in which what stands between backquotes is a name or something to type.
pub fn marked(text: &str) -> Markup {
    html! {
        @for (number, piece) in text.split('`').enumerate() { @if number % 2 == 1 { code { (piece) } } @else { (piece) } }
    }
}

/// Minutes, or hours where they are many.
pub fn minutes(minutes: f64) -> String {
    match minutes {
        m if m < 0.95 => format!("{:.0} s", m * 60.0),
        m if m < 9.5 => format!("{m:.1} min"),
        m if m < 120.0 => format!("{m:.0} min"),
        m => format!("{:.1} h", m / 60.0),
    }
}

/// A day.
pub fn day(at: Timestamp) -> String {
    at.strftime("%Y-%m-%d").to_string()
}

/// A day and the time of day, as universal time.
pub fn moment(at: Timestamp) -> String {
    at.strftime("%Y-%m-%d %H:%M UTC").to_string()
}

/// Languages in which whoever is on the phone can be spoken to: tag and name.
pub const LANGUAGES: [(&str, &str); 3] = [("en", "English"), ("de", "Deutsch"), ("es", "Español")];

/// What is said to whoever is at the machine, in their language, and beside it the English where that is another.
pub fn spoken(words: &Words, tag: &str) -> Markup {
    let said = words.in_language(tag);
    html! {
        @if said == words.english {
            p.spoken { (said) }
        } @else {
            p.spoken lang=(tag) { (said) }
            p.aside { (words.english) }
        }
    }
}
