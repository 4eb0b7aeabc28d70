//! The manual of the design file, its JSON Schema and a commented example, generated from the declarations.

use crate::catalog::{Catalog, SHIPPED};
use crate::diagnostic::CODES;
use crate::file::fleet::FleetSection;
use crate::file::node::RootSection;
use crate::file::part::SensorSection;
use crate::quantity::units;
use crate::section::schema::{plain, quoted, section_schema};
use crate::section::{FieldDoc, Need, Section, SectionDoc};
use std::fmt::Write as _;

const WIDTH: usize = 100;

const OPENING: &str = "# The design file

This page is generated from the program; change the declarations in `crates/design/src/file/`, not this page.

One file describes one kind of node and its place. It is TOML: `key = value` lines under `[section]` headings. Keys that are
not listed here are refused. All problems of a file are reported at once, each with a code that the last chapter explains.

**Quantities** are texts with a unit: `\"2600 mAh\"`, `\"-20 C\"`, `\"14 dBm\"`. A tolerance may follow: `\"4 uA +- 50 %\"`,
`\"2600 mAh +- 200 mAh\"` (`±` works as well). It is one standard deviation of what the quantity may really be, and is spread
over the simulated lives; on a share it is in percentage points. The page says where a tolerance is used.

**Parts** (`[panel]`, `[charger]`, `[battery]`, `[radio]`, `[receiver]`, sensors) are named by `part`: an entry of the catalogue,
or the path of a part file of your own, which ends in `.toml` and counts from the folder of the design file. Keys written beside
`part` override the part's; without `part` all keys are written in the section itself. A part file has the keys of its section
and begins with `title` and `source`; `from_memory` lists the keys whose figures have no seen source, and the report repeats them
where they matter.
";

const SITE_FILE: &str = "
# The site file

A second kind of file places several nodes, and names the gateways that hear them all. `overwinter check SITE.toml` answers
for each node, `overwinter reach SITE.toml` draws the coverage.
";

/// The manual as Markdown.
pub fn markdown() -> String {
    let mut out = OPENING.to_owned();
    out.push_str("\n## Units\n\n| quantity | units |\n| --- | --- |\n");
    for (noun, symbols) in units() {
        let _ = writeln!(out, "| {noun} | {} |", symbols.join(", "));
    }
    chapter(&mut out, "Top of the file", "", &RootSection::DOC);
    chapter(&mut out, "sensor part file", "sensor part file", &SensorSection::DOC);
    out.push_str(SITE_FILE);
    chapter(&mut out, "Top of the site file", "", &FleetSection::DOC);
    out.push_str("\n## Catalogue\n\n| section | parts |\n| --- | --- |\n");
    for section in ["battery", "charger", "panel", "radio", "receiver", "sensor"] {
        let _ = writeln!(out, "| {section} | `{}` |", Catalog::names(section).join("`, `"));
    }
    let _ =
        writeln!(out, "\n{} parts; their figures and sources stand in `crates/design/data/`.", SHIPPED.len());
    out.push_str("\n## Codes\n");
    for code in CODES {
        let _ = writeln!(
            out,
            "\n### {}\n\n{}: {}\n\nExample: {}.",
            code.name,
            capital(code.title),
            code.explanation,
            code.example
        );
    }
    out
}

fn chapter(out: &mut String, heading: &str, path: &str, section: &SectionDoc) {
    let _ = writeln!(
        out,
        "\n## {heading}\n\n{}\n\n| key | meaning | written as | needed |\n| --- | --- | --- | --- |",
        lines(section.doc)
    );
    let fields = (section.fields)();
    for field in &fields {
        let range = field.range().map_or_else(String::new, |range| format!("; {range}"));
        let like = match (shape(field), field.need) {
            (Shape::Value, Need::Default) => String::new(),
            (Shape::Value, _) => format!(", as `{}`", plain(field.example)),
            _ => String::new(),
        };
        let written = format!("{}{like}{range}", (field.noun)());
        let _ = writeln!(
            out,
            "| `{}` | {} | {} | {} |",
            field.key,
            field.doc.trim(),
            cell(&written),
            need(field)
        );
    }
    for field in &fields {
        if let Some(inside) = (field.inside)() {
            let path = path.trim_matches(['[', ']']);
            let path = if path.is_empty() { String::new() } else { format!("{path}.") };
            let path = match shape(field) {
                Shape::Value => format!("{path}{}", field.key),
                Shape::Table => format!("[{path}{}]", field.key),
                Shape::List => format!("[[{path}{}]]", field.key),
                Shape::Named => format!("[{path}{}.NAME]", field.key),
            };
            chapter(out, &path, &path, &inside);
        }
    }
}

