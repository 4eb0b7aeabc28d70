//! Installation sheets: two pages a node, to print and to fill in.

use std::cell::LazyCell;

use design::change::{Change, Refused};
use design::node::Design;
use design::part::Chemistry;
use design::quantity::{Decibels, Voltage};
use forecast::radio::level::SPOT_SD_DB;
use forecast::terrain::Terrain;
use logbook::registry::Node;
use maud::{Markup, html};
use report::problem::{Failure, Problem};
use report::sentences::reach as sentences;
use report::words;
use verdict::expected::Outdoors;
use verdict::reach;

use super::expected::Expected;
use super::paper::{self, blank, tick};
use super::qr::{self, ProfileId};

const NOT_COMPUTED: &str = "not computed";
const CHOSEN: &str = "what the network chooses";
const NO_GATEWAY: &str = "not known: the design names no gateway";

/// The sheets of these nodes.
///
/// # Errors
/// A node stands where its design can't.
pub(crate) fn pages(
    design: &Design,
    terrain: Option<&Terrain>,
    nodes: &[&Node],
    expected: &Expected,
    profile: &ProfileId,
) -> Result<String, Failure> {
    // Nodes whose place was not noted are heard as the design is, which is worked out once.
    let as_designed = LazyCell::new(|| heard(design, terrain));
    let sheet = |node: &&Node| {
        let there = placed(design, node)?;
        let heard = there.map_or_else(|| as_designed.clone(), |there| heard(&there, terrain));
        Ok(html! {
            (standing(design, node, &heard, expected, profile))
            (living(design, node))
        })
    };
    let sheets = nodes.iter().map(sheet).collect::<Result<Vec<Markup>, Failure>>()?;
    let pages = html! { @for sheet in sheets { (sheet) } };
    Ok(paper::document(&format!("Installation sheets: {}", design.name), &pages))
}

/// The design where this node stands; none if that was not noted.
fn placed(design: &Design, node: &Node) -> Result<Option<Design>, Failure> {
    let Some(place) = node.place else { return Ok(None) };
    let elevation = place.elevation.unwrap_or(design.site.elevation);
    let refused = |refused: Refused| {
        let message = format!("{} can't stand there: {}", node.name, refused.message);
        Failure::of(Problem::of_file("placement", "registry.toml", message, &refused.help))
    };
    design.with(Change::Position(place.latitude, place.longitude, elevation)).map(Some).map_err(refused)
}

fn standing(
    design: &Design,
    node: &Node,
    heard: &Markup,
    expected: &Expected,
    profile: &ProfileId,
) -> Markup {
    html! {
        section.page {
            (paper::head(&format!("Installation sheet: {}", node.kind), "page 1 of 2"))
            div.top {
                div {
                    h1 { (node.name) }
                    table {
                        tr { th { "DevEUI" } td { span.eui { (node.dev_eui) } @if node.locally_administered() { " (locally administered)" } } }
                        tr { th { "JoinEUI" } td.eui { (node.join_eui) } }
                        tr { th { "Enrolled" } td { (node.from) } }
                        @if let Some(note) = &design.note { tr { th { "Note" } td { (note) } } }
                    }
                }
                (qr::drawing(&qr::text(node.join_eui, node.dev_eui, profile)))
            }
            (how_it_stands(design, node))
            (heard)
            (hours(expected))
            (paper::foot(&format!("Sheet of {}. Photograph both pages when they are filled in.", node.name)))
        }
    }
}

fn how_it_stands(design: &Design, node: &Node) -> Markup {
    let site = &design.site;
    let (latitude, longitude) =
        node.place.map_or((site.latitude, site.longitude), |place| (place.latitude, place.longitude));
    let elevation = node.place.and_then(|place| place.elevation).unwrap_or(site.elevation);
    let position = format!(
        "{}, {}, {:.0} m",
        side(latitude.degrees(), 'N', 'S'),
        side(longitude.degrees(), 'E', 'W'),
        elevation.metres()
    );
    let whose = if node.place.is_some() { "" } else { " (of the design; the node's own was not noted)" };
    html! {
        h2 { "How it stands" }
        table.room.answers {
            thead { tr { td { } th { "planned" } th.blank { "as it is" } } }
            tbody {
                tr { th { "Position" } td { (position) (whose) } (blank()) }
                @if let Some(mounted) = &design.panel {
                    tr { th { "Panel faces" } td { (facing(mounted.azimuth.map(design::quantity::Angle::degrees))) } (blank()) }
                    tr { th { "Panel tilted" } td { (format!("{:.0}° from the horizontal", mounted.tilt.degrees())) } (blank()) }
                }
                tr { th { "Height of the mast" } td.quiet { "metres above ground, at the antenna" } (blank()) }
                tr { th { "Skyline, azimuth: height" } td { (skyline(&site.horizon)) } (blank()) }
                @if let Some(leaf) = &site.in_leaf {
                    tr { th { "The same in leaf" } td { (skyline(&leaf.horizon)) } (blank()) }
                }
            }
        }
        p.quiet { "Azimuths count clockwise from true north; a compass points to magnetic north, so correct for the declination of the place." }
    }
}

