//! `overwinter reach`: where the nodes of a site would be heard, as a map, and the way of each link.

use std::borrow::Cow;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Args;
use design::node::{Design, RadioUse};
use design::quantity::Decibels;
use design::region::Modulation;
use design::surroundings::Place as Side;
use forecast::radio::adr;
use forecast::radio::budget::{around_on_map, borne_losses, stations};
use forecast::radio::coverage::{Coverage, Survey, coverage};
use forecast::radio::link::frequency;
use forecast::radio::trail::{LAPSE_N_KM, REFRACTIVITY_N};
use forecast::terrain::{Grid, Place, Terrain};
use report::chart::clearance::{self, NamedLink};
use report::chart::coverage::{self as map, CoverageMap, MapGateway, MapNode, Step};
use report::geojson;
use report::problem::{Failure, Problem};
use report::{overlay, sentences, words};
use verdict::Verdict;
use verdict::reach::Reach;
use verdict::site;

use super::reach_survey;
use crate::drawings::{self, Drawing};
use crate::input::fleet::{self, Site};
use crate::output;
use crate::progress::{Counter, INTERRUPTED};

/// Shown below the help of the command.
pub(super) const EXAMPLE: &str = "\
Example:
  overwinter reach examples/larkmoor/larkmoor.toml -o larkmoor-reach

  overwinter reach SITE.toml --survey survey.csv
  overwinter reach SITE.toml --survey survey.csv --write

Columns of a survey, in any order: time (UTC), node (or latitude_deg and longitude_deg, of a position that was walked to \
with a node like that of --node), gateway, data_rate (DR0), rssi_dbm, snr_db, power_dbm (fixed: without it a level says \
nothing of the path), and counter (packets in between were missed) or sent and heard; frequency_mhz if you like.

Writes coverage.svg (the map), the same for other programs as coverage.png with its world file coverage.pgw, \
coverage.kml and coverage.geojson, and, over terrain, link-NODE.svg for the way of each node to the gateway that hears it \
best. Without terrain the ground is taken for flat, and that is said. Files are written whole, once everything is known; others in \
the folder are left alone. Exit code: 0 every node is heard (or in doubt), 1 one is not, 2 something is wrong with the \
input or the folder, 130 stopped by Ctrl-C.";

/// What `reach` is given.
#[derive(Args)]
pub(super) struct ReachOf {
    /// The file of the site
    #[arg(value_name = "SITE.toml")]
    site: PathBuf,
    /// Folder to write to; it is made if it is not there
    #[arg(short, long, value_name = "DIR", required_unless_present = "survey")]
    output: Option<PathBuf>,
    /// Packets that were sent at the site, one row each or with counts, as CSV: prints what they say about each link
    #[arg(long, value_name = "FILE", conflicts_with = "output")]
    survey: Option<PathBuf>,
    /// Writes what the survey found into the site's file, where `check` and `reach` go by it from then on; comments stay
    #[arg(long, requires = "survey")]
    write: bool,
    /// The node whose antenna and radio the map is drawn for, or that positions were walked to with; left out: the first
    /// of the file
    #[arg(long, value_name = "NAME")]
    node: Option<String>,
    /// Places along the longer side of the map
    #[arg(long, value_name = "N", default_value_t = 500, value_parser = clap::value_parser!(u32).range(50..=2000))]
    side: u32,
    /// Seed of all that is drawn
    #[arg(long, value_name = "S", default_value_t = 1)]
    seed: u64,
}

/// Draws, says what was found, and gives the exit code.
pub(super) fn run(arguments: &ReachOf) -> ExitCode {
    match reach(arguments) {
        Ok(Some((page, verdict))) => match output::print(&page) {
            Ok(()) if verdict == Verdict::Fails => ExitCode::from(1),
            Ok(()) => ExitCode::SUCCESS,
            Err(failure) => refuse(&failure),
        },
        Ok(None) => {
            output::complain("stopped; nothing was written\n");
            ExitCode::from(INTERRUPTED)
        }
        Err(failure) => refuse(&failure),
    }
}

fn refuse(failure: &Failure) -> ExitCode {
    output::complain(&failure.render());
    ExitCode::from(2)
}

