//! Five folds by patient.
//!
//! A patient's fold follows from the patient's key alone, so that all episodes of a patient fall together and neither
//! the order of the files nor the number of threads matters.

use mendcurve_stats::random::{stream, uniform};

pub const FOLDS: u8 = 5;
const SEED: u64 = 5;

/// The fold of a patient, 0 to 4.
pub fn fold_of(patient: &str) -> u8 {
    let share = uniform(&mut stream(SEED, patient.as_bytes()));
    ((share * f64::from(FOLDS)) as u8).min(FOLDS - 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_fold_gets_about_a_fifth_and_a_patient_keeps_its_fold() {
        let mut sizes = [0_u32; 5];
        for number in 0..5_000 {
            let key = format!("p{number}");
            assert_eq!(fold_of(&key), fold_of(&key));
            sizes[usize::from(fold_of(&key))] += 1;
        }
        // binomial SD sqrt(5000 x 0.2 x 0.8) = 28.3: five of them
        assert!(sizes.iter().all(|size| size.abs_diff(1_000) < 142), "{sizes:?}");
    }
}
