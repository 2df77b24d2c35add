//! Who is on track: episodes in care -> the worklist, most worrying first.

use super::channels::channels;
use super::reasons;
use super::shown::Estimate;
use super::worklist::{NextReading, OutcomeOnTrack, PatientOnTrack, ReadingPoint, Status, Worklist};
use crate::catalogue::Region;
use crate::catalogue::measure::Domain;
use crate::episodes::due::SiteEnds;
use crate::episodes::episode::Episode;
use crate::models::fitted_course::{FittedCourse, FittedCourses, Records};
use crate::models::on_track::{Expected, Verdict, Yardstick};
use crate::models::panel::Track;
use crate::models::score_scale::Bell;
use crate::models::time_to_response::last_visit_day;
use crate::readings::reading::Outcome;
use crate::visits::visits::Visits;
use mendcurve_stats::quantile::Sorted;
use rayon::prelude::*;

/// Days between readings when a patient has too few to tell.
const USUAL_GAP_DAYS: f64 = 7.0;
/// Share of patients that a good, or bad, next reading sets apart.
const FIFTH: f64 = 0.2;
/// A domain of which so many episodes of a condition have a reading is one that its patients are asked about.
const USUAL: usize = 30;
/// The band of what is to come is given every so many days.
const DAYS_APART: usize = 3;

/// What a worklist is made from.
#[derive(Clone, Copy, Debug)]
pub struct Watch<'a> {
    /// The group's name.
    pub group: &'a str,
    /// Episodes and readings.
    pub records: Records<'a>,
    /// The fitted courses.
    pub fitted: &'a FittedCourses,
    /// The run's visits.
    pub visits: &'a Visits,
    /// How far each site's records reach.
    pub ends: &'a SiteEnds,
}

