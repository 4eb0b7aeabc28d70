//! `overwinter reach`: where the nodes of a site would be heard, as a map, and the way of each link.

use std::borrow::Cow;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Args;
use design::node::{Design, RadioUse};
use forecast::Progress;
use forecast::radio::budget::{around_on_map, stations};
use forecast::radio::collisions::Sender;
use forecast::radio::coverage::{Coverage, Survey, coverage};
use forecast::radio::link::frequency;
use forecast::radio::trail::{LAPSE_N_KM, REFRACTIVITY_N};
use forecast::terrain::{Grid, Terrain};
use report::chart::clearance::{self, NamedLink};
use report::chart::coverage::{self as map, CoverageMap};
use report::geojson;
use report::geotiff;
use report::problem::{Failure, Problem};
use report::{overlay, sentences, words};
use verdict::Verdict;
use verdict::placing::{MoreGateways, WayLived, more_gateways, ways_lived};
use verdict::plan::{Effort, Weather};
use verdict::reach::{self, Reach};
use verdict::site::{self, crowds};

use super::reach_map::{map_gateways, map_may_stand, map_nodes, map_places, steps, strays};
use super::reach_survey::{self, SurveyOf};
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
  overwinter reach SITE.toml --survey survey.csv -o surveyed

Columns of a survey, in any order: time (UTC), node (or latitude_deg and longitude_deg, of a position that was walked to \
with a node like that of --node), gateway, data_rate (DR0), rssi_dbm, snr_db, power_dbm (fixed: without it a level says \
nothing of the path), and counter (packets in between were missed) or sent and heard; frequency_mhz if you like.

Writes coverage.svg (the map), the same for other programs as coverage.png with its world file coverage.pgw, \
coverage.tif (a GeoTIFF), coverage.kml and coverage.geojson, and, over terrain, link-NODE.svg for the way of each node to the gateway that hears it \
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
    /// Packets that were sent at the site, one row each or with counts, as CSV: prints what they say about each link; with -o
    /// also draws a map of what was heard over the prediction
    #[arg(long, value_name = "FILE")]
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
        return over_survey(&site, shown.0, survey, arguments).map(Some);
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
    let more = more_gateways(&placed, &reaches, site.terrain.as_ref(), arguments.seed, threads);
    let (nodes, gateways) = (map_nodes(designs, &reaches), map_gateways(&site));
    let may_stand = map_may_stand(&site, &more);
    let (steps, margin_db) = steps(shown.0, shown.1);
    let map = CoverageMap {
        terrain: &ground,
        is_flat: site.terrain.is_none(),
        coverage: &coverage,
        steps: &steps,
        left_open: reach::left_open(shown.0).unwrap_or_default(),
        who: format!("A node like {}, {:.1} m up,", shown.0.name, shown.1.antenna_height.metres()),
        margin_db,
        nodes: &nodes,
        gateways: &gateways,
        may_stand: &may_stand,
    };
    let lived = lived(&site, &reaches, arguments.seed, &counter);
    if counter.stop() {
        return Ok(None);
    }
    let drawings = drawn(&map, designs, &reaches);
    let folder = arguments.output.as_deref().unwrap_or(Path::new("."));
    let written = drawings::write(&drawings, folder)?;
    let page =
        Said { site: &site, map: &map, reaches: &reaches, lived: &lived, more: &more }.page() + &written;
    let worst = Verdict::worst(reaches.iter().map(|reach| reach.verdict));
    Ok(Some((page, worst.unwrap_or(Verdict::NotKnown))))
}

