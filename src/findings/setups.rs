//! Setups and dose as plain data: what `setup_findings.csv`, `setup_variation.csv`, `setups.html` and `mendcurve setups` say.
//!
//! Numbers of a parameter are in the unit that people read it in, named beside them. Nothing here stands for fewer patients
//! than the small-cell rule asks for.

use super::shown::Estimate;
use super::sites::{Call, Limits};
pub use crate::catalogue::parameter::About;
use crate::catalogue::setup_standard::Grade;
use chrono::NaiveDate;

/// Everything about setups.
#[derive(Clone, PartialEq, Default, Debug)]
pub struct SetupFindings {
    /// The standard held against, in words: the file's name, or none where it is the program's own.
    pub standard_file: Option<String>,
    /// Treated visits looked at.
    pub visits: u32,
    /// Of these, without a calendar day: not on any time chart.
    pub undated: u32,
    /// First and last calendar day.
    pub span: Option<(NaiveDate, NaiveDate)>,
    /// p values that went through the one Benjamini-Hochberg step.
    pub tests: u32,
    /// What was found, the most important first.
    pub findings: Vec<SetupFinding>,
    /// Parameter by parameter, those that some visit records.
    pub parameters: Vec<ParameterFindings>,
    /// The rules of what is possible.
    pub rules: Vec<RuleFindings>,
    /// Traction tables beside their siblings, by their opening at equal tension.
    pub tables: Vec<TableOpening>,
}

impl SetupFindings {
    /// Whether a required item of the standard is met less often somewhere than elsewhere, beyond chance.
    pub fn required_fall_short(&self) -> bool {
        self.findings.iter().any(|found| found.kind == Kind::Conformance && found.grade == Some(Grade::Required))
    }

    /// What is known of a parameter in a region.
    pub fn of(&self, about: About) -> Option<&ParameterFindings> {
        self.parameters.iter().find(|of| of.about == about)
    }
}

/// Where something was found: a site, one of its clinicians, or one of its traction tables.
#[derive(Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Where {
    /// The site.
    pub site: String,
    /// The clinician's code.
    pub clinician: Option<String>,
    /// The traction table's code.
    pub table: Option<String>,
}

/// The kinds of findings.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Kind {
    /// The standard is met less often than elsewhere: `observed` and `reference` are shares of visits.
    Conformance,
    /// The usual value is unlike the other sites', or a clinician's unlike the site's others: `observed` and `reference` are means over patients.
    Unlike,
    /// The values are spread unlike the other sites', beyond a shift: `observed` is the energy distance as a share of its most.
    Spread,
    /// Changed at once: `observed` is the level after, `reference` the level before.
    Shift,
    /// Drifts since a day: `observed` is the slope a week, `reference` the level before.
    Drift,
    /// Entries repeat those of the visit before: `observed` and `reference` are shares of visits.
    CopiedForward,
    /// Last digits are uneven: `observed` is the share ending in `digit`, `reference` the share expected.
    Digits,
    /// Recorded numbers that cannot be, more often than elsewhere: shares of visits.
    NotPossible,
    /// A table opens unlike its siblings at equal tension: `observed` and `reference` are openings.
    Opening,
}

impl Kind {
    /// Its word in sheets.
    pub fn key(self) -> &'static str {
        match self {
            Self::Conformance => "conformance",
            Self::Unlike => "unlike_the_rest",
            Self::Spread => "spread",
            Self::Shift => "shift",
            Self::Drift => "drift",
            Self::CopiedForward => "copied_forward",
            Self::Digits => "digit_preference",
            Self::NotPossible => "not_possible",
            Self::Opening => "opening_at_equal_tension",
        }
    }
}

