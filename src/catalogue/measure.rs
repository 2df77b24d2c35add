//! One measure: its range and direction, how it is scored, what counts as a change.

use serde::Deserialize;

use super::Region;
use super::bands::Bands;
use super::measurement_error::MeasurementError;
use super::response::{Criterion, Definition};
use super::sourced::{Source, Sourced};
use crate::units::Burden;

/// What a measure is about.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Domain {
    /// Intensity of pain.
    Pain,
    /// What the complaint keeps a person from doing.
    Disability,
    /// What a person is able to do.
    Function,
    /// Change as the person sees it, looking back.
    Change,
}

impl Domain {
    /// Its key in files.
    pub fn key(self) -> &'static str {
        match self {
            Self::Pain => "pain",
            Self::Disability => "disability",
            Self::Function => "function",
            Self::Change => "change",
        }
    }
}

/// Which end of a scale is the good one.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Deserialize)]
pub enum Direction {
    /// A fall is an improvement.
    #[serde(rename = "higher is worse", alias = "lower is better")]
    LowerIsBetter,
    /// A rise is an improvement.
    #[serde(rename = "higher is better", alias = "lower is worse")]
    HigherIsBetter,
}

impl Direction {
    /// It in words: `higher is worse`.
    pub fn label(self) -> &'static str {
        match self {
            Self::LowerIsBetter => "higher is worse",
            Self::HigherIsBetter => "higher is better",
        }
    }

    /// How much better the second score is than the first; negative when it is worse.
    pub fn improvement(self, baseline: f64, endpoint: f64) -> f64 {
        match self {
            Self::LowerIsBetter => baseline - endpoint,
            Self::HigherIsBetter => endpoint - baseline,
        }
    }
}

/// How an export may write the scores of a measure: native = factor x written + offset.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Scale {
    /// Native units for one written unit.
    pub factor: f64,
    /// The native score of a written 0.
    pub offset: f64,
}

impl Scale {
    /// A written score in the unit of the measure.
    pub fn to_native(self, written: f64) -> f64 {
        self.factor * written + self.offset
    }
}

/// What is done when items are left blank.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Deserialize)]
pub enum BlankRule {
    /// A blank counts as the mean of the items that were answered.
    #[serde(rename = "prorate")]
    Prorate,
    /// A blank counts as 'no'; the prorated score is kept beside it.
    #[serde(rename = "blank is not endorsed")]
    NotEndorsed,
    /// The patient names the items, so nothing is blank: the score is the mean of those named.
    #[serde(rename = "mean of those named")]
    MeanOfNamed,
}

/// How a measure is scored from its items. Every item runs from 0 to `item_max`.
#[derive(Clone, PartialEq, Debug)]
pub struct Items {
    /// The number of items.
    pub count: u8,
    /// The highest answer to one item.
    pub item_max: f64,
    /// With fewer answers than this there is no score.
    pub fewest_answered: u8,
    /// What is done about blanks.
    pub rule: BlankRule,
    /// Where the rule comes from.
    pub source: Source,
}

/// The smallest change that matters to a patient. Where both are given, both must be met.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Response {
    /// In the unit of the measure.
    pub absolute: Option<Sourced>,
    /// The same for a patient with radiculopathy, where it differs.
    pub absolute_with_radiculopathy: Option<Sourced>,
    /// Percent of the distance from the first score to the best.
    pub percent: Option<Sourced>,
}

/// A threshold found in patients after surgery: never a default for traction.
#[derive(Clone, PartialEq, Debug)]
pub struct SurgicalThreshold {
    /// Its key in sheets, where `surgical_` goes before it.
    pub key: String,
    /// What it stands for.
    pub title: String,
    /// What it asks for.
    pub criterion: Criterion,
    pub source: Source,
}