fn side(degrees: f64, plus: char, minus: char) -> String {
    format!("{:.5}° {}", degrees.abs(), if degrees < 0.0 { minus } else { plus })
}

fn facing(azimuth_deg: Option<f64>) -> String {
    let Some(degrees) = azimuth_deg else { return "anywhere: it moves".to_owned() };
    format!("{degrees:.0}°, {}", words::compass(degrees))
}

fn skyline(points: &[(design::quantity::Angle, design::quantity::Angle)]) -> String {
    if points.is_empty() {
        return "free horizon assumed".to_owned();
    }
    let points =
        points.iter().map(|(azimuth, height)| format!("{:.0}°: {:.0}°", azimuth.degrees(), height.degrees()));
    points.collect::<Vec<_>>().join(", ")
}

fn heard(design: &Design, terrain: Option<&Terrain>) -> Markup {
    let Some(radio) = &design.radio else { return html! {} };
    let reach = reach::judge(design, terrain, &[], 1);
    let spread_db = design.surroundings.ground.spread.map_or(SPOT_SD_DB, Decibels::decibels);
    let around = |decibels: f64, unit: &str| {
        format!("{decibels:.0} {unit}, {spread_db:.0} dB more or less from one position to the next")
    };
    let best = reach.links.first();
    let rssi = best.map_or(NO_GATEWAY.to_owned(), |best| around(best.received.dbm(), "dBm"));
    let snr = best.map_or(NO_GATEWAY.to_owned(), |best| around(best.snr.decibels(), "dB"));
    let adapted = best.is_none() && radio.adaptation_margin.is_some();
    let rates = if adapted { CHOSEN.to_owned() } else { sentences::mix(&reach, &reach.middle_rates) };
    let aim = best.map(|best| {
        let (gateway, away) = (&best.gateway, words::distance(best.distance));
        format!("{gateway}, {away} to the {} ({:.0}°)", words::compass(best.azimuth_deg), best.azimuth_deg)
    });
    html! {
        h2 { "How it is heard" }
        table.room.answers {
            thead { tr { td { } th { "expected" } th.blank { "at the gateway, over 20 messages" } } }
            tbody {
                @if let Some(aim) = aim { tr { th { "Gateway" } td { (aim) } (blank()) } }
                tr { th { "RSSI at its place" } td { (rssi) } (blank()) }
                tr { th { "SNR at its place" } td { (snr) } (blank()) }
                tr { th { "Data rate" } td { (rates) } (blank()) }
                tr { th { "First message heard at" } td.quiet { "UTC" } (blank()) }
            }
        }
    }
}

fn hours(expected: &Expected) -> Markup {
    let month = words::month(expected.month);
    match &expected.outdoors {
        Err(why) => html! {
            h2 { "Battery and charging" }
            p { "Expected figures: " (NOT_COMPUTED) ". " (why) }
        },
        Ok((outdoors, _)) if outdoors.hours.is_empty() => html! {
            h2 { "Battery in " (month) }
            p { "No sun reaches a panel in " (month) ". At rest the battery shows " (range(in_volts(outdoors.night), 2)) " V." }
        },
        Ok((outdoors, source)) => hour_table(outdoors, source, month),
    }
}

fn in_volts((low, high): (Voltage, Voltage)) -> (f64, f64) {
    (low.volts(), high.volts())
}

fn hour_table(outdoors: &Outdoors, source: &str, month: &str) -> Markup {
    let half = outdoors.hours.len().div_ceil(2);
    html! {
        h2 { "Battery and charging by hour, as the forecast has it for " (month) }
        div.two {
            @for hours in outdoors.hours.chunks(half.max(1)) {
                table {
                    thead { tr {
                        th { "hour" } th.figure { "sun on panel," br; "W/m²" } th.figure { "into battery," br; "mA" }
                        th.figure { "battery," br; "V" } th.blank { "seen" }
                    } }
                    tbody {
                        @for hour in hours {
                            tr {
                                th { (format!("{:02}", hour.hour)) }
                                td.figure { (range(hour.sun_w_m2, 0)) }
                                td.figure { (range((hour.current.0.milliamperes(), hour.current.1.milliamperes()), 1)) }
                                td.figure { (range(in_volts(hour.voltage), 2)) }
                                (blank())
                            }
                        }
                    }
                }
            }
        }
        p.quiet {
            "One day in ten is below the first figure, one above the second. Hours of mean solar time. In the dark: "
            (range(in_volts(outdoors.night), 2)) " V. All this at a charge of " (range((outdoors.charge.0.percent(), outdoors.charge.1.percent()), 0))
            " %; an emptier battery takes more, a full one nothing. A day: "
            (words::figure(outdoors.taken_per_day.milliampere_hours())) " mAh taken, " (words::figure(outdoors.spent_per_day.milliampere_hours()))
            " mAh spent. Weather drawn from " (source) "."
        }
    }
}

