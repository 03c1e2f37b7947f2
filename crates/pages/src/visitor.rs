//! Who asks for a page, for the time in which it is made. Each page shows only what its visitor may do, and each of its
//! forms carries what proves that it is a form of theirs.

use maud::{Markup, html};
use records::accounts::{Role, SignedIn};

/// The name of the field in which a form carries its proof.
pub const TOKEN: &str = "token";

/// Who asks.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Visitor {
    /// Whoever sits at this computer, where nobody has to sign in.
    Here,
    /// Somebody who has not signed in.
    Stranger,
    /// Somebody who has.
    Known(SignedIn),
}

tokio::task_local! {
    static VISITOR: Visitor;
}

impl Visitor {
    /// Whether they may do what needs this role.
    pub fn may(&self, needed: Role) -> bool {
        match self {
            Self::Here => true,
            Self::Stranger => false,
            Self::Known(who) => who.role.may(needed),
        }
    }

    /// Lets something be done for this visitor.
    pub fn scope<F: Future>(self, work: F) -> impl Future<Output = F::Output> {
        VISITOR.scope(self, work)
    }

    /// The same for what keeps its thread busy.
    pub fn sync_scope<T>(self, work: impl FnOnce() -> T) -> T {
        VISITOR.sync_scope(self, work)
    }
}

/// Whoever asks now; a stranger if that was not said.
pub fn now() -> Visitor {
    VISITOR.try_with(Clone::clone).unwrap_or(Visitor::Stranger)
}

/// The name of whoever asks now; empty where nobody has to sign in.
pub fn name() -> String {
    let known = |visitor: &Visitor| match visitor {
        Visitor::Known(who) => who.name.clone(),
        Visitor::Here | Visitor::Stranger => String::new(),
    };
    VISITOR.try_with(known).unwrap_or_default()
}

/// Whether whoever asks now may do what needs this role.
pub fn may(needed: Role) -> bool {
    VISITOR.try_with(|visitor| visitor.may(needed)).unwrap_or(false)
}

/// What every form that changes something carries. Where nobody signs in there is nothing to carry: such a form is known
/// by where it comes from alone.
pub fn proof() -> Markup {
    html! {
        @if let Visitor::Known(who) = now() { input type="hidden" name=(TOKEN) value=(who.form_token); }
    }
}
