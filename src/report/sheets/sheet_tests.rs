//! Each sheet keeps what its form promises, on the sample: columns, keys, ranges, and small cells.

use super::sheet::{Cell, Form, Kind, write};
use super::{
    backtest, change, completeness, curve_points, dose_associations, dose_by_site, dose_by_visit, ordinal_change,
    recovery_curves, responders, setup_conformance, setup_findings, setup_variation, time_to_response,
};
use crate::findings::bulletin::Bulletin;
use crate::findings::setup_audience::shown_to;
use crate::findings::whole_tests::run;
use crate::group::settings::Audience;
use std::collections::BTreeSet;

fn sheets(bulletin: &Bulletin) -> Vec<(&'static Form, Vec<Vec<Cell>>)> {
    let outcomes = || bulletin.conditions.iter().flat_map(|c| c.outcomes.iter().map(move |outcome| (c, outcome)));
    let dose = || bulletin.dose.iter();
    vec![
        (&completeness::FORM, outcomes().flat_map(|(_, o)| o.completeness.iter().map(completeness::line)).collect()),
        (&responders::FORM, outcomes().flat_map(|(_, o)| o.responders.iter().map(responders::line)).collect()),
        (&change::FORM, outcomes().flat_map(|(_, o)| o.change.iter().map(change::line)).collect()),
        (
            &ordinal_change::FORM,
            outcomes().flat_map(|(_, o)| o.ordinal_change.iter().map(ordinal_change::line)).collect(),
        ),
        (&recovery_curves::FORM, outcomes().flat_map(|(c, o)| recovery_curves::lines(c, o)).collect()),
        (&time_to_response::FORM, outcomes().flat_map(|(c, o)| time_to_response::lines(c, o)).collect()),
        (&backtest::FORM, outcomes().flat_map(|(c, o)| backtest::lines(c, o)).collect()),
        (&curve_points::FORM, outcomes().flat_map(|(c, o)| curve_points::lines(c, o)).collect()),
        (&dose_by_visit::FORM, dose().flat_map(|dose| dose.by_visit.iter().map(dose_by_visit::line)).collect()),
        (&dose_by_site::FORM, dose().flat_map(|dose| dose.by_site.iter().map(dose_by_site::line)).collect()),
        (&dose_associations::FORM, dose().flat_map(dose_associations::lines).collect()),
    ]
}

fn fits(kind: Kind, cell: &Cell) -> bool {
    match (kind, cell) {
        (Kind::Text, Cell::Text(_)) | (Kind::Count, Cell::Count(_)) | (Kind::Flag, Cell::Flag(_)) => true,
        (Kind::Number, Cell::Number(number)) => number.is_finite(),
        (Kind::Share, Cell::Number(share)) => (0.0..=1.0).contains(share),
        (Kind::Period, Cell::Text(text)) => text == "all" || crate::rows::when::Quarter::parse(text).is_some(),
        (Kind::OneOf(words), Cell::Text(text)) => words.contains(&text.as_str()),
        _ => false,
    }
}

#[test]
fn every_line_of_the_sample_keeps_the_promises_of_its_form() {
    keep_their_promises(sheets(&run("sample-data", Audience::Internal)));
}

#[test]
fn every_line_of_the_invented_bulletin_keeps_the_promises_of_its_form() {
    let sheets = sheets(&crate::report::invented::bulletin());
    let lines = |name: &str| sheets.iter().find(|(form, _)| form.name == name).map(|(_, lines)| lines.len());
    assert_eq!(lines("time_to_response"), Some(8), "two definitions of each outcome that is averaged");
    assert_eq!(lines("backtest"), Some(20), "five readings and two schemes of each with a curve");
    assert_eq!(lines("dose_associations"), Some(18), "nine exposures in two domains, tested or not");
    let whole = ["time_to_response", "backtest", "recovery_curves", "curve_points"]; // the others repeat a key
    let is_whole = |name: &str| whole.contains(&name) || name.starts_with("dose_");
    keep_their_promises(sheets.into_iter().filter(|(form, _)| is_whole(form.name)).collect());
}

fn setup_sheets(bulletin: &Bulletin) -> Vec<(&'static Form, Vec<Vec<Cell>>)> {
    let shown = shown_to(bulletin.setups.as_ref().unwrap(), bulletin.audience).setups;
    vec![
        (&setup_variation::FORM, setup_variation::lines(&shown).collect()),
        (&setup_findings::FORM, setup_findings::lines(&shown).collect()),
        (&setup_conformance::FORM, setup_conformance::lines(&shown).collect()),
    ]
}

