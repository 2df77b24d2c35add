//! Sites compared like for like, in words.

use super::phrases::within;
use super::site_figures::value;
use super::{counted, decimal, percent};
use crate::catalogue::measure::Domain;
use crate::findings::bulletin::{Estimate, Shown};
use crate::findings::sites::{Call, SiteComparison, SiteRow};
use crate::models::sites::case_mix::Covariate;
use crate::models::sites::cases::Quantity;

/// Title of the overview, and its name in links.
pub const TITLE: &str = "Sites compared";
/// Opening, for those who hear the page.
pub const OPENING: &str = "What the comparison comes to";
/// Observed against expected.
pub const FUNNELS: &str = "Observed against expected";
/// Estimates.
pub const ESTIMATES: &str = "Best guess for each site";
/// Those lost.
pub const LOST: &str = "Who was followed up, and what the lost could do";
/// By condition.
pub const BY_CONDITION: &str = "Condition by condition";
/// The models.
pub const MODELS: &str = "What the comparison allows for, and how well";
/// Pages of the sites.
pub const PAGES: &str = "Site by site";
/// A site's course.
pub const COURSE: &str = "Course beside the group's";
/// A site's quarters.
pub const BY_QUARTER: &str = "Quarter by quarter";
/// How care ended.
pub const ENDED: &str = "How care ended";
/// Caption of how care ended.
pub const ENDED_CAPTION: &str = "How care ended, due episodes of all quarters";
/// Columns of how care ended.
pub const ENDED_COLUMNS: [&str; 6] =
    ["due", "as planned", "stopped early", "referred on", "lost", "not recorded or ongoing"];
/// Caption of the models.
pub const MODELS_CAPTION: &str = "Case-mix models";
/// First column of a site's lost.
pub const MEASURE: &str = "measure";

/// Before the funnels.
pub const INTRO: &str = "Each site is compared with what its own patients would be expected to do at the group as a whole, given what \
     was known of them before treatment. A difference that remains may come from treatment, from what no model holds, or from \
     who was not followed up; it is where to look, not a verdict.";
/// Before those lost.
pub const LOST_INTRO: &str = "A site that loses sight of patients who fare badly looks better than it is. The lost are drawn from the \
     recovery curve of their condition, given what was read of them; a rate that falls much further than the group's says that those \
     lost had been doing worse.";
/// Beside the comparison's sheet.
pub const ROWS_NOTE: &str = "Expected: from the case-mix model without sites. Adjusted: at the group's case mix. Chance: what a site \
     of this size and case mix that does not differ gives 95\u{a0}% of the time. q: p value after Benjamini-Hochberg over all sites, \
     conditions, measures and periods of this report; where counts of a condition are withheld, episodes are given to whole tens \
     and rates to whole percent. A call needs at most 0.05. Too few: under ten episodes, under five expected to respond \
     or not to, or a site that alone uses a measure and cannot be told from it.";
/// Beside the models' sheet.
pub const MODELS_NOTE: &str = "Discrimination: area under the curve for a yes or no (0.5 is a coin, 1 perfect), share of variance \
     explained for a change. Calibration slope: of chances given to patients whom the model had not seen, ideal 1; for a change of \
     predictions. SD between sites: beyond chance and case mix, in log odds or points of burden; 0 where sites do not differ beyond \
     chance. Episodes that lack a value are a class of their own.";
/// Where the models of single conditions are.
pub const MODELS_OF_CONDITIONS: &str = "The models of single conditions stand in tables/case_mix_models.csv; with few episodes they hold few \
     columns, and some tell patients apart no better than a coin does.";
/// Beside those lost.
pub const LOST_NOTE: &str = "Imputed: pooled over the draws, with a 95\u{a0}% interval. Difference: seen less imputed, in whole percentage \
     points; the larger beside the group's, the worse those lost were doing when last read.";

/// Columns of a comparison.
pub const ROW_COLUMNS: [&str; 8] =
    ["episodes", "observed", "expected", "adjusted", "chance, 95\u{a0}%", "estimate (95\u{a0}%\u{a0}CI)", "q", "call"];
/// Columns of those lost.
pub const LOST_COLUMNS: [&str; 5] = [
    "due",
    "followed up",
    "responded, of those seen",
    "with the lost imputed (95\u{a0}%\u{a0}CI)",
    "difference, points",
];
/// Columns of the models.
pub const MODEL_COLUMNS: [&str; 5] =
    ["episodes", "allowed for", "discrimination", "calibration slope", "SD between sites"];
/// Columns of the calls by condition.
pub const CALL_COLUMNS: [&str; 3] = ["responded", "change", "smallest q"];
/// First column.
pub const SITE: &str = "site";
/// First column of the models.
pub const COMPARISON: &str = "comparison";

