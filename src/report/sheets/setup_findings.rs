//! `setup_findings.csv`: what was found of setups, the most important first.

use super::setup_variation::text;
use super::sheet::{Cell, Form, Kind, always, maybe};
use crate::findings::setups::SetupFindings;
use crate::report::wording::setup_findings::explanation;
use chrono::NaiveDate;

/// The sheet.
pub const FORM: Form = Form {
    name: "setup_findings",
    title: "What was found of setups beyond chance and the number of tests, the most important first",
    columns: &[
        always(
            "kind",
            Kind::OneOf(&[
                "conformance",
                "unlike_the_rest",
                "spread",
                "shift",
                "drift",
                "copied_forward",
                "digit_preference",
                "not_possible",
                "opening_at_equal_tension",
            ]),
            "kind of finding; what observed and reference are follows from it, and the explanation says it",
        ),
        always("site", Kind::Text, "site"),
        maybe("clinician", Kind::Text, "clinician's code, where the finding is about one; never in a release"),
        maybe("table", Kind::Text, "traction table's code, where the finding is about one"),
        maybe("parameter", Kind::Text, "parameter; none for entries copied forward and for rules of what is possible"),
        maybe("since", Kind::Text, "likeliest day on which a change began, YYYY-MM-DD"),
        maybe(
            "observed",
            Kind::Number,
            "what is seen, in unit, shares to whole percent (0.005: less than one, 0.995: more than 99); withheld where few \
             patients stand on one side of it",
        ),
        always("reference", Kind::Number, "what it is compared with, in unit; for a drift the level before"),
        maybe("low", Kind::Number, "lower limit: see interval_of; withheld with observed"),
        maybe("high", Kind::Number, "upper limit; withheld with observed"),
        always("n", Kind::Count, "visits behind it"),
        maybe(
            "q_value",
            Kind::Share,
            "p value adjusted over everything tested of setups (Benjamini-Hochberg); withheld with observed",
        ),
        always("explanation", Kind::Text, "the finding as sentences, with what to look at"),
        maybe("region", Kind::OneOf(&["lumbar", "cervical", "other"]), "region treated"),
        always("unit", Kind::Text, "unit of the numbers: a symbol, share, or a symbol a week"),
        maybe("rule", Kind::Text, "key of the rule of what is possible that is broken"),
        maybe("grade", Kind::OneOf(&["required", "advised"]), "grade of the standard's item, for conformance"),
        maybe("since_earliest", Kind::Text, "earliest likely day, YYYY-MM-DD"),
        maybe("since_latest", Kind::Text, "latest likely day, YYYY-MM-DD"),
        always("patients", Kind::Count, "patients behind it"),
        maybe("p_value", Kind::Share, "p value before adjustment; withheld with observed"),
        always(
            "interval_of",
            Kind::OneOf(&["observed", "reference"]),
            "whether low and high are a 95 % interval of what is seen, or what chance gives around the reference",
        ),
    ],
    key: &[],
};

/// The lines.
pub fn lines(setups: &SetupFindings) -> impl Iterator<Item = Vec<Cell>> {
    let code = |code: &Option<String>| code.as_deref().map_or(Cell::Empty, text);
    let day = |day: Option<NaiveDate>| day.map_or(Cell::Empty, |day| Cell::Text(day.to_string()));
    setups.findings.iter().map(move |found| {
        let seen = |number: f64| if found.few_on_one_side { Cell::Empty } else { number.into() };
        vec![
            found.kind.key().into(),
            found.place.site.as_str().into(),
            code(&found.place.clinician),
            code(&found.place.table),
            found.about.map_or(Cell::Empty, |about| about.parameter.key().into()),
            day(found.since.map(|since| since.day)),
            seen(found.observed),
            found.reference.into(),
            seen(found.interval.0),
            seen(found.interval.1),
            u64::from(found.visits).into(),
            seen(found.q),
            Cell::Text(explanation(found, setups)),
            found.about.map_or(Cell::Empty, |about| about.region.key().into()),
            found.unit.as_str().into(),
            code(&found.rule),
            found.grade.map_or(Cell::Empty, |grade| grade.key().into()),
            day(found.since.map(|since| since.earliest)),
            day(found.since.map(|since| since.latest)),
            u64::from(found.patients).into(),
            seen(found.p),
            if found.interval_is_of_reference { "reference" } else { "observed" }.into(),
        ]
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::invented_setups::setups;

    #[test]
    fn a_withheld_share_leaves_its_numbers_empty() {
        let mut setups = setups();
        setups.findings[0].few_on_one_side = true;
        let lines: Vec<Vec<Cell>> = lines(&setups).collect();
        for name in ["observed", "low", "high", "q_value", "p_value"] {
            let place = FORM.columns.iter().position(|column| column.name == name).unwrap();
            assert!(matches!(lines[0][place], Cell::Empty), "{name}");
            assert!(!matches!(lines[1][place], Cell::Empty), "{name}");
        }
    }
}
