//! What happened to a machine lately, and how much likelier that makes a
//! deviation. The numbers multiply rates, never probabilities.

/// Something that happened to the machine between its last good run and the call.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Event {
    /// It was carried, turned or set up elsewhere.
    Moved,
    /// It was cleaned or washed down.
    Cleaned,
    /// Somebody repaired or serviced something on it.
    Repaired,
    /// Its mains was lost for a time.
    PowerCut,
}

impl Event {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Moved, Self::Cleaned, Self::Repaired, Self::PowerCut];

    /// The key in machine files and JSON.
    ///
    /// ```
    /// assert_eq!(machine::model::Event::PowerCut.key(), "power_cut");
    /// ```
    #[must_use]
    pub fn key(self) -> &'static str {
        match self {
            Self::Moved => "moved",
            Self::Cleaned => "cleaned",
            Self::Repaired => "repaired",
            Self::PowerCut => "power_cut",
        }
    }
}

/// How many times likelier a deviation is after each event; 1 where an event says nothing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AfterEvents([f64; Event::ALL.len()]);

impl Default for AfterEvents {
    fn default() -> Self {
        Self([1.0; Event::ALL.len()])
    }
}

impl AfterEvents {
    /// Factors in the order of [`Event::ALL`].
    #[must_use]
    pub const fn new(factors: [f64; Event::ALL.len()]) -> Self {
        Self(factors)
    }

    /// The same with this factor for this event.
    #[must_use]
    pub fn with(mut self, event: Event, factor: f64) -> Self {
        self.0[event as usize] = factor;
        self
    }

    /// The factor after one event.
    #[must_use]
    pub fn after(&self, event: Event) -> f64 {
        self.0[event as usize]
    }

    /// The factor after several events: the product. An event that is named twice counts once.
    ///
    /// ```
    /// use machine::model::{AfterEvents, Event};
    /// let after = AfterEvents::default().with(Event::Moved, 4.0).with(Event::Cleaned, 1.5);
    /// assert_eq!(after.after_all(&[]), 1.0);
    /// assert_eq!(after.after_all(&[Event::Moved, Event::Cleaned, Event::Moved]), 6.0);
    /// ```
    #[must_use]
    pub fn after_all(&self, events: &[Event]) -> f64 {
        Event::ALL.iter().filter(|event| events.contains(event)).map(|event| self.after(*event)).product()
    }
}
