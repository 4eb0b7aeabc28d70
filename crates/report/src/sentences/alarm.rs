//! Alarms in a person's words: what is wrong, why it is believed, and what to do.

mod charge;

use design::quantity::Duration;
use serde_json::{Map, Value};

use crate::words;
use charge::{below_forecast, empty_by_what_was_learned, of_charge};

/// An alarm as it is to be said.
#[derive(Clone, Copy, Debug)]
pub struct Alarm<'a> {
    /// The word of its rule, such as `silent`.
    pub rule: &'a str,
    /// The node or gateway, as people call it; the log itself has no name.
    pub who: &'a str,
    /// The field, rule of the site file or way of telling; empty where there is none.
    pub of: &'a str,
    /// Its figures, by names that end in their unit.
    pub evidence: &'a Map<String, Value>,
}

/// What is said of an alarm: three sentences without a full stop.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Said {
    /// What is wrong, and with whom.
    pub what: String,
    /// The figures behind it.
    pub why: String,
    /// What to do.
    pub remedy: String,
}

impl Alarm<'_> {
    fn number(&self, name: &str) -> Option<f64> {
        self.evidence.get(name)?.as_f64()
    }

    /// A figure in words; an alarm of another edition may lack it.
    fn said(&self, name: &str, say: impl FnOnce(f64) -> String) -> String {
        self.number(name).map_or_else(|| "a time or number that was not kept".to_owned(), say)
    }

    fn span(&self, name: &str) -> String {
        self.said(name, |seconds| words::span(Duration::from_seconds(seconds)))
    }

    fn figure(&self, name: &str) -> String {
        self.said(name, words::figure_short)
    }
}

/// What is said of an alarm.
pub fn say(alarm: &Alarm<'_>) -> Said {
    let (what, why, remedy) = match alarm.rule {
        "gateway-away" | "nothing-heard" => of_gateway(alarm),
        "silent" | "losing" | "restarts" | "counter-lost" => of_node(alarm),
        "below-forecast" => below_forecast(alarm),
        "empty-soon" if alarm.number("empty_in_14_d_percent").is_some() => empty_by_what_was_learned(alarm),
        "never-charged" | "charge-stopped" | "drains-fast" | "battery-worn" | "cell-ending"
        | "empty-soon" => of_charge(alarm),
        "join-storm" | "forged" | "too-long-on-air" | "slower-than-planned" => of_radio(alarm),
        "reading-stuck" | "magic-value" | "reading-jump" | "reading-out-of-range" | "sun-heated" => {
            of_reading(alarm)
        }
        "place-stale" | "left-area" | "place-impossible" | "not-moved" => of_place(alarm),
        "store" | "clock" | "dropped" | "tell-failed" | "backup-old" | "source-away" => of_log(alarm),
        "threshold" | "cannot-see" => of_limit(alarm),
        "calibration-due" => calibration_due(alarm),
        rule => (
            format!("{}: {rule}", alarm.who),
            "a rule that this program does not know has found it".to_owned(),
            "read it with the program that found it".to_owned(),
        ),
    };
    Said { what, why, remedy }
}

type Three = (String, String, String);

fn of_gateway(alarm: &Alarm<'_>) -> Three {
    let who = alarm.who;
    if alarm.rule == "gateway-away" {
        return (
            format!("{who} is away"),
            format!(
                "this gateway asks for answers every few seconds, and had not for {}; nodes that it alone hears are not heard",
                alarm.span("away_s")
            ),
            "see whether it has power, and whether its network reaches this computer".to_owned(),
        );
    }
    let usual = match alarm.number("usual_gap_s") {
        Some(_) => format!("something usually comes within {}", alarm.span("usual_gap_s")),
        None => "how often something comes is not known yet".to_owned(),
    };
    let overdue = match (alarm.number("overdue"), alarm.number("nodes")) {
        (Some(overdue), Some(nodes)) if overdue > 0.0 => {
            format!("; {overdue} of the {nodes} that it alone hears are overdue")
        }
        _ => String::new(),
    };
    (
        format!("{who} hears nothing"),
        format!(
            "the gateway is connected, but no frame has come for {}; {usual}{overdue}",
            alarm.span("quiet_s")
        ),
        "look at its antenna, cable and plug, then start it anew; never let it transmit without its antenna"
            .to_owned(),
    )
}

fn of_node(alarm: &Alarm<'_>) -> Three {
    match alarm.rule {
        "silent" => silent(alarm),
        "losing" => losing(alarm),
        "restarts" if alarm.evidence.get("only_joins") == Some(&Value::Bool(true)) => joins_again(alarm),
        "restarts" => restarts(alarm),
        _ => counter_lost(alarm),
    }
}

