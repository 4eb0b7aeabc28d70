//! Intervals that a message to the node may set: from which one on the node still lives.

use design::message::{Field, Kind, Message, Scale, SetInterval};
use design::node::Design;
use design::quantity::{Duration, Quantity};
use forecast::Progress;
use forecast::life::ensemble::on_threads;
use forecast::life::prepared::{Prepared, Weather};
use forecast::life::run::survives;

use super::Plan;
use super::chances::Effort;
use super::findings::finding;
use crate::finding::{Finding, Severity, Verdict};
use crate::quota::{self, first_that};
use crate::setting::{schedule, told};

/// Lives between two looks at whether to stop.
const BATCH: usize = 16;

/// A finding for each field that may set an interval at which a node that lives as it stands misses its promise.
pub(super) fn fatal(
    prepared: &Prepared,
    weather: Weather<'_>,
    plan: &Plan,
    effort: Effort,
    progress: &dyn Progress,
) -> Vec<Finding> {
    let design = prepared.design();
    let lived = plan.chances.as_ref().map_or(0, |chances| chances.lives);
    let lives = quota::searched(design.promise.without_outage).min(lived);
    if matches!(plan.verdict, Verdict::Fails | Verdict::NotKnown) || lives == 0 {
        return Vec::new();
    }
    let trial = Trial { prepared, weather, lives, effort, progress };
    let fields =
        design.messages.iter().flat_map(|message| message.fields.iter().map(move |field| (message, field)));
    fields.filter_map(|(message, field)| trial.of_field(message, field)).collect()
}

/// What every interval is tried with.
struct Trial<'a> {
    prepared: &'a Prepared,
    weather: Weather<'a>,
    lives: usize,
    effort: Effort,
    progress: &'a dyn Progress,
}

impl Trial<'_> {
    fn of_field(&self, message: &Message, field: &Field) -> Option<Finding> {
        let (Some(sets), Kind::Number { scale, last, .. }) = (&field.sets, &field.kind) else { return None };
        let design = self.prepared.design();
        let codes = *last as usize + 1;
        let code = |place: usize| u32::try_from(place).unwrap_or(u32::MAX);
        let first = first_that(0, codes, |place| changed(design, sets, scale, code(place)).is_some());
        // As often as it is written it lives: only what is faster is asked. A table is never made faster.
        let written = schedule(design, sets)?.fixed_interval()?;
        let end = first_that(first, codes, |place| interval(sets, scale, code(place)) >= written);
        if first >= end {
            return None;
        }
        let surviving = self.surviving(&changed(design, sets, scale, code(first))?);
        if self.is_enough(surviving) || self.progress.stop() {
            return None;
        }
        let holds = |place: usize| {
            let changed = changed(design, sets, scale, code(place));
            changed.is_some_and(|design| self.is_enough(self.surviving(&design)))
        };
        let from = first_that(first + 1, end, holds);
        let every = |place: usize| interval(sets, scale, code(place)).text();
        let text = format!(
            "`{}` may set `{}` to every {}, at which the node misses its promise: {} % of its lives pass without an outage, promised {} %",
            message.name,
            sets.activity,
            every(first),
            percent(surviving, self.lives),
            design.promise.without_outage.percent(),
        );
        let help = format!(
            "let its range begin at {}, from where on it keeps its promise ({} lives)",
            if from < codes { every(from) } else { written.text() },
            self.lives
        );
        let path = format!("message.{}.field.{}", message.name, field.name);
        Some(finding("downlink-drains", Severity::Warning, &path, text, &help))
    }

    /// How many lives pass with a design.
    fn surviving(&self, design: &Design) -> usize {
        let variant = self.prepared.of_variant(design, self.weather, None);
        let trial = variant.trial();
        let passes = |from: usize| {
            let batch = BATCH.min(self.lives - from);
            let lived =
                on_threads(self.effort.threads, batch, |index| survives(&trial, (from + index) as u64, None));
            lived.into_iter().filter(|passes| *passes).count()
        };
        (0..self.lives).step_by(BATCH).take_while(|_| !self.progress.stop()).map(passes).sum()
    }

    fn is_enough(&self, surviving: usize) -> bool {
        let promise = self.prepared.design().promise.without_outage.fraction();
        surviving as f64 >= promise * self.lives as f64 - 1e-9
    }
}

fn percent(part: usize, of: usize) -> String {
    format!("{:.1}", 100.0 * part as f64 / of.max(1) as f64)
}

fn interval(sets: &SetInterval, scale: &Scale, code: u32) -> Duration {
    Duration::from_seconds(scale.value(code) * f64::from(sets.unit_s))
}

/// The design with the interval of a code; `None` where that is no interval or the design refuses it.
fn changed(design: &Design, sets: &SetInterval, scale: &Scale, code: u32) -> Option<Design> {
    let every = interval(sets, scale, code);
    // An interval that the design refuses is said by the law's finding.
    (every > Duration::ZERO).then(|| told(design, &[(sets, every)]).ok()).flatten()
}
