//! Whether messages fit, and how much room they have.

use design::message::{Direction, Form};
use verdict::Verdict;
use verdict::law::LawPlan;
use verdict::message::{self, FormView, MessageView, RateView};

use crate::ReportedDesign;

/// What a message needs of what it may have at a data rate.
struct Room<'a> {
    message: &'a str,
    /// None where only the length of the message is known.
    form: Option<Form>,
    bytes: usize,
    most: usize,
    data_rate: u8,
}

impl Room<'_> {
    /// Bytes left \[may be negative\].
    fn left(&self) -> f64 {
        self.most as f64 - self.bytes as f64
    }

    fn sentence(&self, unit: &str) -> String {
        match self.most {
            0 => format!("no room at DR{}", self.data_rate),
            most => format!("{} of {most}{unit} at DR{}", self.bytes, self.data_rate),
        }
    }
}

impl ReportedDesign {
    /// Whether every message fits.
    pub fn message_verdict(&self) -> Verdict {
        message::verdict(&self.law)
    }

    /// The verdict on its messages, as [`room`] says it.
    pub fn message_room(&self) -> Option<(Verdict, String)> {
        room(&self.law, &self.messages)
    }
}

/// The verdict on the messages with the figures of the one with least room, each of its forms at the data rate that
/// leaves it least: "report has 12 of 115 bytes at DR3, in short form 5 of 51 at DR0". `None` if nothing is sent.
pub fn room(law: &LawPlan, messages: &[MessageView]) -> Option<(Verdict, String)> {
    let rooms = rooms(law, messages);
    let least = |one: &&Room<'_>, other: &&Room<'_>| one.left().total_cmp(&other.left());
    let message = rooms.iter().min_by(least)?.message;
    let of_form =
        |form| rooms.iter().filter(|room| room.message == message && room.form == form).min_by(least);
    let said = match (of_form(Some(Form::Full)), of_form(Some(Form::Short))) {
        (Some(full), Some(short)) => {
            format!("{}, in short form {}", full.sentence(" bytes"), short.sentence(""))
        }
        (Some(only), None) | (None, Some(only)) => only.sentence(" bytes"),
        (None, None) => of_form(None)?.sentence(" bytes"),
    };
    Some((message::verdict(law), format!("{message} has {said}")))
}

/// Every message sent, in the form that is sent at each data rate.
fn rooms<'a>(law: &'a LawPlan, messages: &'a [MessageView]) -> Vec<Room<'a>> {
    let designed = messages.iter().filter(|message| message.direction == Direction::Up);
    let designed = designed.flat_map(|message| {
        sent(message).map(move |(form, rate)| Room {
            message: &message.name,
            form: Some(form.form),
            bytes: form.bytes,
            most: rate.ceiling.bytes,
            data_rate: rate.data_rate,
        })
    });
    let designed: Vec<Room<'_>> = designed.collect();
    if !designed.is_empty() {
        return designed;
    }
    let stated = law.messages.iter().flat_map(|message| {
        message.rates.iter().map(move |rate| Room {
            message: &message.name,
            form: None,
            bytes: rate.bytes,
            most: rate.ceiling.bytes,
            data_rate: rate.data_rate,
        })
    });
    stated.collect()
}

/// Forms and data rates at which a message is sent.
fn sent(message: &MessageView) -> impl Iterator<Item = (&FormView, &RateView)> {
    let rates = message.forms.iter().flat_map(|form| form.rates.iter().map(move |rate| (form, rate)));
    rates.filter(|(_, rate)| rate.sent)
}
