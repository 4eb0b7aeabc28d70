//! Which message of which kind of node a data frame may be, by its port and length.

use design::message::{Direction, Form, Message};
use design::node::Design;
use report::words;
use wire::frame::{self, Frame};

/// A line for each message that this frame may be, or why it is none.
pub(crate) fn messages<'a>(frame: &Frame<'_>, kinds: impl Iterator<Item = (&'a str, &'a Design)>) -> String {
    let Frame::Data(data) = frame else { return String::new() };
    let Some(port) = data.port().filter(|port| *port > 0) else {
        return "MAC commands alone: no message of a node\n".to_owned();
    };
    let way = match data.direction() {
        frame::Direction::Up => Direction::Up,
        frame::Direction::Down => Direction::Down,
    };
    let length = data.encrypted_payload().len();
    let mut lines: Vec<String> = Vec::new();
    for (file, design) in kinds {
        let listens = design.messages.iter().filter(|message| message.direction == way);
        lines.extend(listens.filter_map(|message| said(message, port, length, file)));
    }
    if lines.is_empty() {
        lines.push(format!(
            "port {port}: no kind of this site has a message there; an older or newer firmware?"
        ));
    }
    lines.join("\n") + "\n"
}

fn said(message: &Message, port: u8, length: usize, file: &str) -> Option<String> {
    let form = message.forms().into_iter().find(|form| message.port_of(*form) == Some(port))?;
    let wanted = message.layout(form).bytes;
    let short = if form == Form::Short { ", short form" } else { "" };
    let fits = if wanted == length {
        "as long as it must be".to_owned()
    } else {
        format!("but {} long instead of {wanted}: another edition, or damaged", words::count(length, "byte"))
    };
    Some(format!("message  `{}` of {file}{short}, {fits}", message.name))
}
