//! What the page on data quality says about episodes and readings.

use super::attach::Readings;
use super::windows::Courses;
use crate::episodes::episode::{Episode, Episodes};

/// Labels in plain words with their counts, in the order of the page; zeros included, so that a reader sees
/// what was looked for.
pub fn episode_notes(episodes: &Episodes, readings: &Readings, courses: &Courses) -> Vec<(String, u64)> {
    let list = &episodes.list;
    let count = |fits: fn(&Episode) -> bool| list.iter().filter(|episode| fits(episode)).count() as u64;
    let (mut no_reading, mut no_baseline) = (0, 0);
    for id in 0..list.len() as u32 {
        let of_episode = courses.of_episode(id);
        no_reading += u64::from(of_episode.is_empty());
        no_baseline += u64::from(of_episode.iter().all(|course| course.baseline.is_none()));
    }
    let (cut, read) = (episodes.counts, readings.counts);
    let missed: u64 = list.iter().map(|episode| u64::from(episode.missed_visits)).sum();
    [
        ("episodes of care", list.len() as u64),
        ("episodes whose endpoint window was still open when the site's records end", count(|e| !e.is_due)),
        ("episodes without any reading", no_reading),
        ("episodes without a baseline of any outcome", no_baseline),
        ("episodes without a condition", count(|e| e.condition.is_none())),
        ("episodes without a region", count(|e| e.region.is_none())),
        ("episodes whose visits name more than one condition", count(|e| e.condition_changed)),
        ("episodes with visits at more than one site", count(|e| e.transferred)),
        ("episodes that ran at the same time as another of the same patient", count(|e| e.overlaps)),
        (
            "visits naming a condition of another region than the one treated",
            cut.visits_with_condition_of_another_region,
        ),
        ("missed visits inside an episode", missed),
        ("missed visits with no episode near", cut.missed_visits_without_episode),
        ("visits without any reading on their day", read.visits_without_reading),
        ("readings with no visit near", read.without_visit_near),
        ("readings that fit two episodes of different regions, given to neither", read.between_regions),
        ("readings that repeat another of the day with the same value", read.repeated),
        ("readings left out because another of the day has a different value", read.disagreeing),
        ("scores that could not be scored", read.unscorable),
        ("patients whose rows name more than one sex", cut.patients_with_conflicting_sex),
        ("patients treated at two sites on one day", cut.patients_at_two_sites_on_one_day),
        ("patients with calendar dates in some rows and day offsets in others", cut.patients_on_two_clocks),
    ]
    .map(|(label, count)| (label.to_string(), count))
    .to_vec()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::PainSite;
    use crate::episodes::timeline::*;
    use crate::group::settings::EpisodeRules;
    use crate::readings::attach_tests::{read, score};

    #[test]
    fn each_fact_is_counted_under_its_label() {
        let back = || score("pain_nrs", PainSite::Back, 5.0);
        let (episodes, readings) = read(vec![
            (visit(0).for_condition(0), vec![back()]),
            (visit(3).at(2).for_condition(1), vec![]),
            (visit(3).region(CERVICAL).for_condition(0), vec![]), // of another region: no say
            (visit(5).missed(), vec![]),
            (visit(0).of(2).for_condition(0), vec![]),
            (visit(40).of(2).readings_only(), vec![back()]),
            (visit(500).of(2).readings_only(), vec![back()]),
            (visit(0).of(3).missed(), vec![]),
        ]);
        let courses = Courses::of(&readings, &episodes, &EpisodeRules::default());
        let notes = episode_notes(&episodes, &readings, &courses);
        let counted: Vec<(&str, u64)> =
            notes.iter().filter(|(_, count)| *count > 0).map(|(label, count)| (label.as_str(), *count)).collect();
        assert_eq!(
            counted,
            [
                ("episodes of care", 3),
                ("episodes without any reading", 1),
                ("episodes without a baseline of any outcome", 2),
                ("episodes without a condition", 1),
                ("episodes whose visits name more than one condition", 1),
                ("episodes with visits at more than one site", 1),
                ("episodes that ran at the same time as another of the same patient", 2),
                ("visits naming a condition of another region than the one treated", 1),
                ("missed visits inside an episode", 1),
                ("missed visits with no episode near", 1),
                ("visits without any reading on their day", 3),
                ("readings with no visit near", 1),
                ("patients treated at two sites on one day", 1),
            ]
        );
    }
}
