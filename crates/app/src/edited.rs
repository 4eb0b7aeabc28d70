//! A design file with some values changed, and everything else as it was: comments, order, spacing.

use design::change::Change;
use design::quantity::{Quantity, Uncertain};
use design::surroundings::GatewaySurvey;
use toml_edit::{DocumentMut, InlineTable, Item, Table, TableLike, Value};

/// Keys of a panel that say how it is mounted, and stay when another panel takes its place.
const MOUNTING: [&str; 5] = ["tilt", "azimuth", "soiling", "shade", "shade_months"];

/// The text of a design file after these changes; `None` where one of them has no single place in the text.
pub(crate) fn edited(text: &str, changes: &[Change]) -> Option<String> {
    let mut document: DocumentMut = text.parse().ok()?;
    for change in changes {
        edit(&mut document, change)?;
    }
    Some(document.to_string())
}

/// The text of a site's file with what a survey found at its gateways, each by its name; `None` where one of them has no
/// table of its own.
pub(crate) fn surveyed(text: &str, found: &[(&str, GatewaySurvey)]) -> Option<String> {
    let mut document: DocumentMut = text.parse().ok()?;
    for (gateway, survey) in found {
        let gateway = table(&mut document, &["gateway", gateway])?;
        if gateway.get("survey").is_none_or(|old| !old.is_table_like()) {
            gateway.insert("survey", Item::Table(Table::new()));
        }
        write_survey(gateway.get_mut("survey")?.as_table_like_mut()?, survey);
    }
    Some(document.to_string())
}

fn write_survey(table: &mut dyn TableLike, survey: &GatewaySurvey) {
    let nodes = survey.nodes.iter().map(|(name, found)| (name.as_str(), written(*found)));
    set(table, "correction", written(survey.correction));
    set(table, "spots", survey.spots.text());
    set(table, "packets", i64::from(survey.packets));
    set(table, "until", survey.until.to_string());
    if survey.nodes.is_empty() {
        table.remove("nodes");
    } else {
        set(table, "nodes", nodes.collect::<InlineTable>());
    }
}

/// Lines of a text that are not the same in another.
pub(crate) fn lines_changed(before: &str, after: &str) -> usize {
    let before: Vec<&str> = before.lines().collect();
    after.lines().filter(|line| !before.contains(line)).count()
}

fn edit(document: &mut DocumentMut, change: &Change) -> Option<()> {
    match change {
        Change::Panel(name) => part(document, "panel", name, &MOUNTING)?,
        Change::Battery(name) => part(document, "battery", name, &[])?,
        Change::Charger(name) => part(document, "charger", name, &[])?,
        Change::PrimaryCell(name) => {
            part(document, "battery", name, &[])?;
            document.remove("panel");
            document.remove("charger");
        }
        Change::Capacity(capacity) => set(table(document, &["battery"])?, "capacity", written(*capacity)),
        Change::Tilt(tilt) => set(table(document, &["panel"])?, "tilt", tilt.text()),
        Change::Interval { load, activity, every } => {
            let activity = table(document, &["load", load, "activity", activity])?;
            activity.remove("every_by_charge");
            set(activity, "every", every.text());
        }
        _ => return None,
    }
    Some(())
}

fn table<'d>(document: &'d mut DocumentMut, path: &[&str]) -> Option<&'d mut dyn TableLike> {
    let mut item: &mut Item = document.as_item_mut();
    for name in path {
        item = item.as_table_like_mut()?.get_mut(name)?;
    }
    item.as_table_like_mut()
}

/// Another part: what was written beside the old one was of the old one.
fn part(document: &mut DocumentMut, section: &str, name: &str, keep: &[&str]) -> Option<()> {
    let table = table(document, &[section])?;
    let written: Vec<String> = table.iter().map(|(key, _)| key.to_owned()).collect();
    for key in written.iter().filter(|key| *key != "part" && !keep.contains(&key.as_str())) {
        table.remove(key);
    }
    set(table, "part", name);
    Some(())
}

/// Puts a value in place of another, with the spaces and the comment that stood around it.
fn set(table: &mut dyn TableLike, key: &str, value: impl Into<Value>) {
    let mut value = value.into();
    if let Some(old) = table.get(key).and_then(Item::as_value) {
        *value.decor_mut() = old.decor().clone();
    }
    match table.get_mut(key) {
        Some(item) => *item = Item::Value(value),
        None => {
            table.insert(key, Item::Value(value));
        }
    }
}

