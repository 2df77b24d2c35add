//! Vocabularies of a draft: words that are known, and as comments the lines of those that are not, which may be anything.

use super::column::Column;
use super::fields::Known;
use super::sample::Sample;
use super::uses::Use;
use super::write::{Findings, Pen, list};
use crate::catalogue::Measure;
use crate::group::field::{Field, Kind};

/// Labels of conditions listed at most.
const MOST_LABELS: usize = 40;

/// `[words.FIELD]` of every field that is written in words.
pub(super) fn sections(pen: &mut Pen, findings: &Findings<'_>) {
    for (i, (column, used)) in findings.columns.iter().zip(&findings.plan.uses).enumerate() {
        let Use::Field(field, _) = used else { continue };
        let canonical: Vec<&str> = match field.kind() {
            Kind::Word(words) => words.to_vec(),
            Kind::YesNo => vec!["yes", "no"],
            Kind::ConditionLabel if column.shape.distinct.len() <= MOST_LABELS => Vec::new(),
            _ => continue,
        };
        section(pen, *field, i, column, &canonical, findings);
    }
}

fn section(pen: &mut Pen, field: Field, i: usize, column: &Column, canonical: &[&str], findings: &Findings<'_>) {
    let known = findings.known;
    let cells: Vec<&str> = column.shape.distinct.iter().map(|(cell, _)| cell.as_str()).collect();
    let meaning = |cell: &str| known.aliases.canonical(field.name(), cell);
    let (own, strange): (Vec<&str>, Vec<&str>) = cells
        .into_iter()
        .filter(|cell| !is_understood(field, cell, canonical, known))
        .partition(|cell| meaning(cell).is_some());
    if own.is_empty() && strange.is_empty() {
        return;
    }
    pen.line(&format!("\n[words.{field}]"));
    for word in canonical {
        let theirs: Vec<&str> = own.iter().copied().filter(|cell| meaning(cell) == Some(word)).collect();
        if !theirs.is_empty() {
            pen.line(&format!("{} = {}  # likely", bare_or_quoted(word), list(&theirs)));
        }
    }
    if !strange.is_empty() {
        pen.warn(&format!("{field} has words that are not understood: give each its meaning"));
        for line in strange.into_iter().map(|cell| findings.sample.first_line(i, cell)) {
            pen.line(&format!("# ? = [\"...\"]  # the word on line {line}"));
        }
    }
}

/// Whether a cell needs no line in the mapping.
fn is_understood(field: Field, cell: &str, canonical: &[&str], known: &Known<'_>) -> bool {
    let lower = cell.to_lowercase();
    match field.kind() {
        Kind::YesNo => known.yes_and_no.iter().any(|(word, _)| *word == lower),
        Kind::ConditionLabel => known.conditions.by_label(cell).is_some(),
        _ => canonical.contains(&lower.as_str()),
    }
}

fn bare_or_quoted(word: &str) -> String {
    if word.contains(' ') { super::show::quoted(word) } else { word.to_owned() }
}

/// `words` of a score on a scale of words: those that the measure does not know.
pub(super) fn of_score(pen: &mut Pen, i: usize, column: &Column, measure: &Measure, sample: &Sample) {
    if measure.words.is_empty() || !column.shape.is_text() {
        return;
    }
    let strange: Vec<&str> = column
        .shape
        .distinct
        .iter()
        .map(|(cell, _)| cell.as_str())
        .filter(|cell| measure.words.iter().all(|word| !word.eq_ignore_ascii_case(cell)))
        .collect();
    if strange.is_empty() || column.shape.is_key_like() {
        return;
    }
    pen.warn(&format!("{} has words that are not understood: give each its number", measure.key));
    pen.line("# [scores.words]");
    for line in strange.into_iter().map(|cell| sample.first_line(i, cell)) {
        pen.line(&format!("# \"?\" = [\"...\"]  # the word on line {line}"));
    }
}

/// `words` of items answered with yes or no: 1 and 0.
pub(super) fn of_items(pen: &mut Pen, columns: &[&Column], known: &Known<'_>) {
    let (mut yes, mut no): (Vec<&str>, Vec<&str>) = (Vec::new(), Vec::new());
    let texts = columns.iter().filter(|column| column.shape.is_text());
    for (cell, _) in texts.flat_map(|column| &column.shape.distinct) {
        let lower = cell.to_lowercase();
        let list = match known.yes_and_no.iter().find(|(word, _)| *word == lower) {
            Some((_, meaning)) if meaning == "yes" => &mut yes,
            Some(_) => &mut no,
            None => continue,
        };
        if !list.contains(&cell.as_str()) {
            list.push(cell);
        }
    }
    if yes.is_empty() && no.is_empty() {
        return;
    }
    pen.line("[scores.words]");
    for (number, words) in [("1", yes), ("0", no)] {
        if !words.is_empty() {
            pen.line(&format!("\"{number}\" = {}  # likely", list(&words)));
        }
    }
}
