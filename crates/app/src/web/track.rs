//! Where something that moves has been, by its own word.

use forecast::terrain::Place;
use logbook::received::Moment;
use logbook::store::StoreError;
use logbook::store::query::nodes as query;
use logbook::usage::Usage;
use logbook::watch::{Area, Fix, Ground, METRES_PER_DEGREE, NodePlan, is_nowhere, metres_between};
use report::chart::track::Outlined;
use report::page::track::{self as page, Doing, InArea, Leg, Pass, Track};

use super::nodes::{self, DAY_US, HOUR_US};
use super::promises::place;
use super::shown::Look;

/// Looked back so far.
const DAYS: i64 = 7;
/// Messages on a page.
const SHOWN: usize = 200;
/// Older than this a position does not say where something is (own choice).
const STALE_US: i64 = 3 * HOUR_US;
/// Positions nearer to each other than this, or than they may err, are one place (own choice) \[m\].
const ONE_PLACE_M: f64 = 50.0;
/// Whoever is in one place for less is on the way (own choice).
const LEAST_STAY_US: i64 = HOUR_US / 4;
/// Corners by which a circle is drawn.
const CORNERS: u32 = 64;

/// What the messages of a node said of where it was, the oldest first, each with when it was sent.
struct Heard {
    fixes: Vec<(Moment, Option<Fix>)>,
    is_cut: bool,
}

fn heard(look: &Look<'_>, name: &str) -> Result<Option<Heard>, StoreError> {
    let Some(known) = look.node(name) else { return Ok(None) };
    let (Some(design), Some(dev_eui)) = (known.design(look), known.dev_eui()) else { return Ok(None) };
    let Some(position) = NodePlan::of(name, design).position else { return Ok(None) };
    let mut said = query::said(look.log, &dev_eui, look.now - DAYS * DAY_US, look.now + HOUR_US)?;
    look.cut(&dev_eui, &mut said);
    let is_cut = !look.sees_places();
    // What is cut is no surer than the grid it is cut to.
    let beyond_m = if is_cut { look.house.known.sight(&dev_eui).precision_m } else { 0.0 };
    let own = said.iter().filter(|said| said.message == position.message);
    let fixes = own.map(|said| {
        let number = |column: &str| nodes::number(said, &said.message, column);
        let fix = position.fix(said.at, Some(&said.message), number);
        (said.at, fix.map(|fix| Fix { accuracy_m: fix.accuracy_m + beyond_m, ..fix }))
    });
    Ok(Some(Heard { fixes: fixes.collect(), is_cut }))
}

impl Heard {
    /// Each position that was found, once, the oldest first.
    fn found(&self) -> Vec<Fix> {
        let mut found: Vec<Fix> = Vec::new();
        for fix in self.fixes.iter().filter_map(|(_, fix)| *fix).filter(|fix| !is_nowhere(fix)) {
            if found.last().is_none_or(|last| fix.at > last.at) {
                found.push(fix);
            }
        }
        found
    }
}

/// The track of a node; `None` if it sends no position.
pub(super) fn state(look: &Look<'_>, name: &str) -> Result<Option<Track>, StoreError> {
    let Some(heard) = heard(look, name)? else { return Ok(None) };
    let found = heard.found();
    let areas: Vec<&Area> =
        look.house.areas.iter().filter(|area| area.nodes.iter().any(|node| node == name)).collect();
    let mut newest_known = Moment::MIN;
    let mut fixes: Vec<page::Fix> = heard
        .fixes
        .iter()
        .map(|(at, fix)| {
            let is_old = fix.is_some_and(|fix| fix.at <= newest_known);
            newest_known = fix.map_or(newest_known, |fix| fix.at.max(newest_known));
            page::Fix {
                at: look.when(*at),
                fixed_at: fix.map(|fix| look.when(fix.at)),
                latitude_deg: fix.map(|fix| fix.place.0),
                longitude_deg: fix.map(|fix| fix.place.1),
                accuracy_m: fix.map(|fix| fix.accuracy_m),
                is_old,
            }
        })
        .collect();
    fixes.reverse();
    fixes.truncate(SHOWN);
    let used = Usage::of(&found, &areas, (look.now - DAYS * DAY_US, look.now));
    Ok(Some(Track {
        name: name.to_owned(),
        fixes,
        legs: legs(look, &found, &areas),
        areas: areas.iter().map(|area| in_area(look, area, &found, &used)).collect(),
        elsewhere_hours: hours(used.elsewhere),
        unknown_hours: hours(used.unknown),
        is_stale: is_stale(look, &found),
        is_cut: heard.is_cut,
        borders: areas.iter().map(|area| outlined(area)).collect(),
    }))
}

/// Whether the newest position is too old to say where something is.
fn is_stale(look: &Look<'_>, found: &[Fix]) -> bool {
    found.last().is_none_or(|fix| look.now - fix.at > STALE_US)
}

/// Where a node that moves was found, the oldest first, and whether that is too long ago; `None` if it sends no position.
pub(super) fn found(look: &Look<'_>, name: &str) -> Result<Option<(Vec<Fix>, bool)>, StoreError> {
    let found = heard(look, name)?.map(|heard| heard.found());
    Ok(found.map(|found| {
        let is_stale = is_stale(look, &found);
        (found, is_stale)
    }))
}

