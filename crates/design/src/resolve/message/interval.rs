//! Which activity a field of a message to the node sets the interval of; of one with a table by month or charge it sets the
//! least interval.

use super::super::Resolver;
use crate::diagnostic;
use crate::file::node::{ActivitySection, LoadSection, RootSection};
use crate::message::{Direction, Field, SetInterval};
use crate::quantity::shortened;
use crate::section::At;

/// UCUM codes of the units that an interval may have, and the seconds in each.
const UNITS: [(&str, u32); 4] = [("s", 1), ("min", 60), ("h", 3600), ("d", 86_400)];

type Named<'r, T> = (&'r At<String>, &'r T);

impl Resolver<'_> {
    /// The interval that a field sets; says so if it can't.
    pub(super) fn interval(
        &mut self,
        direction: Direction,
        field: &Field,
        wanted: &At<String>,
        root: &RootSection,
    ) -> Option<SetInterval> {
        let unit_s = UNITS.iter().find(|(unit, _)| *unit == field.unit).map(|(_, seconds)| *seconds);
        let mut wrong = |text: String, help: String| {
            self.found.error(diagnostic::SETS_INTERVAL, &wanted.span, text, help);
        };
        let known = activities(root);
        let matching: Vec<_> = known.iter().filter(|row| is_meant(&wanted.value, row)).collect();
        match (matching.as_slice(), unit_s) {
            _ if direction == Direction::Up => {
                let text = format!("`{}` comes from the node and sets nothing there", field.name);
                wrong(
                    text,
                    "remove `sets`, or write the field in a message with `direction = \"down\"`".into(),
                );
            }
            (_, None) => {
                let text = format!("`{}` has the unit `{}`, which is no time", field.name, field.unit);
                wrong(text, "write the unit `s`, `min`, `h` or `d`".into());
            }
            ([], _) => {
                let names: Vec<String> =
                    known.iter().map(|(_, (activity, _))| activity.value.clone()).collect();
                let help = diagnostic::nearest(&wanted.value, names.iter().map(String::as_str)).map_or_else(
                    || format!("write one of the activities: {}", names.join(", ")),
                    |near| format!("did you mean \"{near}\"?"),
                );
                wrong(format!("there is no activity `{}`", shortened(&wanted.value)), help);
            }
            ([(load, (activity, _))], Some(unit_s)) => {
                let (load, activity) = (load.value.clone(), activity.value.clone());
                return Some(SetInterval { load, activity, unit_s });
            }
            ([(load, (activity, _)), ..], _) => {
                let text = format!("several loads have an activity `{}`", activity.value);
                wrong(text, format!("write the load too, as \"{}.{}\"", load.value, activity.value));
            }
        }
        None
    }
}

/// Load and activity of every activity, in the order of the file.
fn activities(root: &RootSection) -> Vec<(&At<String>, Named<'_, ActivitySection>)> {
    let loads = root.load.iter().flat_map(|rows| &rows.value.0);
    loads.flat_map(|(load, section)| rows(section).map(move |(name, row)| (load, (name, row)))).collect()
}

fn rows(section: &LoadSection) -> impl Iterator<Item = &(At<String>, ActivitySection)> {
    section.activity.iter().flat_map(|rows| &rows.value.0)
}

fn is_meant(wanted: &str, (load, (activity, _)): &(&At<String>, Named<'_, ActivitySection>)) -> bool {
    wanted == activity.value
        || wanted.strip_prefix(load.value.as_str()) == Some(&format!(".{}", activity.value))
}
