//! One patient's care: episodes, visits, readings and how each episode ended.

use super::course::Course;
use super::draw::Draw;
use super::episode_care::{Start, episode};
use super::patient::{Onset, Patient};
use super::plan::{Plan, SitePlan};
use super::schedule::open_day;
use super::scores::{Form, Pain};
use super::setup::{Dose, Setup};
use chrono::{Days, NaiveDate};

/// Everything that happened to one patient.
#[derive(Debug)]
pub struct History {
    /// The patient.
    pub patient: Patient,
    /// Episodes, by their start.
    pub episodes: Vec<Episode>,
}

/// One course of care for one condition.
#[derive(Debug)]
pub struct Episode {
    /// Position of the condition in the plan.
    pub condition: usize,
    /// Codes as written at sites that use codes.
    pub codes: Vec<String>,
    /// How long ago it began.
    pub onset: Onset,
    /// Days since it began, at the start.
    pub onset_days: i64,
    /// The true course.
    pub course: Course,
    /// Visits planned at the start.
    pub planned: usize,
    /// Appointments, kept or not.
    pub visits: Vec<Visit>,
    /// Readings outside a visit.
    pub calls: Vec<Call>,
    /// `completed`, `stopped early`, `referred on`, `lost` or `ongoing`.
    pub ended_how: &'static str,
    /// Position of the site the patient moved to, if any.
    pub moved_to: Option<usize>,
}

/// One appointment.
#[derive(Clone, Debug)]
pub struct Visit {
    /// Position of the site.
    pub site: usize,
    /// Day.
    pub date: NaiveDate,
    /// Number among treated visits of the episode, from 1; 0 for a no-show.
    pub number: usize,
    /// Clinician's code.
    pub clinician: String,
    /// Table's code.
    pub table: String,
    /// Dose and setup; none for a no-show.
    pub treated: Option<(Dose, Setup)>,
    /// Pain asked.
    pub pains: Vec<Pain>,
    /// Questionnaire filled in.
    pub form: Option<Form>,
    /// Something untoward happened.
    pub adverse: bool,
}

/// A reading outside a visit: by telephone.
#[derive(Clone, Debug)]
pub struct Call {
    /// Position of the site that called.
    pub site: usize,
    /// Day.
    pub date: NaiveDate,
    /// Pain asked.
    pub pains: Vec<Pain>,
    /// Questionnaire.
    pub form: Option<Form>,
}

impl Episode {
    /// Day of the first treated visit; the start of the episode's clock.
    pub fn first_day(&self) -> Option<NaiveDate> {
        self.visits.iter().find(|v| v.treated.is_some()).map(|v| v.date)
    }
}

/// Draws the care of patient `number` of a site.
pub fn simulate(seed: u64, plan: &Plan, home: usize, number: usize) -> Option<History> {
    let site = plan.sites.get(home)?;
    let mut draw = Draw::keyed(seed, &["patient", &site.name, &number.to_string()]);
    let patient = Patient::draw(&mut draw, home);
    let condition = draw.weighted(site.case_mix.iter().copied());
    let onset = Onset::draw(&mut draw, site);
    let span = (plan.last_day - plan.first_day).num_days() - 5;
    let first = open_day(plan.first_day.checked_add_days(day_count(draw.whole(0, span)))?);
    // The first patient of the first site always moves to the second, so that there is one to test with.
    let always = home == 0 && number == 0;
    let first = if always { open_day(plan.first_day.checked_add_days(Days::new(70))?) } else { first };
    let moved_to = (draw.chance(0.035) || always).then(|| elsewhere(&mut draw, plan, home, always)).flatten();
    let (again, overlap) = (draw.chance(0.10), draw.chance(0.04));

    let mut episodes = vec![episode(
        &mut draw,
        seed,
        plan,
        &patient,
        &Start { condition, onset, first, moved_to, meets_both: always },
    )?];
    let last = episodes.iter().flat_map(|e| &e.visits).map(|v| v.date).max()?;
    let pause = day_count(draw.whole(75, 150));
    if moved_to.is_some() {
        // one thing at a time: whoever moves has no second episode
    } else if overlap {
        let other = other_region(&mut draw, plan, condition)?;
        let first = open_day(first.checked_add_days(day_count(draw.whole(7, 28)))?);
        let start =
            Start { condition: other, onset: Onset::draw(&mut draw, site), first, moved_to: None, meets_both: false };
        episodes.extend(episode(&mut draw, seed, plan, &patient, &start));
    } else if again {
        let first = open_day(last.checked_add_days(pause)?);
        let start = Start { condition, onset: Onset::Acute, first, moved_to: None, meets_both: false };
        episodes.extend(episode(&mut draw, seed, plan, &patient, &start));
    }
    Some(History { patient, episodes })
}

