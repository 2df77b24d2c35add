//! How often something holds, by unit: visits counted, patients as clusters.

use super::visits::{Level, SetupVisit, SetupVisits, UnitId};
use crate::rows::row::NameId;
use mendcurve_stats::Level as Confidence;
use mendcurve_stats::clustered_share::{Cluster, design_effect, intraclass_correlation};
use mendcurve_stats::distribution::binomial_at_least;
use mendcurve_stats::interval::wilson;

/// Visits below which a unit is not tested.
pub const FEWEST_VISITS: u32 = 20;
/// Patients below which a unit is not tested.
pub const FEWEST_PATIENTS: u32 = 5;

/// What is counted of one unit.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct UnitShare {
    pub unit: UnitId,
    pub visits: u32,
    /// Of these, hits.
    pub hits: u32,
    pub patients: u32,
    /// Patients with a hit.
    pub with_hits: u32,
    /// Patients with a visit that is none.
    pub with_misses: u32,
    /// Variance of the share over that of independent visits, at least 1.
    pub design_effect: f64,
}

/// Hits by unit.
#[derive(Clone, PartialEq, Debug)]
pub struct Shares {
    /// The whole group; its unit means nothing.
    pub group: UnitShare,
    /// Units with a visit, in order.
    pub units: Vec<UnitShare>,
    /// Correlation between visits of one patient at one site.
    pub correlation: f64,
}

/// A unit held against others.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Held {
    /// Share of hits of the others: the other sites, or the rest of the site.
    pub reference: f64,
    /// Chance of as large a share of hits or a larger, if the unit were like them.
    pub p: f64,
}

impl Shares {
    /// Counts visits, each a hit or not, episode after episode.
    pub fn of<'a>(visits: &SetupVisits<'_>, marked: impl Iterator<Item = (&'a SetupVisit, bool)>) -> Self {
        let Tallies { of_units: tallies, whole } = Tallies::of(marked);
        let at_sites = tallies.iter().filter(|tally| is_site(visits, tally.unit));
        let clusters: Vec<Cluster> = at_sites.map(Tally::cluster).collect();
        let correlation = intraclass_correlation(&clusters).unwrap_or(0.0);
        let units = tallies
            .chunk_by(|a, b| a.unit == b.unit)
            .filter_map(|of_unit| Some(unit_share(of_unit.first()?.unit, of_unit, correlation)))
            .collect();
        Self { group: unit_share(UnitId::at(0), &whole, correlation), units, correlation }
    }

    pub fn unit(&self, unit: UnitId) -> Option<&UnitShare> {
        self.units.binary_search_by_key(&unit, |share| share.unit).ok().and_then(|i| self.units.get(i))
    }

    /// Holds a unit against the others: a site against the other sites, a clinician or table against the rest of its site. `None`
    /// with too few visits or patients on either side.
    ///
    /// One-sided, by the binomial tail at the share of unit and others together, counts divided by the unit's design effect.
    pub fn held(&self, visits: &SetupVisits<'_>, share: &UnitShare) -> Option<Held> {
        let whole = match visits.units.get(share.unit)?.level {
            Level::Site => &self.group,
            Level::Clinician | Level::Table => self.unit(visits.units.site_of(share.unit))?,
        };
        let (others, hits) = (whole.visits.checked_sub(share.visits)?, whole.hits.checked_sub(share.hits)?);
        if !share.is_enough() || others < FEWEST_VISITS {
            return None;
        }
        let pooled = f64::from(whole.hits) / f64::from(whole.visits);
        Some(Held { reference: f64::from(hits) / f64::from(others), p: share.tail(pooled)? })
    }
}

impl UnitShare {
    pub fn share(&self) -> f64 {
        f64::from(self.hits) / f64::from(self.visits.max(1))
    }

    /// Whether it has visits and patients enough to be tested.
    pub fn is_enough(&self) -> bool {
        self.visits >= FEWEST_VISITS && self.patients >= FEWEST_PATIENTS
    }

    /// Chance of as many hits or more, if each visit were one with chance `p`.
    pub fn tail(&self, p: f64) -> Option<f64> {
        binomial_at_least(f64::from(self.hits) / self.design_effect, f64::from(self.visits) / self.design_effect, p)
            .ok()
    }

    /// Wilson's 95 % interval of the share, with as many visits as would tell as much if they were independent.
    pub fn interval(&self, confidence: Confidence) -> Option<(f64, f64)> {
        let trials = (f64::from(self.visits) / self.design_effect).round().max(1.0);
        let interval = wilson((self.share() * trials).round() as u64, trials as u64, confidence).ok()?;
        Some((interval.low.min(self.share()), interval.high.max(self.share())))
    }
}

