//! What a bulletin is made from.

use crate::catalogue::natural_course::Courses as NaturalCourses;
use crate::group::settings::Audience;
use crate::models::fitted_course::{FittedCourses, Records};
use crate::models::imputed_outcomes::ImputedOutcomes;

/// What a bulletin is made from.
#[derive(Clone, Copy, Debug)]
pub struct Sources<'a> {
    /// The group's name for people.
    pub group: &'a str,
    /// Who may see the report.
    pub audience: Audience,
    /// Published courses.
    pub natural_courses: &'a NaturalCourses,
    /// What the models were fitted to.
    pub records: Records<'a>,
    /// The fitted course of each outcome of each condition.
    pub fitted: &'a FittedCourses,
    /// The same outcomes with the missing drawn.
    pub imputed: &'a ImputedOutcomes,
}
