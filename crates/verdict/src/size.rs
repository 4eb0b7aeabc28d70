//! The cheapest, smallest or most talkative node that keeps the promise: sizes are searched together on shared lives, and
//! what is preferred is confirmed on lives that the search never saw.
//!
//! A larger battery or panel and a longer interval are nearly always for the better, so for each battery and interval the
//! smallest panel is found by bisection between what its neighbours prove; inside a design a life that survived with less
//! is not lived again, and counting stops when the allowed failures are used up.

mod axes;
mod choose;
mod grid;
mod map;

use design::change::Change;
use design::node::Design;
use design::quantity::{Charge, Duration, Power};
use forecast::Progress;
use forecast::radio::spots::Spots;

use crate::answer::Environment;
use crate::plan::{Effort, JudgedVariant};
pub use crate::quota::first_that;
use crate::{quota, reach};
use axes::Axes;
use choose::choose;
pub use grid::ends_then_middles;
use grid::{Bench, front};
pub use map::{SurvivalMap, survival_map};

/// More designs than this are not searched.
pub const MOST_DESIGNS: usize = 100_000;

/// Why a node cannot be sized.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum SizeError {
    /// The range holds nothing that the node can have.
    #[error("{key}: nothing of what may be chosen suits the node{because}")]
    Nothing {
        /// The key of the design file.
        key: &'static str,
        /// Why the last of it did not, if that is known.
        because: String,
    },
    /// Too many designs.
    #[error(
        "{designs} designs are more than the {MOST_DESIGNS} that are searched: narrow the ranges in [size]"
    )]
    TooMany {
        /// How many.
        designs: usize,
    },
}

/// A design that may be chosen.
#[derive(Clone, Debug, PartialEq)]
pub struct Choice {
    /// What it changes of the design as written; nothing where it is as written.
    pub changes: Vec<Change>,
    /// Its panel by name; `None` beside a primary cell.
    pub panel: Option<String>,
    /// Power on the panel's label; nothing without one.
    pub power: Power,
    /// Its battery by name.
    pub battery: String,
    /// What the battery's label says.
    pub capacity: Charge,
    /// Its charger by name; `None` where nothing charges.
    pub charger: Option<String>,
    /// Tilt of the panel \[degrees\].
    pub tilt_deg: f64,
    /// Interval of the activity that is chosen; `None` where none is.
    pub every: Option<Duration>,
    /// What a full battery sends in a year.
    pub reports_per_year: f64,
    /// Price, or watts of panel and watt-hours of battery together.
    pub cost: f64,
    /// What fresh lives say of it.
    pub judged: JudgedVariant,
}

/// What was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Sized {
    /// Designs that nothing beats in cost and reports at once, each of which holds on fresh lives; cheapest first.
    pub choices: Vec<Choice>,
    /// The preferred one among them.
    pub chosen: Option<usize>,
    /// Preferred, and refused by fresh lives.
    pub refused: Vec<Choice>,
    /// Whether parts have prices.
    pub priced: bool,
    /// Parts that may be chosen and have no price, where others have: left out.
    pub unpriced: Vec<String>,
    /// Intervals that the law or the message forbids: left out.
    pub unlawful: Vec<Duration>,
    /// Designs in the ranges.
    pub designs: usize,
    /// Designs that were looked at.
    pub looked_at: usize,
    /// Lives lived in the search.
    pub lived: usize,
    /// Lives on which designs were ranked.
    pub searched: usize,
    /// Fresh lives on which each choice was confirmed.
    pub confirmed: usize,
    /// Whether somebody stopped it.
    pub stopped: bool,
}

/// Sizes a node by the `[size]` of its design.
///
/// # Errors
/// Nothing to choose from, or too much.
pub fn size(
    design: &Design,
    environment: &Environment<'_>,
    effort: Effort,
    progress: &dyn Progress,
) -> Result<Sized, SizeError> {
    let (spots, _) = reach::spots(design, environment.terrain, environment.others, effort.seed);
    let axes = Axes::of(design, &spots)?;
    let designs = axes.designs();
    if designs > MOST_DESIGNS {
        return Err(SizeError::TooMany { designs });
    }
    let promise = design.promise.without_outage;
    let confirming = effort.lives.unwrap_or_else(|| quota::confirmed(promise));
    let searching = quota::searched(promise).min(confirming.max(1));
    let bench = Bench { design, environment, spots: &spots, effort, progress, searching, confirming };
    let fronts = grid::fronts(&bench, &axes);
    Ok(choose(&bench, &axes, &fronts, designs))
}

/// What one design of the ranges would be, by its places on them; for proofs that look at all of them.
#[derive(Clone, Debug)]
pub struct WholeGrid {
    /// For each capacity and interval the place of the smallest panel with which it passes on the lives of the search.
    pub smallest_panel: Vec<Vec<Option<usize>>>,
    /// Designs that were looked at.
    pub looked_at: usize,
    /// Lives lived.
    pub lived: usize,
}

/// The smallest panels of the first kind of design: found by the search, and by looking at every design with every life.
///
/// # Errors
/// As [`size`].
pub fn searched_and_whole(
    design: &Design,
    environment: &Environment<'_>,
    effort: Effort,
    progress: &dyn Progress,
) -> Result<(WholeGrid, WholeGrid), SizeError> {
    let spots = Spots::alone(design);
    let axes = Axes::of(design, &spots)?;
    let searching = effort.lives.unwrap_or_else(|| quota::searched(design.promise.without_outage));
    let bench = Bench { design, environment, spots: &spots, effort, progress, searching, confirming: 1000 };
    let nothing = || SizeError::Nothing { key: "size", because: String::new() };
    let frame = axes.frames.first().ok_or_else(nothing)?;
    Ok((front(&bench, &axes, frame).into(), grid::whole(&bench, &axes, frame).into()))
}
