//! Six ways to write the same thing: one file a site's dialect.
//!
//! Each dialect turns a site's visits and telephone readings into its exports. The mapping that
//! reads them back lies beside it in `mappings/`.

mod alderwick;
mod brindleford;
mod coldlarch;
mod dunnock_hill;
mod eastlow;
mod fennick_bridge;
mod follow_up;

use super::care::{Call, Episode, History, Visit};
use super::patient::Patient;
use super::plan::{ConditionPlan, PainSite, Plan, Region};
use super::scores::{Form, FormKind, Pain};
use super::setup::{Dose, Setup};
use super::sheet::{Cell, Export, Role, cell, plain};
use chrono::NaiveDate;

/// A visit with all that a row may say about it.
#[derive(Clone, Copy)]
pub struct VisitView<'a> {
    /// Who.
    pub patient: &'a Patient,
    /// The course of care.
    pub episode: &'a Episode,
    /// Number of the episode of the patient, from 1.
    pub episode_no: usize,
    /// For what.
    pub condition: &'a ConditionPlan,
    /// The visit.
    pub visit: &'a Visit,
    /// The patient's first treated day: the zero of day offsets.
    pub day_zero: NaiveDate,
    /// The last appointment of the episode.
    pub is_last: bool,
}

/// A reading outside a visit.
#[derive(Clone, Copy)]
pub struct CallView<'a> {
    /// Who.
    pub patient: &'a Patient,
    /// The reading.
    pub call: &'a Call,
}

/// What one site has recorded, by day and patient.
pub struct SiteRecords<'a> {
    /// Position of the site.
    pub site: usize,
    /// Appointments.
    pub visits: Vec<VisitView<'a>>,
    /// Telephone readings.
    pub calls: Vec<CallView<'a>>,
}

impl<'a> SiteRecords<'a> {
    /// Gathers what happened at a site, whoever's patients they were at first.
    pub fn gather(plan: &'a Plan, histories: &'a [History], site: usize) -> Self {
        let mut visits = Vec::new();
        let mut calls = Vec::new();
        for History { patient, episodes } in histories {
            let Some(day_zero) = episodes.iter().filter_map(Episode::first_day).min() else { continue };
            for (episode_no, episode) in (1..).zip(episodes) {
                let Some(condition) = plan.conditions.get(episode.condition) else { continue };
                let last = episode.visits.len().saturating_sub(1);
                for (i, visit) in episode.visits.iter().enumerate().filter(|(_, v)| v.site == site) {
                    visits.push(VisitView {
                        patient,
                        episode,
                        episode_no,
                        condition,
                        visit,
                        day_zero,
                        is_last: i == last,
                    });
                }
                calls.extend(episode.calls.iter().filter(|c| c.site == site).map(|call| CallView { patient, call }));
            }
        }
        // A stable order that no hash map has touched.
        visits.sort_by(|a, b| {
            (a.visit.date, &a.patient.key, a.episode_no).cmp(&(b.visit.date, &b.patient.key, b.episode_no))
        });
        calls.sort_by(|a, b| (a.call.date, &a.patient.key).cmp(&(b.call.date, &b.patient.key)));
        Self { site, visits, calls }
    }
}

/// The exports of a site in its own dialect.
pub fn exports(plan: &Plan, records: &SiteRecords) -> Vec<Export> {
    match plan.sites.get(records.site).map(|site| site.code.as_str()) {
        Some("A") => alderwick::exports(records),
        Some("B") => brindleford::exports(records),
        Some("C") => coldlarch::exports(records),
        Some("D") => dunnock_hill::exports(records, &plan.digits.clinician),
        Some("E") => eastlow::exports(records),
        Some("F") => fennick_bridge::exports(records),
        _ => vec![],
    }
}

