//! The little statistics that the answers need: intervals, percentiles, ranks.
#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "single precision is the point of the tables, and places in them are clamped"
)]

pub mod cholesky;
pub mod normal;

/// Score of a two-sided 95 % interval.
pub const TWO_SIDED_95: f64 = 1.959_963_984_540_054;

/// Wilson's 95 % interval for a probability of which `hits` in `trials` were seen; all of [0, 1] without trials.
///
/// # References
/// Wilson 1927, *J. Am. Stat. Assoc.* 22, 209-212.
#[must_use]
pub fn wilson(hits: u32, trials: u32) -> (f64, f64) {
    if trials == 0 {
        return (0.0, 1.0);
    }
    let (n, z) = (f64::from(trials), TWO_SIDED_95);
    let p = f64::from(hits) / n;
    let middle = (p + z * z / (2.0 * n)) / (1.0 + z * z / n);
    let half = z / (1.0 + z * z / n) * (p * (1.0 - p) / n + z * z / (4.0 * n * n)).sqrt();
    ((middle - half).max(0.0), (middle + half).min(1.0))
}

/// The value below which a share of the sorted values lies, interpolated; NaN without values.
#[must_use]
pub fn quantile(sorted: &[f64], share: f64) -> f64 {
    let Some(last) = sorted.len().checked_sub(1) else { return f64::NAN };
    let place = share.clamp(0.0, 1.0) * last as f64;
    let below = place.floor() as usize;
    let above = sorted.get(below + 1).unwrap_or(&sorted[below]);
    sorted[below] + (place - below as f64) * (above - sorted[below])
}

/// The middle one of some values, of an even count the mean of the two; none without values.
#[must_use]
pub fn median(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut sorted: Vec<f64> = values.collect();
    sorted.sort_by(f64::total_cmp);
    (!sorted.is_empty()).then(|| quantile(&sorted, 0.5))
}

/// The mean of a sample and the standard deviation of what it was drawn from; zero without values.
#[must_use]
pub fn mean_and_deviation(values: &[f64]) -> (f64, f64) {
    let count = values.len().max(1) as f64;
    let mean = values.iter().sum::<f64>() / count;
    let squares = values.iter().map(|value| (value - mean).powi(2)).sum::<f64>();
    (mean, (squares / (count - 1.0).max(1.0)).sqrt())
}

/// Ranks from 0, equal values sharing the mean of theirs.
#[must_use]
fn ranks(values: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by(|one, other| values[*one].total_cmp(&values[*other]));
    let mut ranks = vec![0.0; values.len()];
    let mut from = 0;
    while from < order.len() {
        let alike = order[from..]
            .iter()
            .take_while(|index| values[**index].total_cmp(&values[order[from]]).is_eq())
            .count();
        let rank = from as f64 + (alike - 1) as f64 / 2.0;
        order[from..from + alike].iter().for_each(|index| ranks[*index] = rank);
        from += alike;
    }
    ranks
}

/// Standardised rank regression: how many standard deviations of its rank `outcome` moves with one of each column's,
/// the others held. Zero for a column that does not vary.
///
/// # References
/// Saltelli & Marivoet 1990, *Reliability Engineering & System Safety* 28, 229-253.
#[must_use]
pub fn rank_regression(columns: &[Vec<f64>], outcome: &[f64]) -> Vec<f64> {
    let standard = |values: &[f64]| standardised(&ranks(values));
    let inputs: Vec<Vec<f64>> = columns.iter().map(|column| standard(column)).collect();
    let output = standard(outcome);
    let product = |one: &[f64], other: &[f64]| one.iter().zip(other).map(|(a, b)| a * b).sum::<f64>();
    let mut rows: Vec<Vec<f64>> = inputs
        .iter()
        .enumerate()
        .map(|(row, input)| {
            let diagonal = |column: usize| if row == column { 1e-9 } else { 0.0 };
            let left =
                inputs.iter().enumerate().map(|(column, other)| product(input, other) + diagonal(column));
            left.chain([product(input, &output)]).collect()
        })
        .collect();
    solve(&mut rows)
}

fn standardised(values: &[f64]) -> Vec<f64> {
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let norm = values.iter().map(|value| (value - mean).powi(2)).sum::<f64>().sqrt();
    values.iter().map(|value| if norm > 0.0 { (value - mean) / norm } else { 0.0 }).collect()
}

/// Gaussian elimination of a symmetric positive definite system with its right side as the last column.
fn solve(rows: &mut [Vec<f64>]) -> Vec<f64> {
    let size = rows.len();
    for pivot in 0..size {
        let (above, below) = rows.split_at_mut(pivot + 1);
        let lead = &above[pivot];
        for row in below {
            let factor = row[pivot] / lead[pivot];
            row.iter_mut().zip(lead).for_each(|(value, lead)| *value -= factor * lead);
        }
    }
    let mut solution = vec![0.0; size];
    for row in (0..size).rev() {
        let known: f64 = (row + 1..size).map(|column| rows[row][column] * solution[column]).sum();
        solution[row] = (rows[row][size] - known) / rows[row][row];
    }
    solution
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::random::Stream;

    /// Agresti & Coull 1998 (*Am. Stat.* 52, 119-126) and the closed form at the ends.
    #[test]
    fn wilson_intervals_are_the_published_ones() {
        let (low, high) = wilson(0, 10);
        assert!(low.abs() < 1e-12 && (high - 0.2775).abs() < 5e-5);
        let (low, high) = wilson(1000, 1000);
        assert!((low - 0.99617).abs() < 5e-6 && (high - 1.0).abs() < 1e-12);
        let (low, high) = wilson(5, 10);
        assert!((low - 0.2366).abs() < 5e-5 && (high - 0.7634).abs() < 5e-5);
    }

    /// A coin of known probability: the interval holds it in 93 to 97 of 100 tries.
    #[test]
    fn intervals_hold_the_truth_as_often_as_they_say() {
        let held = (0..2000).filter(|seed| {
            let mut random = Stream::new(*seed, 0);
            let hits = (0..1000).filter(|_| random.uniform() < 0.97).count();
            let (low, high) = wilson(hits as u32, 1000);
            (low..=high).contains(&0.97)
        });
        let share = held.count() as f64 / 2000.0;
        assert!((0.93..=0.97).contains(&share), "{share}");
    }

    #[test]
    fn equal_values_share_a_rank() {
        assert_eq!(ranks(&[3.0, 1.0, 3.0, 2.0]), [2.5, 0.0, 2.5, 1.0]);
    }

    #[test]
    fn regression_finds_what_moves_the_outcome() {
        let mut random = Stream::new(1, 1);
        let columns: Vec<Vec<f64>> = (0..3).map(|_| (0..2000).map(|_| random.normal()).collect()).collect();
        let outcome: Vec<f64> = (0..2000).map(|i| (2.0 * columns[0][i] - columns[1][i]).exp()).collect();
        let weights = rank_regression(&columns, &outcome);
        assert!(
            weights[0] > 0.8 && (-0.5..-0.35).contains(&weights[1]) && weights[2].abs() < 0.05,
            "{weights:?}"
        );
    }
}
