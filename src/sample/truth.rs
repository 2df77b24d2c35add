//! What was invented, for tests to compare with what the program finds. Nothing but tests reads it.

use super::broken_rows::{Account, expected};
use super::care::{Episode, History};
use super::course::Course;
use super::dialects::SiteRecords;
use super::plan::{Plan, Region};
use super::sheet::{Export, Fault, Role, Written};
use serde::Serialize;
use std::collections::BTreeMap;

/// The whole truth of a sample.
#[derive(Serialize)]
pub struct Truth {
    note: &'static str,
    seed: u64,
    patients: usize,
    episodes: usize,
    sites: Vec<SiteTruth>,
    files: Vec<FileTruth>,
    conditions: Vec<ConditionTruth>,
    cases: Cases,
}

/// One site: counts, and what is wrong with it on purpose.
#[derive(Serialize)]
struct SiteTruth {
    name: String,
    /// Patients whose care began here.
    patients: usize,
    /// Episodes that began here.
    episodes: usize,
    /// Appointments at this site, kept or not, also of patients who moved here.
    appointments: usize,
    attended: usize,
    no_shows: usize,
    telephone_days: usize,
    /// True pain at day 0 and 42, mean over the episodes that began here.
    true_pain_day_0: f64,
    true_pain_day_42: f64,
    /// Share of episodes given up in a bad state (by score-linked leaving).
    lost_or_stopped_share: f64,
    planted: Vec<serde_json::Value>,
}

/// One file: its rows and the account that a reader owes.
#[derive(Serialize)]
pub struct FileTruth {
    path: String,
    site: String,
    rows_read: usize,
    rows_kept: usize,
    rows_duplicate: usize,
    rows_rejected: usize,
    rows_left_out: usize,
    cells_blanked: usize,
    /// Read rows with a code that was not valid on its day.
    retired_code_rows: usize,
    /// Forms of the visits drawn, by measure and items answered (copies of broken rows not counted).
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    forms_by_items_answered: BTreeMap<String, usize>,
    planted: Vec<PlantedTruth>,
}

#[derive(Serialize)]
struct PlantedTruth {
    line: u64,
    fault: Fault,
    column: Option<String>,
    account: Account,
    reason: Option<String>,
    /// Line of the row it was copied from.
    #[serde(skip_serializing_if = "Option::is_none")]
    copy_of_line: Option<u64>,
}

/// One condition: its episodes and the true mean course.
#[derive(Serialize)]
struct ConditionTruth {
    id: String,
    region: Region,
    episodes: usize,
    course: Vec<CoursePoint>,
}

#[derive(Serialize)]
struct CoursePoint {
    day: u32,
    pain: f64,
    disability: f64,
}

/// Cases that a reader must cope with, counted, with a key to look at.
#[derive(Serialize)]
struct Cases {
    two_sites_one_day: Vec<SameDay>,
    moved_between_sites: Vec<String>,
    second_episode_of_a_region: Vec<String>,
    lumbar_and_cervical_at_once: Vec<String>,
    open_episodes: usize,
    first_visit_without_pain: usize,
    visits_without_reading: usize,
    caution_codes: Vec<String>,
}

#[derive(Serialize)]
struct SameDay {
    patient: String,
    date: String,
    sites: [String; 2],
}

impl Truth {
    /// Gathers the truth.
    pub fn of(seed: u64, plan: &Plan, histories: &[History], records: &[SiteRecords], files: Vec<FileTruth>) -> Self {
        Self {
            note: "Invented data. For tests only: the program must not read this folder.",
            seed,
            patients: histories.len(),
            episodes: histories.iter().map(|h| h.episodes.len()).sum(),
            sites: records.iter().filter_map(|r| site(plan, histories, r)).collect(),
            files,
            conditions: conditions(plan, histories),
            cases: cases(plan, histories),
        }
    }

    /// One line an episode: `patient,episode,...`, in the order of sites and patients.
    pub fn episodes_csv(plan: &Plan, histories: &[History]) -> String {
        let mut text = String::from(
            "patient,episode,site,condition,onset,kind,first_day,treated_visits,planned,ended_how,baseline,plateau,half_time_days,\
             pain_day_0,pain_day_28,pain_day_84,disability_day_0,disability_day_84\n",
        );
        for (history, (number, episode)) in histories.iter().flat_map(|h| (1..).zip(&h.episodes).map(move |e| (h, e))) {
            let (Some(site), Some(condition), Some(first)) =
                (plan.sites.get(history.patient.home), plan.conditions.get(episode.condition), episode.first_day())
            else {
                continue;
            };
            let c = &episode.course;
            let treated = episode.visits.iter().filter(|v| v.treated.is_some()).count();
            text += &format!(
                "{},{number},{},{},{},{},{first},{treated},{},{},{:.2},{:.2},{:.1},{:.2},{:.2},{:.2},{:.1},{:.1}\n",
                history.patient.key,
                site.name,
                condition.id,
                episode.onset.word(),
                c.kind.word(),
                episode.planned,
                episode.ended_how,
                c.baseline,
                c.plateau,
                c.half_time,
                c.pain(0.0),
                c.pain(28.0),
                c.pain(84.0),
                c.disability(0.0),
                c.disability(84.0),
            );
        }
        text
    }
}

