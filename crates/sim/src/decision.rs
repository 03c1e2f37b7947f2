//! Conditions compiled to decision chains: each node looks at one bit and says
//! where to go on. A chain needs no stack, stops as soon as the answer is clear,
//! and costs about a nanosecond for each bit it looks at (`cargo bench -p sim`).

use crate::signal::Signal;
use machine::Condition;

const YES: u32 = u32::MAX;
const NO: u32 = u32::MAX - 1;

#[derive(Clone, Copy, Debug)]
struct Node {
    signal: u32,
    yes: u32,
    no: u32,
}

/// A compiled condition: an entry into [`Decisions`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Decision(u32);

#[cfg(test)]
impl Decision {
    pub(crate) const ALWAYS: Self = Self(YES);
    pub(crate) const NEVER: Self = Self(NO);
}

/// The nodes of all conditions of a machine.
#[derive(Clone, Debug, Default)]
pub(crate) struct Decisions {
    nodes: Vec<Node>,
}

impl Decisions {
    /// Compiles a condition; `signal` says which bit shows a fact.
    pub(crate) fn compile<F: Clone>(
        &mut self,
        condition: &Condition<F>,
        signal: &mut impl FnMut(&F) -> Signal,
    ) -> Decision {
        Decision(self.emit(condition, YES, NO, signal))
    }

    /// Emits `condition` so that it leads to `yes` or `no`; gives its entry.
    fn emit<F: Clone>(
        &mut self,
        condition: &Condition<F>,
        yes: u32,
        no: u32,
        signal: &mut impl FnMut(&F) -> Signal,
    ) -> u32 {
        match condition {
            Condition::Always(true) => yes,
            Condition::Always(false) => no,
            Condition::Fact(fact) => {
                self.nodes.push(Node { signal: signal(fact).0, yes, no });
                (self.nodes.len() - 1) as u32
            }
            Condition::Not(inner) => self.emit(inner, no, yes, signal),
            Condition::All(list) => list.iter().rev().fold(yes, |next, part| self.emit(part, next, no, signal)),
            Condition::Any(list) => list.iter().rev().fold(no, |next, part| self.emit(part, yes, next, signal)),
        }
    }

    /// Whether the condition holds for these bits.
    #[inline]
    pub(crate) fn holds(&self, decision: Decision, bits: &[u64]) -> bool {
        let mut at = decision.0;
        while at < NO {
            let node = self.nodes[at as usize];
            let bit = bits[(node.signal >> 6) as usize] >> (node.signal & 63) & 1;
            at = if bit == 1 { node.yes } else { node.no };
        }
        at == YES
    }

    /// Like [`Decisions::holds`], noting every bit that was looked at. A bit that was not looked
    /// at could have had the other value without changing the answer.
    #[inline]
    pub(crate) fn holds_noting(&self, decision: Decision, bits: &[u64], looked_at: &mut [u64]) -> bool {
        let mut at = decision.0;
        while at < NO {
            let node = self.nodes[at as usize];
            let (word, mask) = ((node.signal >> 6) as usize, 1_u64 << (node.signal & 63));
            looked_at[word] |= mask;
            at = if bits[word] & mask != 0 { node.yes } else { node.no };
        }
        at == YES
    }

    /// The bits that the condition looks at, without repetition.
    pub(crate) fn signals(&self, decision: Decision) -> Vec<Signal> {
        let mut seen = Vec::new();
        let mut todo = vec![decision.0];
        let mut visited = std::collections::BTreeSet::new();
        while let Some(at) = todo.pop() {
            if at < NO && visited.insert(at) {
                let node = self.nodes[at as usize];
                if !seen.contains(&Signal(node.signal)) {
                    seen.push(Signal(node.signal));
                }
                todo.extend([node.yes, node.no]);
            }
        }
        seen.sort_unstable();
        seen
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_decision_chain_agrees_with_the_condition_on_every_assignment() {
        let a = || Condition::Fact(0_u32);
        let b = || Condition::Fact(1_u32);
        let c = || Condition::Fact(2_u32);
        let condition = Condition::Any(vec![
            Condition::All(vec![a(), b().negated()]),
            Condition::Not(Box::new(Condition::Any(vec![b(), Condition::All(vec![c(), a()])]))),
        ]);
        let mut decisions = Decisions::default();
        let decision = decisions.compile(&condition, &mut |fact| Signal(*fact));
        for bits in 0..8_u64 {
            let expected = condition.holds(&|fact| bits >> fact & 1 == 1);
            assert_eq!(decisions.holds(decision, &[bits]), expected, "bits {bits:03b}");
        }
        assert_eq!(decisions.signals(decision), [Signal(0), Signal(1), Signal(2)]);
    }

    #[test]
    fn constants_need_no_node() {
        let mut decisions = Decisions::default();
        assert_eq!(decisions.compile::<u32>(&Condition::Always(true), &mut |_| Signal(0)), Decision::ALWAYS);
        assert_eq!(decisions.compile::<u32>(&Condition::Any(vec![]), &mut |_| Signal(0)), Decision::NEVER);
    }
}