/// The page and the worst verdict; `None` if stopped.
fn reach(arguments: &ReachOf) -> Result<Option<(String, Verdict)>, Failure> {
    let site = fleet::site(&arguments.site)?;
    let name = arguments.site.to_string_lossy();
    let wrong =
        |message: &str, help: &str| Failure::of(Problem::of_file("reach", &name, message.to_owned(), help));
    let designs = site.designs();
    let shown = shown(designs, arguments.node.as_deref()).ok_or_else(|| {
        wrong(
            "no node with a radio has that name",
            "give the name of a node of the site with --node, or leave it out",
        )
    })?;
    if let Some(survey) = &arguments.survey {
        let page = reach_survey::page(&site, shown.0, survey, arguments.write)?;
        return Ok(Some((page, Verdict::NotKnown)));
    }
    let threads = std::thread::available_parallelism().map_or(1, Into::into);
    let placed: Vec<&Design> = designs.iter().collect();
    // From here on a stop is heard.
    let mut counter = Counter::counting("rows", "stops and writes nothing");
    let reaches = site::reaches(&placed, site.terrain.as_ref(), arguments.seed, threads);
    let help = "look at the places and antennas of the site's file";
    let grid = map::around(&map_places(&site), site.terrain.as_ref(), arguments.side as usize)
        .ok_or_else(|| wrong("neither nodes nor gateways lie on the terrain", help))?;
    let ground = site.terrain.as_ref().map_or_else(|| Cow::Owned(Terrain::flat(&grid)), Cow::Borrowed);
    let Some(coverage) = surveyed(&ground, shown, grid, &mut counter).map_err(|error| wrong(&error, help))?
    else {
        return Ok(None);
    };
    let (nodes, gateways) = (map_nodes(designs, &reaches), map_gateways(&site));
    let (steps, margin_db) = steps(shown.0, shown.1);
    let map = CoverageMap {
        terrain: &ground,
        is_flat: site.terrain.is_none(),
        coverage: &coverage,
        steps: &steps,
        who: format!("A node like {}, {:.1} m up,", shown.0.name, shown.1.antenna_height.metres()),
        margin_db,
        nodes: &nodes,
        gateways: &gateways,
    };
    let drawings = drawn(&map, designs, &reaches);
    let folder = arguments.output.as_deref().unwrap_or(Path::new("."));
    let written = drawings::write(&drawings, folder)?;
    let page = page(&site, &map, designs, &reaches) + &written;
    let worst = Verdict::worst(reaches.iter().map(|reach| reach.verdict));
    Ok(Some((page, worst.unwrap_or(Verdict::NotKnown))))
}

/// The design that the map is drawn for, with its radio.
fn shown<'a>(designs: &'a [Design], name: Option<&str>) -> Option<(&'a Design, &'a RadioUse)> {
    let mut wanted = designs.iter().filter(|design| name.is_none_or(|name| design.name == name));
    wanted.find_map(|design| Some((design, design.radio.as_ref()?)))
}

fn surveyed(
    terrain: &Terrain,
    (design, radio): (&Design, &RadioUse),
    grid: Grid,
    counter: &mut Counter,
) -> Result<Option<Coverage>, String> {
    let stations = stations(design, Side::Inside);
    let survey = Survey {
        terrain,
        stations: &stations,
        antenna: radio.antenna_height,
        surroundings: around_on_map(design),
        frequency: frequency(radio),
        grid,
    };
    counter.at("map".to_owned());
    let threads = std::thread::available_parallelism().map_or(1, Into::into);
    coverage(&survey, threads, counter).map_err(|error| error.to_string())
}

fn map_places(site: &Site) -> Vec<Place> {
    let nodes = site.fleet.nodes.iter().map(|node| (node.latitude, node.longitude));
    let gateways =
        site.fleet.surroundings.gateways.iter().map(|gateway| (gateway.latitude, gateway.longitude));
    nodes
        .chain(gateways)
        .map(|(latitude, longitude)| place(latitude.degrees(), longitude.degrees()))
        .collect()
}

fn place(latitude_deg: f64, longitude_deg: f64) -> Place {
    Place { latitude_deg, longitude_deg }
}

fn map_nodes(designs: &[Design], reaches: &[Reach]) -> Vec<MapNode> {
    let node = |(design, reach): (&Design, &Reach)| MapNode {
        name: design.name.clone(),
        place: place(design.site.latitude.degrees(), design.site.longitude.degrees()),
        verdict: reach.verdict,
    };
    designs.iter().zip(reaches).map(node).collect()
}

fn map_gateways(site: &Site) -> Vec<MapGateway> {
    let gateways = site.fleet.surroundings.gateways.iter();
    let gateway = |gateway: &design::surroundings::Gateway| MapGateway {
        name: gateway.name.clone(),
        place: place(gateway.latitude.degrees(), gateway.longitude.degrees()),
    };
    gateways.map(gateway).collect()
}

