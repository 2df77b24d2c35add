//! One episode of one patient, visit by visit: who treats, on which table, how, what is asked, and when the
//! patient stays away.

use super::care::{Call, Episode, Visit};
use super::course::Course;
use super::draw::Draw;
use super::patient::{Onset, Patient};
use super::plan::{ConditionPlan, Plan, Region, SitePlan};
use super::schedule::{Leaving, Schedule, leaves};
use super::scores::{FormKind, ask_pain, fill_form};
use super::setup::{Dose, Regimen, Setup, Where};
use chrono::{Days, Duration, NaiveDate};

/// What an episode is drawn for.
pub struct Start {
    /// Position of the condition.
    pub condition: usize,
    /// How long ago it began.
    pub onset: Onset,
    /// First day.
    pub first: NaiveDate,
    /// Site the patient moves to after some visits.
    pub moved_to: Option<usize>,
    /// The patient never leaves early and is seen at both sites on the day of the move.
    pub meets_both: bool,
}

/// What stays the same through an episode.
struct Constant<'a> {
    seed: u64,
    plan: &'a Plan,
    patient: &'a Patient,
    home: &'a SitePlan,
    condition: &'a ConditionPlan,
    start: &'a Start,
    course: Course,
    regimen: Regimen,
    form: FormKind,
    /// The second site's share of the main pain.
    second_share: f64,
    own_clinician: i64,
    own_table: i64,
    /// Treated visits before the move.
    move_after: usize,
    /// Whether pain, and the questionnaire, are asked at the first visit.
    asked_first: (bool, bool),
}

/// What changes from visit to visit.
struct Progress {
    visits: Vec<Visit>,
    /// Treated visits so far.
    number: usize,
    last_pain: Option<f64>,
    /// Days on which a questionnaire is still due, latest first.
    forms_due: Vec<u64>,
}

/// Draws one episode; `None` when it would start after the last day.
pub fn episode(draw: &mut Draw, seed: u64, plan: &Plan, patient: &Patient, start: &Start) -> Option<Episode> {
    let condition = plan.conditions.get(start.condition)?;
    let home = plan.sites.get(patient.home)?;
    let constant = Constant {
        seed,
        plan,
        patient,
        home,
        condition,
        start,
        course: Course::draw(draw, condition, start.onset, patient, home),
        regimen: Regimen::draw(draw, condition.region, condition.id == "lumbar_stenosis", home.intermittent_only),
        form: FormKind::of(condition.region, &home.name),
        second_share: draw.between(0.35, 0.95),
        own_clinician: draw.whole(1, home.clinicians),
        own_table: draw.whole(1, home.tables),
        move_after: usize::try_from(draw.whole(5, 7)).unwrap_or(6),
        asked_first: (draw.chance(0.94), draw.chance(0.88)),
    };
    let schedule = Schedule::draw(draw, start.first, start.onset == Onset::Persistent);
    let codes = codes(draw, condition);
    let onset_days = start.onset.days(draw);

    let mut progress = Progress { visits: vec![], number: 0, last_pain: None, forms_due: vec![84, 42, 28, 14] };
    let mut leaving = None;
    for (i, day) in schedule.days.iter().enumerate() {
        let date = start.first.checked_add_days(Days::new(*day))?;
        if date > plan.last_day {
            break;
        }
        let no_show = constant.appointment(draw, &mut progress, date, *day, i + 1 == schedule.planned)?;
        if no_show {
            continue;
        }
        leaving = leaves(draw, home, progress.number, progress.last_pain.unwrap_or(5.0)).filter(|_| !start.meets_both);
        if leaving.is_some() {
            break;
        }
    }
    let mut visits = progress.visits;
    if start.meets_both {
        visit_both_sites_on_one_day(&mut visits, patient.home);
    }
    visits.first()?;
    let planned_end = start.first.checked_add_days(Days::new(schedule.days.last().copied().unwrap_or(0)))?;
    let ended_how = ended_how(draw, leaving, planned_end > plan.last_day);
    let calls = constant.calls(draw, &visits, leaving);
    Some(Episode {
        condition: start.condition,
        codes,
        onset: start.onset,
        onset_days,
        course: constant.course,
        planned: schedule.planned,
        moved_to: start.moved_to.filter(|to| visits.iter().any(|v| v.site == *to)),
        visits,
        calls,
        ended_how,
    })
}

