//! Sites compared like for like, as plain data: what `site_comparison.csv` and the pages of sites say.

use super::shown::{Estimate, Period, Shown};
use crate::catalogue::measure::Domain;
use crate::models::sites::case_mix::Covariate;
use crate::models::sites::cases::Quantity;
use crate::rows::when::Quarter;

/// The condition key of comparisons over all conditions.
pub const ALL_CONDITIONS: &str = "all_conditions";

/// What a comparison says of a site.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Call {
    /// Better than expected for its case mix, beyond chance and the number of comparisons.
    Above,
    /// Worse.
    Below,
    /// Neither.
    Within,
    /// Too few episodes to say.
    TooFew,
}

impl Call {
    /// Its word in sheets.
    pub fn key(self) -> &'static str {
        match self {
            Self::Above => "above",
            Self::Below => "below",
            Self::Within => "within",
            Self::TooFew => "too few",
        }
    }
}

/// Two limits.
pub type Limits = (f64, f64);

/// One site in one period of one comparison. A line is shown whole, by its rates alone (rounded), or not at all; the call is always
/// given.
#[derive(Clone, PartialEq, Debug)]
pub struct SiteRow {
    /// Period.
    pub period: Period,
    /// The site.
    pub site: String,
    /// Its episodes; to whole tens where counts are withheld.
    pub episodes: Shown<u32>,
    /// Responders, episodes followed up, or the summed fall of burden.
    pub observed: Shown<f64>,
    /// The same as the case-mix model expects it.
    pub expected: Shown<f64>,
    /// Observed / expected; for a change there is none.
    pub ratio: Shown<f64>,
    /// Mean observed: before adjustment.
    pub raw: Shown<f64>,
    /// Mean as the case-mix model expects it.
    pub expected_rate: Shown<f64>,
    /// After adjustment.
    pub adjusted: Shown<f64>,
    /// After adjustment, drawn towards the group; over all periods only.
    pub shrunken: Shown<Estimate>,
    /// What chance alone gives 95 % of the time, on the scale of `adjusted`.
    pub limits_95: Shown<Limits>,
    /// What chance alone gives 99.8 % of the time.
    pub limits_998: Shown<Limits>,
    /// Standard score, positive for better.
    pub score: Shown<f64>,
    /// Benjamini-Hochberg adjusted p value over all sites, conditions, measures and periods of the run; `None` for too few.
    pub q: Option<f64>,
    /// What it comes to.
    pub call: Call,
}

/// A comparison with its model.
#[derive(Clone, PartialEq, Debug)]
pub struct SiteComparison {
    /// Condition key, or [`ALL_CONDITIONS`].
    pub condition: String,
    /// The condition for people.
    pub condition_title: String,
    /// Outcome key, or the domain over all conditions: `pain`, `disability`.
    pub measure: String,
    /// The outcome for people.
    pub measure_title: String,
    /// What is compared.
    pub quantity: Quantity,
    /// Episodes in the model; to whole tens where some condition's are withheld.
    pub episodes: Shown<u32>,
    /// Whether counts of some condition in it are withheld.
    pub has_hidden_parts: bool,
    /// Mean over all of them: a rate, or points of burden.
    pub overall: Shown<f64>,
    /// What the model allows for, with the number of episodes that lack it.
    pub entered: Vec<(Covariate, Shown<u32>)>,
    /// What it does not, for want of room or of variation.
    pub left_out: Vec<Covariate>,
    /// Area under the curve of the model's predictions (a yes or no), or the share of variance it explains (a change).
    pub discrimination: Option<Estimate>,
    /// Calibration slope of predictions made of the other folds' patients.
    pub calibration_slope: Option<f64>,
    /// Whether a perfect prediction had to be penalised.
    pub penalised: bool,
    /// SD between sites beyond chance and case mix.
    pub between_sd: Option<f64>,
    /// Limits of chance around the group's value, by number of episodes, for the funnel.
    pub funnel: Vec<FunnelAt>,
    /// Lines: all periods first, then the quarter reported; sites in order of name.
    pub rows: Vec<SiteRow>,
    /// Each quarter of each site, not tested; only over all conditions.
    pub by_quarter: Vec<SiteRow>,
}

/// Limits of chance for a site of average case mix.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct FunnelAt {
    /// Episodes.
    pub episodes: f64,
    /// 95 %.
    pub limits_95: Limits,
    /// 99.8 %.
    pub limits_998: Limits,
}

