//! The byte map of each message, and what a byte costs.

use design::message::Direction;
use verdict::message::{FormView, MessageView, RateView, Row};

use super::super::lay::wrap_indented;
use super::{sentences, words};

/// "Message report: what the growers see".
pub(crate) fn title(message: &MessageView) -> String {
    let way = if message.direction == Direction::Down { " to the node" } else { "" };
    let title = if message.title.is_empty() { String::new() } else { format!(": {}", message.title) };
    format!("Message {}{way}{title}", message.name)
}

/// Columns before the range of a field.
const BEFORE_RANGE: usize = 49;

/// Each form as a table of its bits, then what it costs at each data rate.
pub(crate) fn lines(message: &MessageView) -> Vec<String> {
    message.forms.iter().flat_map(form).collect()
}

fn form(form: &FormView) -> Vec<String> {
    let used = format!("port {}, {} bits in {}", form.port, form.bits, words::count(form.bytes, "byte"));
    let mut lines = vec![format!("{used:<38}{:>4} {:>4}  {}", "from", "bits", "range")];
    lines.extend(form.rows.iter().flat_map(row));
    lines.extend(form.rates.iter().flat_map(rate));
    lines
}

fn row(row: &Row) -> Vec<String> {
    let names = wrap_indented(&sentences::field_name(row), 35, "  ");
    let says = wrap_indented(&sentences::field_says(row), super::WIDTH - BEFORE_RANGE, "");
    let at = |lines: &[String], index: usize| lines.get(index).cloned().unwrap_or_default();
    let line = |index: usize| {
        let place = if index == 0 { format!("{:>4} {:>4}", row.offset, row.bits) } else { " ".repeat(9) };
        format!("  {:<36}{place}  {}", at(&names, index), at(&says, index)).trim_end().to_owned()
    };
    (0..names.len().max(says.len())).map(line).collect()
}

fn rate(rate: &RateView) -> Vec<String> {
    let sent = if rate.sent { "sent" } else { "not sent" };
    let line = format!(
        "DR{} {sent}: {:.1} ms, {} uAh; {}",
        rate.data_rate,
        rate.cost.airtime.milliseconds(),
        words::figure(1000.0 * rate.cost.charge.milliampere_hours()),
        sentences::cliff(rate)
    );
    wrap_indented(&line, super::WIDTH - 2, "    ").iter().map(|line| format!("  {line}")).collect()
}
