//! Ledger, duplicates, readings and visits -> what the data-quality page says.

use super::quality::{DataQuality, FileAccount, ReasonCount};
use crate::catalogue::Measures;
use crate::catalogue::possible_rules::PossibleRules;
use crate::catalogue::rule::Rule;
use crate::episodes::episode::{Episode, Episodes};
use crate::export::place::{FileId, Files};
use crate::readings::attach::Readings;
use crate::rows::ledger::{FileLedger, Ledger};
use crate::rows::reason::Reason;
use crate::rows::row::Row;
use crate::visits::duplicates::Disagreement;
use crate::visits::possible::{Marks, marks_of_course};
use crate::visits::visits::Visits;
use rayon::prelude::*;
use std::collections::BTreeMap;

/// Episodes that one thread looks through at once.
const EPISODES_AT_ONCE: usize = 1_000;

/// The account of what was read: files, reasons, columns and duplicates.
pub fn data_quality(files: &Files, ledger: &Ledger, disagreements: &[Disagreement]) -> DataQuality {
    let mut quality = DataQuality::default();
    for (id, file) in ledger.iter() {
        let path = files.path(id).to_owned();
        quality.files.push(account(&path, file));
        quality.rejections.extend(rejections(&path, file));
        quality.blanked.extend(file.blanks.iter().map(|(column, reason, tally)| ReasonCount {
            file: path.clone(),
            column: file.column_name(column).to_owned(),
            reason: reason.to_string(),
            count: tally.count,
            first_line: u64::from(tally.first_line),
        }));
        quality.dropped.extend(file.dropped.iter().map(|column| (path.clone(), column.clone())));
        quality.unmapped.extend(file.unmapped.iter().map(|column| (path.clone(), column.clone())));
        quality.calendar_files += u32::from(file.calendar);
        quality.offset_files += u32::from(!file.calendar);
    }
    quality.total = FileAccount::total(&quality.files);
    quality.disagreements = disagreement_counts(files, disagreements);
    quality
}

/// A run's visits, episodes and readings.
#[derive(Clone, Copy, Debug)]
pub struct CourseOfCare<'a> {
    /// The visits.
    pub visits: &'a Visits,
    /// The episodes.
    pub episodes: &'a Episodes,
    /// The readings.
    pub readings: &'a Readings,
}

/// Adds what only the visits, episodes and readings can tell; `notes` are facts about episodes in words.
pub fn add_course_of_care(
    quality: &mut DataQuality,
    files: &Files,
    care: CourseOfCare<'_>,
    measures: &Measures,
    rules: &PossibleRules,
    notes: Vec<(String, u64)>,
) {
    let CourseOfCare { visits, episodes, readings } = care;
    let broken = rule_breaks(visits, episodes, rules);
    let switched_on = Rule::ALL.into_iter().zip(broken).filter(|(rule, _)| rules.is_on(*rule));
    quality.warnings = switched_on.map(|(rule, count)| (rules.text(rule).title.clone(), count)).collect();
    quality.blanked.extend(readings.unscorable.iter().map(|count| ReasonCount {
        file: files.path(count.file).to_owned(),
        column: measures.get(count.measure).title.clone(),
        reason: count.reason.to_string(),
        count: count.count,
        first_line: u64::from(count.first_line),
    }));
    quality.episode_notes = notes;
}

/// Treated visits that break each rule, in the order of [`Rule::ALL`].
fn rule_breaks(visits: &Visits, episodes: &Episodes, rules: &PossibleRules) -> [u64; Rule::COUNT] {
    let add = |mut sum: [u64; Rule::COUNT], part: [u64; Rule::COUNT]| {
        sum.iter_mut().zip(part).for_each(|(sum, part)| *sum += part);
        sum
    };
    let of_episodes = |episodes_here: &[Episode]| {
        let mut broken = [0; Rule::COUNT];
        let (mut rows, mut marks) = (Vec::<&Row>::new(), Vec::new());
        for episode in episodes_here {
            rows.clear();
            rows.extend(episodes.visits_of(episode).iter().filter_map(|at| visits.rows.get(*at as usize)));
            marks.clear();
            marks.resize(rows.len(), Marks::default());
            marks_of_course(&rows, episode.region, rules, &mut marks);
            for marks in &marks {
                broken = add(broken, Rule::ALL.map(|rule| u64::from(marks.broken(rule))));
            }
        }
        broken
    };
    episodes.list.par_chunks(EPISODES_AT_ONCE).map(of_episodes).reduce(|| [0; Rule::COUNT], add)
}