impl SiteRow {
    /// Whether its counts are withheld; its episodes may then be shown to whole tens.
    pub fn hides_counts(&self) -> bool {
        self.observed == Shown::Withheld
    }

    /// Whether its rates are withheld as well.
    pub fn hides_rates(&self) -> bool {
        self.raw == Shown::Withheld
    }

    /// Whether it is called above or below.
    pub fn stands_out(&self) -> bool {
        matches!(self.call, Call::Above | Call::Below)
    }
}

impl SiteComparison {
    /// The definition key in sheets.
    pub fn definition(&self) -> &'static str {
        match self.quantity {
            Quantity::Response => "minimal_important",
            Quantity::Change => "change_of_burden",
            Quantity::FollowedUp => "followed_up",
        }
    }

    /// Whether it is over all conditions.
    pub fn is_over_all(&self) -> bool {
        self.condition == ALL_CONDITIONS
    }

    /// The line of a site.
    pub fn row(&self, period: &Period, site: &str) -> Option<&SiteRow> {
        self.rows.iter().find(|row| row.period == *period && row.site == site)
    }
}

/// What a site's page says beside the comparison.
#[derive(Clone, PartialEq, Debug)]
pub struct SiteFindings {
    /// The site.
    pub site: String,
    /// Its course beside the group's, by domain.
    pub courses: Vec<SiteCourse>,
    /// Who was lost, by domain.
    pub lost: Vec<SeenAndLost>,
    /// Its response rate by quarter, by domain.
    pub quarters: Vec<QuartersOf>,
    /// How care ended.
    pub ended: Ended,
}

/// Mean burden by week.
#[derive(Clone, PartialEq, Debug)]
pub struct SiteCourse {
    /// The domain.
    pub domain: Domain,
    /// The site's weeks.
    pub site: Vec<SiteWeek>,
    /// The group's weeks.
    pub group: Vec<SiteWeek>,
}

/// One week.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct SiteWeek {
    /// Weeks since the first treated visit.
    pub week: u32,
    /// Mean day.
    pub day: f64,
    /// Mean burden, 0 to 100, with its interval.
    pub mean: Estimate,
    /// Episodes.
    pub episodes: u32,
}

/// Those seen, those lost, and what the lost could do to the rate of response.
#[derive(Clone, PartialEq, Debug)]
pub struct SeenAndLost {
    /// The domain.
    pub domain: Domain,
    /// Due episodes.
    pub due: Shown<u32>,
    /// Of these, with baseline and endpoint.
    pub followed_up: Shown<u32>,
    /// followed_up / due.
    pub share: Shown<f64>,
    /// Rate of those seen.
    pub seen: Shown<Estimate>,
    /// Rate with the lost imputed.
    pub imputed: Shown<Estimate>,
    /// seen - imputed, to whole percentage points: so coarse that it may be shown where the rates are withheld.
    pub gap: Shown<f64>,
}

/// A site's response rate by quarter, on a control chart.
#[derive(Clone, PartialEq, Debug)]
pub struct QuartersOf {
    /// The domain.
    pub domain: Domain,
    /// The site's rate over all quarters.
    pub centre: f64,
    /// The group's.
    pub group: f64,
    /// Each quarter; nothing where it is withheld.
    pub quarters: Vec<(Quarter, Option<QuarterPoint>)>,
}

/// One quarter.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct QuarterPoint {
    /// Rate.
    pub value: f64,
    /// Three standard deviations of chance around the site's rate.
    pub limits: Limits,
    /// Episodes with an outcome.
    pub episodes: u32,
    /// Whether rate and episodes are rounded, since counts are withheld.
    pub is_rounded: bool,
    /// Whether a rule signals.
    pub signals: bool,
}

/// How care ended, of due episodes. The counts add up to `due`.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Ended {
    /// Due episodes.
    pub due: Shown<u32>,
    /// As planned.
    pub completed: Shown<u32>,
    /// Before the plan was done.
    pub stopped_early: Shown<u32>,
    /// To other care.
    pub referred_on: Shown<u32>,
    /// Nobody knows.
    pub lost: Shown<u32>,
    /// Not recorded, or recorded as still in care.
    pub not_recorded: Shown<u32>,
}
