//! A survey as a file: one row for each packet at each gateway, or one for each stay with counts, in CSV with named columns.

use std::collections::BTreeMap;

use design::date::Date;

use super::Run;
use crate::radio::level::ZERO_SNR_DBM;
use crate::stats::quantile;

/// A column that is understood.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Column {
    /// Date and time in UTC, RFC 3339.
    Time,
    /// Name of the node in the site's file.
    Node,
    /// Where it was sent, north positive.
    Latitude,
    /// Where it was sent, east positive.
    Longitude,
    /// Name of the gateway in the site's file.
    Gateway,
    /// `DR0` to `DR15`.
    DataRate,
    /// What the gateway printed as signal strength.
    Rssi,
    /// What it printed as signal-to-noise ratio.
    Snr,
    /// At the node's antenna plug.
    Power,
    /// Of the uplink.
    Frequency,
    /// The node's frame counter.
    Counter,
    /// Packets that were sent.
    Sent,
    /// Of those, packets that this gateway heard.
    Heard,
}

impl Column {
    /// All columns with their headings.
    pub const ALL: [(Self, &'static str); 13] = [
        (Self::Time, "time"),
        (Self::Node, "node"),
        (Self::Latitude, "latitude_deg"),
        (Self::Longitude, "longitude_deg"),
        (Self::Gateway, "gateway"),
        (Self::DataRate, "data_rate"),
        (Self::Rssi, "rssi_dbm"),
        (Self::Snr, "snr_db"),
        (Self::Power, "power_dbm"),
        (Self::Frequency, "frequency_mhz"),
        (Self::Counter, "counter"),
        (Self::Sent, "sent"),
        (Self::Heard, "heard"),
    ];
    const NEEDED: [Self; 6] = [Self::Time, Self::Gateway, Self::DataRate, Self::Rssi, Self::Snr, Self::Power];

    fn heading(self) -> &'static str {
        Self::ALL[self as usize].1
    }
}

/// A survey that cannot be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LogError {
    /// The text is no CSV.
    #[error("line {line} is no CSV: {reason}")]
    NotCsv {
        /// Counted from 1.
        line: u64,
        /// What the reader says.
        reason: String,
    },
    /// A heading is not known.
    #[error(
        "column `{0}` is not known; columns are time, node or latitude_deg and longitude_deg, gateway, data_rate, rssi_dbm, snr_db, power_dbm, frequency_mhz, and counter or sent and heard"
    )]
    UnknownColumn(String),
    /// A column stands there twice.
    #[error("column `{0}` stands there twice")]
    TwiceColumn(String),
    /// A column is needed.
    #[error("column `{0}` is missing")]
    MissingColumn(&'static str),
    /// Without the transmit power a level says nothing of loss.
    #[error(
        "line {line} does not say at which power the node sent: a network that adapts turns it down unseen, and a level then says nothing of the path; survey at a fixed power and write `power_dbm`"
    )]
    PowerUnknown {
        /// Counted from 1.
        line: u64,
    },
    /// The network turned the power down on the way.
    #[error(
        "node {node} sent at {first_dbm} dBm and at {other_dbm} dBm (line {line}): packets that were missed may have been sent at either, so levels can't be compared; survey at a fixed power, with adaptation switched off"
    )]
    PowerAdapted {
        /// Whose.
        node: String,
        /// As in its first row.
        first_dbm: String,
        /// As in this row.
        other_dbm: String,
        /// Counted from 1.
        line: u64,
    },
    /// No row can be used: the first few, each with what is wrong with it.
    #[error("no row can be used: {0}")]
    Empty(String),
}

/// A row that was left out, or that was used with doubt.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Anomaly {
    /// Counted from 1.
    pub line: u64,
    /// What is wrong with it.
    pub text: String,
}

/// One row: a packet at a gateway, or several at one data rate with the means of what was heard.
#[derive(Clone, Debug, PartialEq)]
pub struct Packet {
    /// Counted from 1.
    pub line: u64,
    /// Date as in the file.
    pub day: Date,
    /// Name of the node, or its place in words.
    pub node: String,
    /// North and east, where the file says so \[degrees\].
    pub place_deg: Option<[f64; 2]>,
    /// Name of the gateway.
    pub gateway: String,
    /// The data rate.
    pub data_rate: u8,
    /// Signal strength and signal-to-noise ratio; `None` where nothing was heard.
    pub signal: Option<[f64; 2]>,
    /// At the node's antenna plug \[dBm\].
    pub power_dbm: f64,
    /// Of the uplink \[MHz\].
    pub frequency_mhz: Option<f64>,
    /// The node's frame counter.
    pub counter: Option<u32>,
    /// Packets that were heard.
    pub heard: u32,
    /// Packets that are known to have been missed.
    pub missed: u32,
}

