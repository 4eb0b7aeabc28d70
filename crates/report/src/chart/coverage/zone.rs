//! What a map says of each of its places, in words that explain themselves.

use super::CoverageMap;

/// What a map says of a place.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Zone {
    /// This step is the fastest that holds, counted from 0.
    Heard(usize),
    /// Not heard for certain as the file leaves it open, but heard if all that it leaves open is outside.
    IfOutside,
    /// Not heard.
    NotHeard,
    /// The ground there, or on the way to every gateway, is not known.
    HeightUnknown,
}

impl CoverageMap<'_> {
    /// What is said of a place.
    pub fn zone(&self, row: usize, column: usize) -> Zone {
        let Some(loss_db) = self.coverage.loss_db(row, column) else { return Zone::HeightUnknown };
        let step = |loss_db: f32| self.steps.iter().position(|step| f64::from(loss_db) <= step.most_loss_db);
        let kept = |step: &usize| self.steps.get(*step).is_some_and(|step| step.keeps_margin);
        match step(loss_db) {
            Some(held) if kept(&held) => Zone::Heard(held),
            thin => {
                let outside = self.coverage.outside_db(row, column).and_then(step).filter(kept);
                outside.map_or(thin.map_or(Zone::NotHeard, Zone::Heard), |_| Zone::IfOutside)
            }
        }
    }

    /// All that the map tells apart, in the order of its key; what depends on the file is left out where it does not occur.
    pub fn zones(&self) -> Vec<Zone> {
        let heard = (0..self.steps.len()).map(Zone::Heard);
        let open = self.coverage.outside_db.as_ref().map(|_| Zone::IfOutside);
        let has_holes = self.coverage.loss_db.iter().any(|loss_db| loss_db.is_nan());
        let unknown = has_holes.then_some(Zone::HeightUnknown);
        heard.chain(open).chain([Zone::NotHeard]).chain(unknown).collect()
    }

    /// In words: "heard at SF7", "only at SF12", "heard if the gateway is outside".
    pub fn zone_words(&self, zone: Zone) -> String {
        let Zone::Heard(number) = zone else {
            return match zone {
                Zone::IfOutside => format!("heard if {} outside", self.left_open),
                Zone::NotHeard => "not heard".to_owned(),
                _ => "height unknown".to_owned(),
            };
        };
        let Some(step) = self.steps.get(number) else { return String::new() };
        let kept = self.steps.iter().filter(|step| step.keeps_margin).count();
        match (step.keeps_margin, number + 1 == kept && kept > 1) {
            (true, false) => format!("heard at {}", step.words),
            (true, true) => format!("only at {}", step.words),
            (false, _) => format!("at {} in places", step.words),
        }
    }

    /// Shares of the places whose ground is known, of all that the map tells apart, in the order of its key; of
    /// [`Zone::HeightUnknown`] its share of all places.
    pub fn zone_shares(&self) -> Vec<f64> {
        let zones = self.zones();
        let mut counts = vec![0_usize; zones.len()];
        for (row, column) in self.places() {
            let zone = self.zone(row, column);
            if let Some(count) = zones.iter().position(|one| *one == zone).and_then(|at| counts.get_mut(at)) {
                *count += 1;
            }
        }
        let all: usize = counts.iter().sum();
        let is_unknown = |zone: &Zone| *zone == Zone::HeightUnknown;
        let unknown: usize =
            zones.iter().zip(&counts).filter(|(zone, _)| is_unknown(zone)).map(|(_, count)| count).sum();
        let share = |(zone, count): (&Zone, &usize)| {
            *count as f64 / if is_unknown(zone) { all } else { all - unknown }.max(1) as f64
        };
        zones.iter().zip(&counts).map(share).collect()
    }
}
