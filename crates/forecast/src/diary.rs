//! Where the node is in each hour of the year: under which sky, moving or not.

use design::node::{Condition, Design, Stay};
use design::surroundings::Sky;

/// What an hour is like, as far as loads can ask.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Situation {
    /// What is above.
    pub sky: Sky,
    /// Whether it moves.
    pub moving: bool,
    /// 1 to 12; 1 where no load asks for the month.
    pub month: u8,
    /// 0 to 23; 0 where no load asks for the hour.
    pub hour: u8,
}

impl Default for Situation {
    fn default() -> Self {
        Self { sky: Sky::Open, moving: false, month: 1, hour: 0 }
    }
}

/// The diary of a node: the kinds of hours that occur.
#[derive(Clone, Debug)]
pub struct Diary {
    stays: Vec<Stay>,
    asks_month: bool,
    asks_hour: bool,
    situations: Vec<Situation>,
}

impl Diary {
    /// The diary of a design; open sky and at rest where it says nothing.
    #[must_use]
    pub fn new(design: &Design) -> Self {
        let activities = || design.loads.iter().flat_map(|load| &load.activities);
        let conditions: Vec<&Condition> = activities().map(|activity| &activity.when).collect();
        let by_month = activities().any(|activity| activity.every.by_month());
        let mut diary = Self {
            stays: design.diary.clone(),
            asks_month: by_month || conditions.iter().any(|when| !when.months.is_empty()),
            asks_hour: conditions.iter().any(|when| when.hours.is_some()),
            situations: Vec::new(),
        };
        diary.situations = diary.all();
        diary
    }

    /// The kinds of hours that occur, each once.
    #[must_use]
    pub fn situations(&self) -> &[Situation] {
        &self.situations
    }

    /// The index of the kind of this hour: month 1 to 12, day 1 to 31, hour 0 to 23.
    #[must_use]
    pub fn kind(&self, month: u8, day: u8, hour: u8) -> usize {
        let situation = self.situation(month, day, hour);
        self.situations.iter().position(|known| *known == situation).unwrap_or(0)
    }

    /// What is above the node in this hour.
    #[must_use]
    pub fn sky(&self, month: u8, day: u8, hour: u8) -> Sky {
        self.situation(month, day, hour).sky
    }

    fn situation(&self, month: u8, day: u8, hour: u8) -> Situation {
        let stay = self.stays.iter().find(|stay| date_between((month, day), stay.from, stay.to));
        let moving = stay.and_then(|stay| stay.moving).is_some_and(|(from, to)| hour_between(hour, from, to));
        Situation {
            sky: stay.filter(|_| !moving).map_or(Sky::Open, |stay| stay.sky),
            moving,
            month: if self.asks_month { month } else { 1 },
            hour: if self.asks_hour { hour } else { 0 },
        }
    }

    fn all(&self) -> Vec<Situation> {
        let mut found = Vec::new();
        for month in 1..=12 {
            for day in 1..=31 {
                for hour in 0..24 {
                    let situation = self.situation(month, day, hour);
                    if !found.contains(&situation) {
                        found.push(situation);
                    }
                }
            }
        }
        found
    }
}

/// Whether an hour lies in [from, to), wrapping over midnight.
#[must_use]
pub fn hour_between(hour: u8, from: u8, to: u8) -> bool {
    if from <= to { (from..to).contains(&hour) } else { hour >= from || hour < to }
}

fn date_between(date: (u8, u8), from: (u8, u8), to: (u8, u8)) -> bool {
    if from <= to { (from..=to).contains(&date) } else { date >= from || date <= to }
}