fn range((low, high): (f64, f64), digits: usize) -> String {
    // Adding zero turns what rounds to minus nothing into nothing.
    let said = |value: f64| {
        let step = 10_f64.powi(i32::try_from(digits).unwrap_or(0));
        format!("{:.digits$}", (value * step).round() / step + 0.0)
    };
    let (low, high) = (said(low), said(high));
    let text = if low == high { low } else { format!("{low} to {high}") };
    text.replace('-', "−")
}

fn living(design: &Design, node: &Node) -> Markup {
    html! {
        section.page {
            (paper::head(&format!("{}: {}", node.name, node.kind), "page 2 of 2"))
            h2 { "Before you leave" }
            ul {
                (tick("The antenna is fitted, upright, clear of metal; its connector is sealed."))
                (tick("The label on the box is that of this sheet."))
                @if design.panel.is_some() { (tick("In the sun, current flows into the battery: ________ mA at ________ (time).")) }
                (tick("Battery voltage at rest: ________ V."))
                (tick("Glands point down, cables have drip loops, the vent is open, the box is closed."))
                (tick("Two messages in a row have arrived, with values that fit the weather."))
            }
            h2 { "The first 48 hours" }
            ul {
                (tick("No counter is missing between messages, beyond a few in a hundred."))
                @if design.panel.is_some() { (tick("The voltage rises in daylight, on both days. If it does not, go back: it will not mend itself.")) }
                (tick("The voltage at dawn of the second day is not much below that of the first."))
                (tick("Data rate and signal stay as on the first day; no jump of 10 dB."))
                (tick("No restart was reported."))
                (tick("Every value is plausible beside its neighbours; none is stuck, none is absent."))
            }
            (constants(design, node))
            h2 { "Photographs" }
            div.photos {
                @for what in ["the whole mast with its surroundings", "from the panel towards the midday sun", "the open box with serial numbers", "antenna, cable and glands"] {
                    div.photo { (what) br; "No.:" }
                }
            }
            h2 { "Cautions" }
            ul { @for caution in cautions(design) { li.dash { (caution) } } }
            p { "These are usual cautions, not advice for your case: local codes, data sheets, the radio regulator and licensed practice come first." }
            table.room.signed { tr { td { "Installed by" } (blank()) td { "on" } (blank()) } }
            (paper::foot(&format!("Sheet of {}. Enter place and constants into registry.toml.", node.name)))
        }
    }
}

fn constants(design: &Design, node: &Node) -> Markup {
    let unit = |field: &str| {
        let fields = design.messages.iter().flat_map(|message| &message.fields);
        fields.into_iter().find(|known| known.name == field).map_or("", |known| known.unit.as_str())
    };
    html! {
        @if !node.constants.is_empty() {
            h2 { "Constants of this node" }
            table.room.answers {
                thead { tr { th { "value" } th { "constant" } th { "in the registry" } th.blank { "as it is" } } }
                tbody {
                    @for (field, values) in &node.constants {
                        @for (name, value) in values {
                            tr {
                                th { (field.replace('_', " ")) span.quiet { " " (unit(field)) } }
                                td { (name.replace('_', " ")) }
                                td { @match value { Some(value) => (value), None => span.quiet { "not noted" } } }
                                (blank())
                            }
                        }
                    }
                }
            }
            p.quiet { "They belong to this node alone: never copy them from another." }
        }
    }
}

/// The lines of SAFETY.md that the design touches, in short.
fn cautions(design: &Design) -> Vec<&'static str> {
    let chemistry = design.battery.chemistry;
    let mut cautions = Vec::new();
    if chemistry.plates_below_freezing() {
        cautions.push("Never charge this cell below 0 °C: warm it up before it meets a charger or the sun.");
    }
    if chemistry.rechargeable() {
        cautions.push("No punctured, bent, wet or swollen cell: do not use it, take it to a collection point. On fire: get people away, do not breathe the smoke.");
    } else {
        cautions.push("A primary cell never meets a charger or a panel: it can explode.");
    }
    if chemistry != Chemistry::Supercapacitor {
        cautions.push(
            "Fuse or protection circuit close to the cell; room for it to swell and a way out for its gas.",
        );
    }
    if design.radio.is_some() {
        cautions.push("Antenna on before the power: a transmitter without one can be damaged. Keep 20 cm between it and people.");
    }
    cautions.extend([
        "At least 3 m from power lines, with mast, ladder and whatever may fall.",
        "At height only with permission, fall protection and somebody on the ground; down before a storm is near.",
        "Bond the mast and arrest surges where the rules for lightning protection ask for it.",
        "Panel and box hold in wind and under snow: what falls, hurts.",
    ]);
    if design.receiver.is_some() || !design.diary.is_empty() {
        cautions.push("It says where it is: only with the knowledge of the people concerned and a legal basis, never covertly; label it visibly.");
    }
    cautions
}
