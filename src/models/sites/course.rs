//! The course of a site beside the group's: mean burden by week, over all conditions.
//!
//! Burden makes outcomes comparable, so that a site with few patients of each condition still has a course. It is not adjusted
//! for case mix; the comparison of sites is.

use super::super::weekly_course::{Trail, Week, weekly_course};
use super::cases::Reader;
use crate::catalogue::measure::Domain;
use crate::rows::row::NameId;
use std::collections::BTreeMap;

/// Mean burden by week of a domain.
#[derive(Clone, PartialEq, Debug)]
pub struct SiteCourses {
    pub domain: Domain,
    /// The whole group.
    pub whole: Vec<Week>,
    /// By site.
    pub sites: Vec<(NameId, Vec<Week>)>,
}

/// The courses of a domain over the due episodes; weeks with up to `few` episodes are left out.
pub fn site_courses(reader: &Reader<'_>, domain: Domain, few: u32) -> SiteCourses {
    let records = reader.records();
    let mut trails: BTreeMap<NameId, Vec<Trail>> = BTreeMap::new();
    let mut all = Vec::new();
    for (id, episode) in (0..).zip(&records.episodes.list).filter(|(_, episode)| episode.is_due) {
        let Some(outcome) = reader.speaks(id, episode, domain) else { continue };
        let measure = records.measures.get(outcome.measure);
        let burden = |score: f64| measure.burden(score).map(|burden| burden.get());
        let course = records.courses.get(id, outcome);
        let list = course.and_then(|c| records.readings.list.get(c.readings.start as usize..c.readings.end as usize));
        let readings = list.unwrap_or_default().iter().filter_map(|r| Some((r.day()?, burden(r.value)?))).collect();
        let baseline =
            course.and_then(|c| records.readings.list.get(c.baseline? as usize)).and_then(|r| burden(r.value));
        let trail = Trail { baseline, readings };
        trails.entry(episode.site).or_default().push(trail.clone());
        all.push(trail);
    }
    SiteCourses {
        domain,
        whole: weekly_course(&all, few),
        sites: trails.iter().map(|(site, trails)| (*site, weekly_course(trails, few))).collect(),
    }
}
