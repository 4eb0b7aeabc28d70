//! Byte cliffs: payload lengths at which one byte more takes another group of symbols.

use design::quantity::{Charge, Duration};
use design::region::Modulation;

use super::Cost;
use forecast::radio::airtime;

/// The fewest bytes less that cost less.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Cliff {
    /// How many bytes less; 1 means that a single byte decides.
    pub bytes: usize,
    /// Time on air that they save.
    pub airtime: Duration,
    /// Charge that they save.
    pub charge: Charge,
}

/// Payload lengths that cost the same.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stair {
    /// Shortest.
    pub from: usize,
    /// Longest.
    pub to: usize,
    /// Time on air of each of them.
    pub airtime: Duration,
}

/// The fewest bytes less than `bytes` that cost less, down to one byte; `None` if there are none.
pub fn cliff(bytes: usize, cost: impl Fn(usize) -> Option<Cost>) -> Option<Cliff> {
    let now = cost(bytes)?;
    let shorter = (1..bytes).rev().find_map(|length| {
        let cost = cost(length).filter(|cost| cost.airtime < now.airtime)?;
        Some((length, cost))
    });
    shorter.map(|(length, cost)| Cliff {
        bytes: bytes - length,
        airtime: now.airtime - cost.airtime,
        charge: now.charge - cost.charge,
    })
}

/// Bytes that can be added to `bytes` without another group of symbols and without passing `most`.
pub fn room(bytes: usize, most: usize, cost: impl Fn(usize) -> Option<Cost>) -> usize {
    let Some(now) = cost(bytes) else { return 0 };
    let same = |length: &usize| cost(*length).is_some_and(|cost| cost.airtime <= now.airtime);
    (bytes + 1..=most).take_while(same).count()
}

/// Time on air by application bytes from 1 to `most`, as stairs; empty for LR-FHSS, which isn't modelled.
#[must_use]
pub fn stairs(modulation: Modulation, most: usize) -> Vec<Stair> {
    let mut stairs: Vec<Stair> = Vec::new();
    for bytes in 1..=most {
        let Some(airtime) = airtime::uplink(modulation, airtime::frame_bytes(bytes)) else { continue };
        match stairs.last_mut().filter(|last| last.airtime == airtime) {
            Some(last) => last.to = bytes,
            None => stairs.push(Stair { from: bytes, to: bytes, airtime }),
        }
    }
    stairs
}