impl Constant<'_> {
    /// One appointment; `true` when nobody came. `None` never happens with a sound plan.
    fn appointment(
        &self,
        draw: &mut Draw,
        so_far: &mut Progress,
        date: NaiveDate,
        day: u64,
        is_last: bool,
    ) -> Option<bool> {
        let moved = self.start.moved_to.filter(|_| so_far.number >= self.move_after);
        let site_no = moved.unwrap_or(self.patient.home);
        let site = self.plan.sites.get(site_no)?;
        let own = moved.is_none();
        let clinician = if own && draw.chance(0.88) { self.own_clinician } else { draw.whole(1, site.clinicians) };
        let table = if own && draw.chance(0.75) { self.own_table } else { draw.whole(1, site.tables) };
        let (clinician, table) = (format!("{}C{clinician}", site.code), format!("{}T{table}", site.code));
        let mut visit = Visit {
            site: site_no,
            date,
            number: 0,
            clinician,
            table,
            treated: None,
            pains: vec![],
            form: None,
            adverse: false,
        };
        if !so_far.visits.is_empty() && draw.chance(0.05) {
            so_far.visits.push(visit);
            return Some(true);
        }
        so_far.number += 1;
        visit.number = so_far.number;
        self.ask(draw, so_far, &mut visit, day, is_last, site.pain_each_visit);
        visit.treated = Some(self.treat(draw, &so_far.visits, &visit, site));
        visit.adverse = draw.chance(0.006);
        so_far.visits.push(visit);
        Some(false)
    }

    /// The readings of a visit.
    fn ask(
        &self,
        draw: &mut Draw,
        so_far: &mut Progress,
        visit: &mut Visit,
        day: u64,
        is_last: bool,
        pain_each_visit: f64,
    ) {
        let (pain_first, form_first) = self.asked_first;
        let (first, t) = (visit.number == 1, day as f64);
        if if first { pain_first } else { draw.chance(if is_last { 0.9 } else { pain_each_visit }) } {
            visit.pains = ask_pain(draw, &self.course, self.condition, t, self.second_share);
        }
        if let Some(pain) = visit.pains.first() {
            so_far.last_pain = Some(f64::from(pain.number));
        }
        let due = form_due(visit.number, day, is_last, &mut so_far.forms_due);
        if due && if first { form_first } else { draw.chance(0.84) } {
            visit.form = Some(fill_form(draw, self.form, self.course.disability(t)));
        }
    }

    /// Dose and setup of a visit, or those of the visit before where copying is planted.
    fn treat(&self, draw: &mut Draw, before: &[Visit], visit: &Visit, site: &SitePlan) -> (Dose, Setup) {
        let dose = self.regimen.dose(draw, self.patient, visit.number);
        let place = Where {
            seed: self.seed,
            plan: self.plan,
            site,
            table: &visit.table,
            clinician: &visit.clinician,
            region: self.condition.region,
            date: visit.date,
        };
        let setup = self.regimen.setup(draw, &place, dose.peak_n);
        let last = before.iter().rev().find(|v| v.treated.is_some());
        copied(draw, self.plan, site, &visit.clinician, last).unwrap_or((dose, setup))
    }

    /// Telephone readings: now and then a baseline before the first visit, and one at 12 weeks. Those who
    /// left in a bad state seldom answer.
    fn calls(&self, draw: &mut Draw, visits: &[Visit], leaving: Option<Leaving>) -> Vec<Call> {
        let (before, late) = (draw.whole(1, 7), draw.whole(76, 88));
        let reached = if leaving == Some(Leaving::Bad) { 0.3 * self.home.called } else { self.home.called };
        let wanted = [(draw.chance(0.06) && self.home.called > 0.0, -before), (draw.chance(reached), late)];
        let mut calls = Vec::new();
        for (asked, day) in wanted {
            let t = day as f64;
            let pains = ask_pain(draw, &self.course, self.condition, t, self.second_share);
            let form = draw.chance(0.8).then(|| fill_form(draw, self.form, self.course.disability(t)));
            let date = self.start.first + Duration::days(day);
            let came = visits.iter().any(|v| v.date == date); // nobody telephones who is there
            if asked && !came && date >= self.plan.first_day && date <= self.plan.last_day {
                calls.push(Call { site: self.patient.home, date, pains, form });
            }
        }
        calls
    }
}

