//! Everything a report says, as plain data: what the pages format and the sheets write.

use super::FALSE_DISCOVERY_RATE;
use super::curve::{Backtest, CurveOutcome, TimeToResponse};
pub use super::shown::{Estimate, Period, Shown};
use super::sites::{SeenAndLost, SiteComparison, SiteFindings};
use crate::catalogue::Region;
use crate::group::settings::Audience;

/// One line of `completeness.csv`. `site` is `None` for the whole group.
#[derive(Clone, PartialEq, Debug)]
pub struct CompletenessRow {
    /// Period.
    pub period: Period,
    /// Site; the whole group when absent.
    pub site: Option<String>,
    /// Condition key.
    pub condition: String,
    /// Outcome key.
    pub measure: String,
    /// Due episodes that started.
    pub episodes: Shown<u32>,
    /// With a baseline.
    pub with_baseline: Shown<u32>,
    /// With a baseline and an endpoint; for a measure that looks back and has no baseline, with an endpoint.
    pub with_endpoint: Shown<u32>,
    /// with_endpoint / episodes.
    pub share: Shown<f64>,
    /// with_baseline / episodes.
    pub baseline_share: Shown<f64>,
}

/// One line of `responders.csv`.
#[derive(Clone, PartialEq, Debug)]
pub struct ResponderRow {
    /// Period.
    pub period: Period,
    /// Site; the whole group when absent.
    pub site: Option<String>,
    /// Condition key.
    pub condition: String,
    /// Outcome key.
    pub measure: String,
    /// Definition key.
    pub definition: String,
    /// What the denominator is, in words.
    pub denominator: &'static str,
    /// The denominator: due episodes less those with a baseline too low to respond. Episodes without a baseline are in it.
    pub episodes: Shown<u32>,
    /// Of these, with what the definition needs to be decided.
    pub with_outcome: Shown<u32>,
    /// Of these, responders.
    pub responders: Shown<u32>,
    /// Due episodes whose baseline is too low to respond: counted and shown beside the denominator.
    pub baseline_too_low: Shown<u32>,
    /// Due episodes without a baseline: in the denominator, without an outcome unless the definition asks for none.
    pub baseline_missing: Shown<u32>,
    /// responders / with_outcome with its Wilson interval.
    pub rate: Shown<Estimate>,
    /// Every missing outcome counted as no response: responders / episodes.
    pub worst_case: Shown<f64>,
    /// Every missing outcome counted as a response.
    pub best_case: Shown<f64>,
    /// The rate with missing baselines and endpoints imputed, pooled over the draws, with its 95 % interval.
    pub imputed: Shown<Estimate>,
    /// By how much each lost patient must have ended worse than imputed, in the measure's own unit, for the imputed rate to
    /// fall below the interval of the rate seen; only for the whole group over all periods.
    pub tipping: Option<Tipping>,
}

/// One line of `change.csv`. Change = endpoint - baseline in the measure's own unit.
#[derive(Clone, PartialEq, Debug)]
pub struct ChangeRow {
    /// Period.
    pub period: Period,
    /// Site; the whole group when absent.
    pub site: Option<String>,
    /// Condition key.
    pub condition: String,
    /// Outcome key.
    pub measure: String,
    /// Episodes with baseline and endpoint.
    pub episodes: Shown<u32>,
    /// Mean baseline.
    pub baseline_mean: Shown<f64>,
    /// SD of the baseline.
    pub baseline_sd: Shown<f64>,
    /// Mean endpoint.
    pub endpoint_mean: Shown<f64>,
    /// SD of the endpoint.
    pub endpoint_sd: Shown<f64>,
    /// Mean change with its t interval.
    pub change: Shown<Estimate>,
    /// SD of the change.
    pub change_sd: Shown<f64>,
    /// Mean improvement / SD of the baseline: positive is better.
    pub effect_size: Shown<f64>,
}

/// An ordinal outcome: medians and who got better, over episodes with baseline and endpoint.
#[derive(Clone, PartialEq, Debug)]
pub struct OrdinalRow {
    /// Period.
    pub period: Period,
    /// Site; the whole group when absent.
    pub site: Option<String>,
    /// Condition key.
    pub condition: String,
    /// Outcome key.
    pub measure: String,
    /// Episodes with baseline and endpoint.
    pub episodes: Shown<u32>,
    /// Median at the start, as a rank.
    pub baseline_median: Shown<f64>,
    /// Median at the end, as a rank.
    pub endpoint_median: Shown<f64>,
    /// Episodes with a better word at the end.
    pub better: Shown<u32>,
    /// With the same word.
    pub same: Shown<u32>,
    /// With a worse word.
    pub worse: Shown<u32>,
}

/// The mean of a week since the first treated visit.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct WeekPoint {
    /// Week; 0 holds the baselines, week w the days 7w-3 to 7w+3.
    pub week: u32,
    /// Mean day of its readings.
    pub day: f64,
    /// Patients (episodes) behind it.
    pub episodes: u32,
    /// Mean with t interval (absent interval under 2 episodes: low = high = value never happens; such weeks are withheld).
    pub mean: Estimate,
    /// 10th and 90th percentile of the readings: the spread of patients, not of the mean. Absent where few lie beyond them.
    pub band: Option<(f64, f64)>,
    /// Median.
    pub median: f64,
}

/// Published cohort points drawn beside the curve, on the measure's own scale.
#[derive(Clone, PartialEq, Debug)]
pub struct NaturalCourse {
    /// Label with onset class.
    pub label: String,
    /// Citation.
    pub citation: String,
    /// (day, mean with interval).
    pub points: Vec<(f64, Estimate)>,
}

