//! Ledger, duplicates, readings and visits -> what the data-quality page says.

use super::quality::{DataQuality, FileAccount, ReasonCount};
use crate::catalogue::Measures;
use crate::export::place::{FileId, Files};
use crate::readings::attach::Readings;
use crate::rows::ledger::{FileLedger, Ledger};
use crate::visits::duplicates::Disagreement;
use std::collections::BTreeMap;

/// The account of what was read: files, reasons, columns and duplicates.
pub fn data_quality(files: &Files, ledger: &Ledger, disagreements: &[Disagreement]) -> DataQuality {
    let mut quality = DataQuality::default();
    for (id, file) in ledger.iter() {
        let label = files.label(id).to_owned();
        quality.files.push(account(&label, file));
        quality.rejections.extend(rejections(&label, file));
        quality.blanked.extend(file.blanks.iter().map(|(column, reason, tally)| ReasonCount {
            file: label.clone(),
            column: file.column_name(column).to_owned(),
            reason: reason.to_string(),
            count: tally.count,
            first_line: u64::from(tally.first_line),
        }));
        quality.dropped.extend(file.dropped.iter().map(|column| (label.clone(), column.clone())));
        // nobody has declared what these are: a header, too, may name a person
        let unmapped = file.unmapped.iter().map(|column| format!("column {}", u32::from(*column) + 1));
        quality.unmapped.extend(unmapped.map(|column| (label.clone(), column)));
        quality.calendar_files += u32::from(file.calendar);
        quality.offset_files += u32::from(!file.calendar);
    }
    quality.total = FileAccount::total(&quality.files);
    quality.disagreements = disagreement_counts(files, disagreements);
    quality
}

/// Adds what only episodes and readings can tell; `notes` are facts about episodes in words.
pub fn add_course_of_care(
    quality: &mut DataQuality,
    files: &Files,
    readings: &Readings,
    measures: &Measures,
    notes: Vec<(String, u64)>,
) {
    quality.blanked.extend(readings.unscorable.iter().map(|count| ReasonCount {
        file: files.label(count.file).to_owned(),
        column: measures.get(count.measure).title.clone(),
        reason: count.reason.to_string(),
        count: count.count,
        first_line: u64::from(count.first_line),
    }));
    quality.episode_notes = notes;
}

fn account(label: &str, file: &FileLedger) -> FileAccount {
    FileAccount {
        file: label.to_owned(),
        lines: file.lines,
        lines_of_head: file.lines_of_head,
        lines_blank: file.lines_blank,
        lines_in_cells: file.lines_in_cells.count(),
        rows_read: file.read,
        rows_kept: file.kept,
        rows_duplicate: file.duplicate_exact + file.duplicate_differing,
        rows_rejected: file.rejected.rows(),
        rows_left_out: file.left_out(),
        rows_not_listed: file.rejected.not_listed(),
        cells_blanked: file.blanks.cells(),
    }
}

fn rejections(label: &str, file: &FileLedger) -> Vec<ReasonCount> {
    let reasons = file.rejected.reasons().map(|(column, reason, tally)| ReasonCount {
        file: label.to_owned(),
        column: column.map_or("", |c| file.column_name(c)).to_owned(),
        reason: reason.to_string(),
        count: tally.count,
        first_line: u64::from(tally.first_line),
    });
    reasons.collect()
}

fn disagreement_counts(files: &Files, disagreements: &[Disagreement]) -> Vec<ReasonCount> {
    let mut counts: BTreeMap<FileId, (u64, u32)> = BTreeMap::new();
    for pair in disagreements {
        let entry = counts.entry(pair.other.file).or_insert((0, pair.other.line));
        entry.0 += 1;
        entry.1 = entry.1.min(pair.other.line);
    }
    counts
        .into_iter()
        .map(|(file, (count, line))| ReasonCount {
            file: files.label(file).to_owned(),
            column: String::new(),
            reason:
                "a second row of the same visit says something else; the fuller row is used, at a tie one drawn by what they say"
                    .to_owned(),
            count,
            first_line: u64::from(line),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::export::place::Place;
    use crate::rows::ledger::Rejected;
    use crate::rows::reason::Reason;
    use crate::rows::told::Rejections;

    #[test]
    fn reasons_are_counted_by_column_with_their_first_line() {
        let mut files = Files::default();
        let id = files.add("quillfeather.csv".into(), "export 1".into()).unwrap();
        let mut rejected = Rejections::default();
        for (line, reason) in [(4, Reason::NotADate), (6, Reason::FieldCount), (9, Reason::NotADate)] {
            let column = (reason == Reason::NotADate).then_some(1);
            rejected.add(Rejected { place: Place { file: id, line }, column, reason });
        }
        let mut ledger = Ledger::default();
        let header = ["patient", "date", "Anna Quillfeather"].map(str::to_owned).to_vec();
        ledger.push(FileLedger {
            lines: 6,
            lines_of_head: 1,
            read: 5,
            kept: 1,
            duplicate_exact: 1,
            rejected,
            header,
            unmapped: vec![2],
            calendar: true,
            ..FileLedger::default()
        });
        let quality = data_quality(&files, &ledger, &[]);
        assert_eq!(quality.unmapped, [("export 1".to_owned(), "column 3".to_owned())], "never by its header");
        assert_eq!((quality.calendar_files, quality.offset_files), (1, 0));
        let found: Vec<_> = quality.rejections.iter().map(|r| (r.column.as_str(), r.count, r.first_line)).collect();
        assert_eq!(found, [("", 1, 6), ("date", 2, 4)]);
        assert!(quality.rejections.iter().all(|r| r.file == "export 1"), "never by the file's name");
        let file = &quality.files[0];
        assert!(file.balances());
        assert_eq!(quality.total, FileAccount { file: String::new(), ..file.clone() });
    }
}
