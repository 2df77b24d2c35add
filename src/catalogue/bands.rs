//! Severity bands. Published bands are whole numbers (0-20, 21-40); a prorated score may fall
//! between them, so a band here begins where the one before it ends.

use super::sourced::Source;

/// Where a band ends.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum BandEnd {
    /// This value is the last inside.
    UpTo(f64),
    /// This value is the first outside.
    Below(f64),
}

/// A severity band. It begins where the one before it ends.
#[derive(Clone, PartialEq, Debug)]
pub struct Band {
    pub end: BandEnd,
    /// A neutral word for it.
    pub label: String,
}

/// The severity bands of a measure, in ascending order of scores.
#[derive(Clone, PartialEq, Debug)]
pub struct Bands {
    /// The bands; the last ends at the high end of the range.
    pub steps: Vec<Band>,
    pub source: Source,
}

impl Bands {
    /// The label of the band of a score within the range of the measure.
    pub fn of(&self, value: f64) -> Option<&str> {
        let inside = |band: &&Band| match band.end {
            BandEnd::UpTo(last) => value <= last,
            BandEnd::Below(first_outside) => value < first_outside,
        };
        self.steps.iter().find(inside).map(|band| band.label.as_str())
    }
}

#[cfg(test)]
mod tests {
    use crate::catalogue::Measures;

    #[test]
    fn published_bands_with_scores_between_them() {
        let measures = Measures::embedded().unwrap();
        let band = |key: &str, value| measures.get(measures.find(key).unwrap()).band(value);
        // Fairbank & Pynsent 2000, Spine 25:2940-52: 0-20, 21-40, 41-60, 61-80, 81-100
        assert_eq!(band("odi", 20.0), Some("minimal"));
        assert_eq!(band("odi", 20.5), Some("moderate"));
        assert_eq!(band("odi", 40.0), Some("moderate"));
        assert_eq!(band("odi", 60.0), Some("severe"));
        assert_eq!(band("odi", 80.5), Some("extreme"));
        assert_eq!((band("odi", 100.5), band("odi", f64::NAN)), (None, None));
        // Vernon & Mior 1991, raw points: 0-4, 5-14, 15-24, 25-34, above 34
        let neck = [4.0, 14.0, 24.0, 34.0, 35.0].map(|value| band("ndi", value));
        assert_eq!(neck, [Some("none"), Some("mild"), Some("moderate"), Some("severe"), Some("complete")]);
        // cut points of T scores, from memory, check before relying on it: below 55, 60 and 70
        assert_eq!((band("promis_pi", 54.9), band("promis_pi", 55.0)), (Some("within normal limits"), Some("mild")));
        assert_eq!((band("promis_pf", 40.0), band("promis_pf", 45.1)), (Some("mild"), Some("within normal limits")));
        assert_eq!(band("psfs", 5.0), None);
    }
}