/// The account a file must give.
pub fn file(plan: &Plan, export: &Export, written: &Written) -> FileTruth {
    let site = plan.sites.get(export.site).map_or("", |s| s.name.as_str());
    let one_row_a_visit = export.treated && !export.header.iter().any(|h| h == "Scale");
    let line_of = |number: usize| {
        export.rows.iter().zip(&written.lines).find(|(row, _)| row.number == Some(number)).map(|(_, line)| *line)
    };
    let planted: Vec<PlantedTruth> = export
        .rows
        .iter()
        .zip(&written.lines)
        .filter_map(|(row, line)| {
            let planted = row.planted.as_ref()?;
            let (account, reason) = expected(planted.kind, site == "Eastlow", one_row_a_visit);
            Some(PlantedTruth {
                line: *line,
                fault: planted.kind,
                column: planted.column.and_then(|c| export.header.get(c)).cloned(),
                account,
                reason: reason.map(|r| r.to_string()),
                copy_of_line: planted.copy_of.and_then(line_of),
            })
        })
        .collect();
    let count = |of: &[Account]| planted.iter().filter(|p| of.contains(&p.account)).count();
    let duplicate = count(&[Account::DuplicateExact, Account::DuplicateDiffering]);
    let rejected = count(&[Account::Rejected, Account::LeftOut]);
    FileTruth {
        path: export.path.clone(),
        site: site.into(),
        rows_read: export.rows.len(),
        rows_kept: export.rows.len() - duplicate - rejected,
        rows_duplicate: duplicate,
        rows_rejected: rejected,
        rows_left_out: count(&[Account::LeftOut]),
        cells_blanked: count(&[Account::CellBlanked]),
        retired_code_rows: retired_code_rows(plan, export),
        forms_by_items_answered: BTreeMap::new(),
        planted,
    }
}

impl FileTruth {
    /// Adds the counts of forms by items answered, for a file of item columns.
    pub fn with_forms(mut self, records: &SiteRecords, per_item: &[&str]) -> Self {
        for form in records.visits.iter().filter_map(|v| v.visit.form.as_ref()) {
            if per_item.contains(&form.kind.id()) {
                *self
                    .forms_by_items_answered
                    .entry(format!("{} {:02}", form.kind.id(), form.answered()))
                    .or_insert(0) += 1;
            }
        }
        self
    }
}

/// Rows that reach the reading of codes and hold a retired one.
fn retired_code_rows(plan: &Plan, export: &Export) -> usize {
    let retired: Vec<String> = plan
        .conditions
        .iter()
        .flat_map(|c| c.retired.iter().chain(&c.retired_beside))
        .map(|c| c.replace('.', ""))
        .collect();
    let lost = |kind| matches!(expected(kind, false, true).0, Account::Rejected | Account::LeftOut);
    let read = export.rows.iter().filter(|row| !row.planted.as_ref().is_some_and(|p| lost(p.kind)));
    read.filter(|row| {
        let cell = row.place_of(Role::Codes).and_then(|c| row.cells.get(c));
        cell.is_some_and(|cell| {
            cell.text.replace('.', "").split([' ', ',', ';']).any(|code| retired.iter().any(|r| r == code))
        })
    })
    .count()
}

fn site(plan: &Plan, histories: &[History], records: &SiteRecords) -> Option<SiteTruth> {
    let site = plan.sites.get(records.site)?;
    let own: Vec<&Episode> =
        histories.iter().filter(|h| h.patient.home == records.site).flat_map(|h| &h.episodes).collect();
    let attended = records.visits.iter().filter(|v| v.visit.treated.is_some()).count();
    let lost = own.iter().filter(|e| matches!(e.ended_how, "lost" | "stopped early" | "referred on")).count();
    Some(SiteTruth {
        name: site.name.clone(),
        patients: histories.iter().filter(|h| h.patient.home == records.site).count(),
        episodes: own.len(),
        appointments: records.visits.len(),
        attended,
        no_shows: records.visits.len() - attended,
        telephone_days: records.calls.len(),
        true_pain_day_0: mean(own.iter().map(|e| e.course.pain(0.0))),
        true_pain_day_42: mean(own.iter().map(|e| e.course.pain(42.0))),
        lost_or_stopped_share: round2(lost as f64 / own.len().max(1) as f64),
        planted: planted_at(plan, &site.name),
    })
}