/// The data rates with the margin that adaptation keeps, then the slowest without; and that margin \[dB\].
fn steps(design: &Design, radio: &RadioUse) -> (Vec<Step>, f64) {
    let margin_db = radio.adaptation_margin.map_or(adr::USUAL_MARGIN_DB, Decibels::decibels);
    let rates = borne_losses(design, Side::Inside);
    let words = |modulation: &Modulation| match modulation {
        Modulation::Lora { spreading_factor, bandwidth } if bandwidth.kilohertz() > 130.0 => {
            format!("SF{spreading_factor}/{:.0}", bandwidth.kilohertz())
        }
        Modulation::Lora { spreading_factor, .. } => format!("SF{spreading_factor}"),
        _ => "other".to_owned(),
    };
    let kept = rates.iter().map(|rate| Step {
        words: words(&rate.modulation),
        keeps_margin: true,
        most_loss_db: rate.most.decibels() - margin_db,
    });
    let thin = rates.last().map(|slowest| Step {
        words: "thin".to_owned(),
        keeps_margin: false,
        most_loss_db: slowest.most.decibels(),
    });
    (kept.chain(thin).collect(), margin_db)
}

fn drawn(map: &CoverageMap, designs: &[Design], reaches: &[Reach]) -> Vec<Drawing> {
    let drawing = |name: String, bytes: Vec<u8>| Drawing { name, bytes };
    let mut drawings = vec![
        drawing("coverage.svg".to_owned(), map::chart(map).file().into_bytes()),
        drawing(overlay::PICTURE.to_owned(), map.picture().png()),
        drawing("coverage.pgw".to_owned(), overlay::world_file(map).into_bytes()),
        drawing("coverage.kml".to_owned(), overlay::kml(map).into_bytes()),
        drawing("coverage.geojson".to_owned(), geojson::text(map).into_bytes()),
    ];
    for (design, reach) in designs.iter().zip(reaches) {
        let Some((best, trail)) =
            reach.links.first().and_then(|best| Some((best, best.path.trail.as_ref()?)))
        else {
            continue;
        };
        let link = NamedLink { node: &design.name, gateway: &best.gateway, trail };
        drawings.push(drawing(
            format!("link-{}.svg", file_name(&design.name)),
            clearance::chart(&link).file().into_bytes(),
        ));
    }
    drawings
}

/// A name as part of a file's: letters, digits and hyphens.
fn file_name(name: &str) -> String {
    name.chars().map(|one| if one.is_alphanumeric() || one == '_' { one } else { '-' }).collect()
}

/// The answer in words: a line for the site, one for the map, and one or two for each node.
fn page(site: &Site, map: &CoverageMap, designs: &[Design], reaches: &[Reach]) -> String {
    let heard = reaches.iter().filter(|reach| reach.verdict == Verdict::Holds).count();
    let mut lines = vec![
        format!("{}: {} of {} will be heard", site.fleet.name, heard, words::count(designs.len(), "node")),
        map::chart(map).title + ".",
        String::new(),
    ];
    for (design, reach) in designs.iter().zip(reaches) {
        let answer = sentences::reach::will_it_be_heard(reach.verdict);
        let way = match reach.links.first() {
            None => "no gateway".to_owned(),
            Some(best) => match &best.path.trail {
                Some(trail) => {
                    format!(
                        "{:.1} km to {}; {}",
                        best.distance.kilometres(),
                        best.gateway,
                        sentences::obstacle::finding(trail)
                    )
                }
                None => {
                    format!("{:.1} km to {} over flat ground", best.distance.kilometres(), best.gateway)
                }
            },
        };
        lines.push(format!("{:<17} {answer} {way}", design.name));
        if let Some(remedies) = sentences::reach::remedies(reach) {
            lines.push(format!("{:<17} would hold with {remedies}", ""));
        }
    }
    lines.push(String::new());
    lines.extend(if map.is_flat { vec![FLAT.to_owned()] } else { assumed(map.terrain) });
    lines.push(String::new());
    lines.join("\n") + "\n"
}

/// What is said where no terrain is named.
const FLAT: &str = "No terrain is named, so the ground was taken for flat, and no ridge is in these figures: hills of 60 m that \
nobody looked at may cost 45 dB over 2 km. Open elevation models of 30 to 90 m come from space agencies, finer ones from \
national mapping agencies, as HGT or as GeoTIFF in latitude and longitude. Put the tile beside the site's file and name it: \
[ground] terrain = [\"N46E013.hgt\"]";

/// What the ground and the air were taken for.
fn assumed(terrain: &Terrain) -> Vec<String> {
    let holes =
        terrain.tiles().iter().filter(|tile| tile.filled_posts() + tile.void_posts() > 0).map(|tile| {
            format!(
                "Terrain tile {}: {} filled from their neighbours, {} left void.",
                tile.name(),
                words::count(tile.filled_posts(), "void post"),
                tile.void_posts()
            )
        });
    let air = format!(
        "Taken for the air everywhere: a refractivity lapse of {LAPSE_N_KM} N-units/km and {REFRACTIVITY_N} N-units at sea \
         level; maps of them are not built in."
    );
    holes.chain([air]).collect()
}
