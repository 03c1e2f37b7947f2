//! The reports in the order in which they were typed, cut into moments: each
//! `--then` or `--tried` behind a report begins a new one.

use clap::ArgMatches;

use crate::arguments::Why;
use crate::failure::Failure;

/// What was typed of one moment; several of a kind are joined as sentences.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Typed {
    /// The flag that tells the deeds of this moment.
    pub deeds_flag: &'static str,
    pub deeds: String,
    pub tried: String,
    pub lamps: String,
    pub saw: String,
    pub found: String,
}

impl Typed {
    fn reports_nothing(&self) -> bool {
        self.lamps.is_empty() && self.saw.is_empty() && self.found.is_empty()
    }
}

/// Cuts the arguments into moments, the earliest first.
pub fn moments(why: &Why, matches: &ArgMatches) -> Result<Vec<Typed>, Failure> {
    let mut typed: Vec<(usize, &str, &str)> = Vec::new();
    for (flag, values) in [
        ("lamps", &why.lamps),
        ("did", &why.did),
        ("saw", &why.saw),
        ("found", &why.found),
        ("then", &why.then),
        ("tried", &why.tried),
    ] {
        let places = matches.indices_of(flag).into_iter().flatten();
        typed.extend(places.zip(values).map(|(place, value)| (place, flag, value.as_str())));
    }
    typed.sort_unstable();
    cut(typed.into_iter().map(|(_, flag, value)| (flag, value)))
}

fn cut<'t>(typed: impl Iterator<Item = (&'t str, &'t str)>) -> Result<Vec<Typed>, Failure> {
    let mut moments = vec![Typed { deeds_flag: "--did", ..Typed::default() }];
    let mut begun_by_act = false;
    for (flag, text) in typed {
        let acts = matches!(flag, "then" | "tried");
        let last = moments.len() - 1;
        if acts && !(begun_by_act && moments[last].reports_nothing()) {
            moments.push(Typed { deeds_flag: "--then", ..Typed::default() });
            begun_by_act = true;
        }
        let last = moments.len() - 1;
        let moment = &mut moments[last];
        match flag {
            "lamps" => join(&mut moment.lamps, text),
            "saw" => join(&mut moment.saw, text),
            "found" => join(&mut moment.found, text),
            "tried" => join(&mut moment.tried, text),
            "then" => join(&mut moment.deeds, text),
            _ if last > 0 => {
                let what = format!("`--did \"{text}\"` stands behind `--then` or `--tried`");
                let hint = "put it before them, or write `--then` for what was done later";
                return Err(Failure::new("did-behind-then", what, hint));
            }
            _ => join(&mut moment.deeds, text),
        }
    }
    Ok(moments)
}

fn join(all: &mut String, text: &str) {
    if !all.is_empty() {
        all.push_str("; ");
    }
    all.push_str(text);
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn an_act_begins_a_moment_and_reports_belong_to_the_last_one() {
        let typed = [
            ("lamps", "X1 on"),
            ("did", "pressed start"),
            ("then", "pressed reset"),
            ("then", "pressed start"),
            ("lamps", "X2 on"),
            ("lamps", "rest off"),
            ("tried", "B1/replace"),
            ("saw", "lift up"),
        ];
        let moments = cut(typed.into_iter()).unwrap();
        assert_eq!(moments.len(), 3);
        assert_eq!((moments[0].lamps.as_str(), moments[0].deeds.as_str()), ("X1 on", "pressed start"));
        assert_eq!(moments[1].deeds, "pressed reset; pressed start");
        assert_eq!(moments[1].lamps, "X2 on; rest off");
        assert_eq!((moments[2].tried.as_str(), moments[2].saw.as_str()), ("B1/replace", "lift up"));
    }

    #[test]
    fn what_was_done_first_can_not_stand_behind_what_was_done_then() {
        assert!(cut([("then", "pressed reset"), ("did", "pressed start")].into_iter()).is_err());
    }
}