fn silent(alarm: &Alarm<'_>) -> Three {
    let who = alarm.who;
    (
        format!("{who} is silent"),
        format!(
            "nothing has come for {}; it sends every {}, and as it loses {} % of its messages, up to {} without a word \
             are usual",
            alarm.span("silent_s"),
            alarm.span("interval_s"),
            alarm.figure("lost_percent"),
            alarm.span("usual_s")
        ),
        "look at its last battery voltage: if it was low, bring a charged battery; else see whether antenna and plugs \
         are sound"
            .to_owned(),
    )
}

fn losing(alarm: &Alarm<'_>) -> Three {
    let who = alarm.who;
    (
        format!("{who} loses messages"),
        format!(
            "{} % of its last {} are lost, planned are at most {} %",
            alarm.figure("lost_percent"),
            alarm.figure("messages"),
            alarm.figure("planned_percent")
        ),
        "see whether its antenna stands upright and dry and nothing new stands in the way; else give it a slower data \
         rate or another gateway"
            .to_owned(),
    )
}

fn joins_again(alarm: &Alarm<'_>) -> Three {
    let who = alarm.who;
    (
        format!("{who} joins again and again"),
        format!(
            "{} joins in {} h, and nothing else came since the last: it stops when it sends, or does not hear the answer",
            alarm.figure("restarts"),
            alarm.figure("within_h")
        ),
        "measure its battery's voltage when it sends; if that holds, see whether a gateway that can send is near"
            .to_owned(),
    )
}

fn restarts(alarm: &Alarm<'_>) -> Three {
    let who = alarm.who;
    (
        format!("{who} starts again and again"),
        format!("{} starts in {} h", alarm.figure("restarts"), alarm.figure("within_h")),
        "look for a loose battery lead or water in the box, and at its voltage when it sends; if all is sound, its \
         firmware hangs"
            .to_owned(),
    )
}

fn counter_lost(alarm: &Alarm<'_>) -> Three {
    let why = if alarm.evidence.get("used_again") == Some(&Value::Bool(true)) {
        "it uses counters again that it used before, so that what it sends is refused and no longer secret"
            .to_owned()
    } else {
        format!(
            "{} frames came with counters far below the last, and none above it: they are refused",
            alarm.figure("old_counters")
        )
    };
    let remedy = "let it join anew: switch it off and on; if it has no join, type its session anew";
    (format!("{} has lost its counter", alarm.who), why, remedy.to_owned())
}

fn of_radio(alarm: &Alarm<'_>) -> Three {
    let who = alarm.who;
    match alarm.rule {
        "join-storm" => (
            format!("{who} joins without end"),
            format!("{} genuine joins within {} h", alarm.figure("joins"), alarm.figure("within_h")),
            "see whether it hears the answers: a gateway that can send must be near. Its firmware must wait longer after each try"
                .to_owned(),
        ),
        "forged" => (
            format!("somebody sends in the name of {who}"),
            format!(
                "{} frames with its address and a wrong integrity code within {} h, and none of its own between them; none was \
                 believed",
                alarm.figure("frames"),
                alarm.figure("within_h")
            ),
            "see whether a board with an old or wrong key is running; else somebody tries: nothing is lost, keep the key box safe"
                .to_owned(),
        ),
        "too-long-on-air" => (
            format!("{who} is on the air for longer than the law allows"),
            format!(
                "{} s within an hour, {} s are allowed in this sub-band",
                alarm.figure("on_air_s"),
                alarm.figure("allowed_s")
            ),
            "give it a longer interval or a faster data rate now; `check` says which is lawful".to_owned(),
        ),
        _ => (
            format!("{who} sends more slowly than planned"),
            format!(
                "SF{} for {} h, planned is SF{} or faster: each message takes longer and costs more charge",
                alarm.figure("spreading_factor"),
                alarm.figure("since_h"),
                alarm.figure("planned_spreading_factor")
            ),
            "see whether its antenna is sound and what has grown or been built in the way".to_owned(),
        ),
    }
}