/// A survey as it was read.
#[derive(Clone, Debug, PartialEq)]
pub struct SurveyLog {
    /// The rows that can be used.
    pub packets: Vec<Packet>,
    /// The rows that can't, and why.
    pub anomalies: Vec<Anomaly>,
}

/// Strongest signal that a receiver may print \[dBm\]; above, the sign was lost.
const STRONGEST_DBM: f64 = 0.0;
const WEAKEST_DBM: f64 = -160.0;
/// Signal-to-noise ratios that a receiver prints: they saturate near 10 dB \[dB\].
const SNR_DB: [f64; 2] = [-30.0, 20.0];
/// Below this ratio it measures the signal better than the signal strength does \[dB\].
const WEAK_SNR_DB: f64 = 5.0;
/// A counter that jumps by more was set back, or the node was away (own choice).
const LONGEST_GAP: u32 = 1000;

/// Reads a survey.
///
/// # Errors
/// Columns that are missing or not known; powers that are missing or change. Single rows that can't be used are listed
/// in the log.
pub fn read(text: &[u8]) -> Result<SurveyLog, LogError> {
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).comment(Some(b'#')).from_reader(text);
    let headings = reader.headers().map_err(|error| not_csv(&error))?.clone();
    let columns = columns(&headings)?;
    let mut log = SurveyLog { packets: Vec::new(), anomalies: Vec::new() };
    for row in reader.records() {
        let row = row.map_err(|error| not_csv(&error))?;
        let line = row.position().map_or(0, csv::Position::line);
        let row = LogRow { fields: &row, columns: &columns, line };
        if row.text(Column::Power).is_none() {
            return Err(LogError::PowerUnknown { line });
        }
        match row.packet() {
            Ok(packet) => log.packets.push(packet),
            Err(text) => log.anomalies.push(Anomaly { line, text }),
        }
    }
    if log.packets.is_empty() {
        return Err(LogError::Empty(none_usable(&log.anomalies)));
    }
    fixed_power(&log.packets)?;
    Ok(log)
}

/// So many bad rows are named where none is good.
const NAMED: usize = 3;

fn none_usable(anomalies: &[Anomaly]) -> String {
    if anomalies.is_empty() {
        return "there is none below the headings".to_owned();
    }
    let named = anomalies.iter().take(NAMED).map(|one| format!("line {}: {}", one.line, one.text));
    let more = anomalies.len().saturating_sub(NAMED);
    let more = (more > 0).then(|| format!("and {more} more"));
    named.chain(more).collect::<Vec<_>>().join("; ")
}

fn not_csv(error: &csv::Error) -> LogError {
    LogError::NotCsv { line: error.position().map_or(1, csv::Position::line), reason: error.to_string() }
}

fn columns(headings: &csv::StringRecord) -> Result<BTreeMap<Column, usize>, LogError> {
    let mut columns = BTreeMap::new();
    for (at, heading) in headings.iter().enumerate() {
        let known = Column::ALL.iter().find(|(_, known)| *known == heading);
        let (column, _) = known.ok_or_else(|| LogError::UnknownColumn(heading.chars().take(40).collect()))?;
        if columns.insert(*column, at).is_some() {
            return Err(LogError::TwiceColumn(heading.to_owned()));
        }
    }
    let has = |column: &Column| columns.contains_key(column);
    let missing = Column::NEEDED.into_iter().find(|column| !has(column));
    let missing = missing.or((!has(&Column::Node) && !has(&Column::Latitude)).then_some(Column::Node));
    let missing =
        missing.or((has(&Column::Latitude) != has(&Column::Longitude)).then_some(Column::Longitude));
    let missing = missing.or((has(&Column::Sent) != has(&Column::Heard)).then_some(Column::Heard));
    match missing {
        Some(column) => Err(LogError::MissingColumn(column.heading())),
        None => Ok(columns),
    }
}

fn fixed_power(packets: &[Packet]) -> Result<(), LogError> {
    let mut powers: BTreeMap<&str, f64> = BTreeMap::new();
    for packet in packets {
        let first_dbm = *powers.entry(&packet.node).or_insert(packet.power_dbm);
        if (first_dbm - packet.power_dbm).abs() > 0.1 {
            return Err(LogError::PowerAdapted {
                node: packet.node.clone(),
                first_dbm: first_dbm.to_string(),
                other_dbm: packet.power_dbm.to_string(),
                line: packet.line,
            });
        }
    }
    Ok(())
}

struct LogRow<'a> {
    fields: &'a csv::StringRecord,
    columns: &'a BTreeMap<Column, usize>,
    line: u64,
}

