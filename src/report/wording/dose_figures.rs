//! Words of the figures about dose, and their text alternatives.

use super::dose::{of_body_weight, progression, ratio, ratios};
use super::{decimal, range};
use crate::report::figures::{FirstAndLast, OddsOf, OddsRatios, PullByVisit};

/// Under the pull by visit.
pub const VISIT_NUMBER: &str = "number of the treated visit";
/// At the band of the pull by visit.
pub const MIDDLE_HALF: &str = "middle half of visits";
/// Over the rings.
pub const FIRST_VISIT: &str = "first visit";
/// Over the dots.
pub const LAST_VISIT: &str = "last visit";
/// Over the progressions.
pub const PROGRESSION: &str = "points a\u{a0}visit";
/// Under the first and last visit.
pub const BODY_WEIGHT: &str = "mean peak pull, percent of body weight";
/// The line of the whole group.
pub const WHOLE_GROUP: &str = "whole group";
/// In place of numbers that are withheld.
pub const WITHHELD: &str = "– withheld";
/// In place of numbers that do not exist.
pub const NONE: &str = "not recorded";
/// Over the odds ratios.
pub const ODDS_RATIO: &str = "odds ratio (95\u{a0}% CI)";
/// Over the E-values.
pub const E_VALUE: &str = "E, limit";
/// Under the odds ratios, to the left of 1.
pub const LESS: &str = "← lower odds of a response";
/// Under the odds ratios, to the right of 1.
pub const MORE: &str = "higher →";

/// Under the figure of pull by visit.
pub const READ_BY_VISIT: &str = "Line: median of the visits that record the pull; tint: their middle half. Each visit counts those who \
     came to it, so that late visits are of fewer patients and of others than early ones. Panels of one region share a scale.";
/// Under the figure of first and last visit.
pub const READ_FIRST_LAST: &str = "Ring and dot are means of the same episodes; the number beside them is the median of the episodes' slopes. \
     How fast pull rises is the clinician's choice and depends on who is treated.";
/// Under the figure of associations.
pub const READ_ASSOCIATIONS: &str = "Dot and line: odds ratio with its 95\u{a0}% interval on a scale of ratios; a line that ends at the edge goes on. \
     In the second ink: more than chance explains after allowing for the number of findings. E: E-value of the estimate, then of the nearer limit.";

/// A percentage on an axis.
pub fn tick(percent: f64) -> String {
    format!("{}\u{a0}%", decimal(percent, 0))
}

/// A ratio on an axis.
pub fn ratio_tick(ratio: f64) -> String {
    let digits = format!("{ratio:.3}");
    digits.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// An odds ratio beside its row.
pub fn odds(of: &OddsOf) -> String {
    format!("{} ({})", ratio(of.ratio), ratios(of.limits.0, of.limits.1))
}

/// E-values beside a row.
pub fn e_values(of: &OddsOf) -> String {
    format!("{}, {}", decimal(of.e_values.0, 1), decimal(of.e_values.1, 1))
}

/// Text alternative of the pull by visit.
pub fn describe_by_visit(data: &PullByVisit) -> String {
    let panels = data.panels.iter().map(|panel| {
        let visits = panel.visits.iter().map(|at| {
            format!("visit {} {} ({})", at.visit, of_body_weight(at.median), range(at.quartiles.0, at.quartiles.1, 1))
        });
        format!("{}: {}.", panel.title, visits.collect::<Vec<_>>().join(", "))
    });
    format!("Median peak pull, percent of body weight, with quartiles. {}", panels.collect::<Vec<_>>().join(" "))
}

/// Text alternative of the first and last visit.
pub fn describe_first_last(data: &FirstAndLast) -> String {
    let rows = data.groups.iter().flat_map(|group| group.sites.iter().map(move |site| (group, site)));
    let rows = rows.map(|(group, site)| match site.pulls {
        Some((first, last)) => format!(
            "{}, {}: {} at the first visit, {} at the last{}.",
            group.label,
            site.site,
            of_body_weight(first),
            of_body_weight(last),
            site.progression.map_or(String::new(), |points| format!(", {} points a visit", progression(points)))
        ),
        None => format!("{}, {}: {}.", group.label, site.site, if site.is_withheld { "withheld" } else { NONE }),
    });
    format!("Mean peak pull, percent of body weight. {}", rows.collect::<Vec<_>>().join(" "))
}

/// Text alternative of the odds ratios.
pub fn describe_odds(data: &OddsRatios) -> String {
    let rows = data.rows.iter().flat_map(|row| row.outcomes.iter().map(move |of| (row, of)));
    let rows = rows.map(|(row, of)| {
        format!(
            "{}, {}: odds ratio {}, E-values {}{}.",
            row.exposure,
            of.outcome,
            odds(of),
            e_values(of),
            if of.stands_out { ", beyond chance" } else { "" }
        )
    });
    rows.collect::<Vec<_>>().join(" ")
}
