//! Holes in the data.

use super::Tile;

/// Fills holes of at most [`Tile::LARGEST_FILLED`] posts from the ground beside them, and counts the posts filled.
///
/// A post gets the mean of the nearest posts in its row and column that are known, each weighed by the inverse of its
/// distance. A hole is what hangs together by sides or corners.
pub(super) fn fill_small(heights_m: &mut [f32], columns: usize) -> usize {
    let mut seen = vec![false; heights_m.len()];
    let mut fills = Vec::new();
    for post in 0..heights_m.len() {
        if heights_m[post].is_nan() && !seen[post] {
            let hole = hole(heights_m, columns, post, &mut seen);
            if hole.len() <= Tile::LARGEST_FILLED {
                fills.extend(hole.iter().map(|post| (*post, beside(heights_m, columns, *post))));
            }
        }
    }
    let mut filled = 0;
    for (post, height) in fills {
        if let Some(height_m) = height {
            heights_m[post] = height_m;
            filled += 1;
        }
    }
    filled
}

fn hole(heights_m: &[f32], columns: usize, from: usize, seen: &mut [bool]) -> Vec<usize> {
    let rows = heights_m.len() / columns;
    let mut hole = vec![from];
    seen[from] = true;
    let mut next = 0;
    while let Some(post) = hole.get(next).copied() {
        next += 1;
        let (row, column) = (post / columns, post % columns);
        for row in row.saturating_sub(1)..(row + 2).min(rows) {
            for column in column.saturating_sub(1)..(column + 2).min(columns) {
                let post = row * columns + column;
                if heights_m[post].is_nan() && !seen[post] {
                    seen[post] = true;
                    hole.push(post);
                }
            }
        }
    }
    hole
}

#[expect(clippy::cast_possible_truncation, reason = "heights are kept in single precision")]
fn beside(heights_m: &[f32], columns: usize, post: usize) -> Option<f32> {
    let (row, column) = (post / columns, post % columns);
    let rows = heights_m.len() / columns;
    let nearest = |posts: &mut dyn Iterator<Item = usize>| -> Option<(f64, f64)> {
        let known = posts.enumerate().find(|(_, post)| !heights_m[*post].is_nan());
        known.map(|(steps, post)| (1.0 / (steps + 1) as f64, f64::from(heights_m[post])))
    };
    let sides = [
        nearest(&mut (0..row).rev().map(|row| row * columns + column)),
        nearest(&mut (row + 1..rows).map(|row| row * columns + column)),
        nearest(&mut (0..column).rev().map(|column| row * columns + column)),
        nearest(&mut (column + 1..columns).map(|column| row * columns + column)),
    ];
    let (weights, sum) = sides
        .into_iter()
        .flatten()
        .fold((0.0, 0.0), |(weights, sum), (weight, height_m)| (weights + weight, sum + weight * height_m));
    (weights > 0.0).then(|| (sum / weights) as f32)
}
