//! The keys of messages and their fields.

mod value;

pub(crate) use value::{Day, Decimal, KindWord};

use crate::file::value::{DataRate, Named};
use crate::message::{Direction, Meaning};
use crate::quantity::{Bytes, Duration, Length};
use crate::section::rule::{EARLIER, PRIORITY, within};
use crate::section::{At, section};

section! {
    /// A message: what it carries, and where. Its name and those of its fields are lower-case ASCII letters, digits and `_`. The fields lie in the order of the file, most significant bit first, without gaps.
    pub(crate) struct MessageSection = "message" {
        /// What it is, in words.
        title: String = optional "what the growers see";
        /// 1 to 223; it tells the receiver which message it has.
        port: u32 = required 2;
        /// `up` from the node, `down` to the node.
        direction: Direction = default "up";
        /// The edition in the first bits of the message. Left out: a new edition takes a new port.
        version: VersionSection = optional { bits = 2, value = 1 };
        /// How long it may become; a message that grows beyond it is an error.
        at_most: Bytes = optional "12 bytes" where within("1 byte", "100000 bytes");
        /// What is sent instead at slow data rates: the fields of high priority, without history.
        short: ShortSection = optional { port = 3, keeps = 1, up_to = "DR2" };
        /// What it carries: a table for each field, or a line such as `humidity = { unit = "%", range = [0, 100], resolution = 1 }` under `[message.NAME.field]`.
        field: Named<FieldSection> = required temperature;
    }
}

section! {
    /// The edition in the first bits of a message.
    pub(crate) struct VersionSection = "version" {
        /// How many bits, 1 to 8.
        bits: u32 = required 2;
        /// The edition.
        value: u32 = required 1;
    }
}

section! {
    /// What is sent instead where a message is too long.
    pub(crate) struct ShortSection = "short" {
        /// Its own port, 1 to 223, so that neither form can be taken for the other.
        port: u32 = required 3;
        /// Fields of this priority and more important ones are kept.
        keeps: u32 = default 1 where PRIORITY;
        /// The fastest data rate at which the short form is sent. Left out: it is sent only where the full one does not fit.
        up_to: DataRate = optional "DR2";
    }
}

section! {
    /// One thing that a message says. Every field can say that it has no reading.
    pub(crate) struct FieldSection = "field" {
        /// `number`, `battery` (a number of millivolts), `counter`, `flag`, `choice`, `position`, `time` or `bytes`.
        kind: KindWord = default "number";
        /// What it is, in words.
        title: String = optional "air at two metres";
        /// UCUM code of the unit, as `Cel`, `%`, `mm`, `hPa`, `m/s`. Needed for numbers; of a counter, the unit of `step`.
        unit: String = shown "Cel";
        /// Lowest and highest value of a number in its unit; what lies outside is sent as below or above.
        range: (Decimal, Decimal) = shown [-40, 60];
        /// Distance between two values of a number, in its unit. Needed unless `bits` is written.
        resolution: Decimal = shown 0.1;
        /// Width of a number's code, 3 to 32, or of a counter, 1 to 31. Left out: it follows from `range` and `resolution`, or from `per_hour` and `longest_gap`.
        bits: u32 = optional 10;
        /// What one count of a counter is worth, in its unit; left out: 1.
        step: Decimal = depends 0.2;
        /// Most counts in an hour. Needed for a counter without `bits`.
        per_hour: u32 = depends 400;
        /// Longest time without a message over which a counter must not go round. Needed for a counter without `bits`.
        longest_gap: Duration = depends "2 d" where within("1 s", "50 years");
        /// Words of a choice, at least two.
        words: Vec<At<String>> = depends ["dry", "wet"];
        /// Distance between neighbouring positions, at most.
        grid: Length = depends "2 m" where within("1 mm", "20000 km");
        /// First day that a time can say.
        epoch: Day = depends "2026-01-01";
        /// Distance between two times, in whole seconds.
        tick: Duration = depends "1 min" where within("1 ms", "1 year");
        /// How long after the epoch a time can lie.
        lasts: Duration = depends "20 years" where within("1 s", "1000 years");
        /// Number of bytes.
        length: Bytes = depends "4 bytes" where within("1 byte", "100000 bytes");
        /// 1 is most important; decides what the short form keeps.
        priority: u32 = default 1 where PRIORITY;
        /// Earlier readings sent along, so that a lost message loses nothing; numbers and counters only.
        history: HistorySection = optional { earlier = 2, bits = 5 };
        /// Constants of each device, such as its zero level, which stand in the registry and not here.
        per_device: Vec<At<String>> = optional ["zero_level"];
        /// What the field tells about the node itself, for `overwinter learn`: `battery` (voltage, in `mV` or `V`; so means every field of kind `battery`), `charging` (minutes in charge: a counter in `min`), `panel` (voltage, in `mV` or `V`), `box` (temperature of the air in the box, in `Cel`), or `restarted` (a flag: first message after a restart). Each once in a message from the node.
        means: Meaning = optional "charging";
        /// The activity whose interval a number to the node sets, as `report`, or `LOAD.report` where two loads have one: then everyone who sends the message is told when the next report is expected. Where the interval depends on month or charge it sets the least: the node waits for whichever is longer. Its unit is `s`, `min`, `h` or `d`.
        sets: String = depends "report";
    }
}

section! {
    /// Earlier readings sent along, each as a difference to the newest one.
    pub(crate) struct HistorySection = "history" {
        /// How many.
        earlier: u32 = required 2 where EARLIER;
        /// Width of each difference, 3 to 16; a larger difference is sent as below or above.
        bits: u32 = required 5;
    }
}