/// What a survey says of the site, and no verdict.
fn over_survey(
    site: &Site,
    walked: &Design,
    path: &Path,
    arguments: &ReachOf,
) -> Result<(String, Verdict), Failure> {
    let asked = SurveyOf {
        path,
        write: arguments.write,
        folder: arguments.output.as_deref(),
        side: arguments.side as usize,
    };
    Ok((reach_survey::page(site, walked, &asked)?, Verdict::NotKnown))
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
    let stations = stations(design);
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

fn drawn(map: &CoverageMap, designs: &[Design], reaches: &[Reach]) -> Vec<Drawing> {
    let drawing = |name: String, bytes: Vec<u8>| Drawing { name, bytes };
    let plate = map.plate();
    let mut drawings = vec![
        drawing("coverage.svg".to_owned(), map::chart(map).file().into_bytes()),
        drawing(overlay::PICTURE.to_owned(), plate.picture.png()),
        drawing("coverage.pgw".to_owned(), overlay::world_file(map, &plate).into_bytes()),
        drawing("coverage.tif".to_owned(), geotiff::bytes(map)),
        drawing("coverage.kml".to_owned(), overlay::kml(map, &plate).into_bytes()),
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

/// Nodes that are not heard whose ways out are lived: each takes a second or so.
const MOST_LIVED: usize = 8;
/// Lives of each way out: enough to tell 95 from 98 % (own choice).
const WAY_LIVES: usize = 400;

/// How the nodes that are not heard would live after their ways out, in the order of the nodes; of many the first few, and a
/// reason where there is no climate to live in.
fn lived(site: &Site, reaches: &[Reach], seed: u64, counter: &Counter) -> Vec<Result<Vec<WayLived>, String>> {
    let threads = std::thread::available_parallelism().map_or(1, Into::into);
    let effort = Effort { lives: Some(WAY_LIVES), seed, threads };
    let placed: Vec<&Design> = site.designs().iter().collect();
    let terrain = site.terrain.as_ref();
    let crowds = crowds(&placed, terrain, seed, threads);
    let mut asked = 0;
    let of = |((design, reach), crowd): ((&&Design, &Reach), &Vec<Sender>)| {
        if reach.remedies.is_empty() || asked == MOST_LIVED {
            return Ok(Vec::new());
        }
        asked += 1;
        let climate = site.climate(design).map_err(|failure| {
            failure.problems.first().map_or_else(String::new, |problem| problem.message.clone())
        })?;
        Ok(ways_lived(design, reach, (terrain, crowd), Weather::Climate(&climate), effort, counter))
    };
    placed.iter().zip(reaches).zip(&crowds).map(of).collect()
}

/// All that the page says.
struct Said<'a> {
    site: &'a Site,
    map: &'a CoverageMap<'a>,
    reaches: &'a [Reach],
    lived: &'a [Result<Vec<WayLived>, String>],
    more: &'a MoreGateways,
}

impl Said<'_> {
    /// The answer in words: a line for the site, one for the map, some for each node, and what was assumed.
    fn page(&self) -> String {
        let designs = self.site.designs();
        let heard = self.reaches.iter().filter(|reach| reach.verdict == Verdict::Holds).count();
        let mut lines = vec![
            format!(
                "{}: {} of {} will be heard",
                self.site.fleet.name,
                heard,
                words::count(designs.len(), "node")
            ),
            map::chart(self.map).title + ".",
            String::new(),
        ];
        for ((design, reach), lived) in designs.iter().zip(self.reaches).zip(self.lived) {
            lines.extend(node(design, reach, lived));
        }
        lines.extend(self.more());
        lines.extend(self.strays());
        lines.push(String::new());
        lines.extend(if self.map.is_flat { vec![FLAT.to_owned()] } else { assumed(self.map.terrain) });
        lines.push(String::new());
        lines.join("\n") + "\n"
    }

    /// What stands so far from every node that it must be a slip.
    fn strays(&self) -> Vec<String> {
        let said = strays(self.site).into_iter().map(|stray| {
            format!(
                "[{}] is {:.0} km from the nearest node, and the map does not reach it: look whether its latitude and \
                 longitude are swapped, or have a wrong sign.",
                stray.table, stray.km
            )
        });
        said.flat_map(|line| [String::new(), line]).collect()
    }

    /// Where a gateway more would bring most.
    fn more(&self) -> Vec<String> {
        let names = |brings: &[usize]| {
            let known = brings.iter().filter_map(|index| self.site.designs().get(*index));
            known.map(|design| design.name.as_str()).collect::<Vec<_>>().join(", ")
        };
        let places = self.site.fleet.surroundings.may_stand.len();
        let is_wanted = self.reaches.iter().any(|reach| !matches!(reach.verdict, Verdict::Holds));
        if places == 0 || !is_wanted {
            return Vec::new();
        }
        let said = match self.more.chosen.as_slice() {
            [] => format!(
                "None of the {} where a gateway may stand brings a node that is not heard.",
                words::count(places, "place")
            ),
            more => {
                let each = more.iter().map(|one| format!("{} brings {}", one.place, names(&one.brings)));
                format!("Where a gateway may stand: {}.", each.collect::<Vec<_>>().join(", then "))
            }
        };
        let untried = self.more.untried.iter().map(|why| format!("A gateway was not tried at {why}."));
        [String::new(), said].into_iter().chain(untried).collect()
    }
}

/// What is said of a node: how it is heard, what is in the way, what would help, and what is not known.
fn node(design: &Design, reach: &Reach, lived: &Result<Vec<WayLived>, String>) -> Vec<String> {
    let answer = sentences::reach::will_it_be_heard(reach.verdict);
    // Where it is not heard the answer has said so.
    let heard = match reach.verdict {
        Verdict::Fails => String::new(),
        _ => format!("; {}", sentences::reach::heard(reach)),
    };
    let mut lines = vec![format!("{:<17} {answer} {}{heard}", design.name, way(reach))];
    let mut more = |text: String| lines.push(format!("{:<17} {text}", ""));
    match (lived, reach.links.first()) {
        (Ok(ways), Some(best)) if !ways.is_empty() => {
            let said = ways.iter().map(|way| sentences::reach::way_lived(way, &best.gateway));
            more(format!("would hold with {}", said.collect::<Vec<_>>().join("; or ")));
        }
        _ => {
            if let Some(remedies) = sentences::reach::remedies(reach) {
                more(format!("would hold with {remedies}"));
            }
        }
    }
    if let Err(reason) = lived {
        more(format!("how it would then live is not said: {reason}"));
    }
    for (label, text) in sentences::reach::not_known(reach) {
        more(format!("{label}: {text}"));
    }
    lines
}

/// The way to the gateway that hears a node best.
fn way(reach: &Reach) -> String {
    let Some(best) = reach.links.first() else { return "no gateway".to_owned() };
    let far = format!("{:.1} km to {}", best.distance.kilometres(), best.gateway);
    match (&best.path.trail, &best.path.problem) {
        (Some(trail), _) => format!("{far}; {}", sentences::obstacle::finding(trail)),
        (None, Some(problem)) => format!("{far}; {problem}"),
        (None, None) => format!("{far} over flat ground"),
    }
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