impl Watch<'_> {
    /// Every episode in care, most worrying first; at equal status by chance of response, lowest first.
    pub fn worklist(&self) -> Worklist {
        let episodes: Vec<(u32, &Episode)> =
            (0..).zip(&self.records.episodes.list).filter(|(_, episode)| self.in_care(episode)).collect();
        let mut patients: Vec<PatientOnTrack> =
            episodes.par_iter().map(|(id, episode)| self.patient(*id, episode)).collect();
        let chance = |patient: &PatientOnTrack| {
            let chances = patient.outcomes.iter().filter_map(|outcome| outcome.chance_of_response);
            chances.fold(f64::INFINITY, f64::min)
        };
        patients.sort_by(|a, b| {
            let by_name = || (&a.site, &a.patient, a.episode).cmp(&(&b.site, &b.patient, b.episode));
            a.status.cmp(&b.status).then(chance(a).total_cmp(&chance(b))).then_with(by_name)
        });
        Worklist {
            group: self.group.to_owned(),
            up_to: self.records.episodes.list.iter().filter_map(|episode| episode.last.date()).max(),
            rules: reasons::rules(&self.records.on_track),
            patients,
        }
    }

    /// Every episode of one patient, the latest first; none for a key that does not occur.
    pub fn of_patient(&self, key: &str) -> Vec<PatientOnTrack> {
        let Some(patient) = self.records.names.patients.find(key) else { return Vec::new() };
        let episodes = (0..).zip(&self.records.episodes.list).filter(|(_, episode)| episode.patient == patient);
        let mut found: Vec<PatientOnTrack> = episodes.map(|(id, episode)| self.patient(id, episode)).collect();
        found.sort_by_key(|patient| std::cmp::Reverse(patient.episode));
        found
    }

    fn in_care(&self, episode: &Episode) -> bool {
        self.ends.in_care(episode, self.records.on_track.in_care_days)
    }

    fn patient(&self, id: u32, episode: &Episode) -> PatientOnTrack {
        let records = &self.records;
        let condition = episode.condition.map(|condition| records.conditions.get(condition));
        let in_care = self.in_care(episode);
        let last_visit = last_visit_day(episode);
        let mut outcomes: Vec<OutcomeOnTrack> = records
            .courses
            .of_episode(id)
            .iter()
            .filter_map(|course| self.fitted.get(episode.condition, course.outcome))
            .filter_map(|course| self.outcome(course, course.panel.track(id)?, in_care.then_some(last_visit)))
            .collect();
        // one without readings enough says least; stable: at a tie in the order of the registry
        outcomes.sort_by_key(|outcome| (outcome.status == Status::TooFewReadings, outcome.status));
        let (status, reason) = match outcomes.first() {
            Some(first) => (first.status, format!("{}: {}", first.title, first.reason)),
            None => (Status::TooFewReadings, reasons::NO_READING.to_owned()),
        };
        let earlier = records.episodes.list.get(..id as usize).unwrap_or_default();
        let number = 1 + earlier.iter().rev().take_while(|other| other.patient == episode.patient).count();
        PatientOnTrack {
            site: records.names.sites.get(episode.site).to_owned(),
            clinician: episode.clinician.map(|name| records.names.clinicians.get(name).to_owned()),
            patient: records.names.patients.get(episode.patient).to_owned(),
            episode: u32::try_from(number).unwrap_or(u32::MAX),
            condition: condition.map_or(super::NOT_RECORDED.to_owned(), |known| known.key.clone()),
            condition_title: condition.map_or("Condition not recorded".to_owned(), |known| known.title.clone()),
            region: episode.region.unwrap_or(Region::Other),
            caution: episode.caution,
            first_visit: episode.first.date(),
            last_visit_day: last_visit,
            visits: episode.visits,
            planned_visits: episode.planned_visits.map(u32::from),
            in_care,
            status,
            reason,
            overdue: if in_care { self.overdue(id, episode, last_visit) } else { Vec::new() },
            outcomes,
            channels: channels(self.visits, records.episodes, episode),
        }
    }

    /// Pain and disability that were once read, or never, and have not been for the days that the rules allow.
    fn overdue(&self, id: u32, episode: &Episode, last_visit: i32) -> Vec<String> {
        let records = &self.records;
        let mut overdue = Vec::new();
        for domain in [Domain::Pain, Domain::Disability] {
            let of_domain = |outcome: &Outcome| records.measures.get(outcome.measure).domain == domain;
            let read = records.courses.of_episode(id).iter().filter(|course| of_domain(&course.outcome));
            let last = read
                .filter_map(|course| records.readings.list.get(course.readings.end.checked_sub(1)? as usize)?.day())
                .max();
            let is_asked = |course: &FittedCourse| {
                course.condition == episode.condition && course.panel.len() >= USUAL && of_domain(&course.outcome)
            };
            if last.is_none() && !self.fitted.iter().any(is_asked) {
                continue; // hardly anybody with the condition is asked
            }
            let days = last_visit - last.unwrap_or(0);
            if days > records.on_track.overdue_days {
                overdue.push(reasons::overdue(domain, days, last.is_some()));
            }
        }
        overdue
    }

    /// `last_visit`: the day of the last treated visit, when care is going on.
    fn outcome(&self, course: &FittedCourse, track: Track<'_>, last_visit: Option<i32>) -> Option<OutcomeOnTrack> {
        let measure = self.records.measures.get(course.outcome.measure);
        let (day, last_value) = track.last()?;
        let places = usize::from(measure.decimals);
        let yardstick = course.yardstick();
        let standing = yardstick.map(|yardstick| yardstick.standing(track));
        let doubt = course.doubt();
        let (status, reason) = match (&standing, &course.fit) {
            (Some(standing), Ok(_)) => {
                let about = reasons::About { measure, places, day, last_value, baseline: track.baseline() };
                (status_of(standing.verdict, doubt.is_some()), reasons::reason(&about, standing, doubt))
            }
            (_, Err(why)) => (Status::TooFewReadings, reasons::no_model(why)),
            (None, Ok(_)) => (Status::TooFewReadings, reasons::NO_READING.to_owned()),
        };
        // predictions that failed their test are not shown as if they had not
        let trusted = yardstick.filter(|_| doubt.is_none());
        let standing = standing.filter(|_| doubt.is_none());
        Some(OutcomeOnTrack {
            key: course.outcome.key(self.records.measures),
            title: super::outcome::title_of(measure, course.outcome.pain_site),
            unit: measure.unit.clone(),
            decimals: places,
            range: (measure.low, measure.high),
            lower_is_better: measure.improvement(1.0, 0.0) > 0.0,
            status,
            reason,
            day: day as i32,
            last_value,
            expected: standing.as_ref().and_then(|s| s.expected).map(estimate),
            percentile: standing.as_ref().and_then(|s| s.percentile),
            chance_of_response: standing.as_ref().and_then(|s| s.chance_of_response),
            endpoint_day: standing.as_ref().map(|s| s.endpoint_day),
            readings: points(track, trusted.as_ref()),
            to_come: trusted.map(|y| to_come(&y, track, self.last_day())).unwrap_or_default(),
            next: trusted.zip(last_visit).and_then(|(yardstick, last_visit)| next(&yardstick, track, last_visit)),
            model: course.fit.as_ref().ok().map(|chosen| super::curve_findings::model_of(&chosen.model)),
        })
    }

    /// The end of the endpoint window.
    fn last_day(&self) -> f64 {
        f64::from(self.records.windows.endpoint_days.1)
    }
}