/// One outcome of one condition over all due episodes.
#[derive(Clone, PartialEq, Debug)]
pub struct OutcomeFindings {
    /// Outcome key.
    pub key: String,
    /// Title for people, with the place of pain.
    pub title: String,
    /// Unit for people.
    pub unit: String,
    /// Decimals for people.
    pub decimals: usize,
    /// Lowest and highest possible value.
    pub range: (f64, f64),
    /// Whether a lower score is better.
    pub lower_is_better: bool,
    /// Whether it is only ordinal: medians and categories, never means.
    pub ordinal: bool,
    /// Completeness, by period and site; cells without due episodes have no line.
    pub completeness: Vec<CompletenessRow>,
    /// Change, by period and site; cells without episodes with an endpoint have no line.
    pub change: Vec<ChangeRow>,
    /// Medians and categories, by period and site, of an ordinal measure; else empty.
    pub ordinal_change: Vec<OrdinalRow>,
    /// Responders, by period, site and definition.
    pub responders: Vec<ResponderRow>,
    /// Labels of the definitions, in order: key, label.
    pub definitions: Vec<(String, String)>,
    /// The observed mean by week.
    pub weeks: Vec<WeekPoint>,
    /// Episodes behind the curve.
    pub curve_patients: Shown<u32>,
    /// Readings behind the curve.
    pub curve_readings: u32,
    /// The curve.
    pub curve: CurveOutcome,
    /// Time to a response, one entry a definition; empty when withheld.
    pub time_to_response: Vec<TimeToResponse>,
    /// How predictions did; absent when too few patients were there to try.
    pub backtest: Option<Backtest>,
    /// Natural course, when one is published for the condition and onset mix.
    pub natural_course: Option<NaturalCourse>,
    /// (improvement, share of episodes with an endpoint that improved at least as much, share with the missing counted as not), descending share. Points that would tell a few episodes apart are left out.
    pub cumulative: Vec<(f64, f64, f64)>,
    /// This quarter against the previous one: difference in mean change (Welch) and in responder rate (Newcombe), when both can be shown.
    pub against_previous: Option<AgainstPrevious>,
    /// This quarter against the same one a year ago.
    pub against_year_ago: Option<AgainstPrevious>,
}

/// The report's quarter against an earlier one.
#[derive(Clone, PartialEq, Debug)]
pub struct AgainstPrevious {
    /// Difference of mean changes, this - earlier.
    pub change: Option<Difference>,
    /// Difference of rates of minimal important change, this - earlier.
    pub rate: Option<Difference>,
}

/// A difference of two quarters.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Difference {
    /// The difference with its 95 % interval.
    pub estimate: Estimate,
    /// p value of no difference: Welch's test, or Pearson's chi-square of two rates; `None` where there is no spread.
    pub p: Option<f64>,
    /// The same after one Benjamini-Hochberg step over all differences of quarters in the report; `None` before it.
    pub q: Option<f64>,
}

impl Difference {
    /// Whether it is more than chance explains: the interval leaves out zero, and so it is after allowing for the number of comparisons.
    pub fn is_beyond_chance(&self) -> bool {
        let excludes_zero = self.estimate.low > 0.0 || self.estimate.high < 0.0;
        excludes_zero && self.q.is_some_and(|q| q <= FALSE_DISCOVERY_RATE)
    }
}

/// One condition.
#[derive(Clone, PartialEq, Debug)]
pub struct ConditionFindings {
    /// Key.
    pub key: String,
    /// Title for people.
    pub title: String,
    /// Region.
    pub region: Region,
    /// Episodes that started, due or not.
    pub episodes_started: Shown<u32>,
    /// Of these, due.
    pub episodes_due: Shown<u32>,
    /// Onset mix: acute, subacute, persistent, not recorded.
    pub onset_mix: [Shown<u32>; 4],
    /// Outcomes, most complete first.
    pub outcomes: Vec<OutcomeFindings>,
}

/// A whole report.
#[derive(Clone, PartialEq, Debug)]
pub struct Bulletin {
    /// The group's name.
    pub group: String,
    /// The quarter reported, when the data know quarters.
    pub period: Option<crate::rows::when::Quarter>,
    /// Quarters with due episodes, oldest first.
    pub quarters: Vec<crate::rows::when::Quarter>,
    /// Sites in order of name.
    pub sites: Vec<String>,
    /// Counts below or at this are withheld (4 internal, 10 for release).
    pub withhold_up_to: u32,
    /// Who may see it.
    pub audience: Audience,
    /// Conditions, most episodes first; episodes without a condition come last under `not_recorded`.
    pub conditions: Vec<ConditionFindings>,
    /// Sites compared like for like; empty without two sites.
    pub sites_compared: Vec<SiteComparison>,
    /// What each site's page says beside that, in order of name; empty without two sites.
    pub site_findings: Vec<SiteFindings>,
    /// Those seen and lost of the whole group, by domain.
    pub lost: Vec<SeenAndLost>,
    /// How patients are set up and dosed; absent when it was not looked at.
    pub setups: Option<super::setups::SetupFindings>,
    /// Dose delivered, and dose and setup against outcome.
    pub dose: Option<super::dose::DoseFindings>,
    /// How well the data were understood.
    pub quality: super::quality::DataQuality,
}

/// How much worse the lost would have to be to change the message.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Tipping {
    /// The message changes once every lost patient ended worse by this much than imputed, own unit.
    Worse(f64),
    /// The imputed rate lies below the interval of the rate seen as it is.
    AlreadyBelow,
    /// Even with every lost patient at the worst score the message stands.
    Never,
}