/// One finding.
#[derive(Clone, PartialEq, Debug)]
pub struct SetupFinding {
    /// Its kind.
    pub kind: Kind,
    /// Where.
    pub place: Where,
    /// The parameter; `None` for entries copied forward, rules of what is possible and scores. Digits of a pull stand under its share of
    /// body weight.
    pub about: Option<About>,
    /// The measure whose scores end unevenly, for people; for [`Kind::Digits`] of scores.
    pub measure: Option<String>,
    /// The key of the rule broken, for [`Kind::NotPossible`].
    pub rule: Option<String>,
    /// The grade of the standard's item, for [`Kind::Conformance`].
    pub grade: Option<Grade>,
    /// Whether `reference` is the least share that a required item must reach at every site, not what others do.
    pub is_against_least: bool,
    /// Since when, with the days between which it began.
    pub since: Option<Since>,
    /// Whether few patients stand on one side of the share seen: then it is withheld, and `observed`, `interval`, `p` and `q` are 0.
    pub few_on_one_side: bool,
    /// What is seen; shares to whole percent.
    pub observed: f64,
    /// What it is held against; shares to whole percent.
    pub reference: f64,
    /// 95 % interval of what is seen, or what chance gives around the reference, as `interval_is_of_reference` says.
    pub interval: Limits,
    /// Whether the interval lies around the reference.
    pub interval_is_of_reference: bool,
    /// Unit of these numbers: a symbol, `share`, or a symbol with ` a week`.
    pub unit: String,
    /// Decimals for people.
    pub decimals: usize,
    /// The preferred last digit, for [`Kind::Digits`].
    pub digit: Option<u8>,
    /// Visits behind it.
    pub visits: u32,
    /// Patients behind it, at least as many as the small-cell rule asks for.
    pub patients: u32,
    /// p value before, and after the one Benjamini-Hochberg step.
    pub p: f64,
    /// See `p`.
    pub q: f64,
    /// For [`Kind::Conformance`] of a number that is unlike elsewhere as well: its mean, the mean it is held against, and their unit.
    pub usual: Option<UsualValue>,
    /// Findings of the same thing at wider or narrower places, which this one explains.
    pub also: Vec<Where>,
}

/// A usual value beside that of others.
#[derive(Clone, PartialEq, Debug)]
pub struct UsualValue {
    /// Mean over patients.
    pub observed: f64,
    /// Mean of the others.
    pub reference: f64,
    /// Symbol of their unit.
    pub unit: String,
    /// Decimals for people.
    pub decimals: usize,
}

/// When something began.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Since {
    /// The likeliest day.
    pub day: NaiveDate,
    /// Earliest likely day.
    pub earliest: NaiveDate,
    /// Latest likely day.
    pub latest: NaiveDate,
}

/// What is known of one parameter in one region.
#[derive(Clone, PartialEq, Debug)]
pub struct ParameterFindings {
    /// The parameter.
    pub about: About,
    /// Symbol of the unit of its numbers; empty for a yes or no and for words.
    pub unit: String,
    /// Decimals for people.
    pub decimals: usize,
    /// Treated visits of the region, and how many of them record it.
    pub visits: u32,
    /// See `visits`.
    pub recorded: u32,
    /// Patients behind it.
    pub patients: u32,
    /// What the standard asks.
    pub asked: Vec<Asked>,
    /// Quantiles by site, for a number; the group first.
    pub strips: Vec<Strip>,
    /// Shares of visits by site and word, for a yes or no and for words; the group first.
    pub words: Vec<WordShares>,
    /// Where the variation sits; or why it cannot be told.
    pub variation: Variation,
    /// How often the standard is met, by site, clinician and table; one for each of `asked`.
    pub conformance: Vec<Conformance>,
    /// Followed over time, a chart a site; and one for each traction table or clinician with a change.
    pub charts: Vec<TimeChart>,
    /// What changes from one visit of a patient to the next.
    pub within: Option<Within>,
}

/// An item of the standard.
#[derive(Clone, PartialEq, Debug)]
pub struct Asked {
    /// The position it holds for; all when absent.
    pub position: Option<&'static str>,
    /// What is asked.
    pub target: AskedTarget,
    /// How binding it is.
    pub grade: Grade,
    /// Where it comes from.
    pub source: String,
    /// What to bear in mind; may be empty.
    pub note: String,
}

