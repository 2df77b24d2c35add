//! Columns of a design that those before them do not reproduce, told by Gram-Schmidt orthogonalisation.

/// Share of a column's length that must be left after projection on those before it.
const NEW_ENOUGH: f64 = 1e-6;

/// An orthonormal basis of the columns taken so far.
#[derive(Default, Debug)]
pub struct Basis(Vec<Vec<f64>>);

impl Basis {
    /// Takes a column, unless those taken before reproduce it; whether it was taken.
    pub fn take(&mut self, column: &[f64]) -> bool {
        let mut rest = column.to_vec();
        // twice, since once loses digits when the column is nearly reproduced
        for _ in 0..2 {
            for known in &self.0 {
                let along = dot(known, &rest);
                rest.iter_mut().zip(known).for_each(|(r, k)| *r -= along * k);
            }
        }
        let left = norm(&rest);
        let is_new = left > NEW_ENOUGH * norm(column) && left > 0.0;
        if is_new {
            rest.iter_mut().for_each(|r| *r /= left);
            self.0.push(rest);
        }
        is_new
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

fn norm(a: &[f64]) -> f64 {
    dot(a, a).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_column_that_others_reproduce_is_not_taken() {
        let mut basis = Basis::default();
        assert!(basis.take(&[1.0; 4]));
        assert!(basis.take(&[0.0, 1.0, 0.0, 1.0]));
        assert!(!basis.take(&[1.0, 0.0, 1.0, 0.0]));
        assert!(!basis.take(&[0.0; 4]));
        assert!(basis.take(&[1.0, 0.0, 0.0, 0.0]));
    }
}