/// One measure of the registry.
#[derive(Clone, PartialEq, Debug)]
pub struct Measure {
    /// Its key in mappings, sheets and file names: `odi`.
    pub key: String,
    pub title: String,
    /// Its name where there is little room.
    pub short_title: String,
    /// What it is about.
    pub domain: Domain,
    /// The region of the spine it was made for; none: any.
    pub region: Option<Region>,
    /// The lowest possible score, in its own unit.
    pub low: f64,
    /// The highest possible score, in its own unit.
    pub high: f64,
    /// Which end is the good one.
    pub direction: Direction,
    /// The unit of a score, as written after a number: `points`, `mm`, `%`.
    pub unit: String,
    /// The unit of a difference of two scores: `percentage points` where the unit is `%`.
    pub unit_of_change: String,
    /// Decimals to show.
    pub decimals: u8,
    /// Only the order of its values means something: medians and categories, never means.
    pub ordinal: bool,
    /// For a scale of words: the words from `low` upwards, one a whole number.
    pub words: Vec<String>,
    /// Where range, direction and scoring come from.
    pub source: Source,
    /// How it is scored from items; none: it is one number.
    pub items: Option<Items>,
    /// The smallest change that matters.
    pub response: Response,
    /// Percentages that are always shown beside it.
    pub tiers: Vec<Sourced>,
    /// A last score that patients call acceptable, whatever the first was.
    pub acceptable_state: Option<(Criterion, Source)>,
    /// Whether `definitions` includes those of surgical cohorts; off unless a group asks for them.
    pub with_surgical: bool,
    /// Thresholds found in surgical cohorts.
    pub surgical: Vec<SurgicalThreshold>,
    pub measurement_error: Option<MeasurementError>,
    /// The same with radiculopathy, where it differs.
    pub measurement_error_with_radiculopathy: Option<MeasurementError>,
    /// Severity bands.
    pub bands: Option<Bands>,
    pub(super) scales: Vec<(String, Scale)>,
}

impl Measure {
    /// Whether a score lies in the range; never for what is not a number.
    pub fn contains(&self, value: f64) -> bool {
        (self.low..=self.high).contains(&value)
    }

    /// The best possible score.
    pub fn best(&self) -> f64 {
        match self.direction {
            Direction::LowerIsBetter => self.low,
            Direction::HigherIsBetter => self.high,
        }
    }

    /// The score on the common scale from 0 (best) to 100 (worst); `None` outside the range.
    /// Of an ordinal measure it is a rank, not to be averaged.
    pub fn burden(&self, value: f64) -> Option<Burden> {
        let from_best = self.direction.improvement(value, self.best()) / (self.high - self.low);
        self.contains(value).then(|| Burden::new(100.0 * from_best)).flatten()
    }

    /// The scale of a name, blanks around it and case aside.
    pub fn scale(&self, name: &str) -> Option<Scale> {
        self.scales.iter().find(|(known, _)| known.eq_ignore_ascii_case(name.trim())).map(|&(_, scale)| scale)
    }

    /// The name of the scale that is its own.
    pub fn native_scale_name(&self) -> &str {
        self.scale_names().next().unwrap_or_default()
    }

    /// The names of its scales, its own first.
    pub fn scale_names(&self) -> impl Iterator<Item = &str> {
        self.scales.iter().map(|(name, _)| name.as_str())
    }

    /// How much better the second score is, in its own unit; negative when worse.
    pub fn improvement(&self, baseline: f64, endpoint: f64) -> f64 {
        self.direction.improvement(baseline, endpoint)
    }

    /// Every definition of a response, for patients with or without radiculopathy.
    pub fn definitions(&self, radicular: bool) -> Vec<Definition> {
        let mut all = Vec::new();
        let response = &self.response;
        let absolute =
            response.absolute_with_radiculopathy.as_ref().filter(|_| radicular).or(response.absolute.as_ref());
        let minimal: Vec<_> = [
            absolute.map(|least| Criterion::Change(least.value).with_source(least)),
            response.percent.as_ref().map(|least| Criterion::Percent(least.value).with_source(least)),
        ]
        .into_iter()
        .flatten()
        .collect();
        if !minimal.is_empty() {
            all.push(Definition::new(self, "minimal_important", minimal));
        }
        for tier in &self.tiers {
            all.push(Definition::new(
                self,
                &tier_key(tier.value),
                vec![Criterion::Percent(tier.value).with_source(tier)],
            ));
        }
        if let Some(state) = &self.acceptable_state {
            all.push(Definition::new(self, "acceptable_state", vec![state.clone()]));
        }
        for surgical in self.surgical.iter().filter(|_| self.with_surgical) {
            let criteria = vec![(surgical.criterion, surgical.source.clone())];
            let mut definition = Definition::new(self, &format!("surgical_{}", surgical.key), criteria);
            definition.label = format!("{}: {} (found in surgical cohorts)", surgical.title, definition.label);
            all.push(definition);
        }
        all
    }

