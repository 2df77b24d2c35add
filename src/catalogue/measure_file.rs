//! A measure as it is written in TOML, and the checks that make it one of the registry.

use std::collections::BTreeSet;

use serde::Deserialize;

use super::Region;
use super::bands::{Band, BandEnd, Bands};
use super::error::CatalogueError;
use super::measure::{BlankRule, Direction, Domain, Items, Measure, Response, Scale, SurgicalThreshold};
use super::measurement_error::MeasurementError;
use super::response::Criterion;
use super::sourced::{Mark, Source, Sourced};

/// The fields of one entry.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Entry {
    title: String,
    short_title: Option<String>,
    domain: Domain,
    region: Option<String>,
    low: f64,
    high: f64,
    direction: Direction,
    unit: String,
    unit_of_change: Option<String>,
    #[serde(default)]
    decimals: u8,
    #[serde(default)]
    ordinal: bool,
    #[serde(default)]
    words: Vec<String>,
    source: Option<String>,
    #[serde(default)]
    mark: Mark,
    #[serde(default)]
    scales: Vec<ScaleEntry>,
    items: Option<ItemsEntry>,
    #[serde(default)]
    response: ResponseEntry,
    tiers: Option<Vec<Sourced>>,
    acceptable_state: Option<StateEntry>,
    #[serde(default)]
    with_surgical: bool,
    #[serde(default)]
    surgical: Vec<SurgicalEntry>,
    measurement_error: Option<ErrorEntry>,
    measurement_error_with_radiculopathy: Option<ErrorEntry>,
    bands: Option<BandsEntry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ScaleEntry {
    name: String,
    #[serde(default = "one")]
    factor: f64,
    #[serde(default)]
    offset: f64,
}

