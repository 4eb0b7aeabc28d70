//! Outlines of what hangs together on a grid.

use std::collections::BTreeMap;

/// Cells by rows from the north, each with the step that holds there.
pub(crate) struct Cells {
    pub(crate) columns: usize,
    pub(crate) steps: Vec<Option<usize>>,
}

/// A corner of cells: rows from the north edge, columns from the west edge.
pub(crate) type Corner = (usize, usize);
/// Corners around cells, the first again at the end.
pub(crate) type Ring = Vec<Corner>;

/// Cells of one step that hang together by their sides.
pub(crate) struct Polygon {
    pub(crate) step: usize,
    /// The outer one counterclockwise, then the holes clockwise.
    pub(crate) rings: Vec<Ring>,
}

/// All that hangs together and has at least so many cells.
pub(crate) fn polygons(cells: &Cells, least: usize) -> Vec<Polygon> {
    let mut patch_of = vec![usize::MAX; cells.steps.len()];
    let mut found = Vec::new();
    for first in 0..cells.steps.len() {
        let Some(step) = cells.steps[first].filter(|_| patch_of[first] == usize::MAX) else { continue };
        let patch = flood(cells, first, &mut patch_of);
        if patch.len() >= least {
            found.push(Polygon { step, rings: rings(cells, &patch, &patch_of) });
        }
    }
    found
}

/// The cells that hang together with one, marked with its number.
fn flood(cells: &Cells, first: usize, patch_of: &mut [usize]) -> Vec<usize> {
    let mut patch = vec![first];
    patch_of[first] = first;
    let mut next = 0;
    while let Some(cell) = patch.get(next).copied() {
        next += 1;
        for beside in cells.beside(cell).into_iter().flatten() {
            if cells.steps[beside] == cells.steps[first] && patch_of[beside] == usize::MAX {
                patch_of[beside] = first;
                patch.push(beside);
            }
        }
    }
    patch
}

impl Cells {
    /// The cells south, east, north and west of one.
    fn beside(&self, cell: usize) -> [Option<usize>; 4] {
        let column = cell % self.columns;
        [
            Some(cell + self.columns).filter(|south| *south < self.steps.len()),
            Some(cell + 1).filter(|_| column + 1 < self.columns),
            cell.checked_sub(self.columns),
            cell.checked_sub(1).filter(|_| column > 0),
        ]
    }
}

/// The rings around a patch, the patch always at the left of the way.
fn rings(cells: &Cells, patch: &[usize], patch_of: &[usize]) -> Vec<Ring> {
    let mut leads: BTreeMap<Corner, Vec<Corner>> = BTreeMap::new();
    for cell in patch {
        let (row, column) = (cell / cells.columns, cell % cells.columns);
        let [nw, ne, sw, se] = [(row, column), (row, column + 1), (row + 1, column), (row + 1, column + 1)];
        for ((from, to), beside) in
            [(sw, se), (se, ne), (ne, nw), (nw, sw)].into_iter().zip(cells.beside(*cell))
        {
            if beside.is_none_or(|beside| patch_of[beside] != patch_of[*cell]) {
                leads.entry(from).or_default().push(to);
            }
        }
    }
    let mut found = Vec::new();
    while let Some((start, _)) = leads.first_key_value().map(|(corner, to)| (*corner, to.len())) {
        found.push(walk(&mut leads, start));
    }
    // The outer ring holds the northernmost corner, which comes first.
    found
}

/// Takes a ring out, its corners where it turns.
fn walk(leads: &mut BTreeMap<Corner, Vec<Corner>>, start: Corner) -> Ring {
    let mut ring = vec![start];
    let mut here = start;
    let mut before: Option<Corner> = None;
    while let Some(next) = take(leads, here, before) {
        if before.is_some_and(|before| turn(before, here, next) == 0) {
            ring.pop();
        }
        ring.push(next);
        (before, here) = (Some(here), next);
        if here == start && !left_turn_waits(leads, before, here) {
            break;
        }
    }
    ring
}

/// The next corner; where two ways part, the one to the left stays with the same cell.
fn take(leads: &mut BTreeMap<Corner, Vec<Corner>>, here: Corner, before: Option<Corner>) -> Option<Corner> {
    let ways = leads.get_mut(&here)?;
    let leftmost = match before {
        Some(before) => (0..ways.len()).max_by_key(|way| turn(before, here, ways[*way])),
        None => (!ways.is_empty()).then_some(0),
    }?;
    let next = ways.swap_remove(leftmost);
    if ways.is_empty() {
        leads.remove(&here);
    }
    Some(next)
}