fn of_limit(alarm: &Alarm<'_>) -> Three {
    let unit = alarm.evidence.get("unit").and_then(Value::as_str).unwrap_or_default();
    let unit = if unit == "1" { String::new() } else { format!(" {}", words::unit(unit)) };
    let (who, of) = (alarm.who, alarm.of);
    let (value, limit) = (alarm.figure("value"), alarm.figure("limit"));
    if alarm.rule == "cannot-see" {
        return (
            format!("{of}: {who} can't be seen"),
            format!(
                "no reading has come for {}; the last was {value}{unit}, the limit is {limit}{unit}",
                alarm.span("unseen_s")
            ),
            "do not trust that all is well: go and measure, now".to_owned(),
        );
    }
    if alarm.number("rise").is_some() {
        return (
            format!("{of}: {who} rises"),
            format!(
                "by {}{unit} within {} to {value}{unit}; {limit}{unit} are allowed",
                alarm.figure("rise"),
                alarm.span("within_s")
            ),
            "do what you have set this rule for".to_owned(),
        );
    }
    let side = if alarm.evidence.get("is_below") == Some(&Value::Bool(true)) { "below" } else { "above" };
    let lasting = match alarm.number("lasting_s") {
        Some(seconds) if seconds > 0.0 => format!(", for {} or longer", alarm.span("lasting_s")),
        _ => String::new(),
    };
    if alarm.number("beyond_s").is_some() {
        return (
            format!("{of}: {who} was {side} {limit}{unit} for too long"),
            format!(
                "{} in all within {}; it reads {value}{unit} now",
                alarm.span("beyond_s"),
                alarm.span("within_s")
            ),
            "do what you have set this rule for".to_owned(),
        );
    }
    (
        format!("{of}: {who} reads {value}{unit}"),
        format!("it is {side} {limit}{unit}{lasting}"),
        "do what you have set this rule for".to_owned(),
    )
}

fn of_reading(alarm: &Alarm<'_>) -> Three {
    let fields: Vec<&str> = alarm
        .evidence
        .get("fields")
        .and_then(Value::as_array)
        .into_iter()
        .flatten()
        .filter_map(Value::as_str)
        .collect();
    let fields = fields.join(", ");
    match alarm.rule {
        "magic-value" => magic_value(alarm, &fields),
        "reading-jump" => reading_jump(alarm, &fields),
        "reading-out-of-range" => out_of_range(alarm, &fields),
        "sun-heated" => sun_heated(alarm, &fields),
        _ => reading_stuck(alarm, &fields),
    }
}

fn magic_value(alarm: &Alarm<'_>, fields: &str) -> Three {
    let who = alarm.who;
    (
        format!("{who}: {fields} says {}", alarm.figure("value")),
        format!(
            "{} times in a row; sensors give this value when they are not read",
            alarm.figure("in_a_row")
        ),
        "see whether the sensor's lead is whole and its plug in".to_owned(),
    )
}

fn reading_jump(alarm: &Alarm<'_>, fields: &str) -> Three {
    let who = alarm.who;
    (
        format!("{who}: {fields} leaps"),
        format!(
            "{} times within a day away and back at once, by up to {}; its usual step is {} or less",
            alarm.figure("leaps"),
            alarm.figure("furthest"),
            alarm.figure("usual_step")
        ),
        "look for a loose plug or water in the sensor's lead, and for something that is switched near it. Until then do not \
         go by single readings"
            .to_owned(),
    )
}

fn out_of_range(alarm: &Alarm<'_>, fields: &str) -> Three {
    let who = alarm.who;
    let text = |name: &str| alarm.evidence.get(name).and_then(Value::as_str).unwrap_or_default();
    let unit = if text("unit") == "1" { String::new() } else { format!(" {}", words::unit(text("unit"))) };
    (
        format!("{who}: {fields} lies {} its range", text("side")),
        format!(
            "{} readings in a row were {} {}{unit}, where its field ends",
            alarm.figure("in_a_row"),
            text("side"),
            alarm.figure("end")
        ),
        "see whether the sensor's lead is broken or shorted; if the place is so, widen `range` in the design"
            .to_owned(),
    )
}

fn sun_heated(alarm: &Alarm<'_>, fields: &str) -> Three {
    let who = alarm.who;
    (
        format!("{who}: the sun heats {fields}"),
        format!(
            "around noon it was {} K warmer than the other nodes on {} of {} days, and at night it was not",
            alarm.figure("warmer_k"),
            alarm.figure("days"),
            alarm.figure("of_days")
        ),
        "see whether its shield is there, clean and in the wind; do not go by its readings in sunshine"
            .to_owned(),
    )
}

fn calibration_due(alarm: &Alarm<'_>) -> Three {
    let on = alarm.said("due_s", |seconds| {
        #[expect(clippy::cast_possible_truncation, reason = "seconds since 1970")]
        let (year, month, day) = forecast::learn::date_of(seconds as i64);
        format!("{day} {} {year}", words::month(month))
    });
    let what = match alarm.number("in_d") {
        Some(days) if days < 0.0 => "its calibration is overdue",
        _ => "its calibration is due soon",
    };
    (
        format!("{}: {what}", alarm.who),
        format!("the newest visit with a certificate says that the next is due on {on}"),
        "have its sensors calibrated, and note the visit with the new certificate and the next day"
            .to_owned(),
    )
}

