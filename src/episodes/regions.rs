//! Which region of the spine a row is about.

use crate::catalogue::{ConditionId, Conditions, Region};
use crate::rows::names::NameList;
use crate::rows::row::{NameId, Row};

/// Regions of conditions and of code cells, looked up once a run.
#[derive(Clone, PartialEq, Eq, Default, Debug)]
pub struct Regions {
    pub(super) of_condition: Vec<Region>,
    /// By the number of the code cell, less one.
    pub(super) of_codes: Vec<Option<Region>>,
}

impl Regions {
    /// The regions of a run's conditions and of the code cells its exports hold.
    pub fn of(conditions: &Conditions, codes: &NameList) -> Self {
        let region = |id| conditions.get(id).region;
        Self {
            of_condition: conditions.iter().map(|(_, condition)| condition.region).collect(),
            of_codes: codes.iter().map(|(_, cell)| conditions.parse_cell(cell, None).condition.map(region)).collect(),
        }
    }

    /// The region a condition belongs to.
    pub fn condition(&self, id: ConditionId) -> Option<Region> {
        self.of_condition.get(usize::from(id.0)).copied()
    }

    /// The region a code cell points to.
    pub fn codes(&self, id: NameId) -> Option<Region> {
        self.of_codes.get(id.0.get() as usize - 1).copied().flatten()
    }

    /// The region a row states: of its set-up, else of its condition, else of its codes.
    pub fn stated(&self, row: &Row) -> Option<Region> {
        row.setup.region.or_else(|| self.condition(row.condition?)).or_else(|| self.codes(row.icd10?))
    }

    /// The region of each of a patient's rows on one clock, in order of day: the one it states, else that
    /// of the nearest earlier row that states one, else the only region the patient has, else none.
    pub fn resolve(&self, rows: &[Row], into: &mut Vec<Option<Region>>) {
        into.clear();
        into.extend(rows.iter().map(|row| self.stated(row)));
        let mut stated = into.iter().flatten();
        let first = stated.next().copied();
        let only = first.filter(|first| stated.all(|other| other == first));
        let mut latest = only;
        for region in into {
            latest = region.or(latest);
            *region = latest;
        }
    }
}

/// Whether an outcome of one region may be followed in care of another: equal, or either not known, or care of another
/// part of the spine, which none of the known outcomes is made for.
pub fn fits(outcome: Option<Region>, care: Option<Region>) -> bool {
    outcome.is_none() || care.is_none() || care == Some(Region::Other) || outcome == care
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_and_conditions_lead_to_a_region() {
        let conditions = Conditions::embedded().unwrap();
        let mut cells = NameList::default();
        let radicular = cells.intern("M54.12").unwrap();
        let unknown = cells.intern("no code").unwrap();
        let stenosis = cells.intern("X99; m48061").unwrap();
        let regions = Regions::of(&conditions, &cells);
        assert_eq!(regions.codes(radicular), Some(Region::Cervical));
        assert_eq!(regions.codes(unknown), None);
        assert_eq!(regions.codes(stenosis), Some(Region::Lumbar));
        assert_eq!(regions.condition(conditions.find("lumbar_stenosis").unwrap()), Some(Region::Lumbar));
        assert_eq!(regions.condition(ConditionId(u16::MAX)), None);
    }

    #[test]
    fn an_outcome_fits_care_of_its_region_and_care_that_is_not_known() {
        let (lumbar, cervical) = (Some(Region::Lumbar), Some(Region::Cervical));
        assert!(
            fits(lumbar, lumbar) && fits(None, cervical) && fits(lumbar, None) && fits(lumbar, Some(Region::Other))
        );
        assert!(!fits(lumbar, cervical));
    }
}
