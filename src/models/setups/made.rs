//! Invented visits for the tests of this folder.

use super::visits::SetupVisits;
use crate::catalogue::Region;
use crate::episodes::boundaries::cut;
use crate::episodes::episode::Episodes;
use crate::episodes::regions::Regions;
use crate::episodes::timeline::visit;
use crate::group::settings::EpisodeRules;
use crate::rows::names::Names;
use crate::rows::row::{NameId, Row};
use crate::visits::visits::Visits;
use mendcurve_stats::random::{standard_normal, stream, uniform};
use rand_chacha::ChaCha8Rng;

/// A group of visits with everything behind them.
pub(crate) struct Made {
    pub visits: Visits,
    pub episodes: Episodes,
    pub names: Names,
}

/// Where and when an invented visit is.
#[derive(Clone, Copy)]
pub(crate) struct At {
    pub site: usize,
    /// Of the site, from 0.
    pub clinician: usize,
    /// Of the site, from 0.
    pub table: usize,
    pub patient: usize,
    /// Of the patient, from 0.
    pub visit: usize,
    /// Days since 1970-01-01.
    pub day: i32,
}

/// What decides each visit's dose and setup.
pub(crate) struct Chance(ChaCha8Rng);

impl Chance {
    pub fn normal(&mut self) -> f64 {
        standard_normal(&mut self.0)
    }

    pub fn with(&mut self, p: f64) -> bool {
        uniform(&mut self.0) < p
    }
}

/// Sites of three clinicians and two tables, `patients` each with eight lumbar visits in four weeks, beginning evenly over a year;
/// `set` fills in dose and setup.
pub(crate) fn made(sites: usize, patients: usize, seed: u64, set: impl Fn(&mut Chance, At, &mut Row)) -> Made {
    let mut names = Names::default();
    let mut rows = Vec::new();
    for site in 0..sites {
        let site_name = names.sites.intern(&format!("Site {site}")).unwrap();
        let mut chance = Chance(stream(seed, site_name_key(site).as_bytes()));
        for patient in 0..patients {
            let name = names.patients.intern(&format!("p{site}-{patient}")).unwrap();
            for number in 0..8 {
                let day = 20_000 + (364 * patient / patients) as i32 + 4 * number as i32;
                let at =
                    At { site, clinician: patient % 3, table: (patient + number) % 2, patient, visit: number, day };
                let mut row = visit(day);
                row.site = site_name;
                row.patient = name;
                row.clinician = names.clinicians.intern(&format!("c{site}{}", at.clinician));
                row.table = names.tables.intern(&format!("t{site}{}", at.table));
                row.setup.region = Some(Region::Lumbar);
                set(&mut chance, at, &mut row);
                rows.push(row);
            }
        }
    }
    rows.sort_by_key(|row: &Row| (row.patient, row.when));
    let visits = Visits { rows, scores: Vec::new() };
    let regions = Regions::of(&crate::catalogue::Conditions::embedded().unwrap(), &names.codes);
    let episodes = cut(&visits, &regions, &EpisodeRules::default());
    Made { visits, episodes, names }
}

fn site_name_key(site: usize) -> String {
    format!("site {site}")
}

impl Made {
    pub fn seen(&self) -> SetupVisits<'_> {
        SetupVisits::of(&self.visits.rows, &self.episodes, &self.names)
    }

    /// The name of a unit, for messages: its site, clinician or table.
    pub fn unit(&self, seen: &SetupVisits<'_>, unit: super::visits::UnitId) -> String {
        let unit = seen.units.get(unit).unwrap();
        let name = |id: NameId| match unit.level {
            super::visits::Level::Table => self.names.tables.get(id).to_owned(),
            _ => self.names.clinicians.get(id).to_owned(),
        };
        unit.name.map_or_else(|| self.names.sites.get(unit.site).to_owned(), name)
    }
}
