#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a number of steps is positive and bounded"
)]

use design::quantity::Length;
use path::clutter::Standing;
use path::geodesic::{Line, Place};

use super::{GroundError, Terrain};

/// Fewest steps of a section: a short path still shows its hump in the middle.
const FEWEST_STEPS: f64 = 10.0;
/// Most steps: finer terrain than this resolves on a long path changes nothing that a prediction says.
const MOST_STEPS: f64 = 2000.0;

/// Equal steps of a path over terrain are so many posts wide: in between, it is the crossings that count.
pub(crate) const POSTS_A_STEP: f64 = 4.0;

/// The ground from one place to another, at equal steps and where it crosses the rows and columns of posts.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Section {
    /// From the first end \[km\], from 0.
    pub distance_km: Vec<f64>,
    /// Height of the ground \[m\].
    pub height_m: Vec<f64>,
    /// Where.
    pub places: Vec<Place>,
    /// What a map says stands there; empty without a map.
    pub standing: Vec<Option<Standing>>,
}

/// Number of equal steps over a length, for a wanted step; at least 10, at most 2000.
pub(crate) fn steps(length_m: f64, spacing_m: f64) -> usize {
    (length_m / spacing_m).ceil().clamp(FEWEST_STEPS, MOST_STEPS) as usize
}

pub(super) fn between(
    terrain: &Terrain,
    from: Place,
    to: Place,
    spacing: Length,
) -> Result<Section, GroundError> {
    let (line, length_m) = Line::between(from, to).map_err(|_nearly_antipodal| GroundError::Antipodal)?;
    let steps = steps(length_m, spacing.metres());
    let mut section = Section::default();
    let mut add = |share: f64, at: Place| -> Result<(), GroundError> {
        let distance_km = length_m * share / 1000.0;
        let height_m = terrain.height_m(at).ok_or_else(|| terrain.missing(at, distance_km))?;
        section.distance_km.push(distance_km);
        section.height_m.push(height_m);
        section.places.push(at);
        if terrain.has_cover() {
            section.standing.push(terrain.obstacle(at));
        }
        Ok(())
    };
    let (mut here, mut passed, mut between) = (0.0, from, Vec::new());
    add(here, passed)?;
    for step in 1..=steps {
        let next = step as f64 / steps as f64;
        let reached = if step == steps { to } else { line.at(length_m * next) };
        crossings(terrain, passed, reached, &mut between);
        for crossing in &between {
            let share = here + crossing * (next - here);
            add(share, line.at(length_m * share))?;
        }
        add(next, reached)?;
        (here, passed) = (next, reached);
    }
    Ok(section)
}

/// Where a stretch of some posts crosses the rows and columns of posts of the tile that holds it, ascending shares of the
/// stretch between 0 and 1, into `shares`: a ridge of one row or column of posts lies there and nowhere else.
pub(crate) fn crossings(terrain: &Terrain, from: Place, to: Place, shares: &mut Vec<f64>) {
    shares.clear();
    let Some(tile) = terrain.tiles().iter().find(|tile| tile.holds(from)) else { return };
    let ((row, column), (last_row, last_column)) = (tile.grid().position(from), tile.grid().position(to));
    pass_whole(row, last_row, shares);
    pass_whole(column, last_column, shares);
    shares.sort_by(f64::total_cmp);
    shares.dedup_by(|later, earlier| *later - *earlier < SAME_POINT);
}

/// Points nearer together than this share of a step are one.
const SAME_POINT: f64 = 1e-3;

/// Adds the shares of the way from one number to another at which whole numbers are passed; none over more than
/// [`MOST_STEPS`] of them.
fn pass_whole(from: f64, to: f64, shares: &mut Vec<f64>) {
    let (low, high) = (from.min(to).ceil(), from.max(to).floor());
    if high - low > MOST_STEPS {
        return;
    }
    let count = (high - low + 1.0).max(0.0) as usize;
    let passed = (0..count).map(|step| (low + step as f64 - from) / (to - from));
    shares.extend(passed.filter(|share| (SAME_POINT..=1.0 - SAME_POINT).contains(share)));
}
