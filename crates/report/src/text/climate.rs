//! The climate at a node: month by month, from where, how sure.

use forecast::life::climate_view::ClimateView;

use super::lay::{bar, paint, wrap_indented};
use super::{BOLD, SUN, WIDTH, fact, sentences, words};
use crate::{Assumed, months_in_order};

/// Columns of the longest bar.
const BAR: usize = 24;

/// The table of the months with a bar for the sun on the panel.
pub fn table(first_month: u8, climate: &ClimateView) -> Vec<String> {
    let top = climate.months.iter().map(|month| month.in_plane_years_wh_m2.1).fold(0.0, f64::max);
    let row = |cells: [&str; 6]| {
        let [month, sun, years, air, swing, snow] = cells;
        format!("{month:<5}{sun:>6}{years:>13}{air:>8}{swing:>8}{snow:>7}")
    };
    let mut lines = vec![
        row(["", "sun on", "8 years", "air", "daily", "snow"]),
        row(["", "panel", "in 10", "C", "swing K", "days"]),
    ];
    lines.extend(months_in_order(first_month, climate).map(|month| {
        let (low, high) = month.in_plane_years_wh_m2;
        let cells = row([
            words::month_short(month.month),
            &kilo(month.in_plane_wh_m2),
            &format!("{}-{}", kilo(low), kilo(high)),
            &format!("{:.1}", month.air_celsius),
            &format!("{:.1}", month.daily_swing_k),
            &format!("{:.0}", month.snow_days),
        ]);
        format!("{cells}  {}", paint(SUN, &bar(month.in_plane_wh_m2, top, BAR)))
    }));
    lines.push("Sun in kWh a square metre and day.".to_owned());
    lines
}

/// Thousands, two digits behind the point.
fn kilo(wh: f64) -> String {
    format!("{:.2}", wh / 1000.0)
}

/// Where it comes from and how far it is to be trusted.
pub fn how_sure(assumed: &Assumed) -> Vec<String> {
    sentences::climate(assumed).iter().flat_map(|(label, text)| fact(label, text)).collect()
}

/// The page of `overwinter climate`.
pub fn page(name: &str, first_month: u8, assumed: &Assumed) -> String {
    let climate = &assumed.view;
    let mut lines = wrap_indented(&format!("{name}: {}", sentences::climate_finding(climate)), WIDTH, "  ");
    if let Some(first) = lines.first_mut() {
        *first = paint(BOLD, first);
    }
    lines.push(String::new());
    lines.extend(table(first_month, climate));
    lines.push(String::new());
    lines.extend(how_sure(assumed));
    lines.join("\n") + "\n"
}
