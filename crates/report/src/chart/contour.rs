//! Lines of equal height: marching squares, chained.

use std::collections::BTreeMap;

use super::relief::Heights;

/// Where a line crosses the side of a cell: the post at its north or west end, and whether it runs east.
type Side = (usize, usize, bool);

/// The lines of one height, each as places in rows and columns of the grid.
pub(crate) fn lines(heights: &Heights, level_m: f64) -> Vec<Vec<(f64, f64)>> {
    let mut joined: BTreeMap<Side, Vec<Side>> = BTreeMap::new();
    for row in 0..heights.grid.rows.saturating_sub(1) {
        for column in 0..heights.grid.columns.saturating_sub(1) {
            for (one, other) in crossings(heights, level_m, row, column) {
                joined.entry(one).or_default().push(other);
                joined.entry(other).or_default().push(one);
            }
        }
    }
    let mut lines = Vec::new();
    // Open lines first, from their ends; what is left is rings.
    let ends: Vec<Side> =
        joined.iter().filter(|(_, others)| others.len() == 1).map(|(side, _)| *side).collect();
    for start in ends.into_iter().chain(joined.keys().copied().collect::<Vec<_>>()) {
        let line = walk(&mut joined, start);
        if line.len() > 1 {
            lines.push(line.into_iter().map(|side| place(heights, level_m, side)).collect());
        }
    }
    lines
}

/// Follows a line from a side as far as it goes, taking it out.
fn walk(joined: &mut BTreeMap<Side, Vec<Side>>, start: Side) -> Vec<Side> {
    let mut line = vec![start];
    let mut here = start;
    while let Some(next) = joined.get_mut(&here).and_then(Vec::pop) {
        if let Some(back) = joined.get_mut(&next)
            && let Some(at) = back.iter().position(|side| *side == here)
        {
            back.remove(at);
        }
        line.push(next);
        here = next;
    }
    line
}

/// The pieces of a line within a cell, as pairs of its sides.
fn crossings(heights: &Heights, level_m: f64, row: usize, column: usize) -> Vec<(Side, Side)> {
    let corners = [(row, column), (row, column + 1), (row + 1, column + 1), (row + 1, column)];
    let metres = corners.map(|(row, column)| heights.at(row, column));
    if metres.iter().any(|height_m| height_m.is_nan()) {
        return Vec::new();
    }
    let above = metres.map(|height_m| height_m >= level_m);
    let sides: [Side; 4] =
        [(row, column, true), (row, column + 1, false), (row + 1, column, true), (row, column, false)];
    let crossed: Vec<Side> =
        (0..4).filter(|side| above[*side] != above[(side + 1) % 4]).map(|side| sides[side]).collect();
    match crossed[..] {
        [one, other] => vec![(one, other)],
        // A saddle: its middle says which corners belong together.
        [north, east, south, west] => {
            let middle_above = metres.iter().sum::<f64>() / 4.0 >= level_m;
            if middle_above == above[0] {
                vec![(north, east), (south, west)]
            } else {
                vec![(north, west), (south, east)]
            }
        }
        _ => Vec::new(),
    }
}

/// Row and column of a crossing, straight between the two posts of its side.
fn place(heights: &Heights, level_m: f64, (row, column, eastward): Side) -> (f64, f64) {
    let from_m = heights.at(row, column);
    let to_m = if eastward { heights.at(row, column + 1) } else { heights.at(row + 1, column) };
    let share = ((level_m - from_m) / (to_m - from_m)).clamp(0.0, 1.0);
    let (row, column) = (row as f64, column as f64);
    if eastward { (row, column + share) } else { (row + share, column) }
}

/// Every so many metres a line, so that there are at most a dozen: 10, 20, 50, 100, 200 or 500 m.
pub(crate) fn step_m(low_m: f64, high_m: f64) -> f64 {
    let steps = [10.0, 20.0, 50.0, 100.0, 200.0];
    steps.into_iter().find(|step| (high_m - low_m) / step <= 12.0).unwrap_or(500.0)
}