#[test]
fn the_sheets_of_setups_keep_the_promises_of_their_forms() {
    let bulletin = crate::report::invented::bulletin();
    let sheets = setup_sheets(&bulletin);
    let lines: Vec<usize> = sheets.iter().map(|(_, lines)| lines.len()).collect();
    // levels: six parameters of four and one of two; findings; per item the group and five lines a site
    assert_eq!(lines, [6 * 4 + 2, 10, 6 * (1 + 6 * 5)]);
    keep_their_promises(sheets);
}

#[test]
fn the_sheets_of_setups_begin_with_the_contract_columns() {
    let contract = [
        (&setup_variation::FORM, "parameter, region, level, variance, share, share_low, share_high, n"),
        (
            &setup_findings::FORM,
            "kind, site, clinician, table, parameter, since, observed, reference, low, high, n, q_value, explanation",
        ),
    ];
    for (form, columns) in contract {
        let names: Vec<&str> = form.columns.iter().map(|column| column.name).collect();
        assert!(names.join(", ").starts_with(columns), "{}: {names:?}", form.name);
    }
}

#[test]
fn a_release_has_no_clinician_in_its_sheets_of_setups() {
    let mut bulletin = crate::report::invented::bulletin();
    bulletin.audience = Audience::Release;
    for (form, lines) in setup_sheets(&bulletin) {
        let Some(column) = form.columns.iter().position(|column| column.name == "clinician") else { continue };
        assert!(!lines.is_empty() && lines.iter().all(|line| line[column] == Cell::Empty), "{}", form.name);
        let text = format!("{lines:?}");
        assert!(!text.contains("FC2") && !text.contains("CC2") && !text.contains("clinician"), "{}", form.name);
    }
}

fn keep_their_promises(sheets: Vec<(&'static Form, Vec<Vec<Cell>>)>) {
    for (form, lines) in sheets {
        let may_be_empty = ["ordinal_change", "dose_by_visit", "dose_by_site", "dose_associations"];
        assert!(!lines.is_empty() || may_be_empty.contains(&form.name), "{}", form.name);
        let position = |key: &&str| form.columns.iter().position(|column| column.name == *key).unwrap();
        let keys: Vec<usize> = form.key.iter().map(position).collect();
        let mut seen = BTreeSet::new();
        for line in &lines {
            assert_eq!(line.len(), form.columns.len(), "{}", form.name);
            for (column, cell) in form.columns.iter().zip(line) {
                let good = if *cell == Cell::Empty { !column.required } else { fits(column.kind, cell) };
                assert!(good, "{}.{}: {cell:?}", form.name, column.name);
            }
            if keys.is_empty() {
                continue;
            }
            let key: Vec<String> = keys.iter().map(|i| format!("{:?}", line[*i])).collect();
            assert!(seen.insert(key), "{}: {line:?} stands twice", form.name);
        }
    }
}

#[test]
fn no_count_of_people_in_a_sheet_is_small_but_for_those_left_out() {
    for (audience, up_to) in [(Audience::Internal, 4), (Audience::Release, 10)] {
        for (form, lines) in sheets(&run("sample-data", audience)) {
            for (i, column) in form.columns.iter().enumerate() {
                // a line, a reading or its number and a site are no person; who was left out is told inside the group
                let told = audience == Audience::Internal && column.name.starts_with("baseline_");
                if column.kind != Kind::Count || ["readings", "visit_no", "sites"].contains(&column.name) || told {
                    continue;
                }
                let small = lines.iter().find(|line| matches!(line[i], Cell::Count(n) if (1..=up_to).contains(&n)));
                assert_eq!(small, None, "{}.{}", form.name, column.name);
            }
            let flag = form.columns.iter().position(|column| column.name == "withheld");
            if form.name == "responders" {
                assert!(lines.iter().any(|line| line[flag.unwrap()] == Cell::Flag(true)));
                assert!(lines.iter().any(|line| line[flag.unwrap()] == Cell::Flag(false)));
            }
        }
    }
}

#[test]
fn the_same_findings_are_written_as_the_same_bytes() {
    let written = || {
        let folder = tempfile::tempdir().unwrap();
        let sheets = sheets(&run("sample-data", Audience::Release));
        let forms: Vec<&Form> = sheets.iter().map(|(form, _)| *form).collect();
        sheets.into_iter().for_each(|(form, lines)| write(folder.path(), form, lines).unwrap());
        super::datapackage::write(folder.path(), "outcomes", "Outcomes", None, &forms).unwrap();
        std::fs::read(folder.path().join("datapackage.json")).unwrap() // holds the hash of every sheet
    };
    assert!(written() == written());
}
