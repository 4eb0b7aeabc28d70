//! What the person sees: one page of text, the same with charts, and everything as data.

pub mod chart;
pub mod comparison;
pub mod geojson;
pub mod geotiff;
pub mod hours;
pub mod html;
pub mod json;
pub mod life;
pub mod look;
pub mod overlay;
pub mod page;
pub mod problem;
pub mod sentences;
pub mod site;
pub mod sizing;
pub mod text;
pub mod words;

#[cfg(test)]
mod fixture;

use std::collections::BTreeMap;

use design::node::{Design, Promise};
use forecast::life::climate_view::{ClimateMonth, ClimateView};
use verdict::law::LawPlan;
use verdict::message::{Learnable, MessageView};
use verdict::plan::{Plan, Severity};
use verdict::reach::Reach;
use verdict::remedy::Remedies;

use crate::problem::Problem;

/// What a plan is about, as far as a report needs to know.
#[derive(Clone, Debug)]
pub struct ReportedDesign {
    /// The design file, without its folders.
    pub file: String,
    /// The weather file, without its folders; none if the weather was drawn from a climate.
    pub weather_file: Option<String>,
    /// The climate that the weather was drawn from, in a line; none for a weather file.
    pub drawn_from: Option<String>,
    /// What people call the node.
    pub name: String,
    /// A remark shown under the name.
    pub note: Option<String>,
    /// North positive.
    pub latitude_deg: f64,
    /// What it must keep.
    pub promise: Promise,
    /// Role and description of each part.
    pub parts: Vec<(&'static str, String)>,
    /// Sunrise and sunset [h of local standard time] for each of 365 days.
    pub daylight_h: Vec<(f64, f64)>,
    /// State of charge [%] at or below which the node stops, for each hour of the plan: it rises with the cold.
    pub stops_percent: Vec<f64>,
    /// The same for each hour of the worst life's fortnight.
    pub worst_stops_percent: Vec<f64>,
    /// State of charge [%] at which a stopped node comes back.
    pub restarts_percent: f64,
    /// Whether it may be on the air as often as it is.
    pub law: LawPlan,
    /// Whether a gateway hears it.
    pub reach: Reach,
    /// What would make it hold; none if nobody asked.
    pub remedies: Option<Remedies>,
    /// What it sends, bit by bit.
    pub messages: Vec<MessageView>,
    /// What can be learned of the node from what it sends; none if no message is designed.
    pub learnable: Option<Learnable>,
    /// What is assumed of the weather, where it was drawn from a climate and a full report was asked for.
    pub climate: Option<Assumed>,
    /// Figures nobody should trust blindly: place in the file, and why.
    pub doubts: Vec<(String, String)>,
    /// What the design file probably does not mean.
    pub warnings: Vec<Problem>,
    /// Line of each place in the design file that the report points at.
    pub lines: BTreeMap<String, usize>,
}

/// A climate, and where it comes from.
#[derive(Clone, Debug)]
pub struct Assumed {
    /// Month by month.
    pub view: ClimateView,
    /// Where it comes from.
    pub origin: Origin,
}

/// Where a climate comes from, and so how far it is to be trusted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Origin {
    /// Built into the program.
    BuiltIn,
    /// Twelve numbers of the design file.
    Monthly,
    /// Hours of a weather file.
    Hours,
}

/// Something that wants a decision: found in the weather, or in the design file alone.
pub struct Caution {
    /// How bad.
    pub severity: Severity,
    /// Name that the manual explains.
    pub code: &'static str,
    /// File and line.
    pub place: String,
    /// What is wrong.
    pub message: String,
    /// What to do.
    pub help: String,
}

