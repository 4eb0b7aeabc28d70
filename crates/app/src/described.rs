//! A design in words, for the reader who wants to know what was meant.

use design::node::{Activity, Design};
use report::words;

/// Role and description of each part, for the reader who wants to know what was meant.
pub(crate) fn parts(design: &Design) -> Vec<(&'static str, String)> {
    let site = &design.site;
    let side = |degrees: f64, plus: char, minus: char| {
        format!("{:.2}° {}", degrees.abs(), if degrees < 0.0 { minus } else { plus })
    };
    let place = format!(
        "{}, {}, {:.0} m",
        side(site.latitude.degrees(), 'N', 'S'),
        side(site.longitude.degrees(), 'E', 'W'),
        site.elevation.metres()
    );
    let mut parts = vec![("site", place)];
    if let Some(mounted) = &design.panel {
        let facing = mounted
            .azimuth
            .map_or("facing anywhere".to_owned(), |azimuth| format!("facing {:.0}°", azimuth.degrees()));
        let watts = format!("{} W", mounted.panel.power.nominal.watts());
        let title = &mounted.panel.title;
        let label = if title.contains(&watts) { title.clone() } else { format!("{title}, {watts}") };
        parts.push(("panel", format!("{label}, tilted {:.0}°, {facing}", mounted.tilt.degrees())));
    }
    if let Some(charger) = &design.charger {
        parts.push(("charger", charger.title.clone()));
    }
    let capacity = design.battery.capacity.nominal.milliampere_hours();
    parts.push(("battery", format!("{}, {capacity:.0} mAh", design.battery.title)));
    if let Some(radio) = &design.radio {
        parts.push(("radio", format!("{}, {}", radio.radio.title, radio.region.name)));
    }
    if let Some(receiver) = &design.receiver {
        parts.push(("receiver", receiver.title.clone()));
    }
    let reports = design.loads.iter().flat_map(|load| &load.activities).filter(|activity| activity.sends());
    parts.extend(reports.map(|activity| ("sends", format!("{}, {}", activity.name, every(activity)))));
    parts
}

/// How often something happens; the row that holds at full charge where there are several.
fn every(activity: &Activity) -> String {
    let interval = activity.every.at_full_charge();
    let often = interval.map_or("never".to_owned(), |interval| format!("every {}", words::span(interval)));
    match (activity.every.by_charge(), activity.every.by_month()) {
        (false, false) => often,
        (true, false) => format!("{often} at full charge"),
        (false, true) => format!("{often} at most, by month"),
        (true, true) => format!("{often} at most, by month and charge"),
    }
}
