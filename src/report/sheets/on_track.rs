//! `on_track.csv`: where each patient stands, one line an outcome of an episode. Patient-level and restricted.

use super::sheet::{Cell, Form, Kind, always, maybe};
use crate::findings::worklist::{OutcomeOnTrack, PatientOnTrack, Worklist};

/// The sheet. An episode without any reading has one line, without a measure; so no key is declared.
pub const FORM: Form = Form {
    name: "on_track",
    title: "Where each patient stands: the latest reading against what was expected of it",
    columns: &[
        always("site", Kind::Text, "site of most visits"),
        maybe("clinician", Kind::Text, "clinician of most visits"),
        always("patient", Kind::Text, "opaque patient key"),
        always("episode", Kind::Count, "number of the episode among the patient's, from 1"),
        always("condition", Kind::Text, "condition key"),
        maybe("measure", Kind::Text, "outcome key: measure and site of pain; empty when the episode has no reading"),
        maybe("day", Kind::Number, "day of the latest reading since the first treated visit; before it, negative"),
        maybe("last_value", Kind::Number, "the latest reading in the measure's own unit"),
        maybe("expected", Kind::Number, "mean expected of it before it was seen"),
        maybe("expected_low", Kind::Number, "lower end of the 80 % band expected of it"),
        maybe("expected_high", Kind::Number, "upper end of that band"),
        maybe(
            "percentile",
            Kind::Number,
            "share of patients who began alike who would score worse on that day, 0 to 100",
        ),
        maybe("chance_of_response", Kind::Share, "chance of a minimal important change by the endpoint"),
        always(
            "status",
            Kind::OneOf(&["worsening", "behind", "too few readings", "as expected", "ahead"]),
            "where the patient stands on this measure",
        ),
        always("reason", Kind::Text, "why, in a sentence"),
    ],
    key: &[],
};

/// All lines, in the order of the worklist: most worrying first.
pub fn lines(worklist: &Worklist) -> impl Iterator<Item = Vec<Cell>> + '_ {
    worklist.patients.iter().flat_map(|patient| {
        let unread = patient.outcomes.is_empty().then(|| line(patient, None));
        unread.into_iter().chain(patient.outcomes.iter().map(move |outcome| line(patient, Some(outcome))))
    })
}

fn line(patient: &PatientOnTrack, outcome: Option<&OutcomeOnTrack>) -> Vec<Cell> {
    let number = |value: Option<f64>| value.map_or(Cell::Empty, Cell::Number);
    let expected = outcome.and_then(|outcome| outcome.expected);
    let (status, reason) = outcome.map_or((patient.status, &patient.reason), |o| (o.status, &o.reason));
    vec![
        patient.site.as_str().into(),
        patient.clinician.as_deref().map_or(Cell::Empty, Cell::from),
        patient.patient.as_str().into(),
        u64::from(patient.episode).into(),
        patient.condition.as_str().into(),
        outcome.map_or(Cell::Empty, |o| o.key.as_str().into()),
        number(outcome.map(|o| f64::from(o.day))),
        number(outcome.map(|o| o.last_value)),
        number(expected.map(|e| e.value)),
        number(expected.map(|e| e.low)),
        number(expected.map(|e| e.high)),
        number(outcome.and_then(|o| o.percentile)),
        number(outcome.and_then(|o| o.chance_of_response)),
        status.word().into(),
        reason.as_str().into(),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::invented_worklist::worklist;
    use crate::report::sheets::sheet::write;

    const CONTRACT: &str = "site,clinician,patient,episode,condition,measure,day,last_value,expected,expected_low,\
                            expected_high,percentile,chance_of_response,status,reason";

    #[test]
    fn the_sheet_has_the_contract_columns_and_one_line_an_outcome() {
        let worklist = worklist();
        let folder = tempfile::tempdir().unwrap();
        write(folder.path(), &FORM, lines(&worklist)).unwrap();
        let text = std::fs::read_to_string(folder.path().join("on_track.csv")).unwrap();
        assert_eq!(text.lines().next(), Some(CONTRACT));
        let outcomes: usize = worklist.patients.iter().map(|p| p.outcomes.len().max(1)).sum();
        assert_eq!(text.lines().count(), 1 + outcomes);
        assert!(text.contains("\nAlderwick,,Ünal & <b>Öz</b>,1,lumbar_disc_radicular,,,,,,,,,too few readings,"));
    }

    #[test]
    fn every_line_keeps_the_promises_of_the_form() {
        let words = FORM.columns.iter().find_map(|c| if let Kind::OneOf(words) = c.kind { Some(words) } else { None });
        for line in lines(&worklist()) {
            for (column, cell) in FORM.columns.iter().zip(&line) {
                assert!(*cell != Cell::Empty || !column.required, "{}", column.name);
                match (column.kind, cell) {
                    (Kind::Share, Cell::Number(share)) => assert!((0.0..=1.0).contains(share)),
                    (Kind::OneOf(_), Cell::Text(word)) => assert!(words.unwrap().contains(&word.as_str())),
                    _ => {}
                }
            }
        }
    }
}
