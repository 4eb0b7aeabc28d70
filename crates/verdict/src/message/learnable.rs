//! What the messages of a node tell about the node itself, and what it costs to tell more.

use design::change::Change;
use design::message::{Direction, Field, Meaning, Message};
use design::node::{Activity, Condition, Design, Step};
use design::quantity::{Charge, Share};
use forecast::diary::Diary;
use forecast::load::Demand;
use forecast::power::battery::open_circuit;
use forecast::radio::link_state::LinkState;

use crate::finding::{Finding, Severity};

/// What can be learned of a node from the messages it is designed to send.
#[derive(Clone, Debug)]
pub struct Learnable {
    /// What its messages tell at the data rates in use.
    pub tells: Vec<Meaning>,
    /// What they do not, the most telling first.
    pub lacks: Vec<Lack>,
    /// All additions that fit, at once; `None` if there are fewer than two, or they do not fit together.
    pub together: Option<Extra>,
    /// Said where nothing at all can be learned.
    pub finding: Option<Finding>,
}

/// Something that the messages do not tell.
#[derive(Clone, Debug)]
pub struct Lack {
    /// What.
    pub means: Meaning,
    /// The message that is sent most often, or the one that has the field already.
    pub message: String,
    /// How it would be told.
    pub way: Way,
}

/// How a message comes to tell something.
#[derive(Clone, Debug)]
pub enum Way {
    /// The field is there and only does not say what it means: its key.
    Say(String),
    /// The field is there, but left out at all data rates in use: its key.
    LeftOut(String),
    /// A field is to be added, as it would be written, at this cost.
    Add(String, Extra),
    /// A field can't be added as it would be written: why, and what to do.
    TooMuch(String, String, String),
}

/// What an addition costs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extra {
    /// Bits of the message.
    pub bits: u32,
    /// Application bytes before, at the data rate that is used most.
    pub bytes_before: usize,
    /// Application bytes after.
    pub bytes: usize,
    /// Charge at the battery, with a full battery's intervals and conditions of air met.
    pub charge_per_day: Charge,
}

/// Steps of a voltage \[mV\].
const STEPS_MV: [i64; 6] = [10, 20, 50, 100, 200, 500];
/// Steps that 8 bits have room for, beside below, above and absent.
const MOST_STEPS: i64 = 252;
/// A code of a voltage begins so far below the empty battery (own choice).
const BELOW_EMPTY_MV: f64 = 200.0;
/// A panel gives more volts in the cold than its label says: at -40 °C some 20 % for silicon (own choice of room).
const COLD_PANEL: f64 = 1.25;

/// What can be learned of a node whose messages go as `link` says; `None` if it sends no message that is designed.
#[must_use]
pub fn learnable(design: &Design, link: &LinkState) -> Option<Learnable> {
    let main = most_sent(design)?;
    let tells: Vec<Meaning> =
        Meaning::ALL.into_iter().filter(|meaning| is_told(*meaning, design, link)).collect();
    let mut whole = Some(design.clone());
    let mut lacks = Vec::new();
    let wanted = |meaning: &Meaning| !tells.contains(meaning) && is_of_use(*meaning, design);
    for means in Meaning::ALL.into_iter().filter(wanted) {
        let lack = lack(means, design, main, link);
        if let Way::Add(..) = lack.way {
            whole = whole.and_then(|before| before.with(addition(means, &before, main)).ok());
        }
        lacks.push(lack);
    }
    let added = lacks.iter().filter(|lack| matches!(lack.way, Way::Add(..))).count();
    let together = whole.filter(|_| added > 1).and_then(|after| extra(design, &after, main, link));
    let finding = (!tells.contains(&Meaning::Battery)).then(|| not_learnable(&lacks)).flatten();
    Some(Learnable { tells, lacks, together, finding })
}

/// Of a node without a panel, minutes in charge say nothing.
fn is_of_use(meaning: Meaning, design: &Design) -> bool {
    match meaning {
        Meaning::Battery | Meaning::Restarted => true,
        Meaning::Charging | Meaning::Panel | Meaning::Box => design.panel.is_some(),
    }
}

/// How often a message goes a day, with a full battery; whatever hangs on air, month or motion left aside if `always`.
fn sent_per_day(design: &Design, message: &Message, always: bool) -> f64 {
    let activities = design.loads.iter().flat_map(|load| &load.activities);
    let counted = activities.filter(|activity| !always || activity.when == Condition::default());
    counted.map(|activity| uplinks_per_day(activity, message)).sum()
}

