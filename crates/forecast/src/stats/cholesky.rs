//! Symmetric positive definite systems, by Cholesky's method.

/// A factored matrix.
#[derive(Clone, Debug)]
pub struct Cholesky {
    size: usize,
    /// Lower triangle by rows; what stands above it is not looked at.
    lower: Vec<f64>,
}

impl Cholesky {
    /// Factors a matrix given by rows; `None` where it is not positive definite.
    #[must_use]
    pub fn new(size: usize, mut matrix: Vec<f64>) -> Option<Self> {
        for row in 0..size {
            for column in 0..=row {
                let (before, this) = matrix.split_at(row * size);
                let other = if column == row { this } else { &before[column * size..] };
                let product: f64 = this[..column].iter().zip(&other[..column]).map(|(a, b)| a * b).sum();
                let value = this[column] - product;
                matrix[row * size + column] = if column < row {
                    value / matrix[column * size + column]
                } else if value > 0.0 {
                    value.sqrt()
                } else {
                    return None;
                };
            }
        }
        Some(Self { size, lower: matrix })
    }

    /// The solution for a right side.
    #[must_use]
    pub fn solve(&self, right: &[f64]) -> Vec<f64> {
        let mut x = right.to_vec();
        for row in 0..self.size {
            let lower = &self.lower[row * self.size..][..=row];
            let known: f64 = lower[..row].iter().zip(&x).map(|(a, b)| a * b).sum();
            x[row] = (x[row] - known) / lower[row];
        }
        for row in (0..self.size).rev() {
            let lower = &self.lower[row * self.size..][..=row];
            x[row] /= lower[row];
            let value = x[row];
            x[..row].iter_mut().zip(lower).for_each(|(x, a)| *x -= a * value);
        }
        x
    }

    /// The lower factor times a vector: independent standard normals become such as the matrix has them.
    pub fn correlate(&self, normals: &[f64], into: &mut [f64]) {
        for (row, value) in into.iter_mut().enumerate().take(self.size) {
            let lower = &self.lower[row * self.size..][..=row];
            *value = lower.iter().zip(normals).map(|(a, z)| a * z).sum();
        }
    }

    /// The inverse by rows.
    #[must_use]
    pub fn inverse(&self) -> Vec<f64> {
        let unit =
            |row: usize| (0..self.size).map(|column| f64::from(u8::from(column == row))).collect::<Vec<_>>();
        (0..self.size).flat_map(|row| self.solve(&unit(row))).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::Cholesky;

    /// By hand: [[4, 2], [2, 3]] has the determinant 8 and the inverse [[3, -2], [-2, 4]] / 8.
    #[test]
    fn a_matrix_of_two_rows_is_inverted_as_by_hand() {
        let inverse = Cholesky::new(2, vec![4.0, 2.0, 2.0, 3.0]).map(|factored| factored.inverse());
        let expected = [0.375, -0.25, -0.25, 0.5];
        assert!(inverse.is_some_and(|found| found.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-15)));
        assert!(Cholesky::new(2, vec![1.0, 2.0, 2.0, 1.0]).is_none());
    }

    /// By hand: [[4, 2], [2, 3]] is [[2, 0], [1, sqrt 2]] times its transpose.
    #[test]
    fn normals_are_correlated_by_the_lower_factor() {
        let mut correlated = [0.0; 2];
        let factored = Cholesky::new(2, vec![4.0, 2.0, 2.0, 3.0]).expect("positive definite");
        factored.correlate(&[1.0, 1.0], &mut correlated);
        assert!((correlated[0] - 2.0).abs() < 1e-15 && (correlated[1] - 1.0 - 2.0_f64.sqrt()).abs() < 1e-15);
    }
}
