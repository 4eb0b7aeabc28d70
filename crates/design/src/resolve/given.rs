//! Messages of bought nodes: places, tags and scales.

use super::Resolver;
use super::message::WIDEST_COUNT;
use crate::diagnostic;
use crate::file::given::{GivenFieldSection, GivenSection, GivenWord};
use crate::file::message::Decimal;
use crate::file::node::RootSection;
use crate::message::given::{Given, GivenField, GivenKind, WIDEST_GIVEN};
use crate::message::{Direction, MOST_FIELDS, Message};
use crate::section::At;

impl Resolver<'_> {
    /// The messages of a bought node by name; `None` for those that are wrong in themselves.
    pub(super) fn givens(
        &mut self,
        root: &RootSection,
        messages: &[(String, Option<Message>)],
    ) -> Vec<(String, Option<Given>)> {
        let rows = root.given.iter().flat_map(|rows| &rows.value.0);
        let mut all: Vec<(String, Option<Given>)> = Vec::new();
        for (name, section) in rows {
            let given = self.given(name, section);
            if let Some(given) = &given {
                self.check_told_apart(name, given, messages, &all);
            }
            all.push((name.value.clone(), given));
        }
        all
    }

    fn given(&mut self, name: &At<String>, section: &GivenSection) -> Option<Given> {
        let named = self.check_name(name, "message");
        let port = section.port.as_ref().and_then(|port| self.port(port));
        let rows = section.field.as_ref().map(|fields| fields.value.0.as_slice())?;
        let decoded = section.decoded.as_ref()?.value;
        let fields: Vec<_> =
            rows.iter().map(|(name, section)| self.given_field(name, section, decoded)).collect();
        if rows.is_empty() || rows.len() > MOST_FIELDS {
            let message = format!("message `{}` has {} fields", name.value, rows.len());
            let help = format!("write 1 to {MOST_FIELDS}; leave out what nobody needs");
            self.found.error(diagnostic::FIELD_COUNT, &name.span, message, help);
            return None;
        }
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "1 to 242 by its rule")]
        let bytes = section.bytes.as_ref()?.value.bytes().round() as usize;
        let given = Given {
            name: name.value.clone(),
            title: section.title.as_ref().map(|title| title.value.clone()).unwrap_or_default(),
            port: port?,
            begins: section.begins.as_ref().map(|begins| begins.value.0.clone()).unwrap_or_default(),
            bytes,
            tagged: rows.iter().any(|(_, field)| field.tag.is_some()),
            decoded,
            fields: fields.into_iter().collect::<Option<_>>()?,
        };
        let placed = decoded || self.check_places(&given, rows);
        let meant = self.check_given_meanings(&given, rows);
        (named && placed && meant).then_some(given)
    }

    fn given_field(
        &mut self,
        name: &At<String>,
        section: &GivenFieldSection,
        decoded: bool,
    ) -> Option<GivenField> {
        let named = self.check_name(name, "field");
        let word = section.kind.as_ref()?.value;
        let is_number = [GivenWord::Number, GivenWord::Float].contains(&word);
        let unit = match (&section.unit, is_number) {
            _ if word == GivenWord::Position => "deg".to_owned(),
            (Some(unit), _) => self.ucum(unit)?,
            (None, false) => "1".to_owned(),
            (None, true) => {
                if !section.unreadable.contains(&"unit") {
                    let text = format!("`{}` has no `unit`", name.value);
                    self.found.error(diagnostic::MISSING_KEY, &name.span, text, "add `unit = \"cm\"`");
                }
                return None;
            }
        };
        if !section.unreadable.is_empty() {
            return None;
        }
        let field = GivenField {
            name: name.value.clone(),
            title: section.title.as_ref().map(|title| title.value.clone()).unwrap_or_default(),
            unit,
            tag: section.tag.as_ref().map(|tag| tag.value.0.clone()).unwrap_or_default(),
            byte: section.byte.as_ref()?.value as usize,
            shift: section.shift.as_ref()?.value,
            bits: self.given_bits(name, section, word, decoded)?,
            order: section.order.as_ref()?.value,
            kind: self.given_kind(name, section, word)?,
            means: section.means.as_ref().map(|means| means.value),
        };
        if !decoded {
            self.check_width(name, section, &field)?;
        }
        named.then_some(field)
    }

    /// Width of a field; of one that is decoded elsewhere the widest that its kind has.
    fn given_bits(
        &mut self,
        name: &At<String>,
        section: &GivenFieldSection,
        word: GivenWord,
        decoded: bool,
    ) -> Option<u32> {
        let places = [
            ("bits", section.bits.as_ref().map(|at| &at.span)),
            ("tag", section.tag.as_ref().map(|at| &at.span)),
            ("longitude_byte", section.longitude_byte.as_ref().map(|at| &at.span)),
        ];
        match (&section.bits, decoded) {
            (Some(bits), false) => Some(bits.value),
            (None, false) => {
                let text = format!("`{}` has no `bits`", name.value);
                self.found.error(diagnostic::MISSING_KEY, &name.span, text, "add `bits = 16`");
                None
            }
            (_, true) => match places.into_iter().find_map(|(key, span)| Some((key, span?))) {
                Some((key, span)) => {
                    let text =
                        format!("`{key}` says where a field lies, and the message is decoded elsewhere");
                    self.found.error(
                        diagnostic::GIVEN_PLACE,
                        span,
                        text,
                        "remove it, or `decoded` of the message",
                    );
                    None
                }
                // A count of minutes must end within 32 bits.
                None => Some(if word == GivenWord::Counter { WIDEST_COUNT } else { WIDEST_GIVEN }),
            },
        }
    }

    fn given_kind(
        &mut self,
        name: &At<String>,
        section: &GivenFieldSection,
        word: GivenWord,
    ) -> Option<GivenKind> {
        self.check_given_keys(section, word)?;
        match word {
            GivenWord::Number => self.given_number(section),
            GivenWord::Float => Some(GivenKind::Float),
            GivenWord::Counter => match self.given_number(section)? {
                GivenKind::Number { numerator, denominator, .. } if numerator > 0 => {
                    Some(GivenKind::Counter { numerator, denominator })
                }
                _ => {
                    let span = section.step.as_ref().map_or(&name.span, |step| &step.span);
                    let help = "write what one count is worth, above 0, as `0.2`";
                    self.found.error(diagnostic::FIELD_RESOLUTION, span, "a counter counts up", help);
                    None
                }
            },
            GivenWord::Position => self.given_position(section),
            GivenWord::Flag => Some(GivenKind::Flag),
            GivenWord::Bytes => Some(GivenKind::Bytes),
            GivenWord::Choice => {
                let words = section.words.as_ref().map_or(&[][..], |words| &words.value);
                let words: Vec<String> = words.iter().map(|word| word.value.clone()).collect();
                let mut once = words.clone();
                once.sort();
                once.dedup();
                if (2..=255).contains(&words.len()) && once.len() == words.len() {
                    return Some(GivenKind::Choice { words });
                }
                let span = section.words.as_ref().map_or(&name.span, |words| &words.span);
                let text = format!("`{}` has {} words, each once", name.value, once.len());
                let help = "write 2 to 255 words, each once, as `words = [\"dry\", \"wet\"]`";
                self.found.error(diagnostic::CHOICE_WORDS, span, text, help);
                None
            }
        }
    }

    /// Keys that belong to another kind.
    fn check_given_keys(&mut self, section: &GivenFieldSection, word: GivenWord) -> Option<()> {
        let number = word == GivenWord::Number;
        let position = word == GivenWord::Position;
        let signed = section.signed.as_ref().filter(|signed| signed.value);
        let wrong = [
            (
                "step",
                section.step.as_ref().map(|at| &at.span),
                number || position || word == GivenWord::Counter,
                "number",
            ),
            ("offset", section.offset.as_ref().map(|at| &at.span), number, "number"),
            ("absent", section.absent.as_ref().map(|at| &at.span), number || position, "number"),
            ("signed", signed.map(|at| &at.span), number || position, "number"),
            ("longitude_byte", section.longitude_byte.as_ref().map(|at| &at.span), position, "position"),
            ("unit", section.unit.as_ref().filter(|_| position).map(|at| &at.span), !position, "number"),
            ("words", section.words.as_ref().map(|at| &at.span), word == GivenWord::Choice, "choice"),
        ];
        let wrong = wrong
            .into_iter()
            .find_map(|(key, span, fits, owner)| span.filter(|_| !fits).map(|span| (key, span, owner)));
        let Some((key, span, owner)) = wrong else { return Some(()) };
        let text = format!("`{key}` belongs to the kind `{owner}`");
        self.found.error(diagnostic::ONE_OF, span, text, "remove it, or write the other `kind`");
        None
    }

    fn given_number(&mut self, section: &GivenFieldSection) -> Option<GivenKind> {
        let decimal = |at: Option<&At<Decimal>>, otherwise: i64| {
            at.map_or(Decimal { digits: otherwise, places: 0 }, |at| at.value)
        };
        let step = decimal(section.step.as_ref(), 1);
        let offset = decimal(section.offset.as_ref(), 0);
        if step.digits == 0 {
            let span = section.step.as_ref().map_or(&section.span, |step| &step.span);
            let help = "write what one is worth, as `0.1`";
            self.found.error(diagnostic::FIELD_RESOLUTION, span, "one is worth nothing", help);
            return None;
        }
        let places = step.places.max(offset.places);
        let whole = |number: i128| i64::try_from(number).ok();
        let mut absent = Vec::new();
        for one in section.absent.iter().flat_map(|list| &list.value) {
            if one.value.places > 0 {
                let help = "write the integer as it stands in the message, before `step` and `offset`";
                self.found.error(diagnostic::FIELD_NUMBER, &one.span, "this is no integer", help);
                return None;
            }
            absent.push(one.value.digits);
        }
        Some(GivenKind::Number {
            signed: section.signed.as_ref()?.value,
            numerator: whole(step.scaled(places))?,
            offset: whole(offset.scaled(places))?,
            denominator: whole(10_i128.pow(places))?,
            absent,
        })
    }

    fn given_position(&mut self, section: &GivenFieldSection) -> Option<GivenKind> {
        let GivenKind::Number { numerator, denominator, absent, .. } = self.given_number(section)? else {
            return None;
        };
        let width = section.bits.as_ref().map_or(0, |bits| bits.value.div_ceil(8));
        let behind = || section.byte.as_ref()?.value.checked_add(width);
        let longitude_byte =
            section.longitude_byte.as_ref().map_or_else(behind, |at| Some(at.value))? as usize;
        Some(GivenKind::Position { longitude_byte, numerator, denominator, absent })
    }

    fn check_width(
        &mut self,
        name: &At<String>,
        section: &GivenFieldSection,
        field: &GivenField,
    ) -> Option<()> {
        let whole_bytes = field.shift == 0 && field.bits.is_multiple_of(8);
        let wrong = match &field.kind {
            GivenKind::Bytes if !whole_bytes => {
                Some("bytes are whole: `shift` is 0, and `bits` 8, 16 or more")
            }
            GivenKind::Float if !(whole_bytes && [32, 64].contains(&field.bits)) => {
                Some("a float has 32 or 64 bits, and no `shift`")
            }
            GivenKind::Bytes => None,
            GivenKind::Position { .. } if !whole_bytes || field.bits > 32 => {
                Some("each number of a position has 8, 16, 24 or 32 bits, and no `shift`")
            }
            _ if field.shift + field.bits > WIDEST_GIVEN => {
                Some("`shift` and `bits` together are at most 64")
            }
            GivenKind::Number { signed: true, .. } if field.bits < 2 => {
                Some("a number with a sign has at least 2 bits")
            }
            _ => None,
        };
        let Some(help) = wrong else { return Some(()) };
        let span = section.bits.as_ref().map_or(&name.span, |bits| &bits.span);
        let text = format!("`{}` can't have {} bits moved by {}", field.name, field.bits, field.shift);
        self.found.error(diagnostic::GIVEN_PLACE, span, text, help);
        None
    }

    /// Fields lie within the message, tags are told apart, and all have one or none.
    fn check_places(&mut self, given: &Given, rows: &[(At<String>, GivenFieldSection)]) -> bool {
        let mut good = true;
        for (field, (name, section)) in given.fields.iter().zip(rows) {
            let end = given.begins.len().max(field.tag.len() + field.end());
            if end > given.bytes {
                let text = format!("`{}` ends at byte {end}, the message has {}", field.name, given.bytes);
                let help = "correct `byte`, `shift` and `bits`, or `bytes` of the message";
                self.found.error(diagnostic::GIVEN_PLACE, &name.span, text, help);
                good = false;
            }
            let like = given.fields.iter().find(|other| {
                other.tag != field.tag && !other.tag.is_empty() && field.tag.starts_with(&other.tag)
            });
            let wrong = match (&section.tag, like) {
                (None, _) if given.tagged => Some(format!("`{}` has no tag, others have", field.name)),
                (Some(_), Some(other)) => {
                    Some(format!("the tag of `{}` begins as that of `{}`", field.name, other.name))
                }
                _ => None,
            };
            if let Some(text) = wrong {
                let span = section.tag.as_ref().map_or(&name.span, |tag| &tag.span);
                let help =
                    "give each value its tag; where only the first byte tells values apart, write that alone";
                self.found.error(diagnostic::GIVEN_TAG, span, text, help);
                good = false;
            }
        }
        good
    }

    fn check_given_meanings(&mut self, given: &Given, rows: &[(At<String>, GivenFieldSection)]) -> bool {
        let mut told = Vec::new();
        let mut good = true;
        for (field, (_, section)) in given.fields.iter().zip(rows) {
            let (Some(meaning), Some(at)) = (field.means, &section.means) else { continue };
            let text = if !field.suits(meaning) {
                format!("`{}` can't mean `{}`", field.name, meaning.word())
            } else if told.contains(&meaning) {
                format!("`{}` means `{}`, as another field does", field.name, meaning.word())
            } else {
                told.push(meaning);
                continue;
            };
            let help = "write `battery` or `panel` for volts, `box` for a temperature in `Cel`, `charging` for a counter in `min` of at most 31 bits, `restarted` for a flag; each once";
            self.found.error(diagnostic::FIELD_MEANING, &at.span, text, help);
            good = false;
        }
        good
    }

    /// Whatever arrives on a port must be one message.
    fn check_told_apart(
        &mut self,
        name: &At<String>,
        given: &Given,
        messages: &[(String, Option<Message>)],
        before: &[(String, Option<Given>)],
    ) {
        let up = messages.iter().filter_map(|(_, message)| message.as_ref());
        let mut up = up.filter(|message| message.direction == Direction::Up);
        let on_port = |message: &&Message| {
            message.forms().into_iter().any(|form| message.port_of(form) == Some(given.port))
        };
        let other = up.find(on_port).map(|message| message.name.clone());
        let like = before.iter().filter_map(|(_, other)| other.as_ref()).find(|other| other.is_like(given));
        let same_name = messages.iter().map(|(name, _)| name).chain(before.iter().map(|(name, _)| name));
        let same_name = same_name.into_iter().any(|known| *known == name.value);
        let (text, help) = if same_name {
            (format!("`{}` is the name of another message", name.value), "write another name")
        } else if let Some(other) = other.or_else(|| like.map(|like| like.name.clone())) {
            let help =
                "write another port, or `begins` with bytes that tell both messages of bought nodes apart";
            (format!("port {} is taken by `{other}`", given.port), help)
        } else {
            return;
        };
        self.found.error(diagnostic::PORT_TWICE, &name.span, text, help);
    }
}
