//! Fields: their names, keys and units.

use super::super::Resolver;
use super::kind::{history, kind};
use crate::diagnostic;
use crate::file::message::{FieldSection, KindWord};
use crate::message::Field;
use crate::section::At;
use std::ops::Range;

/// What people write for units that UCUM calls otherwise.
const UNIT_SLIPS: &[(&str, &str)] = &[
    ("C", "Cel"),
    ("degC", "Cel"),
    ("°C", "Cel"),
    ("celsius", "Cel"),
    ("F", "[degF]"),
    ("percent", "%"),
    ("%RH", "%"),
    ("RH", "%"),
    ("degrees", "deg"),
    ("°", "deg"),
    ("bytes", "By"),
    ("sec", "s"),
    ("min.", "min"),
    ("hours", "h"),
    ("µV", "uV"),
    ("µA", "uA"),
    ("lux", "lx"),
    ("ohm", "Ohm"),
    ("inch", "[in_i]"),
    ("none", "1"),
];

impl Resolver<'_> {
    pub(super) fn field(&mut self, name: &At<String>, section: &FieldSection) -> Option<Field> {
        let named = self.check_name(name, "field");
        let kind_word = section.kind.as_ref()?.value;
        if !self.check_keys(name, section, kind_word) {
            return None;
        }
        let unit = self.unit(section, kind_word);
        let words = section.words.iter().flat_map(|words| &words.value);
        let mut spelt = true;
        for word in words {
            spelt &= self.check_word(word, "word");
        }
        let mut per_device = Vec::new();
        for constant in section.per_device.iter().flat_map(|list| &list.value) {
            spelt &= self.check_name(constant, "constant");
            per_device.push(constant.value.clone());
        }
        let kind = kind(section, kind_word, &mut self.found)?;
        let mut field = Field {
            name: name.value.clone(),
            title: section.title.as_ref().map(|title| title.value.clone()).unwrap_or_default(),
            unit: unit?,
            kind,
            priority: u8::try_from(section.priority.as_ref()?.value).ok()?,
            history: None,
            per_device,
            means: section.means.as_ref().map(|means| means.value),
            sets: None,
        };
        if let Some(written) = &section.history {
            field.history = Some(history(&field, &written.value, &written.span, &mut self.found)?);
        }
        (named && spelt).then_some(field)
    }

    /// Keys that another kind has, and keys that this one needs.
    fn check_keys(&mut self, name: &At<String>, section: &FieldSection, kind: KindWord) -> bool {
        let mut good = true;
        for (key, place, owners) in owned_keys(section) {
            if let Some(place) = place.filter(|_| !owners.contains(&kind)) {
                let (word, others) =
                    (kind.word(), owners.iter().map(|owner| owner.word()).collect::<Vec<_>>());
                let text = format!("a field of kind `{word}` has no `{key}`");
                let help = format!("remove it; it belongs to `{}`", others.join("`, `"));
                self.found.error(diagnostic::ONE_OF, &place, text, help);
                good = false;
            }
        }
        let written: Vec<&str> = owned_keys(section)
            .into_iter()
            .filter_map(|(key, place, _)| place.map(|_| key))
            .chain(section.unreadable.iter().copied())
            .collect();
        for (needed, instead, example) in needs(kind) {
            if !written.contains(needed) && !written.contains(instead) {
                let text = format!("`{}` has no `{needed}`", name.value);
                let help = format!("add `{needed} = {example}`");
                self.found.error(diagnostic::MISSING_KEY, &name.span, text, help);
                good = false;
            }
        }
        good && section.unreadable.is_empty()
    }

    fn unit(&mut self, section: &FieldSection, kind: KindWord) -> Option<String> {
        let Some(unit) = &section.unit else {
            let unit = match kind {
                KindWord::Battery => "mV",
                KindWord::Position => "deg",
                KindWord::Time => "s",
                _ => "1",
            };
            return Some(unit.to_owned());
        };
        self.ucum(unit)
    }

    /// A unit as UCUM writes it; says so if it is none.
    pub(in crate::resolve) fn ucum(&mut self, unit: &At<String>) -> Option<String> {
        let slip = UNIT_SLIPS.iter().find(|(slip, _)| *slip == unit.value);
        if slip.is_none() && is_ucum_text(&unit.value) {
            return Some(unit.value.clone());
        }
        let text = format!("`{}` is not the UCUM code that is meant", unit.value);
        let help = slip.map_or_else(
            || "write a UCUM code, as \"Cel\", \"%\", \"mm\" or \"1\"".to_owned(),
            |(_, code)| format!("write \"{code}\""),
        );
        self.found.error(diagnostic::FIELD_UNIT, &unit.span, text, help);
        None
    }
}

/// Whether a text has only characters of UCUM codes (case-sensitive form) and can stand in a comment of generated code.
///
/// # References
/// UCUM, version 2.1, sections 2.1 to 2.4; quotes, markup and blanks have no place in a code outside of annotations.
fn is_ucum_text(unit: &str) -> bool {
    let allowed = |byte: u8| byte.is_ascii_alphanumeric() || b"%./()[]{}*^'+-_#:,".contains(&byte);
    unit.bytes().all(allowed) && !unit.contains("*/") && !unit.contains("/*") && !unit.contains("//")
}

type Owned = (&'static str, Option<Range<usize>>, &'static [KindWord]);

/// The keys that belong to some kinds only, and where they are written.
fn owned_keys(section: &FieldSection) -> Vec<Owned> {
    use KindWord::{Battery, Bytes, Choice, Counter, Number, Position, Time};
    macro_rules! rows {
        ($($key:ident: $owners:expr),+ $(,)?) => {
            vec![$((stringify!($key), section.$key.as_ref().map(|at| at.span.clone()), $owners as &'static [KindWord])),+]
        };
    }
    rows! {
        unit: &[Number, Counter],
        range: &[Number, Battery],
        resolution: &[Number, Battery],
        bits: &[Number, Battery, Counter],
        step: &[Counter],
        per_hour: &[Counter],
        longest_gap: &[Counter],
        words: &[Choice],
        grid: &[Position],
        epoch: &[Time],
        tick: &[Time],
        lasts: &[Time],
        length: &[Bytes],
        sets: &[Number],
    }
}

/// The keys that a kind needs: the key, the one that may stand instead, and how it is written.
fn needs(kind: KindWord) -> &'static [(&'static str, &'static str, &'static str)] {
    match kind {
        KindWord::Number => {
            &[("unit", "unit", "\"Cel\""), ("range", "range", "[-40, 60]"), ("resolution", "bits", "0.1")]
        }
        KindWord::Battery => &[("range", "range", "[2000, 4500]"), ("resolution", "bits", "10")],
        KindWord::Counter => &[("per_hour", "bits", "400"), ("longest_gap", "bits", "\"2 d\"")],
        KindWord::Flag => &[],
        KindWord::Choice => &[("words", "words", "[\"dry\", \"wet\"]")],
        KindWord::Position => &[("grid", "grid", "\"2 m\"")],
        KindWord::Time => &[
            ("epoch", "epoch", "\"2026-01-01\""),
            ("tick", "tick", "\"1 min\""),
            ("lasts", "lasts", "\"20 years\""),
        ],
        KindWord::Bytes => &[("length", "length", "\"4 bytes\"")],
    }
}