/// A comparison's name.
pub fn name(comparison: &SiteComparison) -> String {
    let what = match comparison.quantity {
        Quantity::Response => "minimal important change",
        Quantity::Change => "fall of burden",
        Quantity::FollowedUp => "followed up",
    };
    format!("{}: {}, {what}", comparison.condition_title, within(&comparison.measure_title))
}

/// Where and on what, inside a sentence.
fn about(comparison: &SiteComparison) -> String {
    let measure = within(&comparison.measure_title);
    if comparison.is_over_all() {
        format!("{measure}, all conditions together")
    } else {
        format!("{measure}, {}", within(&comparison.condition_title))
    }
}

/// The leading sentence on a site that stands out.
pub fn call_lead(comparison: &SiteComparison, row: &SiteRow) -> String {
    let quantity = comparison.quantity;
    let print = |shown: &Shown<f64>| match shown {
        Shown::Value(number) => value(*number, quantity, 1),
        _ => "withheld".to_owned(),
    };
    let (raw, expected) = (print(&row.raw), print(&row.expected_rate));
    let side = if row.call == Call::Above { "more" } else { "less" };
    let (site, about) = (&row.site, about(comparison));
    match comparison.quantity {
        Quantity::Response => format!(
            "{site}: {raw} of those with both readings reached the minimal important change ({about}), {side} than the \
             {expected} expected for its case mix, by more than chance explains."
        ),
        Quantity::Change => format!(
            "{site}: scores fell by {raw} points on a scale of 0 to 100 ({about}), {side} than the {expected} expected for its case mix, by \
             more than chance explains."
        ),
        Quantity::FollowedUp => format!(
            "{site}: {raw} of due episodes have baseline and endpoint ({about}) where {expected} would be expected: {side} than chance \
             explains."
        ),
    }
}

/// Beside it.
pub fn call_note(comparison: &SiteComparison, row: &SiteRow) -> String {
    let quantity = comparison.quantity;
    let mut note = match row.episodes {
        Shown::Value(n) if row.hides_counts() => {
            format!("About {}", counted(u64::from(n), "episode", "episodes"))
        }
        Shown::Value(n) => counted(u64::from(n), "episode", "episodes"),
        _ => "Episodes withheld".to_owned(),
    };
    if let Shown::Value(estimate) = row.shrunken {
        note.push_str(&format!("; drawn towards the group {}", interval(&estimate, quantity)));
    }
    if let Some(q) = row.q {
        note.push_str(&format!("; q {}", q_value(q)));
    }
    note.push('.');
    note
}

/// Episodes of a line; roughly where counts are withheld.
pub fn episodes(row: &SiteRow, n: u32) -> String {
    let number = super::count(u64::from(n));
    if row.hides_counts() { format!("about {number}") } else { number }
}

/// Over which period a call is.
pub fn period_note(period: &str) -> String {
    format!("{}.", super::phrases::capital(period))
}

/// Caption of a comparison's sheet.
pub fn rows_caption(comparison: &SiteComparison, period: &str) -> String {
    format!("{}; {period}", name(comparison))
}

/// Caption of a site's comparisons.
pub fn site_caption(site: &str, period: &str) -> String {
    format!("{site} in every comparison that it has episodes enough for; {period}")
}

/// Caption of those lost.
pub fn lost_caption(measure: &str) -> String {
    format!("{measure}, all conditions; all quarters")
}

/// Caption of a site's lost.
pub fn site_lost_caption(period: &str) -> String {
    format!("All conditions; {period}")
}

/// The group's line under a site's.
pub fn of_group(measure: &str, group: &str) -> String {
    format!("{group}, {measure}")
}

/// How many single conditions were tested.
pub fn conditions_tested(tested: usize, called: usize, too_few: usize) -> String {
    format!(
        "One condition and measure at a time: {} tested, {called} beyond chance, {} with too few episodes to say.",
        counted(tested as u64, "line", "lines"),
        counted(too_few as u64, "line", "lines")
    )
}

/// A model's discrimination.
pub fn discrimination(estimate: &Estimate) -> String {
    if estimate.low == estimate.high {
        decimal(estimate.value, 2)
    } else {
        format!("{} ({} to {})", decimal(estimate.value, 2), decimal(estimate.low, 2), decimal(estimate.high, 2))
    }
}

/// Beside what the lost could do.
pub fn lost_note(measure: &str) -> String {
    format!("{}, all conditions, all quarters.", super::phrases::capital(measure))
}

/// An estimate with its interval.
pub fn interval(estimate: &Estimate, quantity: Quantity) -> String {
    format!(
        "{} ({} to {})",
        value(estimate.value, quantity, 1),
        value(estimate.low, quantity, 1),
        value(estimate.high, quantity, 1)
    )
}

