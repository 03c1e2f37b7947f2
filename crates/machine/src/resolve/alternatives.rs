//! What a file leaves open. While resolving, each open question takes the answer
//! that the script says (the first, where the script is too short); the list of
//! questions met is then the ground for all the other scripts.

use super::{Outcome, Resolver};
use crate::source::Span;

/// The most alternatives that are carried.
pub(crate) const MOST_ALTERNATIVES: usize = 24;

/// A question that the file leaves open.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct OpenChoice {
    /// Where in the file.
    pub span: Span,
    /// The possible answers: weight, and words for what is then assumed.
    pub options: Vec<(f64, String)>,
}

impl Resolver<'_> {
    /// Asks an open question; gives the index of the answer to go on with.
    pub fn choose(&mut self, span: Span, options: Vec<(f64, String)>) -> usize {
        let answer = self.script.get(self.open.len()).copied().unwrap_or(0).min(options.len().saturating_sub(1));
        self.open.push(OpenChoice { span, options });
        answer
    }
}

/// Resolves once for each combination of answers, at most `most` of them; gives weight, assumptions
/// and outcome of each. Beyond the cap the last questions keep their first answer, and the weights
/// are those of the answers that are carried.
pub(crate) fn alternatives(
    most: usize,
    mut resolve: impl FnMut(&[usize]) -> Outcome,
) -> Vec<(f64, Vec<String>, Outcome)> {
    let first = resolve(&[]);
    let questions = first.open.clone();
    if questions.is_empty() {
        return vec![(1.0, Vec::new(), first)];
    }
    let mut outcome = Some(first);
    let mut list = Vec::new();
    for script in scripts(&questions, most) {
        let weight: f64 = script.iter().zip(&questions).map(|(answer, question)| question.options[*answer].0).product();
        let words = script.iter().zip(&questions).map(|(answer, question)| question.options[*answer].1.clone());
        let this = if script.iter().all(|answer| *answer == 0) { outcome.take() } else { None };
        list.push((weight, words.collect(), this.unwrap_or_else(|| resolve(&script))));
    }
    let total: f64 = list.iter().map(|(weight, ..)| weight).sum();
    list.iter_mut().for_each(|(weight, ..)| *weight /= total);
    list
}

/// All combinations of answers, as long as they stay below the cap; questions beyond keep their first answer.
fn scripts(questions: &[OpenChoice], most: usize) -> Vec<Vec<usize>> {
    let mut scripts = vec![Vec::new()];
    for question in questions {
        let answers = if scripts.len() * question.options.len() <= most { question.options.len() } else { 1 };
        scripts = scripts
            .into_iter()
            .flat_map(|script| {
                (0..answers).map(move |answer| {
                    let mut longer: Vec<usize> = script.clone();
                    longer.push(answer);
                    longer
                })
            })
            .collect();
    }
    scripts
}

/// How many combinations there are in all.
pub(crate) fn combinations(questions: &[OpenChoice]) -> usize {
    questions.iter().fold(1_usize, |product, question| product.saturating_mul(question.options.len().max(1)))
}
