//! The proof that a likelihood has no maximum: a direction that no row speaks against.

use super::rows::Checked;
use super::sums::dot;

/// An entry of the direction this small beside the largest, in units of the columns' root mean squares, is rounding.
const NO_ENTRY: f64 = 1e-8;
/// A predictor this small beside the sum of its parts' sizes is 0.
const NO_PREDICTOR: f64 = 1e-8;

/// How the outcomes are separated.
#[derive(Debug, Clone, PartialEq)]
pub struct Separation {
    /// The direction along which the likelihood rises without end, one entry a column, 0 for those not involved.
    pub direction: Vec<f64>,
    /// Positions of the columns involved.
    pub columns: Vec<usize>,
    /// Rows that the direction predicts without error; the others it leaves as they are.
    pub rows: usize,
}

/// Tests whether the likelihood rises without end along `step`.
pub(super) fn certify(rows: &Checked, step: &[f64]) -> Option<Separation> {
    let sizes: Vec<f64> = step.iter().zip(&rows.scales).map(|(d, s)| (d * s).abs()).collect();
    let largest = sizes.iter().copied().fold(0.0, f64::max);
    if !(largest > 0.0 && largest.is_finite()) {
        return None;
    }
    let entry = |(d, size): (&f64, &f64)| if *size > NO_ENTRY * largest { d / largest } else { 0.0 };
    let direction: Vec<f64> = step.iter().zip(&sizes).map(entry).collect();
    let p = rows.columns();
    let mut predicted = 0;
    for (j, x) in rows.design.chunks_exact(p).enumerate() {
        let by = dot(x, &direction);
        let parts: f64 = x.iter().zip(&direction).map(|(x, d)| (x * d).abs()).sum();
        if by.abs() <= NO_PREDICTOR * parts {
            continue;
        }
        let (y, n) = (rows.successes[j], rows.trials[j]);
        let agrees = if by > 0.0 { y == n } else { y == 0.0 };
        if !agrees {
            return None;
        }
        predicted += 1;
    }
    let columns = (0..p).filter(|k| direction[*k] != 0.0).collect();
    (predicted > 0).then_some(Separation { direction, columns, rows: predicted })
}