fn need(field: &FieldDoc) -> String {
    match field.need {
        Need::Required | Need::Placed => "yes".to_owned(),
        Need::Optional => "no".to_owned(),
        Need::Depends | Need::Shown => "see meaning".to_owned(),
        Need::Default => format!("no: `{}`", plain(field.example)),
    }
}

fn cell(text: &str) -> String {
    text.replace('|', "\\|")
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// How a key is laid out in the file.
enum Shape {
    Value,
    Table,
    List,
    Named,
}

fn shape(field: &FieldDoc) -> Shape {
    match field.example {
        "{}" => Shape::Table,
        "[{}]" => Shape::List,
        name if (field.inside)().is_some() && name.bytes().all(|byte| byte.is_ascii_alphanumeric()) => {
            Shape::Named
        }
        _ => Shape::Value,
    }
}

/// A design file that shows every key, optional ones behind `#`. It resolves as it is.
pub fn commented_example() -> String {
    let mut out = comment(
        "Every key of the design file. This file is generated, and resolves as it is. A line that begins with # and a key shows an optional key with an example or its default: remove the # to use it.",
    );
    table(&mut out, "", &RootSection::DOC);
    out
}

fn table(out: &mut String, path: &str, section: &SectionDoc) {
    let fields = (section.fields)();
    let names_part = fields.iter().any(|field| field.key == "part");
    for field in fields.iter().filter(|field| matches!(shape(field), Shape::Value)) {
        let live = match field.need {
            Need::Placed | Need::Shown => true,
            Need::Required => !names_part,
            Need::Optional | Need::Depends | Need::Default => false,
        };
        out.push_str(&comment(field.doc.trim()));
        let _ = writeln!(out, "{}{} = {}", if live { "" } else { "#" }, field.key, plain(field.example));
    }
    for field in &fields {
        let Some(inside) = (field.inside)() else { continue };
        let path = if path.is_empty() { field.key.to_owned() } else { format!("{path}.{}", field.key) };
        let (path, header) = match shape(field) {
            Shape::Value => continue,
            Shape::Table => (path.clone(), format!("[{path}]")),
            Shape::List => (path.clone(), format!("[[{path}]]")),
            Shape::Named => (format!("{path}.{}", field.example), format!("[{path}.{}]", field.example)),
        };
        let _ = write!(out, "\n{}{header}\n", comment(field.doc.trim()));
        table(out, &path, &inside);
    }
}

/// A site file that shows every key, as [`commented_example`] does.
pub fn commented_site() -> String {
    let mut out = comment(
        "Every key of the site file. This file is generated, and resolves as it is. A line that begins with # and a key shows an optional key with an example or its default: remove the # to use it.",
    );
    table(&mut out, "", &FleetSection::DOC);
    out
}

/// A text as comment lines.
fn comment(text: &str) -> String {
    let mut out = String::new();
    let mut line = "#".to_owned();
    for word in text.split_whitespace() {
        if line.chars().count() + 1 + word.chars().count() > WIDTH {
            let _ = writeln!(out, "{line}");
            "#".clone_into(&mut line);
        }
        let _ = write!(line, " {word}");
    }
    let _ = writeln!(out, "{line}");
    out
}

/// The JSON Schema of the design file, for editors that complete and check while one types.
pub fn json_schema() -> String {
    file_schema("Design file of a node", &RootSection::DOC)
}

/// The JSON Schema of the site file.
pub fn site_json_schema() -> String {
    file_schema("Site file", &FleetSection::DOC)
}

fn file_schema(title: &str, section: &SectionDoc) -> String {
    let schema = section_schema(section);
    let head = "{\"$schema\":\"https://json-schema.org/draft/2020-12/schema\",\"title\":";
    format!("{head}{},{}\n", quoted(title), schema.trim_start_matches('{'))
}

/// Lines without the blank that follows `///`.
fn lines(text: &str) -> String {
    text.trim().lines().map(str::trim).collect::<Vec<_>>().join("\n")
}