/// Positions that lie together, each group after the other.
fn groups(found: &[Fix]) -> Vec<&[Fix]> {
    let mut groups = Vec::new();
    let mut rest = found;
    while let Some(first) = rest.first() {
        let near = |fix: &&Fix| {
            let apart = metres_between(first.place, fix.place);
            apart <= ONE_PLACE_M.max(first.accuracy_m + fix.accuracy_m)
        };
        let (group, after) = rest.split_at(rest.iter().take_while(near).count().max(1));
        groups.push(group);
        rest = after;
    }
    groups
}

/// Stays and the ways between them, the newest first.
fn legs(look: &Look<'_>, found: &[Fix], areas: &[&Area]) -> Vec<Leg> {
    let groups = groups(found);
    let last = groups.len().saturating_sub(1);
    let (mut legs, mut way): (Vec<Leg>, Vec<Fix>) = (Vec::new(), Vec::new());
    for (place, group) in groups.iter().enumerate() {
        let (Some(first), Some(end)) = (group.first(), group.last()) else { continue };
        way.push(*first);
        if end.at - first.at < LEAST_STAY_US && place != last {
            way.extend(&group[1..]);
            continue;
        }
        legs.extend(went(look, &way));
        let area = areas.iter().find(|area| area.outside_m(first.place) <= 0.0);
        legs.push(Leg {
            from: look.when(first.at),
            to: (place != last).then(|| look.when(end.at)),
            what: Doing::Stood {
                latitude_deg: first.place.0,
                longitude_deg: first.place.1,
                area: area.map(|area| area.name.clone()),
            },
        });
        way = vec![*end];
    }
    legs.reverse();
    legs
}

/// The way through some positions; none through one.
fn went(look: &Look<'_>, way: &[Fix]) -> Option<Leg> {
    let (first, last) = (way.first()?, way.last().filter(|_| way.len() > 1)?);
    let metres = way.windows(2).map(|pair| metres_between(pair[0].place, pair[1].place)).sum();
    let (from, to) = (look.when(first.at), Some(look.when(last.at)));
    Some(Leg { from, to, what: Doing::Went { metres } })
}

/// Whether it is in an area, and when it passed its border: by more than the position may err, or inside.
fn hours(time: Moment) -> f64 {
    time as f64 / HOUR_US as f64
}

fn in_area(look: &Look<'_>, area: &Area, found: &[Fix], used: &Usage) -> InArea {
    let (mut is_inside, mut passes) = (None, Vec::new());
    for fix in found {
        let outside = area.outside_m(fix.place);
        let now = match outside {
            inside if inside <= 0.0 => true,
            outside if outside > fix.accuracy_m => false,
            // At the border nobody knows.
            _ => continue,
        };
        if is_inside.is_some_and(|before| before != now) {
            passes.push(Pass { at: look.when(fix.at), is_in: now });
        }
        is_inside = Some(now);
    }
    passes.reverse();
    let hours = used.by_area.get(&area.name).copied().map_or(0.0, hours);
    InArea { name: area.name.clone(), is_inside, hours, passes }
}

/// An area by its borders.
pub(super) fn outlined(area: &Area) -> Outlined {
    let corner = |(north, east): &(f64, f64)| place(*north, *east);
    let rings = match &area.ground {
        Ground::Circle { middle, radius_m } => vec![circle(*middle, *radius_m)],
        Ground::Polygons(polygons) => {
            polygons.iter().flatten().map(|ring| ring.iter().map(corner).collect()).collect()
        }
    };
    Outlined { name: area.name.clone(), rings }
}

/// Corners around a place, the last as the first.
fn circle((north, east): (f64, f64), radius_m: f64) -> Vec<Place> {
    let radius_deg = radius_m / METRES_PER_DEGREE;
    let corner = |number: u32| {
        let (sine, cosine) = (std::f64::consts::TAU * f64::from(number) / f64::from(CORNERS)).sin_cos();
        place(north + radius_deg * cosine, east + radius_deg * sine / north.to_radians().cos())
    };
    (0..=CORNERS).map(corner).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fix(minute: i64, metres_north: f64) -> Fix {
        Fix {
            at: minute * 60_000_000,
            place: (60.0 + metres_north / METRES_PER_DEGREE, 10.0),
            accuracy_m: 12.0,
        }
    }

    /// By hand: 10 m apart is one place; 300 m is another; a single position between two stays is on the way.
    #[test]
    fn positions_that_lie_together_are_one_place() {
        let found = [fix(0, 0.0), fix(30, 10.0), fix(40, 300.0), fix(50, 600.0), fix(80, 605.0)];
        let sizes: Vec<usize> = groups(&found).iter().map(|group| group.len()).collect();
        assert_eq!(sizes, [2, 1, 2]);
    }

    /// By hand: a corner of a circle of 1 km at 60 degrees north is 1 km away, to 1 %.
    #[test]
    fn a_circle_is_as_wide_on_every_side() {
        let ring = circle((60.0, 10.0), 1000.0);
        let turns = ring.last().expect("it has corners").latitude_deg - ring[0].latitude_deg;
        assert!(
            turns.abs() < 1e-9 && ring[16].longitude_deg > 10.0,
            "it is closed, and goes around by the east"
        );
        for corner in &ring {
            let away = metres_between((60.0, 10.0), (corner.latitude_deg, corner.longitude_deg));
            assert!((away - 1000.0).abs() < 10.0, "{away}");
        }
    }
}