fn one() -> f64 {
    1.0
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ItemsEntry {
    count: u8,
    item_max: f64,
    fewest_answered: u8,
    rule: BlankRule,
    source: Option<String>,
    #[serde(default)]
    mark: Mark,
}

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
struct ResponseEntry {
    absolute: Option<Sourced>,
    absolute_with_radiculopathy: Option<Sourced>,
    percent: Option<Sourced>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct StateEntry {
    at_most: Option<f64>,
    at_least: Option<f64>,
    source: Option<String>,
    #[serde(default)]
    mark: Mark,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SurgicalEntry {
    key: String,
    title: String,
    change: Option<f64>,
    percent: Option<f64>,
    at_most: Option<f64>,
    at_least: Option<f64>,
    source: Option<String>,
    #[serde(default)]
    mark: Mark,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ErrorEntry {
    sem: Option<Sourced>,
    sd: Option<Sourced>,
    reliability: Option<Sourced>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct BandsEntry {
    steps: Vec<BandEntry>,
    source: Option<String>,
    #[serde(default)]
    mark: Mark,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct BandEntry {
    label: String,
    up_to: Option<f64>,
    below: Option<f64>,
}

/// A wrong field: its name and what is wrong with it.
struct Wrong(&'static str, String);

fn wrong<T>(field: &'static str, what: impl Into<String>) -> Result<T, Wrong> {
    Err(Wrong(field, what.into()))
}

impl Entry {
    /// The measure, checked. `tiers` are those of the registry, for entries that name none.
    pub(super) fn check(self, key: &str, tiers: &[Sourced]) -> Result<Measure, CatalogueError> {
        self.measure(key, tiers).map_err(|Wrong(field, what)| CatalogueError::field("measures", key, field, what))
    }

    fn measure(self, key: &str, tiers: &[Sourced]) -> Result<Measure, Wrong> {
        let (low, high) = (self.low, self.high);
        if !(low.is_finite() && high.is_finite() && low < high) {
            return wrong(
                "low",
                format!("the lowest score must lie below the highest, but {low} does not lie below {high}"),
            );
        }
        if self.title.trim().is_empty() {
            return wrong("title", "a measure needs a title");
        }
        let default_tiers = || if self.ordinal || self.domain == Domain::Change { &[] } else { tiers };
        let tiers = self.tiers.clone().unwrap_or_else(|| default_tiers().to_vec());
        let percents_rise = tiers.is_sorted_by(|before, after| before.value < after.value);
        if !percents_rise || !tiers.iter().all(|tier| possible(Criterion::Percent(tier.value), low, high)) {
            return wrong("tiers", "tiers are rising percentages above 0 and up to 100");
        }
        if !self.words.is_empty() && self.words.len() as f64 != high - low + 1.0 {
            return wrong("words", format!("a word for each whole number from {low} to {high} is needed"));
        }
        let region = self.region.as_deref().map(Region::parse);
        if region == Some(None) {
            return wrong("region", "a region is \"lumbar\", \"cervical\" or \"other\"");
        }
        Ok(Measure {
            key: key.to_owned(),
            short_title: self.short_title.unwrap_or_else(|| self.title.clone()),
            title: self.title,
            domain: self.domain,
            region: region.flatten(),
            low,
            high,
            direction: self.direction,
            unit_of_change: self.unit_of_change.unwrap_or_else(|| self.unit.clone()),
            unit: self.unit,
            decimals: self.decimals,
            ordinal: self.ordinal,
            words: self.words,
            source: Source::written(self.source, self.mark),
            items: self.items.map(ItemsEntry::check).transpose()?,
            response: self.response.check(low, high)?,
            tiers,
            acceptable_state: self.acceptable_state.map(|state| state.check(low, high)).transpose()?,
            with_surgical: self.with_surgical,
            surgical: checked_surgical(self.surgical, low, high)?,
            measurement_error: checked_error("measurement_error", self.measurement_error)?,
            measurement_error_with_radiculopathy: checked_error(
                "measurement_error_with_radiculopathy",
                self.measurement_error_with_radiculopathy,
            )?,
            bands: self.bands.map(|bands| bands.check(low, high)).transpose()?,
            scales: checked_scales(self.scales, low, high)?,
        })
    }
}

fn checked_scales(entries: Vec<ScaleEntry>, low: f64, high: f64) -> Result<Vec<(String, Scale)>, Wrong> {
    let mut scales: Vec<(String, Scale)> = Vec::new();
    for ScaleEntry { name, factor, offset } in entries {
        if !(factor.is_finite() && factor != 0.0 && offset.is_finite()) {
            return wrong("scales", format!("the factor of scale {name:?} must be a number other than 0"));
        }
        if scales.iter().any(|(known, _)| known.eq_ignore_ascii_case(&name)) {
            return wrong("scales", format!("scale {name:?} is there twice"));
        }
        scales.push((name, Scale { factor, offset }));
    }
    match scales.first() {
        None => scales.push((format!("{low}-{high}"), Scale { factor: 1.0, offset: 0.0 })),
        Some((_, Scale { factor: 1.0, offset: 0.0 })) => {}
        Some((name, _)) => {
            return wrong("scales", format!("the first scale is the measure's own: {name:?} needs factor 1"));
        }
    }
    Ok(scales)
}

/// Whether the criterion makes sense on a scale.
fn possible(criterion: Criterion, low: f64, high: f64) -> bool {
    match criterion {
        Criterion::Change(least) => least > 0.0 && least <= high - low,
        Criterion::Percent(least) => least > 0.0 && least <= 100.0,
        Criterion::AtMost(limit) | Criterion::AtLeast(limit) => (low..=high).contains(&limit),
    }
}

impl ResponseEntry {
    fn check(self, low: f64, high: f64) -> Result<Response, Wrong> {
        let Self { absolute, absolute_with_radiculopathy, percent } = self;
        let changes = [&absolute, &absolute_with_radiculopathy];
        if !changes.into_iter().flatten().all(|least| possible(Criterion::Change(least.value), low, high)) {
            return wrong("response", "the change must be above 0 and no wider than the scale");
        }
        if !percent.iter().all(|least| possible(Criterion::Percent(least.value), low, high)) {
            return wrong("response", "the percentage must be above 0 and up to 100");
        }
        Ok(Response { absolute, absolute_with_radiculopathy, percent })
    }
}

impl StateEntry {
    fn check(self, low: f64, high: f64) -> Result<(Criterion, Source), Wrong> {
        let criterion = match (self.at_most, self.at_least) {
            (Some(most), None) => Criterion::AtMost(most),
            (None, Some(least)) => Criterion::AtLeast(least),
            _ => return wrong("acceptable_state", "needs either at_most or at_least"),
        };
        match possible(criterion, low, high) {
            true => Ok((criterion, Source::written(self.source, self.mark))),
            false => wrong("acceptable_state", format!("must lie between {low} and {high}")),
        }
    }
}

impl SurgicalEntry {
    fn check(self, low: f64, high: f64) -> Result<SurgicalThreshold, Wrong> {
        let key = self.key;
        let criterion = match (self.change, self.percent, self.at_most, self.at_least) {
            (Some(change), None, None, None) => Criterion::Change(change),
            (None, Some(percent), None, None) => Criterion::Percent(percent),
            (None, None, Some(most), None) => Criterion::AtMost(most),
            (None, None, None, Some(least)) => Criterion::AtLeast(least),
            _ => return wrong("surgical", format!("{key:?} needs one of change, percent, at_most and at_least")),
        };
        if !possible(criterion, low, high) {
            return wrong("surgical", format!("{key:?} cannot be met on a scale from {low} to {high}"));
        }
        Ok(SurgicalThreshold { key, title: self.title, criterion, source: Source::written(self.source, self.mark) })
    }
}

fn checked_surgical(entries: Vec<SurgicalEntry>, low: f64, high: f64) -> Result<Vec<SurgicalThreshold>, Wrong> {
    let all: Vec<_> = entries.into_iter().map(|entry| entry.check(low, high)).collect::<Result<_, _>>()?;
    let mut keys = BTreeSet::new();
    match all.iter().find(|threshold| !keys.insert(&threshold.key)) {
        Some(twice) => wrong("surgical", format!("{:?} is there twice", twice.key)),
        None => Ok(all),
    }
}

impl ItemsEntry {
    fn check(self) -> Result<Items, Wrong> {
        if self.fewest_answered == 0 || self.fewest_answered > self.count {
            return wrong("items", format!("fewest_answered must lie between 1 and {}", self.count));
        }
        if !(self.item_max.is_finite() && self.item_max > 0.0) {
            return wrong("items", "item_max must be above 0");
        }
        let Self { count, item_max, fewest_answered, rule, source: text, mark } = self;
        Ok(Items { count, item_max, fewest_answered, rule, source: Source::written(text, mark) })
    }
}

fn checked_error(field: &'static str, entry: Option<ErrorEntry>) -> Result<Option<MeasurementError>, Wrong> {
    let Some(ErrorEntry { sem, sd, reliability }) = entry else { return Ok(None) };
    let error = match (sem, sd, reliability) {
        (Some(sem), None, None) => MeasurementError::Sem(sem),
        (None, Some(sd), Some(reliability)) => MeasurementError::SdAndReliability { sd, reliability },
        _ => return wrong(field, "needs either sem, or sd and reliability"),
    };
    match error.sem().is_finite() && error.sem() > 0.0 {
        true => Ok(Some(error)),
        false => wrong(field, "sem and sd must be above 0, reliability from 0 to below 1"),
    }
}

impl BandsEntry {
    fn check(self, low: f64, high: f64) -> Result<Bands, Wrong> {
        let mut steps = Vec::with_capacity(self.steps.len());
        let mut before = f64::NEG_INFINITY;
        for BandEntry { label, up_to, below } in self.steps {
            let (end, value) = match (up_to, below) {
                (Some(last), None) => (BandEnd::UpTo(last), last),
                (None, Some(first_outside)) => (BandEnd::Below(first_outside), first_outside),
                _ => return wrong("bands", format!("band {label:?} needs either up_to or below")),
            };
            if !(value > before && (low..=high).contains(&value)) {
                return wrong(
                    "bands",
                    format!("band {label:?} must end above the one before it, within {low} to {high}"),
                );
            }
            before = value;
            steps.push(Band { end, label });
        }
        match steps.last() {
            Some(Band { end: BandEnd::UpTo(last), .. }) if *last == high => {
                Ok(Bands { steps, source: Source::written(self.source, self.mark) })
            }
            _ => wrong("bands", format!("the last band must have up_to = {high}")),
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::catalogue::Measures;

    fn complaint(group_toml: &str) -> String {
        let table = group_toml.parse().unwrap();
        Measures::embedded().unwrap().with_overrides(&table).unwrap_err().to_string()
    }

    #[test]
    fn an_entry_that_makes_no_measure_is_named_with_its_field() {
        for (written, expected) in [
            ("[headache]\ntitle = 'Headache'", "measures.headache: missing field `domain`"),
            ("[odi]\nhgih = 3", "measures.odi.hgih: unknown field `hgih`"),
            ("[odi]\nlow = 'none'", "measures.odi.low: invalid type"),
            ("[odi]\nlow = 100", "measures.odi.low: the lowest score must lie below the highest"),
            ("[odi]\nhigh = nan", "measures.odi.low: the lowest score must lie below the highest"),
            ("[odi]\nresponse = { absolute = 101 }", "measures.odi.response: the change must be above 0"),
            ("[odi]\nresponse = { percent = nan }", "measures.odi.response: the percentage must be above 0"),
            ("[odi]\nresponse = { absolute = 'ten' }", "measures.odi.response: absolute: expected a number"),
            ("[odi]\ntiers = [50, 30]", "measures.odi.tiers: tiers are rising percentages"),
            (
                "[odi]\nacceptable_state = { at_most = 101 }",
                "measures.odi.acceptable_state: must lie between 0 and 100",
            ),
            ("[odi]\nacceptable_state = {}", "measures.odi.acceptable_state: needs either"),
            ("[odi]\nmeasurement_error = { sd = 7.5 }", "measures.odi.measurement_error: needs either"),
            (
                "[odi]\nmeasurement_error = { sd = 7.5, reliability = 1 }",
                "measures.odi.measurement_error: sem and sd must",
            ),
            (
                "[odi]\nbands = { steps = [{ label = 'all', up_to = 99 }] }",
                "measures.odi.bands: the last band must have",
            ),
            ("[odi]\nscales = [{ name = 'raw', factor = 2 }]", "measures.odi.scales: the first scale"),
            (
                "[odi]\nitems = { count = 10, item_max = 5, fewest_answered = 11, rule = 'prorate' }",
                "measures.odi.items: fewest_answered",
            ),
            ("[odi]\nregion = 'knee'", "measures.odi.region: a region is"),
            ("[odi]\nwords = ['no', 'yes']", "measures.odi.words: a word for each"),
            ("odi = 3", "measures.odi: must be a table of fields"),
            ("['My pain']\nlow = 0", "measures.My pain: a key is made of"),
        ] {
            let complaint = complaint(written);
            assert!(complaint.starts_with(expected), "{written}: {complaint}");
        }
    }
}