/// Whether the ring goes on through its first corner: the way at the left has not been walked yet.
fn left_turn_waits(leads: &BTreeMap<Corner, Vec<Corner>>, before: Option<Corner>, here: Corner) -> bool {
    let (Some(before), Some(ways)) = (before, leads.get(&here)) else { return false };
    ways.iter().any(|way| turn(before, here, *way) > 0)
}

/// Positive for a turn to the left, as seen on a map with north up.
fn turn(before: Corner, here: Corner, next: Corner) -> i64 {
    let away = |from: Corner, to: Corner| (east(from, to), north(from, to));
    let ((x1, y1), (x2, y2)) = (away(before, here), away(here, next));
    (x1 * y2 - y1 * x2).signum()
}

fn east(from: Corner, to: Corner) -> i64 {
    signed(to.1) - signed(from.1)
}

fn north(from: Corner, to: Corner) -> i64 {
    signed(from.0) - signed(to.0)
}

fn signed(count: usize) -> i64 {
    i64::try_from(count).unwrap_or(i64::MAX)
}

#[cfg(test)]
mod tests {
    use super::{Cells, Ring, polygons, signed};

    fn cells(rows: &[&str]) -> Cells {
        let steps = rows.iter().flat_map(|row| row.bytes()).map(|cell| match cell {
            b'.' => None,
            digit => Some(usize::from(digit - b'0')),
        });
        Cells { columns: rows[0].len(), steps: steps.collect() }
    }

    /// Twice the area within a ring, positive if it runs counterclockwise on a map with north up.
    fn twice_area(ring: &Ring) -> i64 {
        ring.windows(2)
            .map(|pair| signed(pair[1].1) * signed(pair[0].0) - signed(pair[0].1) * signed(pair[1].0))
            .sum()
    }

    #[test]
    fn a_patch_with_a_hole_and_another_step_in_it_has_one_outer_ring_and_one_hole() {
        let found = polygons(&cells(&["0000.", "0110.", "0000.", "....."]), 1);
        assert_eq!(found.len(), 2);
        let outer = &found[0];
        assert_eq!((outer.step, outer.rings.len()), (0, 2));
        assert_eq!(outer.rings.iter().map(twice_area).collect::<Vec<_>>(), [2 * 12, -2 * 2]);
        assert_eq!(outer.rings[0].len(), 5, "only corners where it turns");
        assert_eq!((found[1].step, twice_area(&found[1].rings[0])), (1, 4));
    }

    #[test]
    fn cells_that_touch_at_a_corner_only_are_two_patches_and_small_ones_are_left_out() {
        let board = ["0.", ".0"];
        assert_eq!(polygons(&cells(&board), 1).len(), 2);
        assert!(polygons(&cells(&board), 2).is_empty());
        // One patch that touches itself at a corner: its hole stays apart from the outside.
        let found = polygons(&cells(&["000", "0.0", "00.", "000"]), 1);
        assert_eq!(found.len(), 1);
        let areas: Vec<i64> = found[0].rings.iter().map(twice_area).collect();
        assert_eq!(areas.iter().sum::<i64>(), 2 * 10);
    }

    /// Laws over invented maps: areas add up to the cells, each ring is closed and turns at every corner, one outer ring
    /// comes first and counterclockwise, holes are clockwise.
    #[test]
    fn rings_of_many_maps_are_as_the_standard_has_them() {
        for seed in 0..200_u64 {
            let mut random = forecast::random::Stream::new(seed, 0);
            let steps: Vec<Option<usize>> = (0..11 * 13)
                .map(|_| match random.uniform() {
                    share if share < 0.4 => Some(0),
                    share if share < 0.7 => Some(1),
                    _ => None,
                })
                .collect();
            let count = signed(steps.iter().flatten().count());
            let found = polygons(&Cells { columns: 13, steps }, 1);
            let mut total = 0;
            for polygon in &found {
                for (number, ring) in polygon.rings.iter().enumerate() {
                    assert!(ring.len() >= 5 && ring.first() == ring.last(), "{seed}: {ring:?}");
                    assert_eq!(twice_area(ring) > 0, number == 0, "{seed}: {ring:?}");
                    total += twice_area(ring);
                }
            }
            assert_eq!(total, 2 * count, "{seed}");
        }
    }
}