/// The files that describe the group: path and text.
pub const SETTINGS: [(&str, &str); 13] = [
    ("group.toml", include_str!("group.toml")),
    ("mappings/shared.toml", include_str!("mappings/shared.toml")),
    ("mappings/alderwick.toml", include_str!("mappings/alderwick.toml")),
    ("mappings/brindleford.toml", include_str!("mappings/brindleford.toml")),
    ("mappings/coldlarch.toml", include_str!("mappings/coldlarch.toml")),
    ("mappings/dunnock-hill.toml", include_str!("mappings/dunnock-hill.toml")),
    ("mappings/eastlow.toml", include_str!("mappings/eastlow.toml")),
    ("mappings/fennick-bridge-visits.toml", include_str!("mappings/fennick-bridge-visits.toml")),
    ("mappings/fennick-bridge-readings.toml", include_str!("mappings/fennick-bridge-readings.toml")),
    ("mappings/follow-up.toml", include_str!("mappings/follow-up.toml")),
    ("mappings/follow-up-alderwick.toml", include_str!("mappings/follow-up-alderwick.toml")),
    ("mappings/follow-up-brindleford.toml", include_str!("mappings/follow-up-brindleford.toml")),
    ("mappings/follow-up-dunnock-hill.toml", include_str!("mappings/follow-up-dunnock-hill.toml")),
];

impl<'a> VisitView<'a> {
    fn dose(&self) -> Option<&'a Dose> {
        self.visit.treated.as_ref().map(|(dose, _)| dose)
    }

    fn setup(&self) -> Option<&'a Setup> {
        self.visit.treated.as_ref().map(|(_, setup)| setup)
    }

    fn attended(&self) -> bool {
        self.visit.treated.is_some()
    }

    /// A cell of the setup, empty for a no-show.
    fn of_setup(&self, f: impl Fn(&Setup) -> Cell) -> Cell {
        self.setup().map_or_else(|| plain(""), f)
    }

    /// A cell of the dose, empty for a no-show.
    fn of_dose(&self, f: impl Fn(&Dose) -> Cell) -> Cell {
        self.dose().map_or_else(|| plain(""), f)
    }

    /// The number of the visit, empty for a no-show.
    fn number(&self) -> Cell {
        plain(if self.attended() { self.visit.number.to_string() } else { String::new() })
    }

    /// How the episode ended, on its last row only.
    fn ended(&self) -> &'static str {
        if self.is_last { self.episode.ended_how } else { "" }
    }

    /// Pain where it is asked for, as 0-10.
    fn pain_number(&self, site: PainSite) -> Cell {
        let pain = self.visit.pains.iter().find(|p| p.site == site);
        cell(Role::Pain, pain.map_or_else(String::new, |p| p.number.to_string()))
    }

    /// The questionnaire of a kind, if it was filled in.
    fn form(&self, kind: FormKind) -> Option<&'a Form> {
        self.visit.form.as_ref().filter(|form| form.kind == kind)
    }
}

/// The columns of pain, in the order in which every wide dialect has them.
const PAIN_SITES: [PainSite; 4] = [PainSite::Back, PainSite::Leg, PainSite::Neck, PainSite::Arm];

/// A form of ten items in percent, `100 sum / (5 answered)`; none with fewer than 8 answered.
fn percent(form: &Form) -> Option<f64> {
    let answered = form.answered();
    (answered >= 8).then(|| 20.0 * f64::from(form.sum()) / answered as f64)
}

/// A form of ten items as points of 50; none when incomplete, as a sum by hand would be.
fn points(form: &Form) -> Option<u32> {
    form.complete().then(|| form.sum())
}

/// Yes or no in the site's words.
fn yes_no(answer: Option<bool>, words: [&str; 2]) -> Cell {
    let [yes, no] = words;
    plain(answer.map_or("", |a| if a { yes } else { no }))
}

/// The word of a region.
fn region(of: Region, words: [&str; 2]) -> Cell {
    let [lumbar, cervical] = words;
    plain(if of == Region::Lumbar { lumbar } else { cervical })
}