    /// The reliable-change limit, 1.96 sqrt(2) SEM, in its own unit; `None` when no error of measurement is known.
    pub fn reliable_change_limit(&self) -> Option<f64> {
        self.measurement_error.as_ref().map(MeasurementError::reliable_change_limit)
    }

    /// The same for patients with radiculopathy.
    pub fn reliable_change_limit_with_radiculopathy(&self) -> Option<f64> {
        self.measurement_error_with_radiculopathy
            .as_ref()
            .or(self.measurement_error.as_ref())
            .map(MeasurementError::reliable_change_limit)
    }

    /// The severity band of a score; `None` outside the range or without bands.
    pub fn band(&self, value: f64) -> Option<&str> {
        self.bands.as_ref().filter(|_| self.contains(value))?.of(value)
    }

    /// The word of a score on a scale of words.
    pub fn word(&self, value: f64) -> Option<&str> {
        let position = value - self.low;
        (position >= 0.0 && position.fract() == 0.0)
            .then(|| self.words.get(position as usize))
            .flatten()
            .map(String::as_str)
    }
}

fn tier_key(percent: f64) -> String {
    match percent {
        30.0 => "thirty_percent".to_owned(),
        50.0 => "fifty_percent".to_owned(),
        other => format!("{other}_percent"),
    }
}

#[cfg(test)]
mod tests {
    use crate::catalogue::{Measure, Measures};

    fn measure(key: &str) -> Measure {
        let measures = Measures::embedded().unwrap();
        measures.get(measures.find(key).unwrap()).clone()
    }

    #[test]
    fn burden_is_0_at_the_best_and_100_at_the_worst_end_of_every_measure() {
        for (_, measure) in Measures::embedded().unwrap().iter() {
            let worst = if measure.best() == measure.low { measure.high } else { measure.low };
            assert_eq!(measure.burden(measure.best()).map(|burden| burden.get()), Some(0.0), "{}", measure.key);
            assert_eq!(measure.burden(worst).map(|burden| burden.get()), Some(100.0), "{}", measure.key);
            assert_eq!(measure.burden(measure.high + 0.001), None, "{}", measure.key);
            assert_eq!(measure.burden(f64::NAN), None, "{}", measure.key);
        }
    }

    #[test]
    fn more_of_a_function_score_is_less_burden_and_an_improvement() {
        let psfs = measure("psfs");
        assert_eq!(psfs.burden(8.0).map(|burden| burden.get()), Some(20.0));
        assert_eq!(psfs.improvement(3.0, 8.0), 5.0);
        assert_eq!(measure("pain_nrs").improvement(3.0, 8.0), -5.0);
    }

    #[test]
    fn scales_turn_what_an_export_writes_into_the_unit_of_the_measure() {
        let native = |key: &str, scale: &str, written| measure(key).scale(scale).map(|scale| scale.to_native(written));
        assert_eq!(native("pain_vas", "cm", 4.5), Some(45.0));
        assert_eq!(native("pain_vas", " MM ", 45.0), Some(45.0));
        assert_eq!(native("odi", "raw", 16.0), Some(32.0));
        assert_eq!(native("ndi", "percent", 38.0), Some(19.0));
        assert_eq!(native("global_change", "1-7, 7 is best", 4.0), Some(0.0));
        assert_eq!(native("global_change", "1-7, 1 is best", 1.0), Some(3.0));
        assert_eq!(native("pain_nrs", "stars", 1.0), None);
        assert_eq!(measure("ndi").native_scale_name(), "raw");
    }

    #[test]
    fn words_belong_to_whole_numbers_from_the_low_end_up() {
        let verbal = measure("pain_verbal");
        assert_eq!((verbal.word(0.0), verbal.word(3.0)), (Some("none"), Some("severe")));
        assert_eq!(
            (verbal.word(4.0), verbal.word(1.5), verbal.word(-1.0), verbal.word(f64::NAN)),
            (None, None, None, None)
        );
        assert_eq!(measure("global_change").word(0.0), Some("unchanged"));
    }

    #[test]
    fn only_the_order_of_words_and_steps_means_something() {
        let ordinal: Vec<_> =
            Measures::embedded().unwrap().iter().filter(|(_, m)| m.ordinal).map(|(_, m)| m.key.clone()).collect();
        assert_eq!(ordinal, ["pain_verbal", "global_change"]);
    }
}
