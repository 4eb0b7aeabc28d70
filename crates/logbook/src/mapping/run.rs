//! What a reported uplink is to those before it. The network that hears the device changes its sessions without telling
//! us: a counter that begins anew, or stands with other bytes, begins another run.

use wire::frame::{AcceptedCounters, LATE_WINDOW};

use super::Reported;

/// Without a time in the messages, one with the same key is the same uplink within so many days.
pub const SAME_WITHIN_DAYS: u32 = 400;

/// A run of one device at one source, as it was kept.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Run {
    /// The newest counter.
    pub last: Option<u32>,
    /// Which counters just below it were used.
    pub seen: AcceptedCounters,
}

/// What is to be done with a reported uplink.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Placed {
    /// It was kept before: a delivery of the same.
    Copy,
    /// It goes on in this run.
    New(Run),
    /// It is true, but a newer one came before it; it belongs to this run.
    Late(Run),
    /// It begins another run.
    NewRun(Run),
}

impl Run {
    /// Places an uplink; `delivered` says whether one with its [`Reported::key`] was kept before: in any run of this device
    /// and source if the messages tell the time, else in this run within [`SAME_WITHIN_DAYS`].
    pub fn place(self, reported: &Reported, delivered: bool) -> Placed {
        if delivered {
            return Placed::Copy;
        }
        let Some(counter) = reported.counter else { return Placed::New(self) };
        let Some(last) = self.last else { return Placed::New(self.newer(counter)) };
        if counter > last {
            Placed::New(self.newer(counter))
        } else if last - counter <= LATE_WINDOW && !self.seen.holds(last, counter) {
            Placed::Late(Self { seen: self.seen.after_late(last, counter), ..self })
        } else {
            Placed::NewRun(Self::default().newer(counter))
        }
    }

    fn newer(self, counter: u32) -> Self {
        Self { last: Some(counter), seen: self.seen.after_newer(self.last, counter) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mapping::Content;
    use wire::identity::DevEui;

    fn payload(port: u8, byte: u8) -> Content {
        Content::Payload { port, bytes: vec![byte] }
    }

    fn reported(counter: Option<u32>) -> Reported {
        Reported {
            dev_eui: DevEui::from_display_bytes([2; 8]),
            counter,
            content: payload(10, 1),
            at: None,
            rssi_dbm: None,
            snr_db: None,
        }
    }

    #[test]
    fn counters_go_on_come_late_or_begin_anew() {
        let mut run = Run::default();
        for (counter, expected) in [(100, "new"), (101, "new"), (37, "late"), (36, "anew")] {
            let placed = run.place(&reported(Some(counter)), false);
            let (word, after) = match placed {
                Placed::New(after) => ("new", after),
                Placed::Late(after) => ("late", after),
                Placed::NewRun(after) => ("anew", after),
                Placed::Copy => panic!("it was not delivered before"),
            };
            assert_eq!(word, expected, "{counter}");
            run = after;
        }
        assert_eq!(run.last, Some(36));
        // With other bytes under a counter that was used, the session has changed.
        assert!(matches!(run.place(&reported(Some(36)), false), Placed::NewRun(_)));
        assert_eq!(run.place(&reported(Some(36)), true), Placed::Copy);
        assert_eq!(run.place(&reported(None), false), Placed::New(run));
    }

    #[test]
    fn keys_tell_counter_time_port_and_payload() {
        let one = reported(Some(1));
        let others = [
            reported(Some(2)),
            reported(None),
            Reported { at: Some(1), ..one.clone() },
            Reported { content: payload(11, 1), ..one.clone() },
            Reported { content: payload(10, 2), ..one.clone() },
            Reported { content: Content::Values("{}".to_owned()), ..one.clone() },
        ];
        assert!(others.iter().all(|other| other.key() != one.key()));
        let heard_otherwise = Reported { rssi_dbm: Some(-90.0), ..one.clone() };
        assert_eq!(heard_otherwise.key(), one.key(), "another copy of it is the same uplink");
    }
}
