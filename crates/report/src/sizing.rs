//! What sizing a node found: the designs worth a look, the one that is preferred, and those that fresh lives refused.

use design::quantity::{Quantity as _, Share};
use serde_json::{Value, json};
use verdict::Verdict;
use verdict::plan::JudgedVariant;
use verdict::size::{Choice, Sized};

use crate::json::number;
use crate::text::lay::{paint, wrap_indented};
use crate::text::{BOLD, WIDTH};
use crate::{json as data, sentences, words};

/// Refused designs that are named.
const NAMED: usize = 3;

/// What sizing found, and for which node.
pub struct SizingReport {
    /// What people call the node.
    pub name: String,
    /// Share of lives that is promised [%].
    pub promised_percent: f64,
    /// What was found.
    pub sized: Sized,
}

impl SizingReport {
    /// As text.
    pub fn text(&self) -> String {
        let sized = &self.sized;
        let mut lines = wrap_indented(&self.effort(), WIDTH, "  ");
        lines.push(String::new());
        if sized.choices.is_empty() {
            let none = format!("Nothing in range keeps the promise: {}.", self.none());
            lines.extend(wrap_indented(&none, WIDTH, "  "));
        } else {
            let cost = if sized.priced { "price" } else { "W + Wh" };
            let head = ["", "panel", "battery", "every", "reports/y", cost, "survives", "unluckiest"];
            lines.push(paint(BOLD, &row(head.map(str::to_owned))));
            lines.extend(sized.choices.iter().enumerate().map(|(index, choice)| {
                let mark = if Some(index) == sized.chosen { ">" } else { "" };
                row(cells(mark, choice))
            }));
            let kinds: Vec<String> = self.kinds();
            lines.extend(kinds.iter().flat_map(|said| wrap_indented(said, WIDTH, "  ")));
        }
        lines.extend(self.remarks().iter().flat_map(|said| wrap_indented(said, WIDTH, "  ")));
        lines.join("\n") + "\n"
    }

    pub(crate) fn effort(&self) -> String {
        let sized = &self.sized;
        let brute = sized.designs * sized.searched;
        format!(
            "{}: {} designs, {} looked at, {} lives lived where all would be {}",
            self.name,
            words::grouped(sized.designs),
            words::grouped(sized.looked_at),
            words::grouped(sized.lived),
            words::grouped(brute)
        )
    }

    fn none(&self) -> &'static str {
        if self.sized.stopped {
            "the search was stopped before one was found"
        } else if self.sized.refused.is_empty() {
            "not even the largest panel and battery at the longest interval that sends enough reports"
        } else {
            "those that passed on the lives of the search failed on fresh ones"
        }
    }

    /// Parts by name, of the chosen design.
    fn kinds(&self) -> Vec<String> {
        let chosen = self.sized.chosen.and_then(|index| self.sized.choices.get(index));
        let said = |choice: &Choice| {
            format!(
                "> {}; {} of {} fresh lives without an outage ({}-{}), promised {} %.",
                parts(choice),
                sentences::share(choice.judged.without_outage),
                words::grouped(choice.judged.lives),
                percent(choice.judged.interval.0),
                percent(choice.judged.interval.1),
                words::figure_short(self.promised_percent)
            )
        };
        chosen.map(said).into_iter().collect()
    }

    pub(crate) fn remarks(&self) -> Vec<String> {
        let sized = &self.sized;
        let mut said = Vec::new();
        for choice in sized.refused.iter().take(NAMED) {
            let every = choice.every.map(|every| format!(" every {}", every.text())).unwrap_or_default();
            said.push(format!(
                "Preferred and refused: {} with {}{every}: {} of {} fresh lives ({}-{}), unluckiest fifth {}{}.",
                if choice.panel.is_some() { choice.power.text() } else { "no panel".to_owned() },
                choice.capacity.text(),
                sentences::share(choice.judged.without_outage),
                words::grouped(choice.judged.lives),
                percent(choice.judged.interval.0),
                percent(choice.judged.interval.1),
                sentences::share(choice.judged.worst_fifth),
                against(&choice.judged).map(|why| format!("; {why}")).unwrap_or_default(),
            ));
        }
        if sized.refused.len() > NAMED {
            said.push(format!("{} more were refused.", sized.refused.len() - NAMED));
        }
        if !sized.priced {
            said.push(
                "No prices, neither in [size] nor of a part: a watt of panel counts as much as a watt-hour of battery.".to_owned(),
            );
        }
        if !sized.unpriced.is_empty() {
            said.push(format!("Left out for want of a price: {}.", sized.unpriced.join(", ")));
        }
        if !sized.unlawful.is_empty() {
            let list: Vec<String> = sized.unlawful.iter().map(|every| every.text()).collect();
            said.push(format!("Left out, as law or message forbid them: every {}.", list.join(", ")));
        }
        if sized.stopped {
            said.push("Stopped early: the best so far.".to_owned());
        }
        said
    }

    /// As JSON.
    pub fn json(&self) -> Value {
        let sized = &self.sized;
        let list = |choices: &[Choice]| choices.iter().map(choice_json).collect::<Vec<_>>();
        json!({
            "schema": 1,
            "overwinter": env!("CARGO_PKG_VERSION"),
            "node": self.name,
            "promise_without_outage_percent": number(self.promised_percent),
            "designs": sized.designs,
            "looked_at": sized.looked_at,
            "lives_lived": sized.lived,
            "lives_searched": sized.searched,
            "lives_confirmed": sized.confirmed,
            "cost_is": if sized.priced { "price" } else { "watts_and_watt_hours" },
            "choices": list(&sized.choices),
            "chosen": sized.chosen,
            "refused": list(&sized.refused),
            "without_price": sized.unpriced,
            "unlawful_intervals_s": sized.unlawful.iter().map(|every| number(every.seconds())).collect::<Vec<_>>(),
            "stopped": sized.stopped,
        })
    }
}

