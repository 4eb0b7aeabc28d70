//! Where something that moves has been: a line from fix to fix, a ring as wide as each may err, and the areas in which it is
//! to stay.

use forecast::terrain::Place;
use maud::{Markup, html};

use super::Chart;
use super::coverage::{self, Frame};
use super::frame::{line, px};
use super::ground::plain;

/// A track stands above its table.
const TALLEST: f64 = 460.0;
/// The ring of a good fix is still seen \[px\].
const LEAST_RING: f64 = 2.5;

/// A position and how sure it is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Seen {
    /// Where.
    pub place: Place,
    /// It lies within so many metres of the truth.
    pub accuracy_m: f64,
}

/// Ground with a name.
#[derive(Clone, Debug, PartialEq)]
pub struct Outlined {
    /// Its name in the site file.
    pub name: String,
    /// Its borders, outer ones and holes, each closed.
    pub rings: Vec<Vec<Place>>,
}

/// The track of a node, its fixes oldest first; `is_old` says that the last of them is no place where it is now. `None`
/// without a fix.
pub fn chart(name: &str, fixes: &[Seen], is_old: bool, areas: &[Outlined]) -> Option<Chart> {
    let last = fixes.last()?;
    let corners = areas.iter().flat_map(|area| area.rings.iter().flatten());
    let places: Vec<Place> = fixes.iter().map(|fix| fix.place).chain(corners.copied()).collect();
    let frame = Frame::within(&plain(&places)?, TALLEST);
    let sure = format!("to {:.0} m", last.accuracy_m);
    let title = if is_old { "Where it was, as last known" } else { "Where it was, and is" }.to_owned();
    let named: Vec<&str> = areas.iter().map(|area| area.name.as_str()).collect();
    let stay = if named.is_empty() { String::new() } else { format!(" Areas: {}.", named.join(", ")) };
    Some(Chart {
        id: "track".to_owned(),
        description: format!(
            "Track of {name} over {}, the last known {sure}. North is up.{stay}",
            crate::words::count(fixes.len(), "position")
        ),
        title,
        note: Some(
            "Rings: as far as each position may err. A dashed ring: the last one is old. Dashed lines: borders of areas."
                .to_owned(),
        ),
        width: frame.right() + 20.0,
        height: frame.bottom() + 8.0,
        body: body(&frame, fixes, is_old, areas),
    })
}

fn body(frame: &Frame, fixes: &[Seen], is_old: bool, areas: &[Outlined]) -> Markup {
    let drawn: Vec<((f64, f64), f64)> = fixes
        .iter()
        .filter_map(|fix| Some((frame.of(fix.place)?, (fix.accuracy_m * frame.pixels_per_m).max(LEAST_RING))))
        .collect();
    let way: Vec<(f64, f64)> = drawn.iter().map(|(at, _)| *at).collect();
    let outline =
        |ring: &Vec<Place>| line(&ring.iter().filter_map(|place| frame.of(*place)).collect::<Vec<_>>());
    html! {
        (frame.edge())
        @for area in areas {
            @for ring in &area.rings { path.border d=(outline(ring)) {} }
            @if let Some((x, y)) = area.rings.first().and_then(|ring| frame.of(*ring.first()?)) {
                text.halo x=(px(x + 4.0)) y=(px(y - 4.0)) { (area.name) }
            }
        }
        path.way d=(line(&way)) {}
        @for (index, ((x, y), radius)) in drawn.iter().enumerate() {
            @let is_last = index + 1 == drawn.len();
            circle.ring.old[is_last && is_old] cx=(px(*x)) cy=(px(*y)) r=(px(*radius)) {}
            @if is_last && !is_old { circle.dot cx=(px(*x)) cy=(px(*y)) r="4" {} }
        }
        (coverage::scale_bar(frame))
        (coverage::north(frame))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seen(latitude_deg: f64, longitude_deg: f64) -> Seen {
        Seen { place: Place { latitude_deg, longitude_deg }, accuracy_m: 12.0 }
    }

    #[test]
    fn an_old_position_has_a_dashed_ring_and_no_dot() {
        let fixes = [seen(46.99, 13.0), seen(46.991, 13.002)];
        let corner = |north: f64, east: f64| Place { latitude_deg: north, longitude_deg: east };
        let ring = [(46.98, 12.99), (47.0, 12.99), (47.0, 13.01), (46.98, 12.99)];
        let ring = ring.iter().map(|(north, east)| corner(*north, *east)).collect();
        let areas = [Outlined { name: "orchard".into(), rings: vec![ring] }];
        for is_old in [false, true] {
            let svg = chart("trailer", &fixes, is_old, &areas).expect("two fixes").svg().into_string();
            assert_eq!(svg.contains("class=\"ring old\""), is_old, "{svg}");
            assert_eq!(svg.contains("class=\"dot\""), !is_old);
            assert!(svg.contains("orchard") && svg.contains("class=\"border\"") && !svg.contains("NaN"));
        }
        assert!(chart("trailer", &[], false, &areas).is_none());
        assert!(chart("trailer", &fixes[..1], false, &[]).is_some(), "one fix has a frame too");
    }
}