/// An adjusted p value for people.
pub fn q_value(q: f64) -> String {
    if q < 0.001 { "<0.001".to_owned() } else { decimal(q, 3) }
}

/// Where no site is called.
pub fn nobody(sites: usize, comparisons: usize) -> String {
    format!(
        "No site differs from what is expected for its case mix by more than chance explains, in {} of {}.",
        counted(comparisons as u64, "comparison", "comparisons"),
        counted(sites as u64, "site", "sites")
    )
}

/// On a site's page, where it is called nowhere.
pub fn not_called(site: &str, tested: usize) -> String {
    format!(
        "{site} does not differ from what is expected for its case mix by more than chance explains, in any of {}.",
        counted(tested as u64, "comparison", "comparisons")
    )
}

/// On a site's page, where it has too few episodes for every comparison.
pub fn too_few(site: &str) -> String {
    format!("{site} has too few episodes to be compared.")
}

/// What is allowed for, with who lacks it.
pub fn allowed_for(comparison: &SiteComparison) -> String {
    let entered = comparison.entered.iter().map(|(covariate, lacking)| match lacking {
        Shown::Value(0) => covariate_name(*covariate).to_owned(),
        Shown::Value(n) => format!("{} (lacking: {n})", covariate_name(*covariate)),
        Shown::Withheld | Shown::Missing => format!("{} (lacking: few)", covariate_name(*covariate)),
    });
    let mut text = entered.collect::<Vec<_>>().join(", ");
    if text.is_empty() {
        text = "nothing".to_owned();
    }
    if !comparison.left_out.is_empty() {
        let left_out: Vec<&str> = comparison.left_out.iter().map(|covariate| covariate_name(*covariate)).collect();
        text.push_str(&format!("; not: {}", left_out.join(", ")));
    }
    if comparison.penalised {
        text.push_str("; penalised, since a class predicts perfectly");
    }
    text
}

/// A covariate's name.
pub fn covariate_name(covariate: Covariate) -> &'static str {
    match covariate {
        Covariate::Baseline => "burden at the start",
        Covariate::Outcome => "measure",
        Covariate::Condition => "condition",
        Covariate::Onset => "time since onset",
        Covariate::OtherBaseline => "burden at the start in the other domain",
        Covariate::Age => "age",
        Covariate::Compensation => "compensation claim",
        Covariate::PriorSurgery => "prior surgery",
        Covariate::Sex => "sex",
        Covariate::BodyMassIndex => "body-mass index",
    }
}

/// Where the sites do not differ beyond chance.
pub fn no_spread(comparison: &SiteComparison) -> String {
    format!(
        "{}: no difference between the sites is shown beyond chance and case mix, so the best guess for each is the group's.",
        name(comparison)
    )
}

/// A domain inside a sentence.
pub fn domain(domain: Domain) -> &'static str {
    match domain {
        Domain::Pain => "pain",
        Domain::Disability => "disability",
        Domain::Function => "function",
        Domain::Change => "perceived change",
    }
}

/// The difference of a rate among those seen and with the lost imputed, in whole points.
pub fn gap(gap: f64) -> String {
    super::signed(100.0 * gap, 0)
}

/// The leading sentence on a site's lost, where its rates are withheld.
pub fn gap_lead(site: &str, followed_up: f64, group: f64, gap: f64, group_gap: f64) -> String {
    format!(
        "{site}: {} of due episodes were followed up (whole group {}); with the lost imputed its response rate would be {} percentage \
         points lower (whole group {}).",
        percent(followed_up),
        percent(group),
        decimal(100.0 * gap, 0),
        decimal(100.0 * group_gap, 0)
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_comparison_is_named_with_what_it_allows_for() {
        let comparison = SiteComparison {
            condition: "all_conditions".to_owned(),
            condition_title: "All conditions".to_owned(),
            measure: "pain".to_owned(),
            measure_title: "Pain".to_owned(),
            quantity: Quantity::Response,
            episodes: Shown::Value(12),
            has_hidden_parts: false,
            overall: Shown::Value(0.5),
            entered: vec![(Covariate::Age, Shown::Value(3)), (Covariate::Sex, Shown::Value(0))],
            left_out: vec![Covariate::BodyMassIndex],
            discrimination: None,
            calibration_slope: None,
            penalised: false,
            between_sd: None,
            funnel: Vec::new(),
            rows: Vec::new(),
            by_quarter: Vec::new(),
        };
        assert_eq!(allowed_for(&comparison), "age (lacking: 3), sex; not: body-mass index");
        assert_eq!(name(&comparison), "All conditions: pain, minimal important change");
    }
}
