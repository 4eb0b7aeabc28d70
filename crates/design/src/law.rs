//! The law of each region as data: sub-bands, duty cycle, dwell, hopping and radiated power, each with its clause.
//!
//! The files lie in `data/law/`; its README says which texts were seen and which were not.

use std::sync::LazyLock;

use crate::quantity::{Dbm, Decibels, Duration, Frequency, Share};

/// What a half-wave dipole gains over an isotropic antenna: EIRP is ERP and this.
pub const DIPOLE_GAIN: Decibels = Decibels::from_decibels(2.15);

/// Frequencies that differ by less are the same; half the resolution of any plan is far more.
const SAME_HZ: f64 = 1.0;

/// How well a limit is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Confidence {
    /// The same value in two or more independent sources.
    Agreed,
    /// One source only.
    OneSource,
    /// Sources disagree; the stricter value is applied.
    Disputed,
}

/// Where a limit stands and how well it is known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Clause {
    /// Document, edition and place.
    pub text: String,
    /// How well it is known.
    pub confidence: Confidence,
}

/// What a limit of power speaks of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PowerReference {
    /// Radiated, over a half-wave dipole.
    Erp,
    /// Radiated, over an isotropic antenna.
    Eirp,
    /// At the connector of the antenna.
    Conducted,
}

/// A limit of power.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PowerLimit {
    /// The most.
    pub most: Dbm,
    /// Of what.
    pub reference: PowerReference,
}

/// A stretch of the spectrum with one set of limits.
#[derive(Clone, Debug, PartialEq)]
pub struct Band {
    /// Its lower edge.
    pub from: Frequency,
    /// Its upper edge.
    pub to: Frequency,
    /// Limits of power; all must be kept. Empty where only the rules for hopping limit it.
    pub power: Vec<PowerLimit>,
    /// Share of any hour that may be spent on air; `None` without limit.
    pub duty_cycle: Option<Share>,
    /// Widest occupied bandwidth; `None` for the width of the band.
    pub widest: Option<Frequency>,
    /// What the stretch is kept for, if a node may not use it.
    pub refused: Option<String>,
    /// Where edges and power stand.
    pub clause: Clause,
    /// Where the duty cycle stands.
    pub duty_clause: Clause,
}

impl Band {
    /// Whether this frequency lies in it, the upper edge not included.
    pub fn holds(&self, frequency: Frequency) -> bool {
        frequency.hertz() > self.from.hertz() - SAME_HZ && frequency.hertz() < self.to.hertz() - SAME_HZ
    }

    /// Whether a channel of this centre and occupied bandwidth lies wholly in it; touching the edge is allowed.
    pub fn contains(&self, centre: Frequency, bandwidth: Frequency) -> bool {
        let half_hz = bandwidth.hertz() / 2.0;
        centre.hertz() - half_hz > self.from.hertz() - SAME_HZ
            && centre.hertz() + half_hz < self.to.hertz() + SAME_HZ
    }
}

/// The longest single transmission.
#[derive(Clone, Debug, PartialEq)]
pub struct Dwell {
    /// The longest.
    pub longest: Duration,
    /// It holds for channels narrower than this.
    pub narrower_than: Frequency,
    /// Whether the network can lift it.
    pub lifted_by_network: bool,
    /// Where that stands.
    pub clause: Clause,
}

/// What is asked of a node that uses so many channels of such a width.
#[derive(Clone, Debug, PartialEq)]
pub struct Hopping {
    /// The rule is for this many channels and more.
    pub least_channels: usize,
    /// For channels at least this wide.
    pub from_bandwidth: Frequency,
    /// And narrower than this.
    pub below_bandwidth: Frequency,
    /// Limit of power under it, beside that of the band.
    pub power: Option<PowerLimit>,
    /// The text that decides and was not seen, if the question is open.
    pub unseen: Option<String>,
    /// Where that stands.
    pub clause: Clause,
}

