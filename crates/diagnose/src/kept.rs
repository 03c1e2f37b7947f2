//! What was worked out about a machine as bytes that can be laid by for the next time, and taken up again.
//!
//! They go by a **name** that follows from everything that they depend on: the machine with all its alternatives as
//! it was resolved (settings, revision and learned rates are in it), what it has gone through, the options, and the program
//! itself. Bytes are taken up only if that name and the hash of all of them stand in them. What is taken up is therefore what was laid
//! by, unchanged, by this same program for this same machine, and no index in it is looked at again.

use crate::evidence::Circumstances;
use crate::world::{KeptRoutine, World};
use blake2::{Blake2b256, Digest as _};
use machine::Alternative;
use sim::Options;
use std::fmt::{self, Write as _};

/// Counted up when something else is kept, or in another way.
const FORMAT: u32 = 1;

/// Bytes of a hash.
const HASH: usize = 32;

/// A place where what was worked out is laid by for the next time.
///
/// It may lose what it was given, or give something else: nothing is believed of it. It has nobody to complain to.
pub trait Shelf: fmt::Debug + Send + Sync {
    /// The bytes that were laid by under this name, if they are there.
    fn take(&self, name: &str) -> Option<Vec<u8>>;

    /// Lays bytes by. The name is made of 64 hexadecimal digits; the same name has the same bytes.
    fn lay_by(&self, name: &str, bytes: &[u8]);
}

/// A shelf that has nothing and keeps nothing.
#[derive(Clone, Copy, Debug, Default)]
pub struct NoShelf;

impl Shelf for NoShelf {
    fn take(&self, _: &str) -> Option<Vec<u8>> {
        None
    }

    fn lay_by(&self, _: &str, _: &[u8]) {}
}

/// The name of what is worked out of these.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Name([u8; HASH]);

impl Name {
    /// Everything is hashed as it prints for programmers: that has every field, texts in quotes and all digits of a
    /// number.
    pub fn of(alternatives: &[Alternative], circumstances: &Circumstances, options: &Options) -> Self {
        struct Hashing(Blake2b256);
        impl fmt::Write for Hashing {
            fn write_str(&mut self, text: &str) -> fmt::Result {
                self.0.update(text.as_bytes());
                Ok(())
            }
        }
        let program = (FORMAT, env!("CARGO_PKG_VERSION"), env!("LAMPWISE_SOURCES"));
        let mut hashing = Hashing(Blake2b256::new());
        // Neither the hash nor what is derived fails.
        let _ = write!(hashing, "{:?}", (program, alternatives, circumstances, options));
        Self(hashing.0.finalize().into())
    }
}

impl fmt::Display for Name {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

/// The bytes of what was worked out: its name, the hash of name and content, the content. None if there is too much
/// of it.
pub(crate) fn sealed(name: Name, worlds: &[World]) -> Option<Vec<u8>> {
    let content: Vec<Vec<KeptRoutine<'_>>> = worlds.iter().map(World::kept).collect();
    let bytes = postcard::to_extend(&content, vec![0; 2 * HASH]).ok();
    bytes.map(|mut bytes| {
        let hash = hash(name, &bytes[2 * HASH..]);
        bytes[..HASH].copy_from_slice(&name.0);
        bytes[HASH..2 * HASH].copy_from_slice(&hash);
        bytes
    })
}

/// What is in the bytes, by alternative and routine; none if they are not whole, or go by another name.
pub(crate) fn opened(name: Name, bytes: &[u8]) -> Option<Vec<Vec<KeptRoutine<'static>>>> {
    let (named, rest) = bytes.split_at_checked(HASH)?;
    let (hashed, content) = rest.split_at_checked(HASH)?;
    let whole = named == name.0 && hashed == hash(name, content);
    if whole { postcard::from_bytes(content).ok() } else { None }
}

fn hash(name: Name, content: &[u8]) -> [u8; HASH] {
    let mut hash = Blake2b256::new();
    hash.update(name.0);
    hash.update(content);
    hash.finalize().into()
}
