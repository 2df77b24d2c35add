//! Common practice of setting a patient up: no published source, so each row says so.

use super::error::CatalogueError;
use serde::Deserialize;

/// Common practice of setting a patient up.
#[derive(Clone, PartialEq, Debug, Deserialize)]
pub struct SetupPractice {
    /// The return spring of the sliding half.
    pub return_spring: ReturnSpring,
    /// The opening of the split at peak pull.
    pub split_opening: SplitOpening,
}

/// The return spring of the sliding half.
#[derive(Clone, PartialEq, Debug, Deserialize)]
pub struct ReturnSpring {
    /// Tension when fully tensioned, lower end, lbf.
    pub full_tension_low_lbf: f64,
    /// The same, upper end, lbf.
    pub full_tension_high_lbf: f64,
    /// What one turn back takes off, lbf.
    pub lbf_per_turn: f64,
    /// A usual starting value, lbf.
    pub usual_start_lbf: f64,
}

/// The opening of the split at peak pull.
#[derive(Clone, PartialEq, Debug, Deserialize)]
pub struct SplitOpening {
    /// How far it usually opens, mm.
    pub usual_mm: f64,
}

const EMBEDDED: &str = include_str!("setup_practice.toml");
const NEWTONS_PER_LBF: f64 = 4.448_221_615_260_5; // NIST SP 811, B.8

impl SetupPractice {
    /// The program's own table.
    ///
    /// # Errors
    /// The embedded data are wrong; a test makes sure that they are not.
    pub fn embedded() -> Result<Self, CatalogueError> {
        toml::from_str(EMBEDDED).map_err(|e| CatalogueError::entry("setup_practice", "", e.message()))
    }

    /// The tension in newtons that a number of turns back from full means: 50 - 2t to 55 - 2t lbf.
    /// `None` when the spring would be slack.
    pub fn tension_range_n(&self, turns: f64) -> Option<(f64, f64)> {
        let spring = &self.return_spring;
        let off = spring.lbf_per_turn * turns;
        let (low, high) = (spring.full_tension_low_lbf - off, spring.full_tension_high_lbf - off);
        (turns >= 0.0 && low >= 0.0).then_some((low * NEWTONS_PER_LBF, high * NEWTONS_PER_LBF))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn turns_back_from_full_give_a_range_of_tensions() {
        // common practice, no published source: t = 6 gives 38 to 43 lbf, t = 5 gives 40 to 45 lbf
        let practice = SetupPractice::embedded().unwrap();
        for (turns, low, high) in [(6.0, 38.0, 43.0), (5.0, 40.0, 45.0), (0.0, 50.0, 55.0)] {
            let (from, to) = practice.tension_range_n(turns).unwrap();
            assert!((from / NEWTONS_PER_LBF - low).abs() < 1e-12, "{turns}");
            assert!((to / NEWTONS_PER_LBF - high).abs() < 1e-12, "{turns}");
        }
        assert_eq!(practice.tension_range_n(26.0), None);
        assert_eq!(practice.tension_range_n(-1.0), None);
        assert_eq!(practice.tension_range_n(f64::NAN), None);
    }

    #[test]
    fn a_usual_start_is_what_five_or_six_turns_back_give() {
        // common practice, no published source
        let practice = SetupPractice::embedded().unwrap();
        let start = practice.return_spring.usual_start_lbf * NEWTONS_PER_LBF;
        for turns in [5.0, 6.0] {
            let (low, high) = practice.tension_range_n(turns).unwrap();
            assert!((low..=high).contains(&start));
        }
        // 1/4 inch, NIST SP 811: 25.4 mm an inch
        assert_eq!(practice.split_opening.usual_mm, 25.4 / 4.0);
    }

    #[test]
    fn every_row_says_that_it_has_no_published_source() {
        let table: toml::Table = toml::from_str(EMBEDDED).unwrap();
        assert_eq!(table.len(), 5);
        for (key, row) in &table {
            assert_eq!(row["source"].as_str(), Some("common practice, no published source"), "{key}");
        }
    }
}