/// The status that a verdict gives; `behind` and `ahead` only of predictions that passed their test.
fn status_of(verdict: Verdict, is_doubtful: bool) -> Status {
    match verdict {
        Verdict::ReliablyWorse { .. } => Status::Worsening,
        _ if is_doubtful => Status::TooFewReadings,
        Verdict::BeyondOwnPrediction => Status::Worsening,
        Verdict::Behind => Status::Behind,
        Verdict::AsExpected => Status::AsExpected,
        Verdict::Ahead => Status::Ahead,
        Verdict::TooFew => Status::TooFewReadings,
    }
}

fn estimate(expected: Expected) -> Estimate {
    Estimate { value: expected.mean, low: expected.low, high: expected.high }
}

/// Every reading with what the earlier ones predicted of it.
fn points(track: Track<'_>, yardstick: Option<&Yardstick<'_>>) -> Vec<ReadingPoint> {
    let point = |(position, (day, value)): (usize, (f64, f64))| {
        let expected = yardstick
            .filter(|_| position > 0)
            .and_then(|yardstick| yardstick.expected(&yardstick.known(track.first(position))?, day));
        ReadingPoint { day: day as i32, value, expected: expected.map(estimate) }
    };
    track.points().enumerate().map(point).collect()
}

/// Mean and band from the latest reading to the end of the endpoint window.
fn to_come(yardstick: &Yardstick<'_>, track: Track<'_>, until: f64) -> Vec<(f64, Estimate)> {
    let Some(((latest, _), known)) = track.last().zip(yardstick.known(track)) else { return Vec::new() };
    let first = latest.round() as i64 + 1;
    let days = (first..=until as i64).step_by(DAYS_APART).map(|day| day as f64);
    days.filter_map(|day| Some((day, estimate(yardstick.expected(&known, day)?)))).collect()
}

/// What to look for at the next visit: after the median gap between the readings so far, and not before the day after the
/// last visit.
fn next(yardstick: &Yardstick<'_>, track: Track<'_>, last_visit: i32) -> Option<NextReading> {
    let (latest, _) = track.last()?;
    let gaps: Vec<f64> = track.days.windows(2).filter_map(|pair| Some(pair.get(1)? - pair.first()?)).collect();
    let gap = Sorted::new(&gaps).map_or(USUAL_GAP_DAYS, |gaps| gaps.median()).max(1.0);
    let day = (latest + gap.round()).max(f64::from(last_visit) + 1.0);
    let known = yardstick.known(track)?;
    let bell: Bell = yardstick.bell(&known, day)?;
    Some(NextReading {
        day,
        expected: estimate(yardstick.expected(&known, day)?),
        good_news: yardstick.scale.score_beaten_by(bell, 1.0 - FIFTH),
        bad_news: yardstick.scale.score_beaten_by(bell, FIFTH),
    })
}
