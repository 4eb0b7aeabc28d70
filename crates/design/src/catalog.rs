//! The catalogue of parts: what is shipped, and the person's own part files.

use crate::diagnostic::{self, Diagnostics};
use crate::file::{is_path, read_part};
use crate::section::{At, Field, PartSection, Section};
use std::collections::BTreeMap;

/// Parts by name. Part files of a person's own are handed in as text; nothing is read from disk here.
#[derive(Clone, Debug, Default)]
pub struct Catalog {
    files: BTreeMap<String, String>,
}

/// A shipped part file.
#[derive(Clone, Copy, Debug)]
pub struct Shipped {
    /// The section it fills: `battery`, `charger`, `panel`, `radio`, `receiver` or `sensor`.
    pub section: &'static str,
    /// Its name in the catalogue.
    pub key: &'static str,
    /// Its text.
    pub text: &'static str,
}

macro_rules! shipped {
    ($($section:literal $folder:literal: $($key:literal)+;)+) => {
        /// Every shipped part file.
        pub const SHIPPED: &[Shipped] = &[$($(
            Shipped { section: $section, key: $key, text: include_str!(concat!("../data/", $folder, "/", $key, ".toml")) },
        )+)+];
    };
}

shipped! {
    "battery" "batteries":
        "lco-pouch" "lfp-10440" "lfp-18650" "li-mno2-cr17345" "li-socl2-aa" "li-socl2-d" "lto-18650" "nimh-aa"
        "nmc-18650" "supercapacitor-10f";
    "charger" "chargers":
        "direct-diode" "direct-diode-limited" "fixed-fraction" "linear-lfp" "linear-low-drain" "linear-usb"
        "linear-usb-gated" "mppt" "step-up-low-drain";
    "panel" "panels":
        "panel-0w3" "panel-0w5" "panel-1w" "panel-1w-leaky" "panel-1w2" "panel-2w" "panel-3w" "panel-6w" "panel-6w-12v";
    "radio" "radios": "radio-mcu-14dbm" "radio-mcu-22dbm";
    "receiver" "receivers": "receiver-with-backup" "receiver-without-backup";
    "sensor" "sensors":
        "leaf-wetness" "level-loop-12v" "level-pressure" "soil-moisture" "surface-thermistor" "temperature-humidity"
        "temperature-humidity-pressure";
}

/// Names that parts had before, and have now: old design files open, and say so.
const RENAMED: [(&str, &str); 2] = [("linear-nano", "linear-low-drain"), ("nano-boost", "step-up-low-drain")];

/// The name that a part has now; an old one is warned of.
fn name_now<'a>(name: &'a At<String>, found: &mut Diagnostics) -> &'a str {
    let Some((old, new)) = RENAMED.iter().find(|(old, _)| *old == name.value) else { return &name.value };
    diagnostic::warn_of_old_name(old, new, &name.span, found);
    new
}

impl Catalog {
    /// The shipped parts alone.
    pub fn builtin() -> Self {
        Self::default()
    }

    /// Adds a person's own part file under the path by which the design file names it.
    pub fn add_file(&mut self, path: impl Into<String>, text: impl Into<String>) {
        self.files.insert(path.into(), text.into());
    }

    /// The names of the shipped parts that fill a section.
    pub fn names(section: &str) -> Vec<&'static str> {
        SHIPPED.iter().filter(|part| part.section == section).map(|part| part.key).collect()
    }

    /// The part of this name, or `None` if something was found wrong with it.
    pub(crate) fn part<S: PartSection + Field>(
        &self,
        name: &At<String>,
        found: &mut Diagnostics,
    ) -> Option<S> {
        let section = <S as Section>::DOC.name;
        let text = if is_path(&name.value) {
            self.files.get(&name.value).map(String::as_str)
        } else {
            let key = name_now(name, found);
            SHIPPED.iter().find(|part| part.section == section && part.key == key).map(|part| part.text)
        };
        let Some(text) = text else {
            no_such_part(section, name, found);
            return None;
        };
        let (part, problems) = read_part(&name.value, text);
        found.append(problems.into_sorted());
        part
    }
}

fn no_such_part(section: &str, name: &At<String>, found: &mut Diagnostics) {
    if is_path(&name.value) {
        let message = format!("the part file `{}` was not read", name.value);
        found.error(
            diagnostic::PART_FILE_MISSING,
            &name.span,
            message,
            "its path counts from the folder of the design file",
        );
        return;
    }
    let names = Catalog::names(section);
    let list =
        format!("the catalogue has {}; or name a part file of your own that ends in .toml", names.join(", "));
    let help = match diagnostic::nearest(&name.value, names.iter().copied()) {
        Some(near) => format!("did you mean \"{near}\"? {list}"),
        None => list,
    };
    let message =
        format!("there is no {section} `{}` in the catalogue", crate::quantity::shortened(&name.value));
    found.error(diagnostic::UNKNOWN_PART, &name.span, message, help);
}
