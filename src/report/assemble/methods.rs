//! Rules -> the page on methods.

use crate::report::edition::{Edition, METHODS_FILE};
use crate::report::pages::{Block, Cell, MethodsPage, Section, Sheet};
use crate::report::wording::methods::{self, Explanation};
use crate::report::wording::{headings, methods_of_models, methods_of_setups, notice, result_sheets};

pub(super) fn methods_page(edition: &Edition<'_>) -> MethodsPage {
    let rules = edition.rules;
    let mut sections: Vec<Section> = vec![explained(methods::rows(rules.reject_limit))];
    sections
        .extend(methods::readings(rules.gap_days, rules.baseline_days, rules.endpoint_days).into_iter().map(explained));
    if !rules.thresholds.is_empty() {
        sections.push(thresholds(edition));
    }
    sections.extend(methods::results().into_iter().chain(methods_of_models::explanations()).map(explained));
    if edition.setups.is_some() {
        sections.extend(methods_of_setups::explanations().into_iter().map(explained));
    }
    let mut small = Section::new("small-numbers", methods::SMALL_NUMBERS);
    small.say(notice::small_cells(edition.bulletin.withhold_up_to, edition.bulletin.audience));
    sections.push(small);
    MethodsPage { around: edition.around(headings::METHODS, METHODS_FILE, ""), sections }
}

fn explained(explanation: Explanation) -> Section {
    let mut section = Section::new(explanation.id, explanation.heading);
    for paragraph in explanation.paragraphs {
        section.say(paragraph);
    }
    section
}

fn thresholds(edition: &Edition<'_>) -> Section {
    let mut section = Section::new("thresholds", methods::THRESHOLDS);
    section.add_with_note(Block::Paragraph(methods::THRESHOLDS_INTRO.to_string()), methods::MARKS);
    let mut sheet = Sheet::new(methods::THRESHOLDS, result_sheets::MEASURE, &headings::THRESHOLD_COLUMNS)
        .with_words_in(&headings::THRESHOLD_COLUMNS);
    for threshold in &edition.rules.thresholds {
        sheet.row(
            threshold.measure.as_str(),
            vec![
                Cell::Text(threshold.value.clone()),
                Cell::Text(threshold.source.clone()),
                Cell::Text(threshold.mark.clone()),
            ],
        );
    }
    section.add(Block::Sheet(sheet));
    section
}