/// How much an antenna may gain before the conducted power must fall by the excess.
#[derive(Clone, Debug, PartialEq)]
pub struct AntennaRule {
    /// The gain that is free.
    pub free_gain: Decibels,
    /// Where that stands.
    pub clause: Clause,
}

/// A question that the texts which were seen do not answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unseen {
    /// What is open.
    pub question: String,
    /// The text to ask the regulator for.
    pub text: String,
}

/// The law of a region.
#[derive(Clone, Debug, PartialEq)]
pub struct Law {
    /// The regional plans it is used for.
    pub regions: Vec<String>,
    /// The text that rules.
    pub text: String,
    /// Whether enough of it was seen for a verdict.
    pub complete: bool,
    /// By ascending frequency; two rows for the same stretch are alternatives, the one with less power first.
    pub bands: Vec<Band>,
    /// The longest single transmission, if limited.
    pub dwell: Option<Dwell>,
    /// The first rule that fits channel count and bandwidth applies; empty where hopping is not asked.
    pub hopping: Vec<Hopping>,
    /// The rule for antennas, where power is limited at the connector.
    pub antenna: Option<AntennaRule>,
    /// What is open.
    pub unseen: Vec<Unseen>,
}

macro_rules! files {
    ($($name:literal)+) => { &[$(include_str!(concat!("../data/law/", $name, ".toml"))),+] };
}

const FILES: &[&str] = files! { "as923" "au915" "cn470" "eu433" "eu868" "in865" "kr920" "ru864" "us915" };

impl Law {
    /// The law for the regional plan of this name; `None` if there is no such plan.
    pub fn of_region(name: &str) -> Option<Self> {
        // Read once: every variant of a design that is tried is held against the law.
        static READ: LazyLock<Vec<Law>> =
            LazyLock::new(|| FILES.iter().filter_map(|text| Law::read(text)).collect());
        READ.iter().find(|law| law.regions.iter().any(|region| region == name)).cloned()
    }

    /// The rows for this frequency; empty where no law that was seen allows or refuses it.
    pub fn bands_at(&self, frequency: Frequency) -> impl Iterator<Item = &Band> {
        self.bands.iter().filter(move |band| band.holds(frequency))
    }

    /// The rule for so many channels of this bandwidth.
    pub fn hopping_for(&self, channels: usize, bandwidth: Frequency) -> Option<&Hopping> {
        self.hopping.iter().find(|rule| {
            channels >= rule.least_channels
                && bandwidth >= rule.from_bandwidth
                && bandwidth < rule.below_bandwidth
        })
    }

    /// Reads a file; `None` if a key is missing or of the wrong form.
    fn read(text: &str) -> Option<Self> {
        let table: toml::Table = text.parse().ok()?;
        Some(Self {
            regions: table
                .get("regions")?
                .as_array()?
                .iter()
                .map(|name| Some(name.as_str()?.to_owned()))
                .collect::<Option<_>>()?,
            text: word(&table, "text")?,
            complete: table.get("complete")?.as_bool()?,
            bands: rows(&table, "band", band)?,
            dwell: part(&table, "dwell", dwell)?,
            hopping: rows(&table, "hopping", hopping)?,
            antenna: part(&table, "antenna", antenna)?,
            unseen: rows(&table, "unseen", unseen)?,
        })
    }
}

fn word(row: &toml::Table, key: &str) -> Option<String> {
    Some(row.get(key)?.as_str()?.to_owned())
}

fn kilohertz(row: &toml::Table, key: &str) -> Option<Frequency> {
    Some(Frequency::from_kilohertz(row.get(key)?.as_integer()? as f64))
}

/// All rows of a list of tables, which may be absent.
fn rows<T>(table: &toml::Table, key: &str, read: fn(&toml::Table) -> Option<T>) -> Option<Vec<T>> {
    let Some(list) = table.get(key) else { return Some(Vec::new()) };
    list.as_array()?.iter().map(|row| read(row.as_table()?)).collect()
}

