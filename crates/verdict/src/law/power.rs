//! Radiated and conducted power, and how many channels it asks for.

use design::law::{Band, Clause, Confidence, DIPOLE_GAIN, PowerLimit, PowerReference};
use design::node::RadioUse;
use design::quantity::{Dbm, Frequency, Share};

use super::{Check, LawInputs, Rate, Topic};
use crate::finding::Verdict;

/// Powers are compared to a tenth of a decibel: 25 mW is 13.98 dBm, and everyone writes 14.
const SAME_DB: f64 = 0.05;

/// Power at one data rate on the channel that leaves least room.
#[derive(Clone, Debug, PartialEq)]
pub struct PowerRow {
    /// The data rate.
    pub data_rate: u8,
    /// Whether it is in use.
    pub in_use: bool,
    /// The channel.
    pub channel: Frequency,
    /// At the connector of the antenna.
    pub conducted: Dbm,
    /// Radiated, over an isotropic antenna.
    pub eirp: Dbm,
    /// Radiated, over a half-wave dipole.
    pub erp: Dbm,
    /// The limit that binds.
    pub limit: PowerLimit,
    /// The most at the radio's output with this antenna and cable.
    pub allowed: Dbm,
    /// Where the limit stands.
    pub clause: Clause,
}

/// What a radio radiates with its antenna and cable, by reference: ERP is EIRP less 2.15 dB.
#[must_use]
pub fn radiated(radio: &RadioUse, reference: PowerReference) -> Dbm {
    Dbm::from_dbm(radio.power.dbm() + beyond_radio_db(radio, reference))
}

/// What is gained between the radio's output and where the limit applies \[dB\].
fn beyond_radio_db(radio: &RadioUse, reference: PowerReference) -> f64 {
    let (gain, loss) = (radio.antenna_gain.decibels(), radio.cable_loss.decibels());
    match reference {
        PowerReference::Conducted => -loss,
        PowerReference::Eirp => gain - loss,
        PowerReference::Erp => gain - loss - DIPOLE_GAIN.decibels(),
    }
}

/// The sub-band whose rules a channel falls under: of alternatives, the freest on air whose power is kept.
pub(super) fn band<'l>(case: &'l LawInputs<'_>, channel: Frequency) -> Option<&'l Band> {
    let kept = |band: &&Band| {
        band.power.iter().all(|limit| case.radio.power.dbm() <= allowed_dbm(case, limit) + SAME_DB)
    };
    let free = |band: &Band| band.duty_cycle.map_or(1.0, Share::fraction);
    let kept_rows = case.law.bands_at(channel).filter(kept);
    let freest = kept_rows.max_by(|a, b| free(a).total_cmp(&free(b)));
    freest.or_else(|| case.law.bands_at(channel).last())
}

/// The most at the radio's output under a limit; an antenna beyond the free gain takes its excess off the connector \[dBm\].
fn allowed_dbm(case: &LawInputs<'_>, limit: &PowerLimit) -> f64 {
    let excess = case
        .law
        .antenna
        .as_ref()
        .filter(|_| limit.reference == PowerReference::Conducted)
        .map_or(0.0, |rule| (case.radio.antenna_gain - rule.free_gain).decibels().max(0.0));
    limit.most.dbm() - excess - beyond_radio_db(case.radio, limit.reference)
}

pub(super) fn judge(case: &LawInputs<'_>) -> (Vec<PowerRow>, Vec<Check>) {
    let (mut rows, mut checks) = (Vec::new(), Vec::new());
    for rate in &case.rates {
        let tightest = case.channels(rate).filter_map(|channel| row(case, rate, channel));
        if let Some(row) = tightest.min_by(|a, b| a.allowed.dbm().total_cmp(&b.allowed.dbm())) {
            checks.push(check(case, rate, &row));
            rows.push(row);
        }
        checks.extend(hopping(case, rate));
    }
    (rows, checks)
}

