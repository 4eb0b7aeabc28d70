//! What the sheets of a kind say, worked out once for all of its nodes.

use design::node::Design;
use forecast::radio::link;
use forecast::sky::climate::Climate;
use forecast::terrain::Terrain;
use verdict::expected::{self, Outdoors};
use verdict::plan::{Effort, Weather};
use verdict::reach;

/// The figures of one node on the day it goes out.
pub(crate) struct Expected {
    /// Month it goes out, 1 to 12.
    pub(crate) month: u8,
    /// On its mast, and where its weather comes from; or why nothing can be said.
    pub(crate) outdoors: Result<(Outdoors, String), String>,
    /// On the bench.
    pub(crate) bench: expected::Bench,
    /// The gateway that hears it best, and the signal there 10 m from it.
    pub(crate) near: Option<(String, link::Bench)>,
}

/// The figures of a design for a month: those of `check`.
pub(crate) fn expect(
    design: &Design,
    terrain: Option<&Terrain>,
    climate: &Result<Climate, String>,
    month: u8,
) -> Expected {
    let threads = std::thread::available_parallelism().map_or(1, Into::into);
    let effort = Effort { lives: None, seed: 1, threads };
    let reach = reach::judge(design, terrain, &[], effort.seed);
    let outdoors = |climate: &Climate| {
        let outdoors = expected::outdoors(design, Weather::Climate(climate), &reach.spots, month, effort);
        (outdoors, climate.source.clone())
    };
    Expected {
        month,
        outdoors: climate.as_ref().map(outdoors).map_err(Clone::clone),
        bench: expected::bench(design, reach.spots.middle_state()),
        near: reach.links.first().map(|best| best.gateway.clone()).zip(reach.bench),
    }
}