fn uplinks_per_day(activity: &Activity, message: &Message) -> f64 {
    let Some(interval) = activity.interval_at(Share::from_percent(100.0)) else { return 0.0 };
    let is_it =
        |step: &&Step| matches!(step, Step::Uplink { message: Some(name), .. } if *name == message.name);
    activity.steps.iter().filter(is_it).count() as f64 / interval.days()
}

/// The designed message from the node that goes most often, what always goes before what hangs on conditions.
fn most_sent(design: &Design) -> Option<&Message> {
    let often = |message: &Message| [true, false].map(|always| sent_per_day(design, message, always));
    let sent = design
        .messages
        .iter()
        .filter(|message| message.direction == Direction::Up && often(message)[1] > 0.0);
    sent.max_by(|one, other| often(one).partial_cmp(&often(other)).unwrap_or(std::cmp::Ordering::Equal))
}

fn sent_fields(design: &Design) -> impl Iterator<Item = (&Message, &Field)> {
    let sent = design
        .messages
        .iter()
        .filter(|message| message.direction == Direction::Up && sent_per_day(design, message, false) > 0.0);
    sent.flat_map(|message| message.fields.iter().map(move |field| (message, field)))
}

/// Whether a message carries it at one of the data rates in use.
fn is_told(meaning: Meaning, design: &Design, link: &LinkState) -> bool {
    let mut telling = sent_fields(design).filter(|(_, field)| field.meaning() == Some(meaning));
    telling.any(|(message, field)| {
        let mut used = link.data_rates.iter().filter(|(_, share)| share.fraction() > 0.0);
        used.any(|(rate, _)| message.carries(message.form_at(*rate), field))
    })
}

fn lack(means: Meaning, design: &Design, main: &Message, link: &LinkState) -> Lack {
    let found = |wanted: &dyn Fn(&Field) -> bool| {
        sent_fields(design)
            .find(|(_, field)| wanted(field))
            .map(|(of, field)| (of.name.clone(), field.name.clone()))
    };
    if let Some((message, field)) = found(&|field| field.meaning() == Some(means)) {
        return Lack { means, message, way: Way::LeftOut(field) };
    }
    if let Some((message, field)) = found(&|field| seems(means, field)) {
        return Lack { means, message, way: Way::Say(field) };
    }
    let change = addition(means, design, main);
    let line = written(means, design, main);
    let way = match design.with(change) {
        Ok(after) => extra(design, &after, main, link).map(|extra| Way::Add(line.clone(), extra)),
        Err(refused) => Some(Way::TooMuch(line.clone(), refused.message, refused.help)),
    };
    let gone = || Way::TooMuch(line.clone(), "the message is gone".to_owned(), String::new());
    Lack { means, message: main.name.clone(), way: way.unwrap_or_else(gone) }
}

/// Whether a field that says no meaning looks like one that has it, by its name and what it is.
fn seems(means: Meaning, field: &Field) -> bool {
    let stems: &[&str] = match means {
        Meaning::Battery => &["batt", "cell"],
        Meaning::Charging => &["charg"],
        Meaning::Panel => &["panel", "solar"],
        Meaning::Box => &["box", "case", "inside"],
        Meaning::Restarted => &["restart", "reset", "boot"],
    };
    field.meaning().is_none()
        && means.suits(&field.kind, &field.unit)
        && stems.iter().any(|stem| field.name.contains(stem))
}

fn addition(means: Meaning, design: &Design, main: &Message) -> Change {
    Change::Field {
        message: main.name.clone(),
        name: free_name(means, main),
        text: field_text(means, design),
    }
}

/// The line that is to be added, as it stands in a design file.
fn written(means: Meaning, design: &Design, main: &Message) -> String {
    format!("{} = {}", free_name(means, main), field_text(means, design))
}

/// A name that the message has not; `box` is a keyword.
fn free_name(means: Meaning, main: &Message) -> String {
    let name = if means == Meaning::Box { "box_air" } else { means.word() };
    let is_free = |name: &str| main.fields.iter().all(|field| field.name != name);
    if is_free(name) { name.to_owned() } else { format!("node_{name}") }
}

