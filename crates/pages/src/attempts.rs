//! How often signing in may be tried: after some failures each further one has to wait, twice as long each time, by
//! account and by the address from which it comes. Names that no account has are treated like the others.

use std::collections::HashMap;
use std::hash::Hash;
use std::net::{IpAddr, Ipv6Addr};

use jiff::{SignedDuration, Timestamp};

/// Failures on one account before there is a wait.
const FREE_BY_NAME: u32 = 5;
/// Failures from one address before there is a wait; a whole office can have the same.
const FREE_BY_ADDRESS: u32 = 20;
/// The longest wait, in seconds. Longer would let anybody keep somebody out for good.
const LONGEST_WAIT: i64 = 15 * 60;
/// Failures are forgotten after so long without another.
const FORGOTTEN: SignedDuration = SignedDuration::from_hours(2);
/// Names and addresses that are kept in mind; those without a wait are forgotten first.
const MOST: usize = 10_000;
/// Letters of a name that tell it from others here.
const LETTERS: usize = 200;

#[derive(Clone, Copy)]
struct Tally {
    failures: u32,
    last: Timestamp,
}

impl Tally {
    fn until(self, free: u32) -> Timestamp {
        let wait = match self.failures.checked_sub(free) {
            None | Some(0) => 0,
            Some(more) => 1_i64.checked_shl(more.min(30)).unwrap_or(LONGEST_WAIT).min(LONGEST_WAIT),
        };
        self.last.saturating_add(SignedDuration::from_secs(wait)).unwrap_or(Timestamp::MAX)
    }
}

/// What was tried lately.
#[derive(Default)]
pub struct Attempts {
    by_name: HashMap<String, Tally>,
    by_address: HashMap<IpAddr, Tally>,
}

/// Somebody has one IPv4 address, or all of an IPv6 network of 64 bits.
fn place(address: IpAddr) -> IpAddr {
    match address {
        IpAddr::V6(six) => match six.to_ipv4_mapped() {
            Some(four) => IpAddr::V4(four),
            None => IpAddr::V6(Ipv6Addr::from_bits(six.to_bits() & !u128::from(u64::MAX))),
        },
        four @ IpAddr::V4(_) => four,
    }
}

fn key(name: &str) -> String {
    name.trim().chars().take(LETTERS).flat_map(char::to_lowercase).collect()
}

fn wait<K: Eq + Hash>(known: &HashMap<K, Tally>, key: &K, free: u32, now: Timestamp) -> Option<SignedDuration> {
    let until = known.get(key)?.until(free);
    (until > now).then(|| until.duration_since(now))
}

fn count<K: Eq + Hash>(known: &mut HashMap<K, Tally>, key: K, free: u32, now: Timestamp) {
    let is_fresh = |one: &Tally| now.duration_since(one.last) < FORGOTTEN;
    if known.len() >= MOST {
        known.retain(|_, one| is_fresh(one) && one.until(free) > now);
    }
    if known.len() >= MOST {
        // All of them wait. Whoever can do that has many addresses; the accounts keep their own waits.
        return;
    }
    let one = known.entry(key).or_insert(Tally { failures: 0, last: now });
    if !is_fresh(one) {
        one.failures = 0;
    }
    one.failures = one.failures.saturating_add(1);
    one.last = now;
}

impl Attempts {
    /// Begins an attempt, which counts as failed until [`Attempts::succeeded`] is called: many at once are no way
    /// around the wait.
    ///
    /// # Errors
    /// With the time to wait; the password is not even looked at then.
    pub fn begin(&mut self, name: &str, address: IpAddr, now: Timestamp) -> Result<(), SignedDuration> {
        let (name, address) = (key(name), place(address));
        let waits =
            [wait(&self.by_name, &name, FREE_BY_NAME, now), wait(&self.by_address, &address, FREE_BY_ADDRESS, now)];
        if let Some(longest) = waits.into_iter().flatten().max() {
            return Err(longest);
        }
        count(&mut self.by_name, name, FREE_BY_NAME, now);
        count(&mut self.by_address, address, FREE_BY_ADDRESS, now);
        Ok(())
    }

    /// The attempt was right. Of the address only this one is forgiven: whoever has an account can't wipe out with it
    /// what was guessed on others.
    pub fn succeeded(&mut self, name: &str, address: IpAddr) {
        self.by_name.remove(&key(name));
        if let Some(one) = self.by_address.get_mut(&place(address)) {
            one.failures = one.failures.saturating_sub(1);
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn at(seconds: i64) -> Timestamp {
        "2026-03-01T09:00:00Z".parse::<Timestamp>().unwrap() + SignedDuration::from_secs(seconds)
    }

    fn address(last: u8) -> IpAddr {
        IpAddr::from([192, 0, 2, last])
    }

    #[test]
    fn waits_grow_twice_as_long_each_time_up_to_the_longest() {
        let mut attempts = Attempts::default();
        let (mut now, mut waits) = (0, Vec::new());
        for number in 0..30 {
            // From ever new addresses: the account has its own count. Blanks and capitals make no other name of it.
            let name = if number % 2 == 0 { "Ada" } else { " aDA " };
            while let Err(wait) = attempts.begin(name, address(number), at(now)) {
                waits.push(wait.as_secs());
                now += wait.as_secs();
            }
        }
        assert_eq!(&waits[..5], [2, 4, 8, 16, 32]);
        assert_eq!(waits.last(), Some(&LONGEST_WAIT));
        assert_eq!(waits.len(), 24);
        // Another account is not kept waiting.
        assert!(attempts.begin("Bob", address(200), at(now)).is_ok());
    }

    #[test]
    fn one_address_can_not_try_all_names() {
        let mut attempts = Attempts::default();
        for number in 0..=FREE_BY_ADDRESS {
            assert!(attempts.begin(&format!("name {number}"), address(1), at(0)).is_ok());
        }
        assert!(attempts.begin("yet another", address(1), at(0)).is_err());
        // An own account wipes nothing out.
        attempts.succeeded("name 1", address(1));
        attempts.succeeded("name 1", address(2));
        let mut six = Attempts::default();
        for number in 0..=FREE_BY_ADDRESS {
            let one: IpAddr = format!("2001:db8::{number:x}").parse().unwrap();
            assert!(six.begin(&format!("name {number}"), one, at(0)).is_ok());
        }
        assert!(six.begin("yet another", "2001:db8::ffff".parse().unwrap(), at(0)).is_err());
        assert!(six.begin("yet another", "2001:db8:0:1::1".parse().unwrap(), at(0)).is_ok());
    }

    #[test]
    fn a_success_or_time_forgives_and_memory_is_bounded() {
        let mut attempts = Attempts::default();
        for _ in 0..=FREE_BY_NAME {
            attempts.begin("Ada", address(1), at(0)).unwrap();
        }
        assert!(attempts.begin("Ada", address(1), at(1)).is_err());
        attempts.succeeded("ada", address(1));
        assert!(attempts.begin("Ada", address(1), at(1)).is_ok());
        for number in 0..30_000 {
            _ = attempts.begin(&format!("name {number}"), address(7), at(10_000 * number));
        }
        assert!(attempts.by_name.len() <= MOST);
        for number in 0_u32..30_000 {
            _ = attempts.begin(&format!("name {number}"), IpAddr::from(number.to_be_bytes()), at(0));
        }
        assert!(attempts.by_name.len() <= MOST && attempts.by_address.len() <= MOST);
    }
}
