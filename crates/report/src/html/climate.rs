//! What is assumed of the weather, and the page of `overwinter climate`.

use maud::{Markup, html};

use super::{rows, shell};
use crate::chart;
use crate::{Assumed, months_in_order, sentences, words};

/// The section of a report.
pub(crate) fn section(first_month: u8, assumed: &Assumed) -> Markup {
    html! {
        (chart::climate::chart(first_month, &assumed.view).section())
        (words_of(assumed))
    }
}

fn words_of(assumed: &Assumed) -> Markup {
    html! {
        section {
            h2 { "How far that is to be trusted" }
            (rows(sentences::climate(assumed).into_iter().map(|(label, text)| (label.to_owned(), text))))
        }
    }
}

/// The page of a climate alone.
pub fn page(file: &str, name: &str, first_month: u8, assumed: &Assumed) -> String {
    let title = format!("The weather at {name}");
    shell(
        &title,
        file,
        &html! {
            h1 { (title) }
            (section(first_month, assumed))
            (table(first_month, assumed))
        },
        &html! { "Made by overwinter " (env!("CARGO_PKG_VERSION")) " from " (file) "." },
    )
}

fn table(first_month: u8, assumed: &Assumed) -> Markup {
    let kilo = |wh: f64| format!("{:.2}", wh / 1000.0);
    html! {
        section {
            h2 { "Month by month" }
            table.stacked {
                thead { tr {
                    th { "month" } th.figure { "panel, kWh/m² a day" } th.figure { "8 years in 10" } th.figure { "ground, kWh/m² a day" }
                    th.figure { "90 % sure" } th.figure { "air, °C" } th.figure { "swing, K" } th.figure { "snow, days" }
                } }
                tbody {
                    @for month in months_in_order(first_month, &assumed.view) {
                        tr {
                            th scope="row" { (words::month(month.month)) }
                            td.figure data-label="panel, kWh/m² a day" { (kilo(month.in_plane_wh_m2)) }
                            td.figure data-label="8 years in 10" { (kilo(month.in_plane_years_wh_m2.0)) " to " (kilo(month.in_plane_years_wh_m2.1)) }
                            td.figure data-label="ground, kWh/m² a day" { (kilo(month.ghi_wh_m2)) }
                            td.figure data-label="90 % sure" { (kilo(month.ghi_interval_wh_m2.0)) " to " (kilo(month.ghi_interval_wh_m2.1)) }
                            td.figure data-label="air, °C" { (format!("{:.1}", month.air_celsius).replace('-', "−")) }
                            td.figure data-label="swing, K" { (format!("{:.1}", month.daily_swing_k)) }
                            td.figure data-label="snow, days" { (format!("{:.0}", month.snow_days)) }
                        }
                    }
                }
            }
        }
    }
}
