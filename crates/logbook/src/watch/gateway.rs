//! What is known of a gateway.

use std::collections::VecDeque;

use crate::received::Moment;

/// Gaps between frames that are remembered, and how many it takes to know what is usual.
const GAPS: (usize, usize) = (200, 20);

/// A gateway as it was heard.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Gateway {
    /// Its newest sign of life of those that come every few seconds.
    pub(super) asked: Option<Moment>,
    /// Since when they have come without too long a pause.
    pub(super) asking_since: Option<Moment>,
    /// Its newest frame with a sound checksum.
    pub(super) heard: Option<Moment>,
    gaps: VecDeque<Moment>,
}

impl Gateway {
    /// It has asked for answers; signs of life come in the time of `patience`.
    pub(super) fn ask(&mut self, at: Moment, patience: Moment) {
        if self.asked.is_none_or(|last| at - last > patience) {
            self.asking_since = Some(at);
        }
        self.asked = Some(self.asked.map_or(at, |last| last.max(at)));
    }

    /// It has heard a frame with a sound checksum; a gap counts if it was there all the time.
    pub(super) fn hear(&mut self, at: Moment) {
        let was_there = |last| self.asking_since.is_none_or(|since| since <= last);
        if let Some(last) = self.heard.filter(|last| was_there(*last)) {
            if self.gaps.len() == GAPS.0 {
                self.gaps.pop_front();
            }
            self.gaps.push_back((at - last).max(0));
        }
        self.heard = Some(self.heard.map_or(at, |last| last.max(at)));
    }

    /// The gap that one in a hundred exceeds; none as long as too few are known.
    pub(super) fn usual_gap(&self) -> Option<Moment> {
        if self.gaps.len() < GAPS.1 {
            return None;
        }
        let mut sorted: Vec<Moment> = self.gaps.iter().copied().collect();
        sorted.sort_unstable();
        let place = (99 * sorted.len()).div_ceil(100).saturating_sub(1);
        sorted.get(place).copied()
    }
}

#[cfg(test)]
mod tests {
    use super::super::MINUTE;
    use super::*;

    #[test]
    fn the_usual_gap_is_one_that_few_exceed_and_needs_twenty() {
        let mut gateway = Gateway::default();
        let mut at = 0;
        for _ in 0..20 {
            gateway.hear(at);
            at += 10 * MINUTE;
        }
        assert_eq!(gateway.usual_gap(), None, "nineteen gaps");
        gateway.hear(at);
        assert_eq!(gateway.usual_gap(), Some(10 * MINUTE));
        gateway.hear(at + 25 * MINUTE);
        // The longest of 21: a hundredth part of 21 is less than one.
        assert_eq!(gateway.usual_gap(), Some(25 * MINUTE));
    }

    #[test]
    fn a_gap_in_which_it_was_away_is_none_of_its_usual_ones() {
        let mut gateway = Gateway::default();
        gateway.ask(0, MINUTE);
        for minute in 0..=30 {
            gateway.hear(minute * MINUTE);
        }
        // Back after two hours.
        gateway.ask(150 * MINUTE, MINUTE);
        gateway.hear(151 * MINUTE);
        assert_eq!(gateway.usual_gap(), Some(MINUTE));
    }
}