/// The site's own word for a canonical one.
fn own_word(canonical: &str, list: &[(&str, &'static str)]) -> &'static str {
    list.iter().find(|(word, _)| *word == canonical).map_or("", |(_, own)| own)
}

/// The site's words for pain somewhere, as a label of a long file.
fn pain_label(pain: &Pain, labels: [&'static str; 4]) -> &'static str {
    let labelled = PAIN_SITES.iter().zip(labels).find(|(site, _)| **site == pain.site);
    labelled.map_or("", |(_, label)| label)
}

/// Header texts from one string, split at `|`.
fn header(columns: &str) -> Vec<String> {
    columns.split('|').map(|name| name.trim().to_string()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample::care::simulate;

    #[test]
    fn every_row_of_every_dialect_fits_its_header() {
        let plan = Plan::shipped().unwrap();
        let all: Vec<History> = (0..6)
            .flat_map(|site| (0..30).map(move |n| (site, n)))
            .filter_map(|(s, n)| simulate(3, &plan, s, n))
            .collect();
        let mut visits = 0;
        for site in 0..6 {
            let records = SiteRecords::gather(&plan, &all, site);
            let files = exports(&plan, &records);
            assert!(!files.is_empty());
            for file in &files {
                assert!(!file.rows.is_empty(), "{}", file.path);
                for row in &file.rows {
                    assert_eq!(row.cells.len(), file.header.len(), "{}", file.path);
                }
                assert!(
                    SETTINGS.iter().any(|(path, _)| *path == format!("mappings/{}", file.mapping)),
                    "{}",
                    file.mapping
                );
            }
            visits += records.visits.len();
        }
        let drawn: usize = all.iter().flat_map(|h| &h.episodes).map(|e| e.visits.len()).sum();
        assert_eq!(visits, drawn, "every appointment is at one site");
    }

    #[test]
    fn every_column_a_mapping_names_is_in_its_export() {
        let plan = Plan::shipped().unwrap();
        let all: Vec<History> = (0..6)
            .flat_map(|site| (0..9).map(move |n| (site, n)))
            .filter_map(|(s, n)| simulate(3, &plan, s, n))
            .collect();
        for file in (0..6).flat_map(|site| exports(&plan, &SiteRecords::gather(&plan, &all, site))) {
            let mut named = Vec::new();
            columns_of(&toml::Value::Table(with_parents(file.mapping)), &mut named);
            for column in &named {
                assert!(file.header.contains(column), "{}: {column}", file.path);
            }
            for column in &file.header {
                assert!(named.contains(column), "{}: {column} is read, dropped or ignored", file.path);
            }
        }
    }

    /// A mapping with what it extends; the nearer file wins, key by key.
    fn with_parents(mapping: &str) -> toml::Table {
        let (_, text) = SETTINGS.iter().find(|(path, _)| *path == format!("mappings/{mapping}")).unwrap();
        let own: toml::Table = text.parse().unwrap();
        match own.get("extends").map(|v| with_parents(v.as_str().unwrap())) {
            Some(mut parent) => {
                merge(&mut parent, own);
                parent
            }
            None => own,
        }
    }

    fn merge(under: &mut toml::Table, over: toml::Table) {
        for (key, value) in over {
            match (under.get_mut(&key), value) {
                (Some(toml::Value::Table(below)), toml::Value::Table(above)) => merge(below, above),
                (_, value) => drop(under.insert(key, value)),
            }
        }
    }

    /// The source columns that a mapping names.
    fn columns_of(mapping: &toml::Value, named: &mut Vec<String>) {
        let text = |v: &toml::Value| v.as_str().map(str::to_string);
        if let Some(columns) = mapping.get("columns").and_then(|v| v.as_table()) {
            for value in columns.values() {
                named.extend(text(value));
                named.extend(value.get("column").and_then(text));
                named.extend(value.get("unit_column").and_then(text));
            }
        }
        for list in ["scores", "keep"] {
            for entry in mapping.get(list).and_then(|v| v.as_array()).into_iter().flatten() {
                named.extend(entry.get("column").and_then(text));
                named.extend(entry.get("items").and_then(|v| v.as_array()).into_iter().flatten().filter_map(text));
            }
        }
        for list in ["drop", "ignore"] {
            let columns = mapping.get(list).and_then(|v| v.get("columns")).and_then(|v| v.as_array());
            named.extend(columns.into_iter().flatten().filter_map(text));
        }
        for column in ["measure_column", "value_column"] {
            named.extend(mapping.get("readings").and_then(|v| v.get(column)).and_then(text));
        }
    }
}