impl LogRow<'_> {
    /// What stands in a column; `None` if nothing does.
    fn text(&self, column: Column) -> Option<&str> {
        self.fields.get(*self.columns.get(&column)?).filter(|text| !text.is_empty())
    }

    fn number(&self, column: Column, [least, most]: [f64; 2]) -> Result<Option<f64>, String> {
        let Some(text) = self.text(column) else { return Ok(None) };
        let number = text.parse().ok().filter(|number: &f64| number.is_finite());
        let heading = column.heading();
        let number = number.ok_or_else(|| format!("`{heading}` is `{}`, no number", shortened(text)))?;
        if (least..=most).contains(&number) {
            Ok(Some(number))
        } else {
            Err(format!("`{heading}` is {number}, which lies outside {least} to {most}"))
        }
    }

    fn count(&self, column: Column) -> Result<Option<u32>, String> {
        let Some(text) = self.text(column) else { return Ok(None) };
        let wrong = || format!("`{}` is `{}`, no whole number from 0", column.heading(), shortened(text));
        text.parse().map(Some).map_err(|_error| wrong())
    }

    fn packet(&self) -> Result<Packet, String> {
        let needed =
            |column: Column| self.text(column).ok_or_else(|| format!("`{}` is empty", column.heading()));
        let (node, place_deg) = self.node()?;
        let data_rate = needed(Column::DataRate)?;
        let rate = data_rate.strip_prefix("DR").and_then(|rate| rate.parse().ok()).filter(|rate| *rate <= 15);
        let (heard, missed) = self.counts()?;
        let signal = self.signal()?;
        if heard > 0 && signal.is_none() {
            return Err("it was heard, but `rssi_dbm` or `snr_db` is empty".to_owned());
        }
        Ok(Packet {
            line: self.line,
            day: day(needed(Column::Time)?)?,
            node,
            place_deg,
            gateway: needed(Column::Gateway)?.to_owned(),
            data_rate: rate
                .ok_or_else(|| format!("`data_rate` is `{}`; write DR0 to DR15", shortened(data_rate)))?,
            signal: signal.filter(|_| heard > 0),
            power_dbm: self.number(Column::Power, [-30.0, 40.0])?.ok_or("`power_dbm` is empty")?,
            frequency_mhz: self.number(Column::Frequency, [30.0, 6000.0])?,
            counter: self.count(Column::Counter)?,
            heard,
            missed,
        })
    }

    /// The node's name, or else its place in words, to about 100 m, within which positions go with each other; and its
    /// place.
    fn node(&self) -> Result<(String, Option<[f64; 2]>), String> {
        let latitude = self.number(Column::Latitude, [-90.0, 90.0])?;
        let longitude = self.number(Column::Longitude, [-180.0, 180.0])?;
        let place_deg = latitude.zip(longitude).map(|(latitude, longitude)| [latitude, longitude]);
        if place_deg.is_some_and(|place| place.iter().all(|degrees| degrees.abs() < 1e-6)) {
            return Err("its place is 0, 0: the receiver had no fix yet".to_owned());
        }
        match (self.text(Column::Node), place_deg) {
            (Some(node), place_deg) => Ok((node.to_owned(), place_deg)),
            (None, Some([latitude, longitude])) => Ok((format!("{latitude:.3} {longitude:.3}"), place_deg)),
            (None, None) => Err("it names neither a node nor a place".to_owned()),
        }
    }

    fn counts(&self) -> Result<(u32, u32), String> {
        match (self.count(Column::Sent)?, self.count(Column::Heard)?) {
            (Some(sent), Some(heard)) if heard > sent => Err(format!("{heard} heard of {sent} sent")),
            (Some(sent), Some(heard)) => Ok((heard, sent - heard)),
            (None, None) if self.text(Column::Rssi).is_none() && self.text(Column::Snr).is_none() => {
                Ok((0, 1))
            }
            (None, None) => Ok((1, 0)),
            _ => Err("`sent` and `heard` belong together".to_owned()),
        }
    }

    fn signal(&self) -> Result<Option<[f64; 2]>, String> {
        let rssi_dbm = self.number(Column::Rssi, [WEAKEST_DBM, STRONGEST_DBM]).map_err(|error| {
            format!("{error}: a received signal is far below 1 mW, so its decibels are negative")
        })?;
        let snr_db = self
            .number(Column::Snr, SNR_DB)
            .map_err(|error| format!("{error} dB: is it in quarters of a decibel, or a signal strength?"))?;
        Ok(rssi_dbm.zip(snr_db).map(|(rssi_dbm, snr_db)| [rssi_dbm, snr_db]))
    }
}

/// The date of a time such as `2026-10-04T12:00:00Z`.
fn day(time: &str) -> Result<Date, String> {
    let wrong = || format!("`time` is `{}`; write 2026-10-04T12:00:00Z", shortened(time));
    let ends_well = time.len() == 10 || time.as_bytes().get(10).is_some_and(|byte| b"Tt ".contains(byte));
    time.get(..10).and_then(Date::parse).filter(|_| ends_well).ok_or_else(wrong)
}

