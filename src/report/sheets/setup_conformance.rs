//! `setup_conformance.csv`: how often each item of the standard is met, by site, clinician and traction table.

use super::sheet::{Cell, Form, Kind, always, maybe};
use crate::findings::setups::{SetupFindings, Where};

/// The sheet.
pub const FORM: Form = Form {
    name: "setup_conformance",
    title: "How often setups meet the standard, by site, clinician and traction table",
    columns: &[
        always("parameter", Kind::Text, "parameter of setup or dose"),
        always("region", Kind::OneOf(&["lumbar", "cervical", "other"]), "region treated"),
        always("position", Kind::Text, "position that the item holds for, or all"),
        always("grade", Kind::OneOf(&["required", "advised"]), "how binding the item is"),
        always("level", Kind::OneOf(&["group", "site", "clinician", "table"]), "what the line is about"),
        maybe("site", Kind::Text, "site; none for the whole group"),
        maybe("clinician", Kind::Text, "clinician's code; never in a release"),
        maybe("table", Kind::Text, "traction table's code"),
        always("visits", Kind::Count, "visits that the item holds for and that record it; by place to whole tens"),
        maybe("share", Kind::Share, "share that meets the item; empty where withheld"),
        maybe("low", Kind::Share, "lower 95 % limit of the share, patients being clusters"),
        maybe("high", Kind::Share, "upper 95 % limit of the share"),
        maybe("q_value", Kind::Share, "p value against all others, adjusted over everything tested of setups"),
        maybe(
            "call",
            Kind::OneOf(&["above", "below", "within", "too few"]),
            "what it comes to at a false discovery rate of 5 %; below is met less often; none for the whole group",
        ),
    ],
    key: &[],
};

/// The lines: of each item the group, then sites, clinicians and tables.
pub fn lines(setups: &SetupFindings) -> impl Iterator<Item = Vec<Cell>> {
    let number = |value: Option<f64>| value.map_or(Cell::Empty, Cell::Number);
    let code = |code: &Option<String>| code.as_deref().map_or(Cell::Empty, Cell::from);
    setups.parameters.iter().flat_map(move |of| {
        of.asked.iter().zip(&of.conformance).flat_map(move |(item, met)| {
            let head = move |level: &str| -> Vec<Cell> {
                vec![
                    of.about.parameter.key().into(),
                    of.about.region.key().into(),
                    item.position.unwrap_or("all").into(),
                    item.grade.key().into(),
                    level.into(),
                ]
            };
            let mut group = head("group");
            group.extend([Cell::Empty, Cell::Empty, Cell::Empty]);
            group.extend([u64::from(met.visits).into(), met.group.into()]);
            group.extend([Cell::Empty, Cell::Empty, Cell::Empty, Cell::Empty]);
            let lines = met.lines.iter().map(move |line| {
                let mut cells = head(level(&line.place));
                cells.extend([line.place.site.as_str().into(), code(&line.place.clinician), code(&line.place.table)]);
                cells.extend([u64::from(line.visits).into(), number(line.share)]);
                cells.extend([number(line.interval.map(|i| i.0)), number(line.interval.map(|i| i.1)), number(line.q)]);
                cells.push(line.call.key().into());
                cells
            });
            std::iter::once(group).chain(lines)
        })
    })
}

fn level(place: &Where) -> &'static str {
    match (&place.clinician, &place.table) {
        (Some(_), _) => "clinician",
        (None, Some(_)) => "table",
        (None, None) => "site",
    }
}
