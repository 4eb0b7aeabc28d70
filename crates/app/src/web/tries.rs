//! Wrong passphrases, and how long somebody who gave several has to wait.
//!
//! Counted by name and address, by address, and by name: one who guesses from one place waits soon, one who guesses from many
//! waits later, and the person whose name is guessed can still log in from where he always does for longest.

use std::collections::HashMap;
use std::net::IpAddr;
use std::time::{Duration, Instant};

/// What is remembered of those who were wrong; beyond it the one that was wrong longest ago is forgotten (own choice).
const MOST: usize = 4096;
/// The first wait; each further wrong try doubles it, up to the longest (own choice).
const FIRST_WAIT: Duration = Duration::from_secs(2);
const LONGEST_WAIT: Duration = Duration::from_mins(15);
/// After so long without a wrong try all is forgotten.
const FORGOTTEN: Duration = Duration::from_hours(1);

/// Whose wrong tries are counted, and how many are free of a wait.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
enum Key {
    Both(String, IpAddr),
    Address(IpAddr),
    Name(String),
}

impl Key {
    fn of(name: &str, address: IpAddr) -> [Self; 3] {
        // A name that nobody has is as long as its sender likes.
        let name: String = name.chars().take(logbook::people::LONGEST_NAME).collect();
        [Self::Both(name.clone(), address), Self::Address(address), Self::Name(name)]
    }

    /// Own choice.
    const fn free(&self) -> u32 {
        match self {
            Self::Both(..) => 5,
            Self::Address(_) => 20,
            Self::Name(_) => 50,
        }
    }
}

#[derive(Clone, Copy, Debug)]
struct Wrong {
    times: u32,
    last: Instant,
}

impl Wrong {
    fn wait(&self, free: u32) -> Duration {
        let Some(beyond) = self.times.checked_sub(free) else { return Duration::ZERO };
        FIRST_WAIT.saturating_mul(1 << beyond.min(16)).min(LONGEST_WAIT)
    }
}

/// Wrong tries of the last hour.
#[derive(Debug, Default)]
pub(super) struct Tries(HashMap<Key, Wrong>);

impl Tries {
    /// How long somebody has to wait before a try; none if he need not.
    pub(super) fn wait(&self, name: &str, address: IpAddr, now: Instant) -> Option<Duration> {
        let left = |key: Key| {
            let wrong = self.0.get(&key)?;
            wrong.wait(key.free()).checked_sub(now.saturating_duration_since(wrong.last))
        };
        Key::of(name, address).into_iter().filter_map(left).max().filter(|wait| !wait.is_zero())
    }

    /// Counts a wrong try.
    pub(super) fn wrong(&mut self, name: &str, address: IpAddr, now: Instant) {
        self.0.retain(|_, wrong| now.saturating_duration_since(wrong.last) < FORGOTTEN);
        for key in Key::of(name, address) {
            if self.0.len() >= MOST && !self.0.contains_key(&key) {
                let oldest = self.0.iter().min_by_key(|(_, wrong)| wrong.last).map(|(key, _)| key.clone());
                oldest.and_then(|oldest| self.0.remove(&oldest));
            }
            let wrong = self.0.entry(key).or_insert(Wrong { times: 0, last: now });
            *wrong = Wrong { times: wrong.times.saturating_add(1), last: now };
        }
    }

    /// Forgets the wrong tries of somebody who was right, at this address.
    pub(super) fn right(&mut self, name: &str, address: IpAddr) {
        let [both, _, _] = Key::of(name, address);
        self.0.remove(&both);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HERE: IpAddr = IpAddr::V4(std::net::Ipv4Addr::new(192, 0, 2, 1));
    const SECOND: Duration = Duration::from_secs(1);

    fn there(last: u8) -> IpAddr {
        IpAddr::from([198, 51, 100, last])
    }

    #[test]
    fn five_wrong_tries_slow_down_and_each_further_one_doubles_the_wait() {
        let (mut tries, now) = (Tries::default(), Instant::now());
        for _ in 0..4 {
            tries.wrong("ann", HERE, now);
        }
        assert_eq!(tries.wait("ann", HERE, now), None);
        tries.wrong("ann", HERE, now);
        assert_eq!(tries.wait("ann", HERE, now), Some(2 * SECOND));
        assert_eq!(tries.wait("ann", HERE, now + SECOND), Some(SECOND));
        assert_eq!(tries.wait("ann", HERE, now + 2 * SECOND), None);
        for (times, wait_s) in [(6, 4), (7, 8), (8, 16)] {
            tries.wrong("ann", HERE, now);
            assert_eq!(tries.wait("ann", HERE, now), Some(wait_s * SECOND), "after {times}");
        }
        for _ in 0..100 {
            tries.wrong("ann", HERE, now);
        }
        assert_eq!(tries.wait("ann", HERE, now), Some(900 * SECOND), "a quarter of an hour at most");
        assert_eq!(tries.wait("ann", there(1), now), Some(900 * SECOND), "who guesses one name for long");
    }

    #[test]
    fn others_do_not_wait_for_the_wrong_tries_of_one() {
        let (mut tries, now) = (Tries::default(), Instant::now());
        for _ in 0..6 {
            tries.wrong("ann", HERE, now);
        }
        assert_eq!(tries.wait("ann", there(1), now), None, "ann elsewhere");
        assert_eq!(tries.wait("ben", HERE, now), None, "somebody else there");
        tries.right("ann", HERE);
        assert_eq!(tries.wait("ann", HERE, now), None);
    }

    #[test]
    fn who_tries_many_names_from_one_place_waits_too() {
        let (mut tries, now) = (Tries::default(), Instant::now());
        for number in 0..20 {
            tries.wrong(&format!("name {number}"), HERE, now);
        }
        assert_eq!(tries.wait("another", HERE, now), Some(2 * SECOND));
        assert_eq!(tries.wait("another", HERE, now + Duration::from_hours(1)), None);
    }

    #[test]
    fn what_is_remembered_is_bounded_however_many_try() {
        let (mut tries, now) = (Tries::default(), Instant::now());
        for number in 0..3000_u32 {
            tries.wrong(&format!("name {number}"), IpAddr::from((number + 1).to_be_bytes()), now);
        }
        assert!(tries.0.len() <= MOST, "{}", tries.0.len());
        tries.wrong(&"x".repeat(1_000_000), HERE, now);
        assert!(tries.0.keys().all(|key| match key {
            Key::Both(name, _) | Key::Name(name) => name.len() <= 64,
            Key::Address(_) => true,
        }));
        tries.wrong("later", HERE, now + Duration::from_hours(2));
        assert_eq!(tries.0.len(), 3, "what is an hour old is forgotten");
    }
}