impl ReportedDesign {
    /// All that wants a decision, worst first.
    pub fn cautions(&self, plan: &Plan) -> Vec<Caution> {
        let unlearnable = self.learnable.iter().flat_map(|learnable| &learnable.finding);
        let found = plan
            .findings
            .iter()
            .chain(&self.law.findings)
            .chain(&self.reach.findings)
            .chain(unlearnable)
            .map(|finding| Caution {
                severity: finding.severity,
                code: finding.code,
                place: self.place(&finding.field),
                message: finding.message.clone(),
                help: finding.help.clone(),
            });
        let warned = self.warnings.iter().map(|warning| Caution {
            severity: Severity::Warning,
            code: warning.code,
            place: words::file_name(&warning.location()).to_owned(),
            message: warning.message.clone(),
            help: warning.help.clone(),
        });
        // What is wrong with the file itself comes first: the rest may follow from it.
        let mut cautions: Vec<Caution> = warned.chain(found).collect();
        cautions.sort_by_key(|caution| std::cmp::Reverse(caution.severity));
        cautions
    }

    /// The doubts with what is doubted for the same reason put together: where, what, why.
    pub fn doubts_by_reason(&self) -> Vec<(String, String)> {
        let mut groups: Vec<(String, &str, Vec<String>)> = Vec::new();
        for (field, remark) in &self.doubts {
            let (table, what, why) = match (remark.split_once(": "), field.rsplit_once('.')) {
                (Some((what, why)), _) => (field.as_str(), what.to_owned(), why),
                (None, Some((table, key))) => (table, format!("`{key}`"), remark.as_str()),
                (None, None) => (field.as_str(), String::new(), remark.as_str()),
            };
            match groups.iter_mut().find(|group| group.0 == table && group.1 == why) {
                Some(group) => group.2.push(what),
                None => groups.push((table.to_owned(), why, vec![what])),
            }
        }
        groups
            .into_iter()
            .map(|(table, why, whats)| (table, format!("{why}: {}", whats.join(", "))))
            .collect()
    }

    /// `file:line` of a field, or the file alone where the field is not written out.
    pub fn place(&self, field: &str) -> String {
        match self.lines.get(field) {
            Some(line) => format!("{}:{line}", self.file),
            None => self.file.clone(),
        }
    }

    /// First month of the year as it is drawn.
    pub fn first_month(&self) -> u8 {
        first_month(self.latitude_deg)
    }

    /// The twelve months (1 to 12) in the order in which they are drawn.
    pub fn months(&self) -> impl Iterator<Item = u8> {
        let first = self.first_month();
        (0..12).map(move |offset| (first - 1 + offset) % 12 + 1)
    }
}

impl Origin {
    /// Where the climate of a design comes from, if no weather file is named.
    pub fn of(design: &Design) -> Self {
        if design.climate.is_some() { Self::Monthly } else { Self::BuiltIn }
    }
}

/// First month of the year as it is drawn, so that the dark months lie unbroken in the middle.
pub fn first_month(latitude_deg: f64) -> u8 {
    if latitude_deg < 0.0 { 1 } else { 7 }
}

/// The months in the order in which they are drawn.
pub fn months_in_order(first_month: u8, climate: &ClimateView) -> impl Iterator<Item = &ClimateMonth> {
    (0..12_u8).filter_map(move |offset| climate.months.get(usize::from((first_month - 1 + offset) % 12)))
}

/// The darkest month (1 to 12): the one with the least sun on the panel.
pub fn darkest_month(plan: &Plan) -> Option<u8> {
    let sunless = |a: &&verdict::plan::MonthRow, b: &&verdict::plan::MonthRow| {
        a.sun_on_plane_wh_m2.total_cmp(&b.sun_on_plane_wh_m2)
    };
    plan.months.iter().min_by(sunless).map(|row| row.month)
}

/// Whether anything charges the battery.
pub fn has_sun(plan: &Plan) -> bool {
    plan.months.iter().any(|row| row.offered_per_day.coulombs() > 0.0)
}

/// Length of the longest bar of a ledger: the largest entry, but at most four times the largest spending, so that a
/// rich sun leaves the spendings readable; a longer bar is torn off.
pub fn top_of_ledger(charges: impl Iterator<Item = f64> + Clone) -> f64 {
    let largest = charges.clone().fold(0.0, |top, charge| f64::max(top, charge.abs()));
    let spent = charges.fold(0.0, |top, charge| f64::max(top, -charge));
    if spent > 0.0 { largest.min(4.0 * spent) } else { largest }
}