/// The same line with fewer places, none of those left out further than `within` from it (Douglas and Peucker 1973).
pub(crate) fn simpler(line: &[(f64, f64)], within: f64) -> Vec<(f64, f64)> {
    let (Some(first), Some(last)) = (line.first().copied(), line.last().copied()) else { return Vec::new() };
    let off = |(x, y): (f64, f64)| {
        let (dx, dy) = (last.0 - first.0, last.1 - first.1);
        let length = dx.hypot(dy);
        if length > 0.0 {
            ((x - first.0) * dy - (y - first.1) * dx).abs() / length
        } else {
            (x - first.0).hypot(y - first.1)
        }
    };
    let farthest =
        (1..line.len().saturating_sub(1)).map(|at| (at, off(line[at]))).max_by(|a, b| a.1.total_cmp(&b.1));
    match farthest {
        Some((at, distance)) if distance > within => {
            let mut whole = simpler(&line[..=at], within);
            whole.pop();
            whole.extend(simpler(&line[at..], within));
            whole
        }
        _ => vec![first, last],
    }
}

#[cfg(test)]
mod tests {
    use super::{Heights, lines, simpler, step_m};
    use forecast::terrain::Grid;

    fn heights(side: usize, metres: impl Fn(f64, f64) -> f64) -> Heights {
        let grid = Grid {
            north_deg: 0.0,
            west_deg: 0.0,
            row_step_deg: 1.0,
            column_step_deg: 1.0,
            rows: side,
            columns: side,
        };
        let places = (0..side).flat_map(|row| (0..side).map(move |column| (row, column)));
        Heights { grid, metres: places.map(|(row, column)| metres(row as f64, column as f64)).collect() }
    }

    /// Law: a cone's lines are circles, one closed ring each.
    #[test]
    fn lines_of_a_cone_are_circles() {
        let cone = heights(41, |row, column| 20.0 - (row - 20.0).hypot(column - 20.0));
        for radius in [3.0, 7.5, 15.0] {
            let found = lines(&cone, 20.0 - radius);
            assert_eq!(found.len(), 1);
            assert_eq!(found[0].first(), found[0].last(), "closed");
            for (row, column) in &found[0] {
                assert!(((row - 20.0).hypot(column - 20.0) - radius).abs() < 0.05);
            }
        }
        assert!(lines(&cone, 21.0).is_empty());
    }

    #[test]
    fn a_line_runs_from_edge_to_edge_and_stops_at_what_is_not_known() {
        let slope = heights(10, |row, _| row);
        let found = lines(&slope, 4.25);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].len(), 10);
        assert_eq!(simpler(&found[0], 0.01), [(4.25, 0.0), (4.25, 9.0)]);
        let holed = heights(10, |row, column| if (column - 5.0).abs() < 0.5 { f64::NAN } else { row });
        assert_eq!(lines(&holed, 4.25).len(), 2);
    }

    /// By hand: posts of 10 m in two opposite corners and 0 m in the others. The middle, 5 m, is above a line of 4 m, so the
    /// high corners are one ridge and each low corner is cut off by itself; it is below a line of 6 m, which cuts off the
    /// high ones.
    #[test]
    fn the_middle_of_a_saddle_says_which_corners_belong_together() {
        let saddle = heights(2, |row, column| if (row - column).abs() < 0.5 { 10.0 } else { 0.0 });
        let sorted = |level_m| {
            let mut found = lines(&saddle, level_m);
            for line in &mut found {
                line.sort_by(|one, other| one.partial_cmp(other).expect("numbers"));
            }
            found.sort_by(|one, other| one.partial_cmp(other).expect("numbers"));
            found
        };
        // Low corners are at row 0, column 1 and at row 1, column 0.
        assert_eq!(sorted(4.0), [vec![(0.0, 0.6), (0.4, 1.0)], vec![(0.6, 0.0), (1.0, 0.4)]]);
        // High corners are at row 0, column 0 and at row 1, column 1.
        assert_eq!(sorted(6.0), [vec![(0.0, 0.4), (0.4, 0.0)], vec![(0.6, 1.0), (1.0, 0.6)]]);
    }

    #[test]
    fn there_are_about_a_dozen_lines_at_most() {
        assert_eq!(
            [step_m(0.0, 90.0), step_m(555.0, 1225.0), step_m(0.0, 8000.0)].map(|step| format!("{step}")),
            ["10", "100", "500"]
        );
    }
}
