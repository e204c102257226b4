//! Weighted least squares of a few hundred unknowns.

/// Normal equations `A·x = b`, A symmetric.
pub(super) struct Normal {
    size: usize,
    matrix: Vec<f64>,
    right: Vec<f64>,
}

impl Normal {
    pub fn new(size: usize) -> Self {
        Self {
            size,
            matrix: vec![0.0; size * size],
            right: vec![0.0; size],
        }
    }

    /// Adds one measurement: the sum of `terms` (unknown, factor) should be `value`.
    pub fn add(&mut self, terms: &[(usize, f64)], value: f64, weight: f64) {
        if !(weight > 0.0 && weight.is_finite() && value.is_finite()) {
            return;
        }
        for &(n, x) in terms {
            self.right[n] += weight * x * value;
            for &(m, y) in terms {
                self.matrix[n * self.size + m] += weight * x * y;
            }
        }
    }

    /// The lower triangle of Cholesky's factor (Golub and Van Loan, *Matrix
    /// Computations*, 4.2); an unknown nothing is said about gets 0.
    pub fn factor(&self) -> Factor {
        let size = self.size;
        let mut lower = self.matrix.clone();
        for column in 0..size {
            let (above, below) = lower.split_at_mut((column + 1) * size);
            let row = &mut above[column * size..];
            let squares: f64 = row[..column].iter().map(|x| x * x).sum();
            let least = 1e-12 * row[column].abs().max(1e-12);
            let root = (row[column] - squares).max(least).sqrt();
            row[column] = root;
            for other in below.chunks_exact_mut(size) {
                let inner: f64 = row[..column]
                    .iter()
                    .zip(&other[..column])
                    .map(|(x, y)| x * y)
                    .sum();
                other[column] = (other[column] - inner) / root;
            }
        }
        Factor { size, lower }
    }

    /// The unknowns.
    pub fn solve(&self, factor: &Factor) -> Vec<f64> {
        factor.solve(self.right.clone())
    }
}

/// A factored matrix.
pub(super) struct Factor {
    size: usize,
    lower: Vec<f64>,
}

impl Factor {
    fn solve(&self, mut x: Vec<f64>) -> Vec<f64> {
        let at = |row: usize, column: usize| self.lower[row * self.size + column];
        for row in 0..self.size {
            let inner: f64 = (0..row).map(|n| at(row, n) * x[n]).sum();
            x[row] = (x[row] - inner) / at(row, row);
        }
        for row in (0..self.size).rev() {
            let inner: f64 = (row + 1..self.size).map(|n| at(n, row) * x[n]).sum();
            x[row] = (x[row] - inner) / at(row, row);
        }
        x
    }

    /// One column of the inverse: the covariances of an unknown with the others.
    pub fn covariances(&self, unknown: usize) -> Vec<f64> {
        let mut unit = vec![0.0; self.size];
        unit[unknown] = 1.0;
        self.solve(unit)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_measurements_of_one_thing_average_by_weight() {
        let mut normal = Normal::new(2);
        normal.add(&[(0, 1.0)], 1.0, 3.0);
        normal.add(&[(0, 1.0)], 5.0, 1.0);
        normal.add(&[(0, -1.0), (1, 1.0)], 10.0, 2.0);
        let factor = normal.factor();
        let x = normal.solve(&factor);
        assert!(
            (x[0] - 2.0).abs() < 1e-9 && (x[1] - 12.0).abs() < 1e-9,
            "{x:?}"
        );
        // Variances add along a chain: 1/4 and 1/4 + 1/2.
        assert!((factor.covariances(0)[0] - 0.25).abs() < 1e-9);
        assert!((factor.covariances(1)[1] - 0.75).abs() < 1e-9);
    }

    #[test]
    fn nothing_known_is_no_nan() {
        let normal = Normal::new(2);
        assert_eq!(normal.solve(&normal.factor()), [0.0, 0.0]);
    }
}
