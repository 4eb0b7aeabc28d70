//! How a section of the design file is declared once and read, checked and documented from that declaration.
//!
//! [`section!`] makes a struct whose fields are `Option<At<T>>`: what was written, and where. Reading collects every
//! problem; what a part file gives is merged before [`Section::complete`] asks for what is missing and fills in defaults.

pub(crate) mod rule;
pub(crate) mod schema;

use crate::diagnostic::{self, Diagnostics};
use crate::quantity::shortened;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A value and where it was written.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct At<T> {
    /// The value.
    pub(crate) value: T,
    /// Where it stands in the text.
    pub(crate) span: Range<usize>,
}

/// What can be written as the value of a key.
pub(crate) trait Field: Sized {
    /// What it is, in words, for the manual and for messages.
    fn noun() -> String;
    /// The JSON Schema that describes it.
    fn schema() -> String;
    /// Reads it, or says why not.
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self>;
    /// The numbers that a rule applies to, in SI units.
    fn numbers(&self) -> Vec<f64> {
        Vec::new()
    }
    /// The number that a text with its unit stands for, in SI units.
    fn number_in(text: &str) -> Option<f64> {
        text.parse().ok()
    }
    /// A number in SI units as it is written.
    fn said(number: f64) -> String {
        number.to_string()
    }
    /// The keys inside it, if it is a table or a list of tables.
    fn inside() -> Option<SectionDoc> {
        None
    }
}

/// What the manual says about a section.
#[derive(Clone, Copy)]
pub(crate) struct SectionDoc {
    pub name: &'static str,
    pub doc: &'static str,
    pub fields: fn() -> Vec<FieldDoc>,
}

/// Whether a key must be written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Need {
    /// Always, in the design file or in a part.
    Required,
    /// Always, and in the design file: it says how a part is used.
    Placed,
    /// Never; the example shows it nevertheless.
    Shown,
    /// Never.
    Optional,
    /// Under the condition that its text states.
    Depends,
    /// Never; the example is what holds otherwise.
    Default,
}

/// What the manual says about a key.
pub(crate) struct FieldDoc {
    pub key: &'static str,
    pub doc: &'static str,
    pub need: Need,
    /// TOML text; `{}` marks a table of its own, `[{}]` a list of tables, a bare name a table of named tables.
    pub example: &'static str,
    pub rule: Option<rule::Rule>,
    pub noun: fn() -> String,
    pub schema: fn() -> String,
    pub inside: fn() -> Option<SectionDoc>,
    /// The number that a text of this key stands for.
    #[cfg(test)]
    pub number_in: fn(&str) -> Option<f64>,
}

impl FieldDoc {
    /// What is allowed and what is usual, as a clause.
    pub(crate) fn range(&self) -> Option<String> {
        let rule = self.rule?;
        Some([Some(rule.wanted()), rule.usual()].into_iter().flatten().collect::<Vec<_>>().join(", "))
    }
}

/// A table with known keys.
pub(crate) trait Section: Sized {
    /// What the manual says about it.
    const DOC: SectionDoc;
    /// The section with nothing written.
    fn empty(span: Range<usize>) -> Self;
    /// Reads the keys that are written.
    fn read_keys(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self>;
    /// Asks for the keys that are missing and fills in defaults.
    fn complete(&mut self, found: &mut Diagnostics);
}

/// What a part is and where it comes from.
pub(crate) struct Label<'s> {
    pub(crate) span: &'s Range<usize>,
    pub(crate) part: Option<&'s At<String>>,
    pub(crate) title: Option<&'s str>,
    pub(crate) source: Option<&'s str>,
    pub(crate) from_memory: &'s [At<String>],
}