/// What an item asks for.
#[derive(Clone, PartialEq, Debug)]
pub enum AskedTarget {
    /// A number, with the least and most still right.
    Number {
        /// Aimed at.
        aim: f64,
        /// Least.
        low: f64,
        /// Most.
        high: f64,
    },
    /// Yes or no.
    YesNo(bool),
    /// A word.
    Word(&'static str),
}

/// Quantiles of one site's values.
#[derive(Clone, PartialEq, Debug)]
pub struct Strip {
    /// The site; the whole group when absent.
    pub site: Option<String>,
    /// Visits; to whole tens.
    pub visits: u32,
    /// 5, 10, 25, 50, 75, 90 and 95 % of visits lie at or below these; absent when withheld.
    pub quantiles: Option<[f64; 7]>,
}

/// Shares of one site's visits by word.
#[derive(Clone, PartialEq, Debug)]
pub struct WordShares {
    /// The site; the whole group when absent.
    pub site: Option<String>,
    /// Visits; to whole tens.
    pub visits: u32,
    /// (word, share of visits), adding up to 1; a yes or no has `yes` and `no`. Absent when withheld.
    pub shares: Option<Vec<(&'static str, f64)>>,
}

/// Where a parameter's variation sits.
#[derive(Clone, PartialEq, Debug)]
pub enum Variation {
    /// Level by level, the widest first, `visit` last.
    Levels(Vec<LevelVariation>),
    /// It cannot be told; why.
    Untold(&'static str),
}

/// The variation at one level.
#[derive(Clone, PartialEq, Debug)]
pub struct LevelVariation {
    /// `site`, `table`, `clinician`, `patient` or `visit`.
    pub level: &'static str,
    /// Groups at the level; visits at the last.
    pub groups: u32,
    /// Variance, in the square of the unit.
    pub variance: f64,
    /// Its share of the whole with a 95 % profile-likelihood interval.
    pub share: Estimate,
    /// Visits behind it.
    pub visits: u32,
}

/// How often an item of the standard is met.
#[derive(Clone, PartialEq, Debug)]
pub struct Conformance {
    /// Share of the group's visits.
    pub group: f64,
    /// Visits of the group that the item holds for and that record it.
    pub visits: u32,
    /// Sites, their clinicians and their traction tables, in order of name.
    pub lines: Vec<ConformanceLine>,
    /// Limits of chance around the group's share, by number of visits, for the funnel: (visits, 95 %, 99.8 %).
    pub funnel: Vec<(f64, Limits, Limits)>,
}

/// One site, clinician or traction table.
#[derive(Clone, PartialEq, Debug)]
pub struct ConformanceLine {
    /// Which.
    pub place: Where,
    /// Visits; to whole tens.
    pub visits: u32,
    /// Share that meets the item; absent when withheld, and to whole percent where another line's is.
    pub share: Option<f64>,
    /// 95 % interval of the share, patients being clusters.
    pub interval: Option<Limits>,
    /// Adjusted p value; `None` for too few.
    pub q: Option<f64>,
    /// What it comes to; `Below` is worse.
    pub call: Call,
}

/// A parameter followed over time.
#[derive(Clone, PartialEq, Debug)]
pub struct TimeChart {
    /// Where.
    pub place: Where,
    /// Whether values are shares of visits that say yes, rather than means.
    pub is_share: bool,
    /// Points in order of time.
    pub points: Vec<TimePoint>,
    /// Centre line.
    pub centre: f64,
    /// Whether Laney's correction for more than chance widened the limits; for shares.
    pub widened: bool,
    /// A change that was found: the line before and after, as (first day, value at it, last day, value at it).
    pub change: Option<Changed>,
}

/// A point of a time chart.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct TimePoint {
    /// First day of its week.
    pub day: NaiveDate,
    /// Mean or share.
    pub value: f64,
    /// Limits of three standard deviations.
    pub limits: Limits,
    /// Whether a rule of the chart signals.
    pub signals: bool,
}

/// A change on a time chart.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Changed {
    /// When it began.
    pub since: Since,
    /// The level before.
    pub before: f64,
    /// The level just after it began.
    pub from: f64,
    /// The level on the last day.
    pub to: f64,
}

/// What changes from one visit of a patient to the next.
#[derive(Clone, PartialEq, Debug)]
pub struct Within {
    /// Steps from one visit to the next that both record it.
    pub steps: u32,
    /// Share of them with another value.
    pub changed: f64,
    /// Of those with another value, the median and the 90th percentile of how far, for a number.
    pub how_far: Option<(f64, f64)>,
}

/// A rule of what is possible.
#[derive(Clone, PartialEq, Debug)]
pub struct RuleFindings {
    /// Its key.
    pub key: String,
    /// What it says, for people.
    pub title: String,
    /// Why, and what to look at.
    pub explanation: String,
    /// Where the limit comes from.
    pub source: String,
    /// Whether it is switched on.
    pub is_on: bool,
    /// Visits that record what it needs.
    pub visits: u32,
    /// Of these, that break it, to whole tens; `None` for fewer than ten, or when few patients stand behind it.
    pub broken: Option<u32>,
    /// Share of visits that break it by site; absent when withheld.
    pub sites: Vec<(String, Option<f64>)>,
}

/// A traction table beside its siblings.
#[derive(Clone, PartialEq, Debug)]
pub struct TableOpening {
    /// Which.
    pub place: Where,
    /// Visits.
    pub visits: u32,
    /// Mean opening as recorded, mm.
    pub recorded: f64,
    /// Mean opening at the group's mean tension, mm, with its 95 % interval.
    pub at_equal_tension: Estimate,
    /// The same of its siblings at the site.
    pub siblings: Option<f64>,
    /// Adjusted p value of the difference; `None` without siblings.
    pub q: Option<f64>,
    /// Whether it is a finding: unlike its siblings beyond chance and by more than the standard's tolerance.
    pub stands_out: bool,
}
