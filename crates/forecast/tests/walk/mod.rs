//! One life through given hours, again and again, by the production step.
#![allow(dead_code, reason = "each test uses the part it needs, so an expectation would fail in some")]

use std::ops::ControlFlow;

use forecast::life::kernel::{HourOutcome, Life, step};
use forecast::life::node::NodeTables;
use forecast::sky::hours::HourWeather;

/// A weather record ready for the hour step; it is lived through again and again.
#[derive(Clone, Debug, Default)]
pub(crate) struct Record {
    /// The hours.
    pub(crate) hours: Vec<HourWeather>,
    /// Kind of each hour, as the demand table counts them.
    pub(crate) kinds: Vec<u16>,
    /// Share of its yield that the panel keeps from one pass to the next.
    pub(crate) yield_kept_per_pass: f32,
}

impl Record {
    /// The record as given for a store: charging currents \[A\], one kind of hour, nothing wears.
    #[must_use]
    pub(crate) fn of_currents(amperes: impl IntoIterator<Item = f32>) -> Self {
        let hour = |in_plane_w_m2| HourWeather { in_plane_w_m2, ..HourWeather::default() };
        let hours: Vec<_> = amperes.into_iter().map(hour).collect();
        Self { kinds: vec![0; hours.len()], hours, yield_kept_per_pass: 1.0 }
    }
}

/// Something that happens to the sun for a while.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Darkness {
    /// Hours from the start of the walk for which the panel yields nothing; `usize::MAX` for ever.
    pub(crate) hours: usize,
}

/// Where a walk starts and how far it goes.
#[derive(Clone, Debug)]
pub(crate) struct Walk {
    /// The life at the start.
    pub(crate) life: Life,
    /// Index of the first hour in the record.
    pub(crate) from: usize,
    /// Longest walk \[h\].
    pub(crate) hours: usize,
    /// No sun for so long from the start.
    pub(crate) darkness: Darkness,
}

impl Walk {
    /// A walk under the record's own sun.
    #[must_use]
    pub(crate) fn new(life: Life, from: usize, hours: usize) -> Self {
        Self { life, from, hours, darkness: Darkness { hours: 0 } }
    }

    /// The same walk with no sun at all.
    #[must_use]
    pub(crate) fn in_the_dark(mut self) -> Self {
        self.darkness = Darkness { hours: usize::MAX };
        self
    }

    /// Walks and calls `visit` after every hour with its index in the walk; it may end the walk. Returns the life at the end.
    pub(crate) fn go(
        self,
        node: &NodeTables,
        record: &Record,
        mut visit: impl FnMut(usize, &Life, &HourOutcome) -> ControlFlow<()>,
    ) -> Life {
        let Self { mut life, from, hours, darkness } = self;
        let year = record.hours.len();
        let mut place = from % year;
        for index in 0..hours {
            let mut weather = record.hours[place];
            if index < darkness.hours {
                weather.in_plane_w_m2 = 0.0;
            }
            let outcome = step(node, usize::from(record.kinds[place]), &weather, &mut life);
            if (index + 1).is_multiple_of(year) {
                life.yield_factor *= record.yield_kept_per_pass;
            }
            if visit(index, &life, &outcome).is_break() {
                break;
            }
            place = if place + 1 == year { 0 } else { place + 1 };
        }
        life
    }
}