/// What keeps a design whose lives pass from holding: a smaller promise, or what endangers its battery.
fn against(judged: &JudgedVariant) -> Option<String> {
    let (survival, smaller) = judged.kept.split_first()?;
    if survival.verdict != Verdict::Holds {
        return None;
    }
    let missed = smaller.iter().find(|kept| kept.verdict != Verdict::Holds);
    missed.map(|kept| format!("{} {}", kept.promised.name(), sentences::answer(&kept.promised))).or_else(
        || {
            let danger = judged.dangers.first()?;
            Some(danger.message.split("; ").next().unwrap_or(&danger.message).to_owned())
        },
    )
}

/// The panel by its power.
pub(crate) fn panel_text(choice: &Choice) -> String {
    if choice.panel.is_some() { choice.power.text() } else { "none".to_owned() }
}

/// Its parts by name.
fn parts(choice: &Choice) -> String {
    let panel = choice.panel.as_ref().map(|panel| format!("{panel} tilted {:.0} deg", choice.tilt_deg));
    let parts = [panel.as_ref(), Some(&choice.battery), choice.charger.as_ref()];
    parts.into_iter().flatten().map(String::as_str).collect::<Vec<_>>().join(", ")
}

fn cells(mark: &str, choice: &Choice) -> [String; 8] {
    let every = choice.every.map(design::quantity::Duration::text).unwrap_or_default();
    [
        mark.to_owned(),
        panel_text(choice),
        choice.capacity.text(),
        every,
        words::grouped(words::whole(choice.reports_per_year)),
        format!("{:.2}", choice.cost),
        sentences::share(choice.judged.without_outage),
        sentences::share(choice.judged.worst_fifth),
    ]
}

/// A share in percent to a tenth.
fn percent(share: Share) -> String {
    format!("{:.1}", share.percent())
}

fn row([mark, panel, battery, every, reports, cost, survives, unluckiest]: [String; 8]) -> String {
    format!(
        "{mark:>2}  {panel:<9}{battery:<12}{every:<9}{reports:>10}{cost:>9}{survives:>10}{unluckiest:>12}"
    )
    .trim_end()
    .to_owned()
}

fn choice_json(choice: &Choice) -> Value {
    json!({
        "panel": choice.panel,
        "power_w": number(choice.power.watts()),
        "tilt_deg": number(choice.tilt_deg),
        "battery": choice.battery,
        "capacity_mah": number(choice.capacity.milliampere_hours()),
        "charger": choice.charger,
        "every_s": choice.every.map(|every| number(every.seconds())),
        "reports_per_year": number(choice.reports_per_year),
        "cost": number(choice.cost),
        "verdict": data::verdict(choice.judged.verdict),
        "without_outage_percent": number(choice.judged.without_outage.percent()),
        "interval_percent": [
            number(choice.judged.interval.0.percent()), number(choice.judged.interval.1.percent()),
        ],
        "worst_fifth_percent": number(choice.judged.worst_fifth.percent()),
        "dangers": choice.judged.dangers.iter().map(|danger| danger.message.as_str()).collect::<Vec<_>>(),
    })
}
