//! `setup_variation.csv`: where the variation of each parameter of setup and dose sits.

use super::sheet::{Cell, Form, Kind, always, maybe};
use crate::findings::setups::{SetupFindings, Variation};

/// The sheet.
pub const FORM: Form = Form {
    name: "setup_variation",
    title: "Where the variation of setup and dose sits: nested variance components",
    columns: &[
        always("parameter", Kind::Text, "parameter of setup or dose"),
        always("region", Kind::OneOf(&["lumbar", "cervical", "other"]), "region treated"),
        always(
            "level",
            Kind::OneOf(&["site", "table", "clinician", "patient", "visit"]),
            "level at which values differ; visit is what is left",
        ),
        always("variance", Kind::Number, "variance of the level, in the square of the unit; a yes or no is 1 or 0"),
        always("share", Kind::Share, "share of the sum over all levels"),
        always("share_low", Kind::Share, "lower 95 % limit of the share (profile likelihood)"),
        always("share_high", Kind::Share, "upper 95 % limit of the share"),
        always("n", Kind::Count, "visits behind it"),
        maybe("unit", Kind::Text, "unit of the parameter; none for a yes or no and for words"),
        always("groups", Kind::Count, "groups at the level; visits at the last"),
    ],
    key: &["parameter", "region", "level"],
};

/// The lines: parameters whose variation can be told.
pub fn lines(setups: &SetupFindings) -> impl Iterator<Item = Vec<Cell>> {
    setups.parameters.iter().flat_map(|of| {
        let levels = match &of.variation {
            Variation::Levels(levels) => levels.as_slice(),
            Variation::Untold(_) => &[],
        };
        levels.iter().map(|level| {
            vec![
                of.about.parameter.key().into(),
                of.about.region.key().into(),
                level.level.into(),
                level.variance.into(),
                level.share.value.into(),
                level.share.low.into(),
                level.share.high.into(),
                u64::from(level.visits).into(),
                text(&of.unit),
                u64::from(level.groups).into(),
            ]
        })
    })
}

/// A text, empty as a missing cell.
pub(super) fn text(text: &str) -> Cell {
    if text.is_empty() { Cell::Empty } else { text.into() }
}