/// A table that may be absent; `None` if it is there but can't be read.
#[expect(clippy::option_option, reason = "a rule may be absent, which is not the same as unreadable")]
fn part<T>(table: &toml::Table, key: &str, read: fn(&toml::Table) -> Option<T>) -> Option<Option<T>> {
    match table.get(key) {
        None => Some(None),
        Some(value) => read(value.as_table()?).map(Some),
    }
}

fn clause(row: &toml::Table) -> Option<Clause> {
    let confidence = match row.get("confidence")?.as_str()? {
        "agreed" => Confidence::Agreed,
        "one-source" => Confidence::OneSource,
        "disputed" => Confidence::Disputed,
        _ => return None,
    };
    Some(Clause { text: word(row, "clause")?, confidence })
}

fn power(row: &toml::Table) -> Option<PowerLimit> {
    let reference = match row.get("reference")?.as_str()? {
        "erp" => PowerReference::Erp,
        "eirp" => PowerReference::Eirp,
        "conducted" => PowerReference::Conducted,
        _ => return None,
    };
    Some(PowerLimit { most: Dbm::from_dbm(row.get("dbm")?.as_float()?), reference })
}

fn band(row: &toml::Table) -> Option<Band> {
    Some(Band {
        from: kilohertz(row, "from_khz")?,
        to: kilohertz(row, "to_khz")?,
        power: rows(row, "power", power)?,
        duty_cycle: row.get("duty_cycle").and_then(toml::Value::as_float).map(Share::from_fraction),
        widest: kilohertz(row, "widest_khz"),
        refused: word(row, "refused"),
        clause: clause(row)?,
        duty_clause: match row.get("duty_source") {
            Some(source) => clause(source.as_table()?)?,
            None => clause(row)?,
        },
    })
}

fn dwell(row: &toml::Table) -> Option<Dwell> {
    Some(Dwell {
        longest: Duration::from_milliseconds(row.get("longest_ms")?.as_integer()? as f64),
        narrower_than: kilohertz(row, "below_khz")?,
        lifted_by_network: row.get("lifted_by_network")?.as_bool()?,
        clause: clause(row)?,
    })
}

fn hopping(row: &toml::Table) -> Option<Hopping> {
    Some(Hopping {
        least_channels: usize::try_from(row.get("least_channels")?.as_integer()?).ok()?,
        from_bandwidth: kilohertz(row, "from_khz").unwrap_or(Frequency::ZERO),
        below_bandwidth: kilohertz(row, "below_khz").unwrap_or(Frequency::from_hertz(f64::INFINITY)),
        power: part(row, "power", power)?,
        unseen: word(row, "unseen"),
        clause: clause(row)?,
    })
}

fn antenna(row: &toml::Table) -> Option<AntennaRule> {
    Some(AntennaRule {
        free_gain: Decibels::from_decibels(row.get("free_gain_db")?.as_float()?),
        clause: clause(row)?,
    })
}

fn unseen(row: &toml::Table) -> Option<Unseen> {
    Some(Unseen { question: word(row, "question")?, text: word(row, "text")? })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::region::Region;

    #[test]
    fn every_file_reads_and_every_region_has_one_law() {
        for text in FILES {
            assert!(Law::read(text).is_some(), "{text}");
        }
        for name in Region::names() {
            let laws = FILES.iter().filter_map(|text| Law::read(text));
            assert_eq!(
                laws.filter(|law| law.regions.iter().any(|region| region == name)).count(),
                1,
                "{name}"
            );
        }
    }

    #[test]
    fn bands_ascend_and_do_not_overlap_but_as_alternatives() {
        for law in FILES.iter().filter_map(|text| Law::read(text)) {
            for two in law.bands.windows(2) {
                let alternative = two[0].from == two[1].from && two[0].to == two[1].to;
                assert!(alternative || two[0].to <= two[1].from, "{:?}: {two:?}", law.regions);
            }
        }
    }
}
