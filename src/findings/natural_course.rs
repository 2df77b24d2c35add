//! How pain goes in published cohorts, on a measure's own scale, for drawing beside a group's own curve.
//!
//! Only for pain in the region itself: the cohorts asked for back or neck pain, not for leg or arm pain.

use super::bulletin::NaturalCourse;
use super::shown::Estimate;
use crate::catalogue::measure::{Direction, Domain, Measure};
use crate::catalogue::natural_course::{Course, Courses};
use crate::catalogue::{PainSite, Region};
use crate::rows::row::Onset;

/// The published course for a measure, where its pain is felt, the region treated and the onset class of most episodes.
pub fn natural_course(
    courses: &Courses,
    measure: &Measure,
    pain_site: PainSite,
    region: Region,
    onset: Option<Onset>,
) -> Option<NaturalCourse> {
    let there = matches!(
        (region, pain_site),
        (Region::Lumbar, PainSite::Back | PainSite::Unspecified)
            | (Region::Cervical, PainSite::Neck | PainSite::Unspecified)
    );
    if measure.domain != Domain::Pain || measure.ordinal || !there {
        return None;
    }
    let onset = match onset? {
        Onset::Acute => "acute",
        Onset::Subacute => "subacute",
        Onset::Persistent => "persistent",
    };
    let course = courses.for_care(region, onset)?;
    Some(NaturalCourse {
        label: format!("{} ({})", course.title, course.clock),
        citation: course.citation.clone(),
        points: points(course, measure),
    })
}

fn points(course: &Course, measure: &Measure) -> Vec<(f64, Estimate)> {
    // published from 0 (none) to 100 (worst)
    let native = |burden: f64| match measure.direction {
        Direction::LowerIsBetter => measure.low + burden / 100.0 * (measure.high - measure.low),
        Direction::HigherIsBetter => measure.high - burden / 100.0 * (measure.high - measure.low),
    };
    let point = |mean: f64, a: f64, b: f64| {
        let (a, b) = (native(a), native(b));
        Estimate { value: native(mean), low: a.min(b), high: a.max(b) }
    };
    course.points.iter().map(|p| (7.0 * p.week, point(p.mean, p.low, p.high))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::Measures;

    fn course(measure: &str, site: PainSite, region: Region, onset: Option<Onset>) -> Option<NaturalCourse> {
        let measures = Measures::embedded().unwrap();
        let measure = measures.get(measures.find(measure).unwrap());
        natural_course(&Courses::embedded().unwrap(), measure, site, region, onset)
    }

    #[test]
    fn a_course_of_0_to_100_is_drawn_on_0_to_10() {
        // Wallwork 2024, persistent: 56 (37 to 74) at entry, 48 (32 to 64) at 6 weeks
        let drawn = course("pain_nrs", PainSite::Back, Region::Lumbar, Some(Onset::Persistent)).unwrap();
        let (day, six_weeks) = drawn.points[1];
        assert_eq!(day, 42.0);
        assert!((six_weeks.value - 4.8).abs() < 1e-12 && (six_weeks.low - 3.2).abs() < 1e-12);
        assert!(drawn.label.contains("study entry") && drawn.citation.contains("Wallwork"));
    }

    #[test]
    fn none_is_drawn_for_disability_leg_pain_persistent_neck_pain_or_an_unknown_onset() {
        assert_eq!(course("odi", PainSite::Unspecified, Region::Lumbar, Some(Onset::Acute)), None);
        assert_eq!(course("pain_nrs", PainSite::Leg, Region::Lumbar, Some(Onset::Acute)), None);
        assert_eq!(course("pain_nrs", PainSite::Neck, Region::Cervical, Some(Onset::Persistent)), None);
        assert!(course("pain_nrs", PainSite::Neck, Region::Cervical, Some(Onset::Acute)).is_some());
        assert_eq!(course("pain_nrs", PainSite::Back, Region::Lumbar, None), None);
    }
}