/// The faults planted at a site, with their parameters.
fn planted_at(plan: &Plan, name: &str) -> Vec<serde_json::Value> {
    use serde_json::json;
    let Some(site) = plan.sites.iter().find(|s| s.name == name) else { return vec![] };
    let mut planted = Vec::new();
    if site.half_time_factor < 1.0 {
        planted.push(json!({ "kind": "better at equal case mix", "half_time_factor": site.half_time_factor, "plateau_factor": site.plateau_factor }));
    }
    if site.leave_when_bad > 0.1 {
        planted.push(json!({ "kind": "loses its worst patients", "chance_a_visit_of_leaving_at_pain_10": site.leave_when_bad, "elsewhere": 0.05 }));
    }
    if site.severity > 0.0 {
        planted.push(json!({ "kind": "treats worse patients (no fault)", "added_pain": site.severity, "persistent_share": round2(1.0 - site.acute - site.subacute) }));
    }
    let mut add = |kind: &str, at: &str, fault: serde_json::Result<serde_json::Value>| {
        if let (true, Ok(parameters)) = (at == name, fault) {
            planted.push(json!({ "kind": kind, "parameters": parameters }));
        }
    };
    add(
        "return tension too high",
        &plan.return_tension_too_high.site,
        serde_json::to_value(&plan.return_tension_too_high),
    );
    add("setup entries copied forward", &plan.copied_forward.site, serde_json::to_value(&plan.copied_forward));
    add("drift of the split gap on one table", &plan.drifting.site, serde_json::to_value(&plan.drifting));
    add("pain on the line in whole tens by one clinician", &plan.digits.site, serde_json::to_value(&plan.digits));
    planted
}

fn conditions(plan: &Plan, histories: &[History]) -> Vec<ConditionTruth> {
    plan.conditions
        .iter()
        .enumerate()
        .map(|(i, condition)| {
            let courses: Vec<&Course> =
                histories.iter().flat_map(|h| &h.episodes).filter(|e| e.condition == i).map(|e| &e.course).collect();
            let point = |day: u32| CoursePoint {
                day,
                pain: mean(courses.iter().map(|c| c.pain(f64::from(day)))),
                disability: mean(courses.iter().map(|c| c.disability(f64::from(day)))),
            };
            ConditionTruth {
                id: condition.id.clone(),
                region: condition.region,
                episodes: courses.len(),
                course: (0..=12).map(|week| point(7 * week)).collect(),
            }
        })
        .collect()
}

fn cases(plan: &Plan, histories: &[History]) -> Cases {
    let region = |e: &Episode| plan.conditions.get(e.condition).map(|c| c.region);
    let keys = |wanted: &dyn Fn(&History) -> bool| -> Vec<String> {
        histories.iter().filter(|h| wanted(h)).map(|h| h.patient.key.clone()).collect()
    };
    let two = |h: &History, same: bool| matches!(h.episodes.as_slice(), [a, b] if (region(a) == region(b)) == same);
    let episodes = || histories.iter().flat_map(|h| &h.episodes);
    let visits = || episodes().flat_map(|e| &e.visits).filter(|v| v.treated.is_some());
    let name = |site: usize| plan.sites.get(site).map_or_else(String::new, |s| s.name.clone());
    let same_days = histories.iter().flat_map(|h| {
        h.episodes.iter().flat_map(|e| e.visits.windows(2)).filter_map(|pair| {
            let [a, b] = pair else { return None };
            let both = a.date == b.date && a.site != b.site;
            both.then(|| SameDay {
                patient: h.patient.key.clone(),
                date: a.date.to_string(),
                sites: [name(a.site), name(b.site)],
            })
        })
    });
    Cases {
        two_sites_one_day: same_days.collect(),
        moved_between_sites: keys(&|h| h.episodes.iter().any(|e| e.moved_to.is_some())),
        second_episode_of_a_region: keys(&|h| two(h, true)),
        lumbar_and_cervical_at_once: keys(&|h| two(h, false)),
        open_episodes: episodes().filter(|e| e.ended_how == "ongoing").count(),
        first_visit_without_pain: episodes().filter(|e| e.visits.first().is_some_and(|v| v.pains.is_empty())).count(),
        visits_without_reading: visits().filter(|v| v.pains.is_empty() && v.form.is_none()).count(),
        caution_codes: keys(&|h| h.episodes.iter().flat_map(|e| &e.codes).any(|c| c == "M51.06" || c == "M50.00")),
    }
}

/// Mean to two decimals; 0 of nothing.
fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let (sum, n) = values.fold((0.0, 0.0), |(sum, n), value| (sum + value, n + 1.0));
    if n > 0.0 { round2(sum / n) } else { 0.0 }
}

fn round2(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}