fn written<Q: Quantity>(quantity: Uncertain<Q>) -> String {
    let nominal = quantity.nominal.text();
    if quantity.spread_si > 0.0 {
        format!("{nominal} +- {}", Q::from_si(quantity.spread_si).text())
    } else {
        nominal
    }
}

#[cfg(test)]
mod tests {
    use design::catalog::Catalog;
    use design::node::Design;
    use design::quantity::{Angle, Charge, Duration};

    use super::*;

    const FROST_MAST: &str = include_str!("../../../examples/larkmoor/frost-mast.toml");

    fn resolved(text: &str) -> Design {
        let file = design::file::parse(text);
        design::resolve::resolve(&Catalog::builtin(), &file).expect("resolves").design
    }

    /// The design that the edited text means is the one that the changes make; comments stay, and no other line moves.
    #[test]
    fn the_edited_text_means_the_changed_design() {
        let capacity = Uncertain::exact(Charge::from_milliampere_hours(3100.0));
        let every = Duration::from_minutes(20.0);
        let changes = [
            Change::Panel("panel-1w".to_owned()),
            Change::Tilt(Angle::from_degrees(75.0)),
            Change::Capacity(capacity),
            Change::Interval { load: "mast".to_owned(), activity: "report".to_owned(), every },
        ];
        let text = edited(FROST_MAST, &changes).expect("each has a place");
        let made =
            changes.iter().try_fold(resolved(FROST_MAST), |design, change| design.with(change.clone()));
        assert_eq!(format!("{:?}", resolved(&text)), format!("{:?}", made.expect("can be made")));
        assert_eq!(lines_changed(FROST_MAST, &text), 4);
        assert_eq!(text.lines().count(), FROST_MAST.lines().count());
        let comments = |text: &str| text.lines().filter(|line| line.trim_start().starts_with('#')).count();
        assert_eq!(comments(&text), comments(FROST_MAST));
    }

    #[test]
    fn a_primary_cell_takes_the_place_of_battery_panel_and_charger() {
        let change = Change::PrimaryCell("li-socl2-d".to_owned());
        let text = edited(FROST_MAST, std::slice::from_ref(&change)).expect("has a place");
        let made = resolved(FROST_MAST).with(change).expect("can be made");
        assert_eq!(format!("{:?}", resolved(&text)), format!("{made:?}"));
        assert!(!text.contains("[panel]") && !text.contains("[charger]"), "{text}");
    }

    #[test]
    fn what_was_written_beside_a_part_goes_with_it() {
        let text = edited(FROST_MAST, &[Change::Battery("nmc-18650".to_owned())]).expect("has a place");
        let made = resolved(FROST_MAST).with(Change::Battery("nmc-18650".to_owned())).expect("can be made");
        assert_eq!(format!("{:?}", resolved(&text)), format!("{made:?}"));
    }

    /// A survey stands behind its gateway; a later one takes its place, comments stay, and no other line moves.
    #[test]
    fn a_survey_is_added_once_and_then_changed_in_its_place() {
        let site = include_str!("../../../examples/larkmoor/larkmoor.toml");
        let db = |nominal, spread_si| Uncertain {
            nominal: design::quantity::Decibels::from_decibels(nominal),
            spread_si,
        };
        let survey = |nominal: f64| GatewaySurvey {
            correction: db(nominal, 3.0),
            spots: design::quantity::Decibels::from_decibels(7.5),
            packets: 214,
            until: design::date::Date::parse("2026-10-04").expect("a day"),
            nodes: vec![("mast-slope".to_owned(), db(-4.2, 2.9))],
        };
        let first = surveyed(site, &[("packing-house", survey(-9.0))]).expect("has a place");
        assert_eq!(lines_changed(site, &first), 6, "{first}");
        assert_eq!(lines_changed(&first, site), 0);
        let resolve =
            |text: &str| design::fleet::resolve(&design::file::parse_fleet(text)).expect("resolves").fleet;
        let read = |text: &str| resolve(text).surroundings.gateways[0].survey.clone();
        assert_eq!(read(&first), Some(survey(-9.0)));
        let noted = first.replace("packets = 214", "packets = 214 # in the rain");
        let second = surveyed(&noted, &[("packing-house", survey(-6.0))]).expect("has a place");
        assert_eq!((lines_changed(&noted, &second), read(&second)), (1, Some(survey(-6.0))));
        assert!(surveyed(site, &[("mill", survey(-9.0))]).is_none());
    }

    #[test]
    fn nothing_changed_is_the_same_text() {
        assert_eq!(edited(FROST_MAST, &[]).as_deref(), Some(FROST_MAST));
    }
}
