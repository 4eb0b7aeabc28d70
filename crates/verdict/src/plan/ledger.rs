//! Where the charge comes from and goes to, and month by month.

use design::quantity::{Charge, Share, Temperature};
use forecast::life::account::{Account, MonthAccount};
use forecast::life::ensemble::Lives;
use forecast::life::weather::SampleYears;
use forecast::sky::light::YEAR_DAYS;

use super::{LedgerEntry, LedgerPurpose, MonthRow};

/// The ledger of many lives; a day of the darkest month is shown beside the year's.
pub(super) fn ledger(account: &Account, dark_month: u8) -> Vec<LedgerEntry> {
    let dark_index = usize::from(dark_month) - 1;
    let (year, dark) = (account.year(), account.months[dark_index]);
    let entry = |purpose, of: &dyn Fn(&MonthAccount) -> Charge, sign: f64| LedgerEntry {
        purpose,
        per_day: of(&year) * sign,
        per_dark_day: of(&dark) * sign,
    };
    let mut entries = vec![entry(LedgerPurpose::Sun, &|month| month.per_day(month.flows.offered), 1.0)];
    entries.extend(account.purposes.iter().map(|(purpose, by_month)| LedgerEntry {
        purpose: LedgerPurpose::Load(purpose.clone()),
        per_day: year.per_live_day(-by_month.iter().sum::<f64>()),
        per_dark_day: dark.per_live_day(-by_month[dark_index]),
    }));
    entries.push(entry(LedgerPurpose::Joining, &|month| month.per_live_day(month.flows.joins), -1.0));
    entries.push(entry(LedgerPurpose::ChargerInTheDark, &|month| month.per_day(month.flows.charger), -1.0));
    entries.push(entry(
        LedgerPurpose::SelfDischarge,
        &|month| month.per_day(month.flows.self_discharge),
        -1.0,
    ));
    entries.retain(|entry| entry.per_day != Charge::ZERO || entry.purpose == LedgerPurpose::Sun);
    entries
}

/// What a running node spends in a day, all drains included.
pub(super) fn spent_per_day(month: &MonthAccount) -> Charge {
    month.per_live_day(month.flows.load + month.flows.joins)
        + month.per_day(month.flows.charger + month.flows.self_discharge)
}

/// The year month by month, of the months that lives have.
pub(super) fn months(account: &Account, lives: &Lives, days: usize, sample: &SampleYears) -> Vec<MonthRow> {
    let plain_wh_m2 = sample.plain_wh_m2_by_month();
    let life_years = lives.outcomes.len().max(1) as f64 * days as f64 / YEAR_DAYS as f64;
    let out = |month: usize| {
        lives.outcomes.iter().map(|life| f64::from(life.outage_hours_by_month[month])).sum::<f64>()
    };
    let row = |(index, month): (usize, &MonthAccount)| {
        (month.hours > 0.0).then(|| MonthRow {
            month: u8::try_from(index + 1).unwrap_or(12),
            sun_on_plane_wh_m2: plain_wh_m2[index],
            offered_per_day: month.per_day(month.flows.offered),
            taken_per_day: month.per_day(month.flows.taken),
            spent_per_day: spent_per_day(month),
            air: Temperature::from_celsius(month.air_celsius()),
            lowest_charge: Share::from_fraction(month.lowest_charge),
            outage_hours: out(index) / life_years,
        })
    };
    account.months.iter().enumerate().filter_map(row).collect()
}

#[cfg(test)]
mod tests {
    use forecast::life::account::{ACCOUNTED_LIVES, Harm};

    use super::*;

    /// By hand: ten days, in five of which the node runs. The charger takes 20 mAh of the battery in all ten, 2 mAh a day;
    /// joins take 20 mAh in the five in which it runs, 4 mAh a day of running.
    #[test]
    fn the_charger_is_counted_by_the_day_and_the_node_by_the_day_of_running() {
        let mut months = [MonthAccount::default(); 12];
        (months[0].hours, months[0].live_hours) = (240.0, 120.0);
        (months[0].flows.charger, months[0].flows.joins) = (0.020, 0.020);
        let account = Account {
            lives: ACCOUNTED_LIVES,
            months,
            purposes: Vec::new(),
            gated_hours_per_year: 0.0,
            harm: Harm::default(),
        };
        let entries = ledger(&account, 1);
        let mah = |wanted: &LedgerPurpose| {
            let entry = entries.iter().find(|entry| entry.purpose == *wanted).expect("it is there");
            [entry.per_day, entry.per_dark_day].map(|charge| charge.milliampere_hours().round())
        };
        let [charger, joins] = [LedgerPurpose::ChargerInTheDark, LedgerPurpose::Joining].map(|one| mah(&one));
        assert_eq!((charger, joins), ([-2.0, -2.0], [-4.0, -4.0]));
    }
}
