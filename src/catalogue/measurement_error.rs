//! The error of measurement of a score, and the change that it alone hardly ever reaches.

use super::sourced::Sourced;
use mendcurve_stats::interval::ERRORS_95;

/// What is known of the error of measurement: its standard error, or a standard deviation and a reliability.
#[derive(Clone, PartialEq, Debug)]
pub enum MeasurementError {
    /// The standard error of measurement (SEM), in the unit of the measure.
    Sem(Sourced),
    /// SEM = SD sqrt(1 - reliability).
    SdAndReliability {
        /// Standard deviation of the scores, in the unit of the measure.
        sd: Sourced,
        /// Test-retest reliability, 0 to 1.
        reliability: Sourced,
    },
}

impl MeasurementError {
    /// The standard error of measurement, in the unit of the measure.
    pub fn sem(&self) -> f64 {
        match self {
            Self::Sem(sem) => sem.value,
            Self::SdAndReliability { sd, reliability } => sd.value * (1.0_f64 - reliability.value).sqrt(),
        }
    }

    /// The smallest change that the error of measurement alone exceeds in either direction in only 5 of 100
    /// patients: 1.96 sqrt(2) SEM (Jacobson & Truax 1991, J Consult Clin Psychol 59:12-19). Not the published
    /// 'MDC' of 1.96 SEM or of 90 %.
    pub fn reliable_change_limit(&self) -> f64 {
        ERRORS_95 * std::f64::consts::SQRT_2 * self.sem()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::Measures;
    use crate::catalogue::sourced::{Mark, Source};

    fn sourced(value: f64) -> Sourced {
        Sourced { value, source: Source::written(None, Mark::Group) }
    }

    #[test]
    fn jacobson_truax_1991_worked_example() {
        // J Consult Clin Psychol 59:12-19: s = 7.5, r = .80 (inputs from memory, check before relying on it)
        let error = MeasurementError::SdAndReliability { sd: sourced(7.5), reliability: sourced(0.80) };
        assert!((error.sem() - 3.354_102).abs() < 5e-7);
        assert!((error.reliable_change_limit() - 9.297_096).abs() < 5e-7);
    }

    #[test]
    fn reliable_change_from_davidson_keating_2002_table_5() {
        // Phys Ther 82:8-24: SEM of those unchanged (n = 47) and about the same (n = 16); limits computed
        let computed = [(6.0, 16.6), (4.5, 12.5), (8.0, 22.2), (7.0, 19.4), (3.7, 10.3), (4.1, 11.4)];
        for (sem, limit) in computed {
            let error = MeasurementError::Sem(sourced(sem));
            assert!((error.reliable_change_limit() - limit).abs() < 0.05, "SEM {sem}");
        }
    }

    #[test]
    fn the_limit_of_the_numerical_rating_is_2_83_and_not_the_mdc_of_2() {
        // Childs 2005, Spine 30:1331-4: SEM 1.02; its MDC of 2 is 1.96 SEM without the sqrt(2) of a difference
        let measures = Measures::embedded().unwrap();
        let limit = |key: &str| measures.get(measures.find(key).unwrap()).reliable_change_limit();
        assert!((limit("pain_nrs").unwrap() - 2.83).abs() < 0.005);
        assert!((limit("odi").unwrap() - 16.6).abs() < 0.05);
        assert!((limit("qbpds").unwrap() - 22.2).abs() < 0.05);
        assert!((limit("rmdq").unwrap() - 10.3).abs() < 0.05);
        assert_eq!(limit("psfs"), None);
    }

    #[test]
    fn the_neck_index_has_a_wider_limit_with_radiculopathy_and_other_measures_the_same() {
        let measures = Measures::embedded().unwrap();
        let ndi = measures.get(measures.find("ndi").unwrap());
        assert!((ndi.reliable_change_limit().unwrap() - 8.3156).abs() < 5e-5); // 1.96 sqrt(2) 3.0
        assert!((ndi.reliable_change_limit_with_radiculopathy().unwrap() - 15.7996).abs() < 5e-5); // 1.96 sqrt(2) 5.7
        let odi = measures.get(measures.find("odi").unwrap());
        assert_eq!(odi.reliable_change_limit_with_radiculopathy(), odi.reliable_change_limit());
    }
}