fn of_place(alarm: &Alarm<'_>) -> Three {
    let (who, of) = (alarm.who, alarm.of);
    match alarm.rule {
        "left-area" => (
            format!("{who} has left {of}"),
            format!(
                "its last fix lies {} m outside, and errs by {} m at most in 19 of 20 cases",
                alarm.figure("outside_m"),
                alarm.figure("accuracy_m")
            ),
            "see on its track where it is and who moved it; fetch it, or name it no more in the area"
                .to_owned(),
        ),
        "not-moved" => (
            format!("{who} has not moved for {} days", alarm.figure("still_d")),
            format!(
                "all its fixes of this time are of one place; the last errs by {} m at most in 19 of 20 cases",
                alarm.figure("accuracy_m")
            ),
            "see on its track where it stands, and whether it is of more use elsewhere".to_owned(),
        ),
        "place-stale" => {
            let why = if alarm.evidence.get("never") == Some(&Value::Bool(true)) {
                format!("it moves, and in {} it has found no position at all", alarm.span("old_s"))
            } else {
                format!(
                    "it moves and should say where it is every {}; its last fix was {} old when it was heard last",
                    alarm.span("interval_s"),
                    alarm.span("old_s")
                )
            };
            let remedy = "see whether its receiver's antenna looks at the sky and is not under metal";
            (format!("{who} moves, and does not know where it is"), why, remedy.to_owned())
        }
        _ => {
            let why = if alarm.evidence.get("why").and_then(Value::as_str) == Some("nowhere") {
                "it says 0 degrees north, 0 degrees east, as receivers do that know nothing".to_owned()
            } else {
                format!("from its fix before, it would have gone at {} km/h", alarm.figure("km_h"))
            };
            let remedy = "wait for its next fix; if this comes again, see whether its receiver's antenna looks at the sky";
            (format!("{who} can't be where it says"), why, remedy.to_owned())
        }
    }
}

fn of_log(alarm: &Alarm<'_>) -> Three {
    let of = alarm.of;
    match alarm.rule {
        "store" => (
            "the disk of the log is nearly full".to_owned(),
            format!("{} % of it are free; once it is full nothing more is kept", alarm.figure("free_percent")),
            "delete or move other files now; `overwinter export SITE.toml --compact` gives back what the log no longer uses"
                .to_owned(),
        ),
        "clock" => (
            "this computer's clock was set".to_owned(),
            format!("by {} s; readings around that moment bear a wrong time", alarm.figure("set_by_s")),
            "see whether it gets its time from the network, and whether its clock's battery is good".to_owned(),
        ),
        "dropped" => (
            "messages were lost in this computer".to_owned(),
            format!("{} were dropped because too many waited to be kept", alarm.figure("dropped")),
            "see what keeps its disk or processor busy, and whether a gateway or broker sends without end".to_owned(),
        ),
        "tell-failed" => (
            format!("{of} can't be told of alarms"),
            format!("it has failed for {}", alarm.span("failing_s")),
            format!("`/health` says why; then try it: `overwinter serve SITE.toml --try-tell {of}`"),
        ),
        "source-away" => (
            format!("the source {of} is not connected"),
            format!("it has failed for {}; nothing comes from its nodes meanwhile", alarm.span("failing_s")),
            "see whether its broker runs and this computer reaches it; `/intake` says why it fails".to_owned(),
        ),
        _ => {
            let why = if alarm.evidence.get("was_copied") == Some(&Value::Bool(true)) {
                format!("the last copy is {} days old", alarm.figure("old_days"))
            } else {
                format!("it holds {} days, and none was ever made from here", alarm.figure("old_days"))
            };
            (
                "the log has no recent copy".to_owned(),
                why,
                "copy it to another disk: `overwinter export SITE.toml --log COPY.sqlite`".to_owned(),
            )
        }
    }
}