fn row(case: &LawInputs<'_>, rate: &Rate, channel: Frequency) -> Option<PowerRow> {
    let band = band(case, channel)?;
    let count = case.channels(rate).count();
    let hopping = case.law.hopping_for(count, rate.bandwidth);
    let of_band = band.power.iter().map(|limit| (*limit, &band.clause));
    let of_hopping = hopping.and_then(|rule| Some((rule.power?, &rule.clause)));
    let limits: Vec<(PowerLimit, Clause)> =
        of_band.chain(of_hopping).map(|(limit, clause)| (limit, clause.clone())).collect();
    let plan = || {
        let region = &case.radio.region;
        let limit = PowerLimit { most: region.largest_power, reference: region.power_reference };
        (limit, Clause { text: region.source.clone(), confidence: Confidence::Agreed })
    };
    let tightest = limits
        .into_iter()
        .min_by(|(a, _), (b, _)| allowed_dbm(case, a).total_cmp(&allowed_dbm(case, b)))
        .unwrap_or_else(plan);
    let (limit, clause) = tightest;
    Some(PowerRow {
        data_rate: rate.number,
        in_use: rate.in_use,
        channel,
        conducted: radiated(case.radio, PowerReference::Conducted),
        eirp: radiated(case.radio, PowerReference::Eirp),
        erp: radiated(case.radio, PowerReference::Erp),
        limit,
        allowed: Dbm::from_dbm(allowed_dbm(case, &limit)),
        clause,
    })
}

fn check(case: &LawInputs<'_>, rate: &Rate, row: &PowerRow) -> Check {
    let over = case.radio.power.dbm() > row.allowed.dbm() + SAME_DB;
    let (radiated, name) = match row.limit.reference {
        PowerReference::Erp => (row.erp, "ERP"),
        PowerReference::Eirp => (row.eirp, "EIRP"),
        PowerReference::Conducted => (row.conducted, "at the antenna's connector"),
    };
    let free = case.law.antenna.as_ref().filter(|rule| case.radio.antenna_gain > rule.free_gain);
    let lowered = free.map_or(String::new(), |rule| {
        format!(", less what the antenna gains over {} dBi", rule.free_gain.decibels())
    });
    let hops = case.law.hopping.is_empty().then(String::new).unwrap_or_else(|| {
        format!(" with {} channels of {} kHz", case.channels(rate).count(), rate.bandwidth.kilohertz())
    });
    let reason = format!(
        "{:.1} dBm {name}, {:.1} dBm allowed at {}{hops}{lowered}",
        radiated.dbm(),
        row.limit.most.dbm(),
        rate.text()
    );
    let lower =
        format!("{:.0} dBm instead of {}", (row.allowed.dbm() + SAME_DB).floor(), case.radio.power.dbm());
    Check {
        topic: Topic::Power,
        verdict: if over { Verdict::Fails } else { Verdict::Holds },
        data_rate: rate.number,
        in_use: rate.in_use,
        field: "radio.power".to_owned(),
        reason,
        clause: row.clause.clone(),
        remedy: over.then_some(lower),
    }
}

/// Where the number of channels decides and the text for it was not seen.
fn hopping(case: &LawInputs<'_>, rate: &Rate) -> Option<Check> {
    let count = case.channels(rate).count();
    let rule = case.law.hopping_for(count, rate.bandwidth)?;
    let unseen = rule.unseen.as_ref()?;
    let needed = case.law.hopping.iter().map(|rule| rule.least_channels).max().unwrap_or_default();
    Some(Check {
        topic: Topic::Hopping,
        verdict: Verdict::NotKnown,
        data_rate: rate.number,
        in_use: rate.in_use,
        field: "radio.channels".to_owned(),
        reason: format!(
            "{count} channels at {}, fewer than {needed}: {unseen} was not seen, check your regulator",
            rate.text()
        ),
        clause: rule.clause.clone(),
        remedy: Some(format!("{needed} channels or more, or the word of the regulator")),
    })
}
