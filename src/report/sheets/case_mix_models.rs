//! `case_mix_models.csv`: what each comparison of sites allows for, and how well its model tells episodes apart.

use super::sheet::{Cell, Form, Kind, always, maybe, three};
use crate::findings::bulletin::Shown;
use crate::findings::sites::SiteComparison;
use crate::models::sites::cases::Quantity;
use crate::report::wording::sites::covariate_name;

/// The sheet.
pub const FORM: Form = Form {
    name: "case_mix_models",
    title: "Case-mix models behind the comparison of sites",
    columns: &[
        always("condition", Kind::Text, "condition key, or all_conditions"),
        always("measure", Kind::Text, "outcome key; over all conditions the domain, pain or disability"),
        always("definition", Kind::Text, "what is compared, as in site_comparison"),
        maybe("episodes", Kind::Count, "due episodes in the model; to whole tens where withheld is true"),
        maybe("overall", Kind::Number, "share, or fall of burden in points, over all of them"),
        maybe(
            "allowed_for",
            Kind::Text,
            "what was known before treatment and entered, in order, separated by semicolons",
        ),
        maybe("left_out", Kind::Text, "what did not: no room, no variation, or not recorded at every site"),
        always("penalised", Kind::Flag, "whether a class predicted perfectly and Firth's likelihood was used"),
        maybe("auc", Kind::Share, "area under the curve of predictions for patients not seen; for a yes or no"),
        maybe("auc_low", Kind::Share, "its lower 95 % limit (DeLong)"),
        maybe("auc_high", Kind::Share, "its upper 95 % limit"),
        maybe(
            "variance_explained",
            Kind::Number,
            "by predictions for patients not seen; for a change; below 0 is worse than the mean",
        ),
        maybe("calibration_slope", Kind::Number, "of the same predictions; 1 is ideal"),
        maybe("sd_between_sites", Kind::Number, "beyond chance and case mix: log odds, or points of burden"),
        always(
            "withheld",
            Kind::Flag,
            "whether counts of some condition in it are withheld as small cells; numbers are then rounded",
        ),
    ],
    key: &["condition", "measure", "definition"],
};

/// The line of a comparison.
pub fn line(comparison: &SiteComparison) -> Vec<Cell> {
    let is_change = comparison.quantity == Quantity::Change;
    let number = |value: Option<f64>| value.map_or(Cell::Empty, Cell::Number);
    let auc = comparison.discrimination.filter(|_| !is_change).map_or(Shown::Missing, Shown::Value);
    let [auc, auc_low, auc_high] = three(auc);
    let names = |names: Vec<&str>| if names.is_empty() { Cell::Empty } else { Cell::Text(names.join("; ")) };
    vec![
        comparison.condition.as_str().into(),
        comparison.measure.as_str().into(),
        comparison.definition().into(),
        comparison.episodes.into(),
        comparison.overall.into(),
        names(comparison.entered.iter().map(|(covariate, _)| covariate_name(*covariate)).collect()),
        names(comparison.left_out.iter().map(|covariate| covariate_name(*covariate)).collect()),
        Cell::Flag(comparison.penalised),
        auc,
        auc_low,
        auc_high,
        number(comparison.discrimination.filter(|_| is_change).map(|explained| explained.value)),
        number(comparison.calibration_slope),
        number(comparison.between_sd),
        Cell::Flag(comparison.has_hidden_parts),
    ]
}
