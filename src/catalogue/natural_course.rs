//! How pain usually goes in published cohorts.

use super::error::CatalogueError;
use super::region::Region;
use serde::Deserialize;

/// One published course.
#[derive(Clone, PartialEq, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Course {
    pub key: String,
    /// Name for people.
    pub title: String,
    region: String,
    onset: String,
    /// What its weeks count from.
    pub clock: String,
    drawn: bool,
    pub citation: String,
    pub points: Vec<CoursePoint>,
}

/// One published point, on a scale of 0 to 100.
#[derive(Clone, PartialEq, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CoursePoint {
    /// Week on the course's own clock.
    pub week: f64,
    /// Mean, 0 to 100.
    pub mean: f64,
    /// Lower 95 % limit.
    pub low: f64,
    /// Upper 95 % limit.
    pub high: f64,
    /// V, V2 or M.
    pub mark: String,
    /// Where it was read.
    pub source: String,
}

#[derive(Clone, PartialEq, Debug, Deserialize)]
pub struct Courses {
    course: Vec<Course>,
}

const EMBEDDED: &str = include_str!("natural_course.toml");

impl Courses {
    /// The program's own table.
    ///
    /// # Errors
    /// The embedded data are wrong; a test makes sure that they are not.
    pub fn embedded() -> Result<Self, CatalogueError> {
        toml::from_str(EMBEDDED).map_err(|e| CatalogueError::entry("natural_course", "", e.message()))
    }

    /// The course to draw for pain in a region and an onset class (`acute`, `subacute`, `persistent`), if one is published.
    pub fn for_care(&self, region: Region, onset: &str) -> Option<&Course> {
        self.course.iter().find(|c| c.drawn && c.region == region.key() && c.onset == onset)
    }

    pub fn iter(&self) -> impl Iterator<Item = &Course> {
        self.course.iter()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_course_counted_from_onset_is_not_drawn_for_low_back_pain() {
        let courses = Courses::embedded().unwrap();
        for onset in ["acute", "subacute", "persistent"] {
            let course = courses.for_care(Region::Lumbar, onset).unwrap();
            assert_eq!(course.clock, "weeks from study entry");
        }
        assert!(courses.iter().any(|c| c.key.starts_with("costa")));
    }

    #[test]
    fn only_acute_neck_pain_has_a_published_course() {
        let courses = Courses::embedded().unwrap();
        assert!(courses.for_care(Region::Cervical, "acute").is_some());
        assert!(courses.for_care(Region::Cervical, "persistent").is_none());
        assert!(courses.for_care(Region::Other, "acute").is_none());
    }

    #[test]
    fn every_point_lies_inside_its_interval_and_has_a_source() {
        for course in Courses::embedded().unwrap().iter() {
            for p in &course.points {
                assert!(0.0 <= p.low && p.low <= p.mean && p.mean <= p.high && p.high <= 100.0, "{}", course.key);
                assert!(!p.source.is_empty() && ["V", "V2", "M"].contains(&p.mark.as_str()));
            }
        }
    }
}