/// A section that a part file can fill.
pub(crate) trait PartSection: Section + Clone {
    /// The keys that say what it is and where it comes from.
    fn label(&self) -> Label<'_>;
    /// The section with nothing but the name of a part.
    fn naming(part: At<String>) -> Self;
    /// The keys that are written.
    fn written(&self) -> Vec<&'static str>;
    /// The keys that are written but could not be read.
    fn unreadable(&self) -> &[&'static str];
    /// Takes from a part what is not written here; the place is then that of `part`.
    fn fill_from(&mut self, part: Self, span: &Range<usize>);
}

/// The entries of a table in the order of the text.
pub(crate) fn in_order<'t, 'i>(
    table: &'t DeTable<'i>,
) -> Vec<(&'t Spanned<toml::de::DeString<'i>>, &'t Spanned<DeValue<'i>>)> {
    let mut entries: Vec<_> = table.iter().collect();
    entries.sort_by_key(|(key, _)| key.span().start);
    entries
}

/// The table that a value is, or an error.
pub(crate) fn as_table<'t, 'i>(
    value: &'t Spanned<DeValue<'i>>,
    noun: &str,
    found: &mut Diagnostics,
) -> Option<&'t DeTable<'i>> {
    let table = value.get_ref().as_table();
    if table.is_none() {
        wrong_type(
            value,
            &format!("a table of keys ({noun})"),
            &format!("write `{{ key = ... }}` or begin a table `[{noun}]`"),
            found,
        );
    }
    table
}

/// Says that a value has the wrong form.
pub(crate) fn wrong_type(value: &Spanned<DeValue<'_>>, wanted: &str, help: &str, found: &mut Diagnostics) {
    let is = value.get_ref().type_str();
    found.error(
        diagnostic::WRONG_TYPE,
        &value.span(),
        format!("{wanted} is wanted here, not {}", crate::quantity::a(is)),
        help,
    );
}

/// Reads the value of one key and checks its range.
pub(crate) fn read_field<T: Field>(
    key: &str,
    value: &Spanned<DeValue<'_>>,
    rule: Option<rule::Rule>,
    found: &mut Diagnostics,
) -> Option<At<T>> {
    let read = T::read(value, found)?;
    let allowed = rule.is_none_or(|rule| rule.check(key, &read, &value.span(), found));
    allowed.then(|| At { value: read, span: value.span() })
}

/// Most unknown keys of one table that are worth naming.
const MOST_UNKNOWN_KEYS: usize = 20;

/// The unknown keys of one table; a table with very many of them is another kind of file.
#[derive(Default)]
pub(crate) struct UnknownKeys {
    count: usize,
    last: Range<usize>,
}

impl UnknownKeys {
    /// Says that a key is not known, as long as there are not too many.
    pub(crate) fn note(
        &mut self,
        key: &Spanned<toml::de::DeString<'_>>,
        name: &str,
        keys: &[&'static str],
        found: &mut Diagnostics,
    ) {
        self.count += 1;
        self.last = key.span();
        if self.count <= MOST_UNKNOWN_KEYS {
            unknown_key(key, name, keys, found);
        }
    }

    /// Says how many more there were.
    pub(crate) fn end(self, name: &str, found: &mut Diagnostics) {
        if self.count > MOST_UNKNOWN_KEYS {
            let more = self.count - MOST_UNKNOWN_KEYS;
            let message = format!("{more} more keys of {name} are not known, this is the last");
            found.error(diagnostic::UNKNOWN_KEY, &self.last, message, "is this the right file?");
        }
    }
}

/// Says that a key is not known, and which one may have been meant.
fn unknown_key(
    key: &Spanned<toml::de::DeString<'_>>,
    name: &str,
    keys: &[&'static str],
    found: &mut Diagnostics,
) {
    let help = match diagnostic::nearest(key.get_ref(), keys.iter().copied()) {
        Some(near) => format!("did you mean `{near}`?"),
        None => format!("the keys of {name} are {}", keys.join(", ")),
    };
    found.error(
        diagnostic::UNKNOWN_KEY,
        &key.span(),
        format!("`{}` is not a key of {name}", shortened(key.get_ref())),
        help,
    );
}

/// Says that a needed key is missing.
pub(crate) fn missing_key(
    key: &str,
    name: &str,
    example: &str,
    span: &Range<usize>,
    found: &mut Diagnostics,
) {
    let is_name = example.starts_with(|letter: char| letter.is_ascii_lowercase())
        && !["true", "false"].contains(&example)
        && example.bytes().all(|byte| byte.is_ascii_alphanumeric());
    let help = match example {
        "{}" => format!("add a table `[{key}]`"),
        name if is_name => format!("add a table `[{key}.{name}]`, under a name of your choice"),
        _ => format!("add `{key} = {}`", example.split_whitespace().collect::<Vec<_>>().join(" ")),
    };
    found.error(diagnostic::MISSING_KEY, span, format!("{name} has no `{key}`"), help);
}

/// Reads a default from its text in the declaration.
pub(crate) fn default_value<T: Field>(text: &str, span: &Range<usize>) -> Option<At<T>> {
    let value = DeValue::parse(text).ok()?;
    T::read(&value, &mut Diagnostics::default()).map(|value| At { value, span: span.clone() })
}

impl<T: Field> Field for At<T> {
    fn noun() -> String {
        T::noun()
    }
    fn schema() -> String {
        T::schema()
    }
    fn read(value: &Spanned<DeValue<'_>>, found: &mut Diagnostics) -> Option<Self> {
        T::read(value, found).map(|read| Self { value: read, span: value.span() })
    }
    fn numbers(&self) -> Vec<f64> {
        self.value.numbers()
    }
    fn number_in(text: &str) -> Option<f64> {
        T::number_in(text)
    }
    fn said(number: f64) -> String {
        T::said(number)
    }
}

macro_rules! section {
    ($(#[doc = $doc:literal])+ pub(crate) struct $name:ident = $title:literal { $($(#[doc = $text:literal])+ $key:ident : $type:ty = $need:ident $example:tt $(where $rule:expr)?;)+ }) => {
        $crate::section::section_struct! { $(#[doc = $doc])+ pub(crate) struct $name = $title { $($(#[doc = $text])+ $key : $type = $need $example $(where $rule)?;)+ } }
        $crate::section::section_field! { $name, true }
    };
}

macro_rules! part_section {
    ($(#[doc = $doc:literal])+ pub(crate) struct $name:ident = $title:literal ($part:literal) { $($(#[doc = $text:literal])+ $key:ident : $type:ty = $need:ident $example:tt $(where $rule:expr)?;)+ }) => {
        $crate::section::section_struct! { $(#[doc = $doc])+ pub(crate) struct $name = $title {
            /// A part of the catalogue, or the path of a part file of your own that ends in `.toml`; keys written beside it override the part's.
            part: String = shown $part;
            /// What the part is, in words. Needed in a part file.
            title: Prose = optional "as measured on the bench";
            /// Where the figures come from. Needed in a part file.
            source: Prose = optional "data sheet of the maker, edition and page";
            /// Keys whose figures have no seen source; the report says so.
            from_memory: Vec<$crate::section::At<String>> = optional [];
            $($(#[doc = $text])+ $key : $type = $need $example $(where $rule)?;)+
        } }
        // A part is completed only after the part file has been merged.
        $crate::section::section_field! { $name, false }
        impl $crate::section::PartSection for $name {
            fn label(&self) -> $crate::section::Label<'_> {
                $crate::section::Label {
                    span: &self.span,
                    part: self.part.as_ref(),
                    title: self.title.as_ref().map(|at| at.value.0.as_str()),
                    source: self.source.as_ref().map(|at| at.value.0.as_str()),
                    from_memory: self.from_memory.as_ref().map_or(&[], |at| at.value.as_slice()),
                }
            }
            fn naming(part: $crate::section::At<String>) -> Self {
                Self { part: Some(part.clone()), ..<Self as $crate::section::Section>::empty(part.span) }
            }
            fn written(&self) -> Vec<&'static str> {
                [$((stringify!($key), self.$key.is_some())),+].into_iter().filter(|(_, written)| *written).map(|(key, _)| key).collect()
            }
            fn unreadable(&self) -> &[&'static str] { &self.unreadable }
            fn fill_from(&mut self, part: Self, span: &std::ops::Range<usize>) {
                $(if self.$key.is_none() && !self.unreadable.contains(&stringify!($key)) {
                    self.$key = part.$key.map(|at| $crate::section::At { value: at.value, span: span.clone() });
                })+
                self.title = self.title.take().or(part.title);
                self.source = self.source.take().or(part.source);
                self.unreadable.extend(part.unreadable);
            }
        }
    };
}

macro_rules! section_field {
    ($name:ident, $complete:literal) => {
        impl $crate::section::Field for $name {
            fn noun() -> String {
                "table".to_owned()
            }
            fn schema() -> String {
                $crate::section::schema::section_schema(&<Self as $crate::section::Section>::DOC)
            }
            fn read(
                value: &toml::Spanned<toml::de::DeValue<'_>>,
                found: &mut $crate::diagnostic::Diagnostics,
            ) -> Option<Self> {
                let mut section = <Self as $crate::section::Section>::read_keys(value, found)?;
                if $complete {
                    $crate::section::Section::complete(&mut section, found);
                }
                Some(section)
            }
            fn inside() -> Option<$crate::section::SectionDoc> {
                Some(<Self as $crate::section::Section>::DOC)
            }
        }
    };
}

macro_rules! section_struct {
    ($(#[doc = $doc:literal])+ pub(crate) struct $name:ident = $title:literal { $($(#[doc = $text:literal])+ $key:ident : $type:ty = $need:ident $example:tt $(where $rule:expr)?;)+ }) => {
        $(#[doc = $doc])+
        #[derive(Clone, Debug)]
        pub(crate) struct $name {
            /// Where the section stands.
            pub(crate) span: std::ops::Range<usize>,
            /// Keys that were written but could not be read.
            pub(crate) unreadable: Vec<&'static str>,
            $($(#[doc = $text])+ pub(crate) $key: Option<$crate::section::At<$type>>,)+
        }
        impl $crate::section::Section for $name {
            const DOC: $crate::section::SectionDoc = $crate::section::SectionDoc {
                name: $title,
                doc: concat!($($doc, "\n"),+),
                fields: || vec![$($crate::section::FieldDoc {
                    key: stringify!($key),
                    doc: concat!($($text),+),
                    need: $crate::section::need!($need),
                    example: stringify!($example),
                    rule: $crate::section::rule_of!($($rule)?),
                    noun: <$type as $crate::section::Field>::noun,
                    schema: <$type as $crate::section::Field>::schema,
                    inside: <$type as $crate::section::Field>::inside,
                    #[cfg(test)]
                    number_in: <$type as $crate::section::Field>::number_in,
                }),+],
            };
            fn empty(span: std::ops::Range<usize>) -> Self {
                Self { span, unreadable: Vec::new(), $($key: None),+ }
            }
            fn read_keys(value: &toml::Spanned<toml::de::DeValue<'_>>, found: &mut $crate::diagnostic::Diagnostics) -> Option<Self> {
                let table = $crate::section::as_table(value, $title, found)?;
                let mut section = <Self as $crate::section::Section>::empty(value.span());
                let mut unknown = $crate::section::UnknownKeys::default();
                for (key, value) in $crate::section::in_order(table) {
                    match key.get_ref().as_ref() {
                        $(stringify!($key) => {
                            section.$key = $crate::section::read_field(stringify!($key), value, $crate::section::rule_of!($($rule)?), found);
                            if section.$key.is_none() { section.unreadable.push(stringify!($key)); }
                        })+
                        _ => unknown.note(key, $title, &[$(stringify!($key)),+], found),
                    }
                }
                unknown.end($title, found);
                Some(section)
            }
            fn complete(&mut self, found: &mut $crate::diagnostic::Diagnostics) {
                $(if self.$key.is_none() && !self.unreadable.contains(&stringify!($key)) {
                    match $crate::section::need!($need) {
                        $crate::section::Need::Required | $crate::section::Need::Placed =>
                            $crate::section::missing_key(stringify!($key), $title, stringify!($example), &self.span, found),
                        $crate::section::Need::Default =>
                            self.$key = $crate::section::default_value(stringify!($example), &self.span),
                        _ => {}
                    }
                })+
            }
        }
    };
}

macro_rules! need {
    (required) => {
        $crate::section::Need::Required
    };
    (placed) => {
        $crate::section::Need::Placed
    };
    (shown) => {
        $crate::section::Need::Shown
    };
    (optional) => {
        $crate::section::Need::Optional
    };
    (depends) => {
        $crate::section::Need::Depends
    };
    (default) => {
        $crate::section::Need::Default
    };
}

macro_rules! rule_of {
    () => {
        None
    };
    ($rule:expr) => {
        Some($rule)
    };
}

pub(crate) use {need, part_section, rule_of, section, section_field, section_struct};

/// A section of which nothing is written.
pub(crate) fn defaults<S: Section>(span: &Range<usize>) -> At<S> {
    let mut value = S::empty(span.clone());
    value.complete(&mut Diagnostics::default());
    At { value, span: span.clone() }
}