fn field_text(means: Meaning, design: &Design) -> String {
    let battery = &design.battery;
    match means {
        Meaning::Battery => {
            let full = battery.resting_at(Share::from_percent(100.0)).volts();
            let highest = battery.charge_limit.map_or(full, |limit| limit.volts().max(full));
            let lowest = battery.empty_voltage.volts().min(design.cutoff.stops_below.volts());
            let (low, high) = (1000.0 * lowest - BELOW_EMPTY_MV, 1000.0 * highest + BELOW_EMPTY_MV / 2.0);
            let (low, high, step) = in_8_bits(low, high);
            format!("{{ kind = \"battery\", range = [{low}, {high}], resolution = {step} }}")
        }
        Meaning::Charging => {
            // What one can read out of it after a night without messages: 11 bits of count, 12 on the air.
            "{ kind = \"counter\", unit = \"min\", per_hour = 60, longest_gap = \"1 d\", means = \"charging\" }".to_owned()
        }
        Meaning::Panel => {
            let open =
                design.panel.as_ref().map_or(0.0, |mounted| mounted.panel.open_circuit_voltage.volts());
            let (low, high, step) = in_8_bits(0.0, 1000.0 * COLD_PANEL * open);
            format!("{{ unit = \"mV\", range = [{low}, {high}], resolution = {step}, means = \"panel\" }}")
        }
        Meaning::Box => "{ unit = \"Cel\", range = [-40, 60], resolution = 0.5, means = \"box\" }".to_owned(),
        Meaning::Restarted => "{ kind = \"flag\", means = \"restarted\" }".to_owned(),
    }
}

/// A range of voltages in whole steps and whole tenths of a volt, and the finest step with which 8 bits hold it \[mV\].
#[expect(clippy::cast_possible_truncation, reason = "volts of a battery or panel")]
fn in_8_bits(low_mv: f64, high_mv: f64) -> (i64, i64, i64) {
    let low = 100 * (low_mv / 100.0).floor().max(0.0) as i64;
    let high = 100 * (high_mv / 100.0).ceil() as i64;
    let holds = |step: &i64| (high - low) <= step * MOST_STEPS;
    let widest = STEPS_MV[STEPS_MV.len() - 1];
    (low, high, STEPS_MV.into_iter().find(holds).unwrap_or(widest))
}

/// What the message costs more in another design that differs in nothing else; `None` if it is not in both.
fn extra(before: &Design, after: &Design, main: &Message, link: &LinkState) -> Option<Extra> {
    let now = after.messages.iter().find(|message| message.name == main.name)?;
    let most = |one: &&(u8, Share), other: &&(u8, Share)| one.1.fraction().total_cmp(&other.1.fraction());
    let (rate, _) = link.data_rates.iter().max_by(most)?;
    let bits = |message: &Message| message.layout(message.form_at(*rate)).bits;
    Some(Extra {
        bits: bits(now).saturating_sub(bits(main)),
        bytes_before: main.bytes_at(*rate),
        bytes: now.bytes_at(*rate),
        charge_per_day: more_per_day(before, after, link),
    })
}

/// What a design draws more a day than another, in the kind of hour in which that is most.
fn more_per_day(before: &Design, after: &Design, link: &LinkState) -> Charge {
    let [before, after] =
        [before, after].map(|design| (design, Demand::on_link(design, link, &Diary::new(design))));
    let volts = open_circuit(&before.0.battery, before.0.promise.charge_at_installation.fraction());
    let level = before.1.levels.len() - 1;
    let of = |demand: &Demand, kind: usize| demand.per_day(kind, level, volts, f32::NEG_INFINITY);
    let more = (0..before.1.kinds()).map(|kind| of(&after.1, kind) - of(&before.1, kind));
    more.fold(Charge::ZERO, |most, one| if one > most { one } else { most })
}

fn not_learnable(lacks: &[Lack]) -> Option<Finding> {
    let lack = lacks.iter().find(|lack| lack.means == Meaning::Battery)?;
    let help = match &lack.way {
        Way::Say(field) => format!("write `means = \"battery\"` in `{field}`"),
        Way::LeftOut(field) => format!("write `priority = 1` in `{field}`, which the short form leaves out"),
        Way::Add(line, extra) => {
            format!(
                "add `{line}` to `{}`: {} bytes instead of {}",
                lack.message, extra.bytes, extra.bytes_before
            )
        }
        Way::TooMuch(line, why, help) => format!("make room for `{line}`: {why}; {help}"),
    };
    Some(Finding {
        code: "not-learnable",
        severity: Severity::Note,
        field: format!("message.{}", lack.message),
        message: "its messages do not tell the voltage of its battery; once it stands outside, nothing can be learned from them about panel, load and battery".to_owned(),
        help,
    })
}
