//! Values that are written as one of a few words.

use super::text_of;
use crate::diagnostic::{self, Diagnostics};
use crate::file::given::GivenWord;
use crate::file::message::KindWord;
use crate::message::given::Order;
use crate::message::{Direction, Meaning};
use crate::part::{Chemistry, Cover};
use crate::quantity::{a, shortened};
use crate::section::Field;
use crate::serve::{Answers, ReadingForm, TextForm, TimeForm};
use crate::sizing::Preference;
use crate::surroundings::{Building, Clutter, Leaves, NodeAntenna, Place, Sensitivity, Sky};
use toml::Spanned;
use toml::de::DeValue;

/// Something that is written as one of a few words.
pub(crate) trait Word: Copy + 'static {
    const NOUN: &'static str;
    const WORDS: &'static [(&'static str, Self)];
}

/// Words that were written before, and are written now, each with what it is a word for.
const RENAMED: [(&str, &str, &str); 1] = [("sensitivity", "concentrator", "multi-channel")];

/// The word that is written now; an old one is warned of.
fn word_now<'a>(
    noun: &str,
    text: &'a str,
    span: &std::ops::Range<usize>,
    found: &mut Diagnostics,
) -> &'a str {
    let Some((_, old, new)) = RENAMED.iter().find(|(of, old, _)| *of == noun && *old == text) else {
        return text;
    };
    diagnostic::warn_of_old_name(old, new, span, found);
    new
}

fn read_word<W: Word>(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<W> {
    let words: Vec<&str> = W::WORDS.iter().map(|(word, _)| *word).collect();
    let text = text_of(value, &a(W::NOUN), &format!("one of \"{}\"", words.join("\", \"")), found)?;
    let text = word_now(W::NOUN, text, &value.span(), found);
    let known = W::WORDS.iter().find(|(word, _)| *word == text).map(|(_, meaning)| *meaning);
    if known.is_none() {
        let list = format!("it is one of \"{}\"", words.join("\", \""));
        let help = diagnostic::nearest(text, words.iter().copied())
            .map_or(list.clone(), |near| format!("did you mean \"{near}\"? {list}"));
        found.error(
            diagnostic::UNKNOWN_WORD,
            &value.span(),
            format!("`{}` is not {}", shortened(text), a(W::NOUN)),
            help,
        );
    }
    known
}

macro_rules! words {
    ($($name:ident $noun:literal { $($word:literal = $meaning:expr),+ })+) => { $(
        impl Word for $name {
            const NOUN: &'static str = $noun;
            const WORDS: &'static [(&'static str, Self)] = &[$(($word, $meaning)),+];
        }
        impl Field for $name {
            fn noun() -> String { [$(concat!("`\"", $word, "\"`")),+].join(" or ") }
            fn schema() -> String { format!("{{\"enum\":[{}]}}", [$(concat!("\"", $word, "\"")),+].join(",")) }
            fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> { read_word(value, found) }
        }
    )+ };
}

/// `kind` of a charger.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum ChargerWord {
    Direct,
    Linear,
    FixedFraction,
    Mppt,
}

/// `kind` of a regulator.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum RegulatorWord {
    None,
    Ldo,
    Buck,
}

words! {
    Chemistry "chemistry" {
        "lco" = Self::Lco, "nmc" = Self::Nmc, "lfp" = Self::Lfp, "lto" = Self::Lto, "nimh" = Self::Nimh,
        "li-socl2" = Self::LiSocl2, "li-mno2" = Self::LiMno2, "supercapacitor" = Self::Supercapacitor
    }
    Cover "cover" { "glass" = Self::Glass, "etfe" = Self::Etfe, "epoxy" = Self::Epoxy }
    ChargerWord "kind of charger" {
        "direct" = Self::Direct, "linear" = Self::Linear, "fixed-fraction" = Self::FixedFraction, "mppt" = Self::Mppt
    }
    Preference "preference" {
        "cheapest" = Self::Cheapest, "smallest" = Self::Smallest, "most-reports" = Self::MostReports
    }
    RegulatorWord "kind of regulator" { "none" = Self::None, "ldo" = Self::Ldo, "buck" = Self::Buck }
    Order "order of bytes" { "big" = Self::Big, "little" = Self::Little }
    GivenWord "kind of field of a bought node" {
        "number" = Self::Number, "float" = Self::Float, "counter" = Self::Counter, "position" = Self::Position,
        "flag" = Self::Flag, "choice" = Self::Choice, "bytes" = Self::Bytes
    }
    Direction "direction" { "up" = Self::Up, "down" = Self::Down }
    KindWord "kind of field" {
        "number" = Self::Number, "battery" = Self::Battery, "counter" = Self::Counter, "flag" = Self::Flag,
        "choice" = Self::Choice, "position" = Self::Position, "time" = Self::Time, "bytes" = Self::Bytes
    }
    Meaning "meaning" {
        "battery" = Self::Battery, "charging" = Self::Charging, "panel" = Self::Panel, "box" = Self::Box,
        "restarted" = Self::Restarted
    }
    Clutter "kind of surroundings" {
        "open" = Self::Open, "water" = Self::Water, "sparse-trees" = Self::SparseTrees, "village" = Self::Village,
        "suburban" = Self::Suburban, "trees" = Self::Trees, "urban" = Self::Urban, "industrial" = Self::Industrial,
        "dense-urban" = Self::DenseUrban
    }
    Place "place" { "outside" = Self::Outside, "inside" = Self::Inside }
    Leaves "state of trees" { "in-leaf" = Self::InLeaf, "bare" = Self::Bare }
    Building "kind of building" { "traditional" = Self::Traditional, "insulated" = Self::Insulated }
    NodeAntenna "kind of antenna" {
        "on counterpoise" = Self::Counterpoise, "in box" = Self::Box, "on metal" = Self::Metal
    }
    Sensitivity "sensitivity" {
        "measured" = Self::Measured, "datasheet" = Self::Datasheet, "multi-channel" = Self::MultiChannel
    }
    Answers "kind of answers" { "all" = Self::All, "lifeline" = Self::Lifeline, "never" = Self::Never }
    TextForm "form of bytes" { "base64" = Self::Base64, "hex" = Self::Hex }
    TimeForm "form of a time" {
        "RFC 3339" = Self::Rfc3339, "s since 1970" = Self::Seconds, "ms since 1970" = Self::Milliseconds,
        "us since 1970" = Self::Microseconds, "ns since 1970" = Self::Nanoseconds
    }
    ReadingForm "form of readings" { "senml" = Self::Senml, "template" = Self::Template }
    Sky "view of the sky" { "open" = Self::Open, "half" = Self::Half, "roof" = Self::Roof }
}