/// Another site with calendar dates: a site of day offsets could not be put in order with it.
fn elsewhere(draw: &mut Draw, plan: &Plan, home: usize, always: bool) -> Option<usize> {
    if plan.sites.get(home)?.name == "Eastlow" {
        return None;
    }
    let weight = |(i, site): (usize, &SitePlan)| f64::from(u8::from(i != home && site.name != "Eastlow"));
    let chosen = draw.weighted(plan.sites.iter().enumerate().map(weight));
    Some(if always { 1 } else { chosen })
}

fn other_region(draw: &mut Draw, plan: &Plan, condition: usize) -> Option<usize> {
    let region = plan.conditions.get(condition)?.region;
    Some(draw.weighted(plan.conditions.iter().map(|c| f64::from(u8::from(c.region != region)))))
}

/// A count of days that is not negative.
fn day_count(days: i64) -> Days {
    Days::new(u64::try_from(days).unwrap_or(0))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn group() -> (Plan, Vec<History>) {
        let plan = Plan::shipped().unwrap();
        let all = (0..6).flat_map(|site| (0..120).map(move |n| (site, n)));
        let all = all.map(|(site, n)| simulate(20_250_701, &plan, site, n).unwrap()).collect();
        (plan, all)
    }

    #[test]
    fn every_visit_lies_in_the_five_quarters_and_in_order() {
        let (plan, all) = group();
        for episode in all.iter().flat_map(|h| &h.episodes) {
            assert!(episode.visits.first().unwrap().treated.is_some(), "care starts with a treated visit");
            for pair in episode.visits.windows(2) {
                let gap = (pair[1].date - pair[0].date).num_days();
                assert!((0..=60).contains(&gap), "one episode has no gap over 60 days");
            }
            for visit in &episode.visits {
                assert!((plan.first_day..=plan.last_day).contains(&visit.date));
                assert!(visit.treated.is_some() || visit.pains.is_empty());
            }
        }
    }

    #[test]
    fn second_episodes_of_a_region_come_after_more_than_60_days() {
        let (plan, all) = group();
        let mut seen = 0;
        for history in all.iter().filter(|h| h.episodes.len() == 2) {
            let (a, b) = (&history.episodes[0], &history.episodes[1]);
            if plan.conditions[a.condition].region == plan.conditions[b.condition].region {
                seen += 1;
                assert!((b.first_day().unwrap() - a.visits.last().unwrap().date).num_days() > 60);
            }
        }
        assert!(seen > 10, "{seen}");
    }

    #[test]
    fn the_cases_that_a_reader_must_cope_with_are_there() {
        let (plan, all) = group();
        let episodes: Vec<_> = all.iter().flat_map(|h| &h.episodes).collect();
        let region = |e: &Episode| plan.conditions[e.condition].region;
        let overlapping =
            all.iter().filter(|h| h.episodes.len() == 2 && region(&h.episodes[0]) != region(&h.episodes[1]));
        assert!(overlapping.count() > 5, "lumbar and cervical care at once");
        assert!(episodes.iter().filter(|e| e.moved_to.is_some()).count() > 5, "transfers");
        assert!(episodes.iter().filter(|e| e.ended_how == "ongoing").count() > 20, "open episodes");
        assert!(episodes.iter().filter(|e| e.visits[0].pains.is_empty()).count() > 10, "baselines missing");
        assert!(episodes.iter().any(|e| !e.calls.is_empty()), "readings without a visit");
        let visits: Vec<_> = episodes.iter().flat_map(|e| &e.visits).collect();
        assert!(visits.iter().any(|v| v.treated.is_some() && v.pains.is_empty() && v.form.is_none()));
        assert!(visits.iter().any(|v| v.treated.is_none()), "no-shows");
        let twice = &all[0].episodes[0];
        let same_day = twice.visits.windows(2).filter(|p| p[0].date == p[1].date && p[0].site != p[1].site);
        assert_eq!(same_day.count(), 1, "two sites on one day, once");
    }

    /// Pain number at the last reading in days 28 to 84, as a report would take it.
    fn endpoint(episode: &Episode) -> Option<f64> {
        let first = episode.first_day()?;
        let at_visits = episode.visits.iter().map(|v| (v.date, &v.pains));
        let readings = at_visits.chain(episode.calls.iter().map(|c| (c.date, &c.pains)));
        let inside = readings.filter(|(date, _)| (28..=84).contains(&(*date - first).num_days()));
        let (_, pains) = inside.filter(|(_, pains)| !pains.is_empty()).max_by_key(|(date, _)| *date)?;
        pains.first().map(|p| f64::from(p.number))
    }

    #[test]
    fn group_level_results_look_like_a_clinic() {
        let (_, all) = group();
        let closed: Vec<_> = all.iter().flat_map(|h| &h.episodes).filter(|e| e.ended_how != "ongoing").collect();
        let pairs: Vec<(f64, f64)> =
            closed.iter().filter_map(|e| Some((f64::from(e.visits[0].pains.first()?.number), endpoint(e)?))).collect();
        let n = pairs.len() as f64;
        let complete = n / closed.len() as f64;
        let (start, end) = pairs.iter().fold((0.0, 0.0), |(a, b), (s, e)| (a + s / n, b + e / n));
        let changed = pairs.iter().filter(|(s, e)| s - e >= 2.0 && s - e >= 0.3 * s).count() as f64 / n;
        println!("complete {complete:.2}, start {start:.2}, end {end:.2}, changed {changed:.2}");
        assert!((0.55..0.82).contains(&complete), "{complete}");
        assert!((5.8..6.8).contains(&start) && (2.8..3.8).contains(&end), "{start} {end}");
        assert!((0.45..0.68).contains(&changed), "{changed}");
    }

    #[test]
    fn the_site_that_loses_its_worst_looks_better_than_it_is() {
        let (plan, all) = group();
        let flattered = |name: &str| {
            let own = all.iter().filter(|h| plan.sites[h.patient.home].name == name).flat_map(|h| &h.episodes);
            let (mut seen, mut truly) = ((0.0, 0.0), (0.0, 0.0));
            for episode in own {
                truly = (truly.0 + episode.course.pain(50.0), truly.1 + 1.0);
                if let Some(pain) = endpoint(episode) {
                    seen = (seen.0 + pain, seen.1 + 1.0);
                }
            }
            println!("{name}: observed {:.2}, true {:.2}", seen.0 / seen.1, truly.0 / truly.1);
            truly.0 / truly.1 - seen.0 / seen.1
        };
        let others: Vec<f64> = ["Alderwick", "Brindleford", "Coldlarch", "Dunnock Hill"].map(flattered).to_vec();
        let eastlow = flattered("Eastlow");
        assert!(others.iter().all(|gap| eastlow > gap + 0.3), "{eastlow} {others:?}");
    }

    #[test]
    fn copied_setups_repeat_to_the_last_digit_only_where_planted() {
        let (plan, all) = group();
        let share = |name: &str| {
            let (mut same, mut of) = (0.0, 0.0);
            for pair in all.iter().flat_map(|h| &h.episodes).flat_map(|e| e.visits.windows(2)) {
                if plan.sites[pair[1].site].name == name && pair[0].treated.is_some() && pair[1].treated.is_some() {
                    of += 1.0;
                    same += f64::from(u8::from(pair[0].treated == pair[1].treated));
                }
            }
            same / of
        };
        assert!(share("Fennick Bridge") > 0.25);
        assert!(share("Alderwick") < 0.002);
    }
}
