//! The unit that people read a parameter in, and what of a unit's counts may be shown.

use super::setups::Where;
use super::withhold::Rule;
use crate::catalogue::Region;
use crate::catalogue::parameter::{About, Nature, Parameter};
use crate::catalogue::setup_standard::{SetupStandard, StandardItem};
use crate::models::setups::shares::UnitShare;
use crate::models::setups::visits::{Level, SetupVisits, UnitId};
use crate::rows::names::Names;

/// A unit for people.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(super) struct ReadingScale {
    /// Its symbol; empty for a yes or no and for words.
    pub symbol: &'static str,
    /// How many of the parameter's own unit one is.
    pub factor: f64,
    /// Decimals.
    pub decimals: usize,
}

impl ReadingScale {
    /// The unit that the standard gives a parameter in, else its own.
    pub fn of(about: About, standard: &SetupStandard) -> Self {
        let item = items(standard, about).map(|(_, item)| item.unit).next();
        let (symbol, factor) = match (item, about.parameter.nature()) {
            (Some(unit), Nature::Number { .. }) => (unit.symbol, unit.factor),
            (None, Nature::Number { unit, .. }) => (unit, 1.0),
            (_, Nature::YesNo | Nature::Word(_)) => ("", 1.0),
        };
        let decimals = match symbol {
            "in" => 2,
            "N" | "s" => 0,
            _ => 1,
        };
        Self { symbol, factor, decimals }
    }

    /// A value of the parameter in it.
    pub fn read(self, value: f64) -> f64 {
        value / self.factor
    }
}

/// The items of a standard about a parameter and region, with their positions.
pub(super) fn items(standard: &SetupStandard, about: About) -> impl Iterator<Item = (usize, &StandardItem)> {
    let is_about = move |item: &StandardItem| (item.parameter, item.region) == (about.parameter, about.region);
    standard.items.iter().enumerate().filter(move |(_, item)| is_about(item))
}

/// Where a unit is.
pub(super) fn place(visits: &SetupVisits<'_>, unit: UnitId, names: &Names) -> Where {
    let Some(unit) = visits.units.get(unit) else {
        return Where { site: String::new(), clinician: None, table: None };
    };
    let name = |level| unit.name.filter(|_| unit.level == level);
    Where {
        site: names.sites.get(unit.site).to_owned(),
        clinician: name(Level::Clinician).map(|name| names.clinicians.get(name).to_owned()),
        table: name(Level::Table).map(|name| names.tables.get(name).to_owned()),
    }
}

/// Whether a unit's share may be shown: patients enough, and neither few with a hit nor few without.
pub(super) fn may_be_shown(share: &UnitShare, rule: Rule) -> bool {
    share.patients > rule.up_to && !has_few_on_one_side((share.with_hits, share.with_misses), rule)
}

/// Whether few stand on one side of a share.
pub(super) fn has_few_on_one_side((ones, others): (u32, u32), rule: Rule) -> bool {
    rule.is_small(ones) || rule.is_small(others)
}

/// To whole tens, so that no count follows from the difference of two.
pub(super) fn to_tens(count: u32) -> u32 {
    count.saturating_add(5) / 10 * 10
}

/// To whole percent: beside a share that is withheld the others are too coarse to solve for it.
pub(super) fn to_percent(share: f64) -> f64 {
    (100.0 * share).round() / 100.0
}

/// The same for a share told alone: one that is neither none nor all does not become so, but half a percent short of it.
pub(super) fn to_percent_within(share: f64) -> f64 {
    let whole = to_percent(share);
    if share > 0.0 && share < 1.0 { whole.clamp(0.005, 0.995) } else { whole }
}

/// An interval of a share to whole percent, no narrower.
pub(super) fn limits_to_percent((low, high): (f64, f64)) -> (f64, f64) {
    // a hair of a percent, so that 7 % stays 7 %
    let hair = 1e-9;
    ((100.0 * low + hair).floor() / 100.0, (100.0 * high - hair).ceil() / 100.0)
}

/// Regions in the order of the pages.
pub(super) const LUMBAR: Region = Region::Lumbar;

/// The opening and the tension of the low back.
pub(super) const OPENING: (About, About) = (
    About { parameter: Parameter::SplitGap, region: LUMBAR },
    About { parameter: Parameter::ReturnTension, region: LUMBAR },
);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rounded_share_is_none_or_all_only_where_it_is_and_an_interval_does_not_shrink() {
        let rounded = [0.0, 0.002, 0.014, 0.5, 0.9961, 1.0].map(to_percent_within);
        assert_eq!(rounded, [0.0, 0.005, 0.01, 0.5, 0.995, 1.0]);
        assert_eq!(limits_to_percent((0.0, 0.003)), (0.0, 0.01));
        assert_eq!(limits_to_percent((0.07, 0.29)), (0.07, 0.29));
        assert_eq!(limits_to_percent((0.996, 1.0)), (0.99, 1.0));
        assert_eq!(limits_to_percent((-0.014, 0.021)), (-0.02, 0.03));
    }
}