/// The visits of one patient at one unit.
#[derive(Clone, Copy, Debug)]
struct Tally {
    unit: UnitId,
    patient: NameId,
    visits: u32,
    hits: u32,
}

impl Tally {
    fn cluster(&self) -> Cluster {
        Cluster { unit: self.unit.position(), size: f64::from(self.visits), hits: f64::from(self.hits) }
    }
}

fn is_site(visits: &SetupVisits<'_>, unit: UnitId) -> bool {
    visits.units.get(unit).is_some_and(|unit| unit.level == Level::Site)
}

/// The tallies of each unit and of the group, each in order of unit and patient, one a unit and patient.
struct Tallies {
    of_units: Vec<Tally>,
    whole: Vec<Tally>,
}

impl Tallies {
    /// Visits of one patient mostly follow one another: each such stretch is counted as it goes by, so that only the few counts of
    /// stretches are left to sort.
    fn of<'a>(marked: impl Iterator<Item = (&'a SetupVisit, bool)>) -> Self {
        let (mut of_units, mut whole): (Vec<Tally>, Vec<Tally>) = (Vec::new(), Vec::new());
        let mut begin = 0; // of the stretch among the tallies of units
        for (visit, hit) in marked {
            if whole.last().is_none_or(|last| last.patient != visit.patient) {
                begin = of_units.len();
                whole.push(Tally { unit: UnitId::at(0), patient: visit.patient, visits: 0, hits: 0 });
            }
            for unit in [Some(visit.site), visit.clinician, visit.table].into_iter().flatten() {
                let stretch = of_units.get_mut(begin..).unwrap_or_default();
                match stretch.iter_mut().find(|tally| tally.unit == unit) {
                    Some(tally) => tally.count(hit),
                    None => of_units.push(Tally { unit, patient: visit.patient, visits: 1, hits: u32::from(hit) }),
                }
            }
            if let Some(last) = whole.last_mut() {
                last.count(hit);
            }
        }
        Self { of_units: joined(of_units), whole: joined(whole) }
    }
}

impl Tally {
    fn count(&mut self, hit: bool) {
        self.visits += 1;
        self.hits += u32::from(hit);
    }
}

/// Sorted by unit and patient, the tallies of one unit and patient as one.
fn joined(mut tallies: Vec<Tally>) -> Vec<Tally> {
    tallies.sort_unstable_by_key(|tally| (tally.unit, tally.patient));
    tallies.dedup_by(|next, kept| {
        let same = (next.unit, next.patient) == (kept.unit, kept.patient);
        if same {
            kept.visits += next.visits;
            kept.hits += next.hits;
        }
        same
    });
    tallies
}

fn unit_share(unit: UnitId, tallies: &[Tally], correlation: f64) -> UnitShare {
    UnitShare {
        unit,
        visits: tallies.iter().map(|tally| tally.visits).sum(),
        hits: tallies.iter().map(|tally| tally.hits).sum(),
        patients: tallies.len() as u32,
        with_hits: tallies.iter().filter(|tally| tally.hits > 0).count() as u32,
        with_misses: tallies.iter().filter(|tally| tally.hits < tally.visits).count() as u32,
        design_effect: design_effect(tallies.iter().map(|tally| f64::from(tally.visits)), correlation),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn visit(patient: u32, site: usize, clinician: Option<usize>) -> SetupVisit {
        SetupVisit {
            row: 0,
            episode: 0,
            patient: NameId(std::num::NonZeroU32::new(patient).unwrap()),
            condition: None,
            region: None,
            day: None,
            site: UnitId::at(site),
            clinician: clinician.map(UnitId::at),
            table: None,
        }
    }

    #[test]
    fn a_patient_who_comes_back_after_others_is_still_one() {
        let marked = [
            (visit(7, 0, Some(2)), true),
            (visit(7, 0, Some(3)), false),
            (visit(7, 1, None), true),
            (visit(4, 0, Some(2)), false),
            (visit(7, 0, Some(2)), true),
        ];
        let Tallies { of_units, whole } = Tallies::of(marked.iter().map(|(visit, hit)| (visit, *hit)));
        let counts = |tallies: &[Tally]| -> Vec<(usize, u32, u32, u32)> {
            tallies.iter().map(|t| (t.unit.position(), t.patient.0.get(), t.visits, t.hits)).collect()
        };
        assert_eq!(
            counts(&of_units),
            [(0, 4, 1, 0), (0, 7, 3, 2), (1, 7, 1, 1), (2, 4, 1, 0), (2, 7, 2, 2), (3, 7, 1, 0)]
        );
        assert_eq!(counts(&whole), [(0, 4, 1, 0), (0, 7, 4, 3)]);
    }
}
