//! Typed text cut into its smallest pieces: runs of letters, runs of digits,
//! single marks. `X03`, `x 3` and `X3` come out the same, and so do `übrige`
//! and `ubrige`, because people type what their keyboard gives.

use std::ops::Range;

use logos::Logos;

#[derive(Logos, Clone, Copy, Debug, PartialEq, Eq)]
enum Mark {
    // An underscore joins the words of a name in a machine file; people type a blank there.
    #[regex(r"[ \t\r_\u{a0}]+")]
    Blank,
    #[token("\n")]
    Line,
    #[regex(r"[\p{L}\p{M}]+(['’´][\p{L}\p{M}]+)*")]
    Letters,
    #[regex(r"[0-9]+")]
    Digits,
    #[regex("\"[^\"\n]*\"")]
    #[regex("`[^`\n]*`")]
    #[regex("“[^”\n]*”")]
    Quoted,
    #[regex(r"\.\.\.?")]
    #[token("…")]
    Dots,
}

/// What a unit is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum UnitKind {
    /// Letters.
    Letters,
    /// Digits.
    Digits,
    /// A text in quotation marks, which is always a name.
    Quoted,
    /// End of a line.
    Line,
    /// A single mark, or the dots of a range.
    Mark,
}

/// One piece of the text.
#[derive(Clone, Debug)]
pub(super) struct Unit {
    /// Lower case, without accents and leading zeros; without the quotation marks.
    pub text: String,
    /// What it is made of.
    pub kind: UnitKind,
    /// Where it is.
    pub span: Range<usize>,
    /// Whether a blank or the beginning of the text comes before it.
    pub after_blank: bool,
}

/// Cuts a text into its units.
pub(super) fn units(text: &str) -> Vec<Unit> {
    let mut found: Vec<Unit> = Vec::new();
    let mut after_blank = true;
    for (mark, span) in Mark::lexer(text).spanned() {
        let slice = text.get(span.clone()).unwrap_or_default();
        let (kind, folded) = match mark {
            Ok(Mark::Blank) => {
                after_blank = true;
                continue;
            }
            Ok(Mark::Line) => (UnitKind::Line, "\n".to_owned()),
            Ok(Mark::Letters) => (UnitKind::Letters, fold(slice)),
            Ok(Mark::Digits) => {
                let bare = slice.trim_start_matches('0');
                (UnitKind::Digits, if bare.is_empty() { "0".to_owned() } else { bare.to_owned() })
            }
            Ok(Mark::Quoted) => {
                let mut inside = slice.chars();
                inside.next();
                inside.next_back();
                (UnitKind::Quoted, inside.as_str().to_owned())
            }
            Ok(Mark::Dots) => (UnitKind::Mark, "..".to_owned()),
            Err(()) => (UnitKind::Mark, slice.to_owned()),
        };
        found.push(Unit { text: folded, kind, span, after_blank });
        after_blank = mark == Ok(Mark::Line);
    }
    found
}

/// The units of a name, as the key under which it is found.
pub(super) fn key(name: &str) -> Vec<String> {
    units(name).into_iter().map(|unit| unit.text).collect()
}

/// Lower case, without accents and apostrophes.
pub(super) fn fold(word: &str) -> String {
    let mut folded = String::with_capacity(word.len());
    for letter in word.chars().flat_map(char::to_lowercase) {
        match letter {
            'á' | 'à' | 'â' | 'ä' => folded.push('a'),
            'é' | 'è' | 'ê' | 'ë' => folded.push('e'),
            'í' | 'ì' | 'î' | 'ï' => folded.push('i'),
            'ó' | 'ò' | 'ô' | 'ö' => folded.push('o'),
            'ú' | 'ù' | 'û' | 'ü' => folded.push('u'),
            'ñ' => folded.push('n'),
            'ß' => folded.push_str("ss"),
            '\'' | '’' | '´' | '\u{300}'..='\u{36f}' => {}
            other => folded.push(other),
        }
    }
    folded
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_label_is_the_same_however_it_is_typed() {
        for typed in ["X3", "x3", "X 3", "X03", "x_003"] {
            assert_eq!(key(typed), ["x", "3"], "{typed}");
        }
        assert_eq!(key("I0.3"), ["i", "0", ".", "3"]);
        assert_ne!(key("X12"), key("X1 2"));
    }

    #[test]
    fn accents_and_apostrophes_do_not_matter() {
        assert_eq!(key("Übrige können’s u\u{308}"), ["ubrige", "konnens", "u"]);
    }

    #[test]
    fn every_byte_of_a_text_is_blank_or_in_one_unit() {
        let text = "X3\u{a0}an, “ON” … \"E-STOP\"\n½ 'x";
        let mut covered = 0;
        for unit in units(text) {
            assert!(unit.span.start >= covered);
            assert!(text[covered..unit.span.start].chars().all(|c| c.is_whitespace() || c == '_'));
            covered = unit.span.end;
        }
    }
}
