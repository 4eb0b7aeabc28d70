//! Tracks of nodes that know where they are, and the places of those that stand.
//!
//! # References
//! GPX 1.1 schema, `gpxType`: waypoints before tracks; `lat` and `lon` in degrees of WGS 84, `time` in UTC.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use super::{Labels, position, time_text};
use crate::received::Moment;
use crate::store::query::Reading;

/// Points of a track: when, north and east.
type Track = Vec<(Moment, f64, f64)>;

/// Tracks by DevEUI.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Tracks(BTreeMap<String, Track>);

impl Tracks {
    /// Takes a reading that holds a position.
    pub fn add(&mut self, reading: &Reading) {
        if let Some((north, east)) = position(reading) {
            self.0.entry(reading.dev_eui.clone()).or_default().push((reading.at, north, east));
        }
    }

    /// The whole file.
    pub fn text(&self, labels: &Labels) -> String {
        let mut text = String::from(
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
             <gpx version=\"1.1\" creator=\"overwinter\" xmlns=\"http://www.topografix.com/GPX/1/1\">\n",
        );
        let mut put = |line: std::fmt::Arguments<'_>| text.write_fmt(line).expect("a string takes any text");
        for (dev_eui, (north, east)) in
            labels.places.iter().filter(|(dev_eui, _)| !self.0.contains_key(*dev_eui))
        {
            let name = escaped(labels.name(dev_eui));
            put(format_args!("  <wpt lat=\"{north:.7}\" lon=\"{east:.7}\"><name>{name}</name></wpt>\n"));
        }
        for (dev_eui, points) in &self.0 {
            put(format_args!("  <trk><name>{}</name><trkseg>\n", escaped(labels.name(dev_eui))));
            for (at, north, east) in points {
                let time = time_text(*at).map_or_else(String::new, |time| format!("<time>{time}</time>"));
                put(format_args!("    <trkpt lat=\"{north:.7}\" lon=\"{east:.7}\">{time}</trkpt>\n"));
            }
            put(format_args!("  </trkseg></trk>\n"));
        }
        text + "</gpx>\n"
    }
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