fn shortened(text: &str) -> String {
    text.chars().take(40).collect()
}

impl SurveyLog {
    /// The noise of each gateway as its own figures have it \[dBm in 125 kHz\]: the median over its weak packets of what
    /// is left of the signal strength without the signal. `None` where it heard no weak packet.
    #[must_use]
    pub fn noise_dbm(&self, gateway: &str) -> Option<f64> {
        let own =
            self.packets.iter().filter(|packet| packet.gateway == gateway).filter_map(|packet| packet.signal);
        let weak = own.filter(|[_, snr_db]| *snr_db < WEAK_SNR_DB);
        let mut noises: Vec<f64> = weak
            .map(|[rssi_dbm, snr_db]| rssi_dbm - 10.0 * (1.0 + 10f64.powf(snr_db / 10.0)).log10())
            .collect();
        noises.sort_by(f64::total_cmp);
        (!noises.is_empty()).then(|| quantile(&noises, 0.5))
    }

    /// Names of gateways, in the order of the alphabet.
    #[must_use]
    pub fn gateways(&self) -> Vec<&str> {
        names(self.packets.iter().map(|packet| packet.gateway.as_str()))
    }

    /// Names of nodes, in the order of the alphabet.
    #[must_use]
    pub fn nodes(&self) -> Vec<&str> {
        names(self.packets.iter().map(|packet| packet.node.as_str()))
    }

    /// What was sent over the link from a node to a gateway, by day and data rate, for a fit; `limit_dbm` gives the weakest
    /// level that is demodulated at a data rate, and packets at rates without one are left out.
    ///
    /// Where rows carry counters, those that another gateway heard, and those in between, were missed by this one.
    #[must_use]
    pub fn runs(
        &self,
        node: &str,
        gateway: &str,
        link: usize,
        limit_dbm: impl Fn(u8) -> Option<f64>,
    ) -> Vec<Run> {
        let noise_dbm = self.noise_dbm(gateway);
        let mut runs: BTreeMap<(Date, u8), (u32, f64, u32)> = BTreeMap::new();
        for packet in self.packets.iter().filter(|packet| packet.node == node && packet.gateway == gateway) {
            let (heard, sum, missed) = runs.entry((packet.day, packet.data_rate)).or_default();
            *missed += packet.missed;
            if let Some(signal) = packet.signal {
                *heard += packet.heard;
                *sum += f64::from(packet.heard) * level_dbm(signal, noise_dbm);
            }
        }
        for (day, data_rate) in self.missed(node, gateway) {
            runs.entry((day, data_rate)).or_default().2 += 1;
        }
        let run = |((_, data_rate), (heard, sum, missed)): ((Date, u8), (u32, f64, u32))| {
            let mean_dbm = if heard > 0 { sum / f64::from(heard) } else { f64::NAN };
            Some(Run { link, heard, mean_dbm, missed, limit_dbm: limit_dbm(data_rate)? })
        };
        runs.into_iter().filter_map(run).collect()
    }

    /// Day and data rate of each packet of a node that its counters know of and a gateway did not hear.
    fn missed(&self, node: &str, gateway: &str) -> Vec<(Date, u8)> {
        let mut sent: BTreeMap<(Date, u32), (u8, bool)> = BTreeMap::new();
        for packet in self.packets.iter().filter(|packet| packet.node == node) {
            let Some(counter) = packet.counter else { continue };
            let (_, heard_here) = sent.entry((packet.day, counter)).or_insert((packet.data_rate, false));
            *heard_here |= packet.gateway == gateway;
        }
        let mut missed = Vec::new();
        let mut before: Option<u32> = None;
        for ((day, counter), (data_rate, heard_here)) in sent {
            let gap =
                before.and_then(|before| counter.checked_sub(before + 1)).filter(|gap| *gap <= LONGEST_GAP);
            let times = gap.unwrap_or(0) + u32::from(!heard_here);
            missed.extend((0..times).map(|_| (day, data_rate)));
            before = Some(counter);
        }
        missed
    }
}

/// A level on the scale of the signal-to-noise ratio \[dBm\]: that ratio while it is small, else the signal strength over the
/// gateway's own noise.
#[must_use]
fn level_dbm([rssi_dbm, snr_db]: [f64; 2], noise_dbm: Option<f64>) -> f64 {
    match noise_dbm {
        Some(noise_dbm) if snr_db >= WEAK_SNR_DB => ZERO_SNR_DBM + (rssi_dbm - noise_dbm).max(WEAK_SNR_DB),
        _ => ZERO_SNR_DBM + snr_db,
    }
}

fn names<'a>(names: impl Iterator<Item = &'a str>) -> Vec<&'a str> {
    names.collect::<std::collections::BTreeSet<_>>().into_iter().collect()
}
