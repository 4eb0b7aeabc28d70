//! The byte map of each message, and what a byte costs.

use design::message::Direction;
use verdict::message::{FormView, MessageView, RateView, Row};

use super::super::lay::clip;
use super::{sentences, words};

/// "Message report: what the growers see".
pub(crate) fn title(message: &MessageView) -> String {
    let way = if message.direction == Direction::Down { " to the node" } else { "" };
    let title = if message.title.is_empty() { String::new() } else { format!(": {}", message.title) };
    clip(&format!("Message {}{way}{title}", message.name), super::WIDTH)
}

/// Each form as a table of its bits, then what it costs at each data rate.
pub(crate) fn lines(message: &MessageView) -> Vec<String> {
    message.forms.iter().flat_map(form).collect()
}

fn form(form: &FormView) -> Vec<String> {
    let used = format!("port {}, {} bits in {}", form.port, form.bits, words::count(form.bytes, "byte"));
    let mut lines = vec![format!("{used:<38}{:>4} {:>4}  {}", "from", "bits", "range")];
    lines.extend(form.rows.iter().map(row));
    lines.extend(form.rates.iter().map(rate));
    lines
}

fn row(row: &Row) -> String {
    let line = format!(
        "  {:<36}{:>4} {:>4}  {}",
        clip(&sentences::field_name(row), 35),
        row.offset,
        row.bits,
        sentences::field_says(row)
    );
    clip(&line, super::WIDTH)
}

fn rate(rate: &RateView) -> String {
    let sent = if rate.sent { "sent" } else { "not sent" };
    let line = format!(
        "  DR{} {sent}: {:.1} ms, {} uAh; {}",
        rate.data_rate,
        rate.cost.airtime.milliseconds(),
        words::figure(1000.0 * rate.cost.charge.milliampere_hours()),
        sentences::cliff(rate)
    );
    clip(&line, super::WIDTH)
}