fn account(path: &str, file: &FileLedger) -> FileAccount {
    FileAccount {
        file: path.to_owned(),
        rows_read: file.read,
        rows_kept: file.kept,
        rows_duplicate: file.duplicate_exact + file.duplicate_differing,
        rows_rejected: file.rejected.len() as u64,
        rows_left_out: file.left_out(),
        cells_blanked: file.blanks.cells(),
    }
}

fn rejections(path: &str, file: &FileLedger) -> Vec<ReasonCount> {
    let mut counts: BTreeMap<(Option<u16>, Reason), (u64, u32)> = BTreeMap::new();
    for rejected in &file.rejected {
        let entry = counts.entry((rejected.column, rejected.reason)).or_insert((0, rejected.place.line));
        entry.0 += 1;
        entry.1 = entry.1.min(rejected.place.line);
    }
    counts
        .into_iter()
        .map(|((column, reason), (count, line))| ReasonCount {
            file: path.to_owned(),
            column: column.map_or("", |c| file.column_name(c)).to_owned(),
            reason: reason.to_string(),
            count,
            first_line: u64::from(line),
        })
        .collect()
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
            file: files.path(file).to_owned(),
            column: String::new(),
            reason:
                "a second row of the same visit says something else; the fuller row is used, at a tie the later one"
                    .to_owned(),
            count,
            first_line: u64::from(line),
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::episodes::timeline::{CERVICAL, cut_rows, visit, visits_of};
    use crate::export::place::Place;
    use crate::group::setup_standard::default_standard;
    use crate::rows::ledger::Rejected;
    use crate::units::{Minutes, Newtons};

    #[test]
    fn reasons_are_counted_by_column_with_their_first_line() {
        let mut files = Files::default();
        let id = files.add("a.csv".into()).unwrap();
        let rejected = [(9, Reason::NotADate), (4, Reason::NotADate), (6, Reason::FieldCount)]
            .map(|(line, reason)| Rejected {
                place: Place { file: id, line },
                column: (reason == Reason::NotADate).then_some(1),
                reason,
            })
            .to_vec();
        let mut ledger = Ledger::default();
        let header = vec!["patient".to_owned(), "date".to_owned()];
        ledger.push(FileLedger {
            read: 5,
            kept: 1,
            duplicate_exact: 1,
            rejected,
            header,
            calendar: true,
            ..FileLedger::default()
        });
        let quality = data_quality(&files, &ledger, &[]);
        assert_eq!((quality.calendar_files, quality.offset_files), (1, 0));
        let found: Vec<_> = quality.rejections.iter().map(|r| (r.column.as_str(), r.count, r.first_line)).collect();
        assert_eq!(found, [("", 1, 6), ("date", 2, 4)]);
        let file = &quality.files[0];
        assert!(file.balances());
        assert_eq!(quality.total, FileAccount { file: String::new(), ..file.clone() });
    }

    #[test]
    fn broken_rules_are_counted_over_the_treated_visits_of_all_episodes() {
        let long = |mut row: Row, pull_n: f64| {
            (row.dose.session, row.dose.peak_force) = (Minutes::new(40.0), Newtons::new(pull_n));
            row
        };
        // two patients; a missed visit counts for nothing; 30 kgf are too much for a neck
        let rows = vec![
            long(visit(0), 100.0),
            long(visit(2), 300.0),
            long(visit(3).missed(), 300.0),
            long(visit(0).of(2).region(CERVICAL), 294.2),
            visit(4).of(2).region(CERVICAL),
        ];
        let mut rules = default_standard().unwrap().rules;
        let counts = |rules: &PossibleRules| {
            let broken = rule_breaks(&visits_of(rows.clone()), &cut_rows(rows.clone()), rules);
            Rule::ALL.into_iter().zip(broken).filter(|(_, count)| *count > 0).collect::<Vec<_>>()
        };
        let (beyond, long, jumps) = (Rule::PullBeyondBodyWeightShare, Rule::SessionLong, Rule::PullJumps);
        assert_eq!(counts(&rules), [(beyond, 1), (long, 3), (jumps, 1)]);
        rules.switch(long, false);
        assert_eq!(counts(&rules), [(beyond, 1), (jumps, 1)]);
    }
}
