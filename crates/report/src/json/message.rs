//! The messages, as data.

use design::message::{Direction, Form, Part, Version};
use serde_json::{Value, json};
use verdict::message::{Cost, Extra, FormView, Lack, Learnable, MessageView, RateView, Row, Way};

use super::{ReportedDesign, number, verdict};
use crate::sentences;

/// The verdict on the messages, and each of them.
pub(crate) fn messages(subject: &ReportedDesign) -> Value {
    let said = subject.message_room();
    json!({
        "verdict": said.as_ref().map(|(of, _)| verdict(*of)),
        "reason": said.map(|(_, reason)| reason),
        "messages": subject.messages.iter().map(message).collect::<Vec<_>>(),
        "learnable": subject.learnable.as_ref().map(|learnable| self::learnable(subject, learnable)),
    })
}

fn learnable(subject: &ReportedDesign, learnable: &Learnable) -> Value {
    json!({
        "tells": learnable.tells.iter().map(|means| means.word()).collect::<Vec<_>>(),
        "lacks": learnable.lacks.iter().map(lack).collect::<Vec<_>>(),
        "together": learnable.together.as_ref().map(extra),
        "finding": learnable.finding.as_ref().map(|one| super::finding(subject, one)),
    })
}

fn lack(lack: &Lack) -> Value {
    let (way, field, cost, refused) = match &lack.way {
        Way::Say(field) => ("say", field, None, None),
        Way::LeftOut(field) => ("left_out", field, None, None),
        Way::Add(line, cost) => ("add", line, Some(extra(cost)), None),
        Way::TooMuch(line, why, help) => {
            ("too_much", line, None, Some(json!({ "message": why, "help": help })))
        }
    };
    json!({
        "means": lack.means.word(),
        "message": lack.message,
        "way": way,
        "field": field,
        "cost": cost,
        "refused": refused,
        "says": sentences::learnable::lack(lack),
    })
}

fn extra(extra: &Extra) -> Value {
    json!({
        "bits": extra.bits,
        "bytes_before": extra.bytes_before,
        "bytes": extra.bytes,
        "charge_uah_per_day": number(1000.0 * extra.charge_per_day.milliampere_hours()),
    })
}

fn message(message: &MessageView) -> Value {
    let version = match message.version {
        Version::Port => json!("port"),
        Version::Bits { width, value } => json!({ "bits": width, "value": value }),
    };
    json!({
        "name": message.name,
        "title": message.title,
        "direction": if message.direction == Direction::Up { "up" } else { "down" },
        "version": version,
        "bytes_as_text": message.text_bytes,
        "mean_sent": message.mean.map(|mean| cost(mean.sent)),
        "mean_as_text": message.mean.map(|mean| cost(mean.as_text)),
        "forms": message.forms.iter().map(form).collect::<Vec<_>>(),
    })
}

fn form(form: &FormView) -> Value {
    json!({
        "form": if form.form == Form::Full { "full" } else { "short" },
        "port": form.port,
        "bits": form.bits,
        "bytes": form.bytes,
        "fields": form.rows.iter().map(row).collect::<Vec<_>>(),
        "rates": form.rates.iter().map(rate).collect::<Vec<_>>(),
    })
}

fn row(row: &Row) -> Value {
    let part = match row.part {
        Part::Value => json!("value"),
        Part::Latitude => json!("latitude"),
        Part::Longitude => json!("longitude"),
        Part::Earlier(ago) => json!({ "earlier": ago }),
    };
    json!({
        "field": row.field,
        "title": row.title,
        "part": part,
        "unit": row.unit,
        "offset_bits": row.offset,
        "bits": row.bits,
        "range": row.range.map(|(low, high)| [number(low), number(high)]),
        "step": row.step.map(number),
        "words": row.words,
        "says": sentences::field_says(row),
        "example": row.example.as_ref().map(|example| json!({ "code": example.code, "text": example.text })),
        "absent_code": row.absent,
        "below_and_above_codes": row.below_and_above.map(|(below, above)| [below, above]),
    })
}

fn rate(rate: &RateView) -> Value {
    json!({
        "data_rate": rate.data_rate,
        "sent": rate.sent,
        "most_bytes": rate.ceiling.bytes,
        "most_bytes_with_answers": rate.ceiling.with_answers,
        "cost": cost(rate.cost),
        "cliff": rate.cliff.map(|cliff| json!({
            "bytes_less": cliff.bytes,
            "saves_airtime_ms": number(cliff.airtime.milliseconds()),
            "saves_uah": number(1000.0 * cliff.charge.milliampere_hours()),
        })),
        "room_bytes": rate.room,
        "as_text": cost(rate.as_text),
        "text_fits": rate.text_fits,
    })
}

fn cost(cost: Cost) -> Value {
    json!({
        "airtime_ms": number(cost.airtime.milliseconds()),
        "charge_uah": number(1000.0 * cost.charge.milliampere_hours()),
    })
}
