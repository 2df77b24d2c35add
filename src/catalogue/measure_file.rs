//! A measure as it is written in TOML, and the checks that make it one of the registry.

use serde::Deserialize;

use super::Region;
use super::error::CatalogueError;
use super::measure::{
    Band, BandEnd, Bands, BlankRule, Direction, Domain, FinalState, Items, Measure, MeasurementError, Response, Scale,
    SurgicalThreshold,
};
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
    error: Option<ErrorEntry>,
    error_with_radiculopathy: Option<ErrorEntry>,
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
    at_most: Option<Sourced>,
    at_least: Option<Sourced>,
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
        if tiers.iter().any(|tier| !(tier.value > 0.0 && tier.value <= 100.0)) {
            return wrong("tiers", "a tier is a percentage above 0 and up to 100");
        }
        if !self.words.is_empty() && self.words.len() as f64 != high - low + 1.0 {
            return wrong("words", format!("a word for each whole number from {low} to {high} is needed"));
        }
        let response = checked_response(self.response, high - low)?;
        let acceptable_state = self.acceptable_state.map(|state| state.check(low, high)).transpose()?;
        let surgical = self.surgical.into_iter().map(SurgicalEntry::check).collect::<Result<_, _>>()?;
        let error = self.error.map(|error| error.check("error")).transpose()?;
        let error_with_radiculopathy =
            self.error_with_radiculopathy.map(|error| error.check("error_with_radiculopathy")).transpose()?;
        Ok(Measure {
            key: key.to_owned(),
            short_title: self.short_title.unwrap_or_else(|| self.title.clone()),
            title: self.title,
            domain: self.domain,
            region: self.region.as_deref().map(region).transpose()?,
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
            response,
            tiers,
            acceptable_state,
            with_surgical: self.with_surgical,
            surgical,
            error,
            error_with_radiculopathy,
            bands: self.bands.map(|bands| bands.check(low, high)).transpose()?,
            scales: checked_scales(self.scales, low, high)?,
        })
    }
}

fn region(text: &str) -> Result<Region, Wrong> {
    match text {
        "lumbar" => Ok(Region::Lumbar),
        "cervical" => Ok(Region::Cervical),
        "other" => Ok(Region::Other),
        _ => wrong("region", "a region is \"lumbar\", \"cervical\" or \"other\""),
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

fn checked_response(entry: ResponseEntry, width: f64) -> Result<Response, Wrong> {
    let ResponseEntry { absolute, absolute_with_radiculopathy, percent } = entry;
    let changes = [&absolute, &absolute_with_radiculopathy];
    if changes.into_iter().flatten().any(|least| !(least.value > 0.0 && least.value <= width)) {
        return wrong("response", "the change must be above 0 and no wider than the scale");
    }
    if percent.as_ref().is_some_and(|least| !(least.value > 0.0 && least.value <= 100.0)) {
        return wrong("response", "the percentage must be above 0 and up to 100");
    }
    Ok(Response { absolute, absolute_with_radiculopathy, percent })
}

impl StateEntry {
    fn check(self, low: f64, high: f64) -> Result<FinalState, Wrong> {
        let state = match (self.at_most, self.at_least) {
            (Some(most), None) => FinalState::AtMost(most),
            (None, Some(least)) => FinalState::AtLeast(least),
            _ => return wrong("acceptable_state", "either at_most or at_least is needed"),
        };
        let (FinalState::AtMost(limit) | FinalState::AtLeast(limit)) = &state;
        match (low..=high).contains(&limit.value) {
            true => Ok(state),
            false => wrong("acceptable_state", format!("must lie between {low} and {high}")),
        }
    }
}

impl SurgicalEntry {
    fn check(self) -> Result<SurgicalThreshold, Wrong> {
        let criterion = match (self.change, self.percent, self.at_most, self.at_least) {
            (Some(change), None, None, None) => Criterion::Change(change),
            (None, Some(percent), None, None) => Criterion::Percent(percent),
            (None, None, Some(most), None) => Criterion::AtMost(most),
            (None, None, None, Some(least)) => Criterion::AtLeast(least),
            _ => return wrong("surgical", "each needs one of change, percent, at_most, at_least"),
        };
        Ok(SurgicalThreshold {
            key: self.key,
            title: self.title,
            criterion,
            source: Source::written(self.source, self.mark),
        })
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

impl ErrorEntry {
    fn check(self, field: &'static str) -> Result<MeasurementError, Wrong> {
        match (self.sem, self.sd, self.reliability) {
            (Some(sem), None, None) if sem.value.is_finite() && sem.value > 0.0 => Ok(MeasurementError::Sem(sem)),
            (None, Some(sd), Some(reliability))
                if sd.value.is_finite() && sd.value > 0.0 && (0.0..1.0).contains(&reliability.value) =>
            {
                Ok(MeasurementError::SdAndReliability { sd, reliability })
            }
            _ => wrong(
                field,
                "either sem, or sd and reliability, are needed; sem and sd above 0, reliability from 0 to below 1",
            ),
        }
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
