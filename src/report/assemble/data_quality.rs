//! Findings -> the page on the data.

use crate::findings::quality::{FileAccount, ReasonCount};
use crate::report::edition::{DATA_QUALITY_FILE, Edition};
use crate::report::figures::{Figure, FigureError, accounting, completeness};
use crate::report::lookup::leading_outcome;
use crate::report::pages::{Block, Cell, DataQualityPage, PlacedFigure, Section, Sheet};
use crate::report::wording::{self, headings, phrases, quality, results};

pub(super) fn data_quality_page(edition: &Edition<'_>) -> Result<(DataQualityPage, Vec<Figure>), FigureError> {
    let data = &edition.bulletin.quality;
    let is_release = edition.is_release();
    let none = |none: &'static str| if is_release { quality::FEW_OR_NONE } else { none };
    let mut figures = Vec::new();
    let page = DataQualityPage {
        around: edition.around(headings::DATA_QUALITY, DATA_QUALITY_FILE, ""),
        reconciliation: reconciliation(edition, &mut figures)?,
        rejections: reasons(
            "rejections",
            headings::REJECTIONS,
            if is_release { quality::REJECTIONS_INTRO_OF_RELEASE } else { quality::REJECTIONS_INTRO },
            none(quality::NONE_REJECTED),
            &data.rejections,
        ),
        blanked: reasons(
            "blanked",
            headings::BLANKED,
            quality::BLANKED_INTRO,
            none(quality::NONE_BLANKED),
            &data.blanked,
        ),
        duplicates: reasons(
            "duplicates",
            headings::DUPLICATES,
            quality::DISAGREEMENT_INTRO,
            none(quality::NO_DISAGREEMENT),
            &data.disagreements,
        ),
        columns: columns(&data.dropped, &data.unmapped),
        dates: dates(u64::from(data.calendar_files), u64::from(data.offset_files), is_release),
        completeness: completeness(edition, &mut figures)?,
        episodes: counts("episodes", headings::EPISODES, None, none(quality::NO_EPISODE_NOTE), &data.episode_notes),
    };
    Ok((page, figures))
}

fn reconciliation(edition: &Edition<'_>, figures: &mut Vec<Figure>) -> Result<Section, FigureError> {
    let (files, total) = (&edition.bulletin.quality.files, &edition.bulletin.quality.total);
    let mut section = Section::new("reconciliation", headings::RECONCILIATION);
    let balance = quality::balance(total.rows_read, total.rows_kept, total.rows_duplicate, total.rows_rejected);
    section.add_with_note(Block::Paragraph(quality::RECONCILIATION_INTRO.to_string()), balance);
    section.say(quality::lines(
        total.lines,
        total.lines_of_head,
        total.lines_blank,
        total.rows_read,
        total.lines_in_cells,
    ));
    let empty = files.iter().filter(|file| file.rows_read == 0).count() as u64;
    if empty > 0 && !edition.is_release() {
        section.add(Block::Lead(quality::without_rows(empty)));
    }
    if total.rows_not_listed > 0 {
        section.say(quality::not_listed(total.rows_not_listed));
    }
    if edition.is_release() {
        section.say(quality::ACCOUNTS_ROUNDED);
    }
    if !files.iter().all(FileAccount::balances) {
        section.add(Block::Lead(quality::DOES_NOT_BALANCE.to_string()));
    }
    if !files.is_empty() {
        let figure = accounting::draw(edition)?;
        section.add(Block::Figure(PlacedFigure::new(&figure, accounting::READ, "")));
        figures.push(figure);
    }
    let mut sheet = Sheet::new(headings::RECONCILIATION, quality::FILE, &headings::ACCOUNT_COLUMNS);
    for file in files {
        sheet.row(file.file.as_str(), account_cells(file));
    }
    sheet.total(quality::ALL_FILES, account_cells(total));
    section.add(Block::Sheet(sheet));
    Ok(section)
}

fn account_cells(file: &FileAccount) -> Vec<Cell> {
    [
        file.lines,
        file.rows_read,
        file.rows_kept,
        file.rows_duplicate,
        file.rows_rejected,
        file.rows_left_out,
        file.cells_blanked,
    ]
    .map(|n| Cell::Text(wording::count(n)))
    .to_vec()
}

fn reasons(id: &'static str, heading: &str, intro: &str, none: &str, counts: &[ReasonCount]) -> Section {
    let mut section = Section::new(id, heading);
    if counts.is_empty() {
        section.say(none);
        return section;
    }
    section.say(intro);
    let [column, reason, ..] = headings::REASON_COLUMNS;
    let mut sheet = Sheet::new(heading, quality::FILE, &headings::REASON_COLUMNS).with_words_in(&[column, reason]);
    for count in counts {
        sheet.row(
            count.file.as_str(),
            vec![
                Cell::from(if count.column.is_empty() { quality::WHOLE_ROW } else { count.column.as_str() }),
                Cell::Text(count.reason.clone()),
                Cell::Text(wording::count(count.count)),
                match count.first_line {
                    0 => Cell::Missing,
                    line => Cell::Text(wording::count(line)),
                },
            ],
        );
    }
    section.add(Block::Sheet(sheet));
    section
}

fn columns(dropped: &[(String, String)], unmapped: &[(String, String)]) -> Section {
    let mut section = Section::new("columns", headings::COLUMNS);
    if dropped.is_empty() && unmapped.is_empty() {
        section.say(quality::ALL_COLUMNS_USED);
    }
    for (caption, list) in [(quality::DROPPED, dropped), (quality::UNMAPPED, unmapped)] {
        if list.is_empty() {
            continue;
        }
        let mut sheet = Sheet::new(caption, quality::FILE, &[quality::COLUMN]).with_words_in(&[quality::COLUMN]);
        for (file, column) in list {
            sheet.row(file.as_str(), vec![Cell::Text(column.clone())]);
        }
        section.add(Block::Sheet(sheet));
    }
    section
}

fn dates(calendar_files: u64, offset_files: u64, is_release: bool) -> Section {
    let mut section = Section::new("dates", headings::DATES);
    for sentence in quality::dates(calendar_files, offset_files, is_release) {
        section.say(sentence);
    }
    section
}

fn completeness(edition: &Edition<'_>, figures: &mut Vec<Figure>) -> Result<Section, FigureError> {
    let mut section = Section::new("completeness", headings::READINGS_BY_SITE);
    for condition in &edition.bulletin.conditions {
        let Some(outcome) = leading_outcome(condition) else { continue };
        let Some(figure) = completeness::draw(edition, condition, outcome)? else { continue };
        section.add(Block::Figure(PlacedFigure::new(&figure, completeness::READ, "")));
        figures.push(figure);
    }
    if section.rows.is_empty() {
        section.say(results::NOTHING_TO_SHOW);
    }
    Ok(section)
}

fn counts(id: &'static str, heading: &str, intro: Option<&str>, none: &str, counts: &[(String, u64)]) -> Section {
    let mut section = Section::new(id, heading);
    if counts.iter().all(|(_, count)| *count == 0) {
        section.say(none);
        return section;
    }
    if let Some(intro) = intro {
        section.say(intro);
    }
    let mut sheet = Sheet::new(heading, quality::EPISODES_THAT, &[quality::HOW_OFTEN]);
    for (what, count) in counts {
        sheet.row(phrases::capital(what), vec![Cell::Text(wording::count(*count))]);
    }
    section.add(Block::Sheet(sheet));
    section
}