fn reading_stuck(alarm: &Alarm<'_>, fields: &str) -> Three {
    let who = alarm.who;
    (
        format!("{who}: {fields} stands still"),
        format!(
            "{} equal readings in a row, {} were the most before",
            alarm.figure("equal"),
            alarm.figure("longest_before")
        ),
        "look at the sensor and its lead; compare with another thermometer on the spot. Until then do not go by it".to_owned(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(rule: &str, figures: &str) -> Said {
        let evidence: Map<String, Value> = serde_json::from_str(figures).expect("JSON");
        say(&Alarm { rule, who: "mast-slope", of: "", evidence: &evidence })
    }

    #[test]
    fn an_alarm_is_said_with_its_figures_and_units() {
        let silent =
            said("silent", r#"{"silent_s": 2160, "interval_s": 600, "usual_s": 2100, "lost_percent": 4.5}"#);
        assert_eq!(silent.what, "mast-slope is silent");
        assert_eq!(
            silent.why,
            "nothing has come for 36 min; it sends every 10 min, and as it loses 4.5 % of its messages, up to 35 min without \
             a word are usual"
        );
        let charged = said(
            "never-charged",
            r#"{"since_h": 48, "least_mv": 3753, "most_mv": 3799, "counts_minutes": false}"#,
        );
        assert_eq!(charged.why, "in 48 h its voltage never rose by 10 mV; it lay between 3.75 V and 3.80 V");
    }

    #[test]
    fn what_was_learned_is_said_with_its_cause() {
        let empty = said(
            "empty-soon",
            r#"{"days_left": 9, "soonest_d": 5, "empty_in_14_d_percent": 90, "cause": "the panel gives nothing"}"#,
        );
        assert_eq!(empty.what, "mast-slope will be empty in 9 days");
        assert_eq!(
            empty.why,
            "90 % of the nodes that would have sent what this one sent are empty within 14 days, the first in 5 days; the \
             panel gives nothing"
        );
        let below = said("below-forecast", r#"{"told_d": 3, "cause": "the panel gives nothing"}"#);
        assert_eq!(
            (below.what.as_str(), below.why.as_str()),
            ("mast-slope will not last as promised", "the panel gives nothing")
        );
    }

    #[test]
    fn a_limit_is_said_with_its_unit_and_side() {
        let evidence: Map<String, Value> = serde_json::from_str(
            r#"{"value": -0.4, "limit": 1, "unit": "Cel", "is_below": true, "lasting_s": 600, "unseen_s": 960}"#,
        )
        .expect("JSON");
        let of = |rule| say(&Alarm { rule, who: "mast-hollow", of: "frost", evidence: &evidence });
        let frost = of("threshold");
        assert_eq!(frost.what, "frost: mast-hollow reads -0.4 °C");
        assert_eq!(frost.why, "it is below 1 °C, for 10 min or longer");
        assert_eq!(
            of("cannot-see").why,
            "no reading has come for 16 min; the last was -0.4 °C, the limit is 1 °C"
        );
    }

    #[test]
    fn every_rule_is_said_in_words_of_its_own() {
        for rule in logbook_rules() {
            let all = said(rule, "{}");
            assert!(!all.why.contains("does not know"), "{rule}: {}", all.why);
        }
    }

    /// Words of the rules as the manual lists them, so that a rule without words is noticed.
    fn logbook_rules() -> impl Iterator<Item = &'static str> {
        let manual = include_str!("../../../../docs/log.md");
        let table = manual.split("| rule | opens | closes |").nth(1).expect("the table of the rules");
        let rows = table.lines().skip(2).take_while(|line| line.starts_with("| `"));
        rows.filter_map(|line| line.split('`').nth(1))
    }

    #[test]
    fn the_new_rules_are_said_with_their_figures() {
        let left = say(&Alarm {
            rule: "left-area",
            who: "trailer",
            of: "yard",
            evidence: &serde_json::from_str(r#"{"outside_m": 500, "accuracy_m": 12}"#).expect("JSON"),
        });
        assert_eq!(left.what, "trailer has left yard");
        assert_eq!(left.why, "its last fix lies 500 m outside, and errs by 12 m at most in 19 of 20 cases");
        let heated = said("sun-heated", r#"{"fields": ["air"], "warmer_k": 4.8, "days": 5, "of_days": 6}"#);
        assert_eq!(heated.what, "mast-slope: the sun heats air");
        let beyond = said(
            "reading-out-of-range",
            r#"{"fields": ["level"], "side": "above", "end": 2.5, "unit": "m", "in_a_row": 7}"#,
        );
        assert_eq!(beyond.why, "7 readings in a row were above 2.5 m, where its field ends");
        let time = said(
            "threshold",
            r#"{"value": 6, "limit": 8, "unit": "Cel", "is_below": false, "beyond_s": 14400, "within_s": 86400}"#,
        );
        assert_eq!(time.why, "4 h in all within 24 h; it reads 6 °C now");
    }

    #[test]
    fn a_figure_that_is_not_there_is_said_to_be_missing() {
        assert!(
            said("silent", "{}").why.starts_with("nothing has come for a time or number that was not kept")
        );
        assert_eq!(said("later-rule", "{}").what, "mast-slope: later-rule");
    }
}
