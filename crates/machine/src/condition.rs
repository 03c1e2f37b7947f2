//! Boolean conditions over facts of one kind. A condition over
//! [`ProgramFact`](crate::model::ProgramFact)s is what the controller can know;
//! one over [`WorldFact`](crate::model::WorldFact)s is what is really so. The two
//! types keep a chart from looking at a position that no input shows.

/// A boolean expression whose leaves are facts of kind `F`.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum Condition<F> {
    /// Always or never.
    Always(bool),
    /// The fact itself.
    Fact(F),
    /// Not so.
    Not(Box<Condition<F>>),
    /// All of these; true when empty.
    All(Vec<Condition<F>>),
    /// At least one of these; false when empty.
    Any(Vec<Condition<F>>),
}

impl<F> Default for Condition<F> {
    fn default() -> Self {
        Self::Always(true)
    }
}

impl<F: Clone> Condition<F> {
    /// The opposite, without piling up double negations.
    #[must_use]
    pub fn negated(self) -> Self {
        match self {
            Self::Always(value) => Self::Always(!value),
            Self::Not(inner) => *inner,
            other => Self::Not(Box::new(other)),
        }
    }

    /// Both conditions; flattens nested lists so that messages list the parts.
    #[must_use]
    pub fn and(self, other: Self) -> Self {
        match (self, other) {
            (Self::Always(true), one) | (one, Self::Always(true)) => one,
            (Self::All(mut list), Self::All(more)) => {
                list.extend(more);
                Self::All(list)
            }
            (Self::All(mut list), one) => {
                list.push(one);
                Self::All(list)
            }
            (one, Self::All(mut list)) => {
                list.insert(0, one);
                Self::All(list)
            }
            (one, two) => Self::All(vec![one, two]),
        }
    }

    /// The parts that must all hold: the members of an outermost "all", or the condition itself.
    #[must_use]
    pub fn conjuncts(&self) -> Vec<&Self> {
        match self {
            Self::Always(true) => Vec::new(),
            Self::All(list) => list.iter().flat_map(Self::conjuncts).collect(),
            other => vec![other],
        }
    }

    /// Whether the condition holds, when `holds` says which facts do.
    ///
    /// ```
    /// use machine::Condition;
    /// let shut_and_not_stop = Condition::All(vec![
    ///     Condition::Fact("shut"),
    ///     Condition::Fact("stop").negated(),
    /// ]);
    /// assert!(shut_and_not_stop.holds(&|fact| *fact == "shut"));
    /// ```
    pub fn holds(&self, holds: &impl Fn(&F) -> bool) -> bool {
        match self {
            Self::Always(value) => *value,
            Self::Fact(fact) => holds(fact),
            Self::Not(inner) => !inner.holds(holds),
            Self::All(list) => list.iter().all(|part| part.holds(holds)),
            Self::Any(list) => list.iter().any(|part| part.holds(holds)),
        }
    }

    /// Every fact named, in order, with repetitions.
    #[must_use]
    pub fn facts(&self) -> Vec<&F> {
        let mut facts = Vec::new();
        self.visit(&mut |fact| facts.push(fact));
        facts
    }

    fn visit<'c>(&'c self, see: &mut impl FnMut(&'c F)) {
        match self {
            Self::Always(_) => {}
            Self::Fact(fact) => see(fact),
            Self::Not(inner) => inner.visit(see),
            Self::All(list) | Self::Any(list) => list.iter().for_each(|part| part.visit(see)),
        }
    }

    /// The same condition with every fact replaced by a condition over other facts.
    #[must_use]
    pub fn map<G>(&self, change: &mut impl FnMut(&F) -> Condition<G>) -> Condition<G> {
        match self {
            Self::Always(value) => Condition::Always(*value),
            Self::Fact(fact) => change(fact),
            Self::Not(inner) => Condition::Not(Box::new(inner.map(change))),
            Self::All(list) => Condition::All(list.iter().map(|part| part.map(change)).collect()),
            Self::Any(list) => Condition::Any(list.iter().map(|part| part.map(change)).collect()),
        }
    }
}
