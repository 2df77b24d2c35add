//! The values of a parameter as recorded, of the group and of each site: quantiles of numbers, shares of words.

use super::setup_scales::{ReadingScale, place, to_percent, to_tens};
use super::setups::{Strip, WordShares};
use super::withhold::Rule as SmallCells;
use crate::models::setups::column::{Column, Patients};
use crate::models::setups::visits::{SetupVisit, SetupVisits, UnitId};
use crate::rows::names::Names;
use mendcurve_stats::quantile::Sorted;
use std::collections::BTreeMap;

/// Patients below which a quantile may be one patient's own value.
pub(super) const FEWEST_FOR_QUANTILES: u32 = 20;
/// What quantiles a strip shows.
const QUANTILES: [f64; 7] = [0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95];

/// The quantiles of a number, of the group and of each site.
pub(super) fn strips(
    visits: &SetupVisits<'_>,
    column: &Column<'_>,
    scale: ReadingScale,
    names: &Names,
    small: SmallCells,
) -> Vec<Strip> {
    let strip = |site: Option<UnitId>, numbers: Vec<f64>, patients: u32| {
        let visits_of_strip = to_tens(numbers.len() as u32);
        let sorted = Sorted::of(numbers).ok().filter(|_| patients >= FEWEST_FOR_QUANTILES.max(small.up_to + 1));
        Strip {
            site: site.map(|site| place(visits, site, names).site),
            visits: visits_of_strip,
            quantiles: sorted.and_then(|sorted| {
                let mut found = [0.0; QUANTILES.len()];
                for (at, p) in found.iter_mut().zip(QUANTILES) {
                    *at = sorted.quantile(p).ok()?;
                }
                Some(found)
            }),
        }
    };
    let of_all: Vec<f64> = column.values.iter().map(|(_, value)| scale.read(*value)).collect();
    let mut strips = vec![strip(None, of_all, column.patients())]; // first: a copy of all is large, and gone after it
    let mut sites: BTreeMap<UnitId, (Vec<f64>, Patients)> = BTreeMap::new();
    for (visit, value) in &column.values {
        let (numbers, patients) = sites.entry(visit.site).or_default();
        numbers.push(scale.read(*value));
        patients.note(visit.patient);
    }
    for (site, (numbers, patients)) in sites {
        strips.push(strip(Some(site), numbers, patients.count()));
    }
    strips
}

/// The visits of a site, or of all, by word.
#[derive(Clone, Default)]
struct WordTally {
    visits: u32,
    patients: Patients,
    /// Visits and patients of each word.
    of_words: Vec<(u32, Patients)>,
}

impl WordTally {
    fn take(&mut self, visit: &SetupVisit, value: f64, words: usize) {
        self.of_words.resize(words, (0, Patients::default()));
        self.visits += 1;
        self.patients.note(visit.patient);
        let is_word = |(word, _): &(usize, _)| *word as f64 == value;
        if let Some((_, (n, patients))) = self.of_words.iter_mut().enumerate().find(is_word) {
            *n += 1;
            patients.note(visit.patient);
        }
    }
}

/// The shares of words, of the group and of each site.
pub(super) fn words(
    visits: &SetupVisits<'_>,
    column: &Column<'_>,
    all: &[&'static str],
    names: &Names,
    small: SmallCells,
) -> Vec<WordShares> {
    let mut tallies: BTreeMap<Option<UnitId>, WordTally> = BTreeMap::new(); // all together come first
    for (visit, value) in &column.values {
        for site in [None, Some(visit.site)] {
            tallies.entry(site).or_default().take(visit, *value, all.len());
        }
    }
    let shares = |(site, tally): (Option<UnitId>, WordTally)| {
        let total = f64::from(tally.visits.max(1));
        let by_word: Vec<f64> = tally.of_words.iter().map(|(n, _)| f64::from(*n) / total).collect();
        let is_few = |(_, patients): (u32, Patients)| small.is_small(patients.count());
        let few = tally.of_words.into_iter().any(is_few) || tally.patients.count() <= small.up_to;
        WordShares {
            site: site.map(|site| place(visits, site, names).site),
            visits: to_tens(tally.visits),
            shares: (!few).then(|| all.iter().copied().zip(by_word).collect()),
        }
    };
    let mut lines: Vec<WordShares> = tallies.into_iter().map(shares).collect();
    let hides = lines.iter().any(|line| line.shares.is_none());
    for (_, share) in lines.iter_mut().filter(|_| hides).filter_map(|line| line.shares.as_mut()).flatten() {
        *share = to_percent(*share);
    }
    lines
}