/// Whether a questionnaire is due: at the first visit, at the last planned one, and at the first
/// visit on or after each due day (`due`, latest first).
fn form_due(number: usize, day: u64, is_last: bool, due: &mut Vec<u64>) -> bool {
    let mut now = number == 1 || is_last;
    while due.last().is_some_and(|d| *d <= day) {
        due.pop();
        now = true;
    }
    now
}

/// The planted copying: the last visit's dose and setup again, whatever was done today.
fn copied(
    draw: &mut Draw,
    plan: &Plan,
    site: &SitePlan,
    clinician: &str,
    before: Option<&Visit>,
) -> Option<(Dose, Setup)> {
    let fault = &plan.copied_forward;
    let here = site.name == fault.site && fault.clinicians.iter().any(|c| c == clinician);
    if !here || !draw.chance(fault.share) {
        return None;
    }
    before.and_then(|visit| visit.treated.clone())
}

/// Repeats the last visit at the old site as a visit at the new one on the same day.
fn visit_both_sites_on_one_day(visits: &mut [Visit], home: usize) {
    let Some(first_away) = visits.iter().position(|v| v.site != home) else { return };
    let day =
        visits.get(..first_away).and_then(|before| before.iter().rev().find(|v| v.treated.is_some())).map(|v| v.date);
    if let (Some(day), Some(visit)) = (day, visits.get_mut(first_away)) {
        visit.date = day;
        visit.pains.clear();
        visit.form = None;
    }
}

/// How the record says that the episode ended.
fn ended_how(draw: &mut Draw, leaving: Option<Leaving>, unfinished: bool) -> &'static str {
    match leaving {
        Some(Leaving::Well) => draw.one_of("completed", &["stopped early"]),
        Some(Leaving::Bad) => draw.one_of("lost", &["stopped early", "referred on", "lost"]),
        Some(Leaving::Other) => draw.one_of("lost", &["stopped early"]),
        None if unfinished => "ongoing",
        None => "completed",
    }
}

/// Codes as a site of codes writes them: one, sometimes two; a few retired; rarely a caution code.
fn codes(draw: &mut Draw, condition: &ConditionPlan) -> Vec<String> {
    let valid = condition.codes.get(draw.weighted(condition.codes.iter().map(|_| 1.0)));
    let retired = condition.retired.get(draw.weighted(condition.retired.iter().map(|_| 1.0)));
    let mistaken = draw.chance(0.05);
    let main = if mistaken { retired.or(valid) } else { valid };
    let mut codes: Vec<String> = main.into_iter().cloned().collect();
    codes.extend(condition.retired_beside.clone().filter(|_| mistaken));
    if draw.chance(0.15) {
        let second = if condition.region == Region::Lumbar { "M62.830" } else { "M62.838" }; // muscle spasm
        codes.push(second.into());
    }
    if draw.chance(0.008) {
        codes.push(if condition.region == Region::Lumbar { "M51.06" } else { "M50.00" }.into());
    }
    codes
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_questionnaire_is_due_once_for_each_day_and_late_ones_fall_together() {
        let mut due = vec![84, 42, 28, 14];
        let asked: Vec<bool> = [(1, 0), (2, 5), (3, 14), (4, 16), (5, 50), (6, 57)]
            .map(|(n, day)| form_due(n, day, false, &mut due))
            .into();
        assert_eq!(asked, [true, false, true, false, true, false]);
        assert_eq!(due, [84]);
        assert!(form_due(7, 60, true, &mut due), "and at the last planned visit");
    }

    #[test]
    fn a_retired_code_stands_instead_of_a_valid_one_or_beside_it() {
        let plan = Plan::shipped().unwrap();
        let mut draw = Draw::keyed(6, &["codes"]);
        let mut take = |condition: usize| -> Vec<Vec<String>> {
            (0..400).map(|_| codes(&mut draw, &plan.conditions[condition])).collect()
        };
        let with = |all: &[Vec<String>], code: &str| all.iter().filter(|c| c.iter().any(|c| c == code)).count();
        let (disc, back) = (take(0), take(1));
        assert!((5..50).contains(&with(&disc, "M51.36")) && (5..50).contains(&with(&back, "M54.5")));
        assert!(disc.iter().filter(|c| c.iter().any(|c| c == "M51.36")).all(|c| c.len() > 1));
    }
}
