//! The program's own reader on the sample: its account of every file must be the truth's, row by row, and
//! its episodes those that were drawn.

use super::*;
use crate::catalogue::Region;
use crate::catalogue::rule::Rule;
use crate::episodes::boundaries::cut;
use crate::episodes::regions::Regions;
use crate::group::settings::Group;
use crate::group::{load, mapping::Layout};
use crate::rows::ledger::FileLedger;
use crate::rows::read_group::{Intake, read_group};
use crate::rows::reason::Reason;
use crate::rows::row::Row;
use crate::visits::duplicates::{Disagreement, visits};
use crate::visits::possible::{Marks, marks_of_course};
use crate::visits::visits::Visits;
use serde_json::Value;

/// The sample, written and read back.
struct ReadBack {
    group: Group,
    /// Names, files and the ledger; its rows have become the visits.
    intake: Intake,
    visits: Visits,
    disagreements: Vec<Disagreement>,
    truth: Value,
    episodes: String,
}

fn read_back() -> ReadBack {
    read_back_of(SampleOptions::default())
}

fn read_back_of(options: SampleOptions) -> ReadBack {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), options).unwrap();
    let truth = |name: &str| std::fs::read_to_string(folder.path().join("truth").join(name)).unwrap();
    let group = load::load(folder.path()).unwrap_or_else(|problem| panic!("{problem}"));
    let mut intake = read_group(&group, &|_, _| ()).unwrap_or_else(|problem| panic!("{problem}"));
    let is_long = |e: &crate::group::settings::Export| e.mapping.form.layout == Layout::ReadingRows;
    let long: Vec<bool> = group.exports.iter().flat_map(|e| e.files.iter().map(move |_| is_long(e))).collect();
    let (rows, scores) = (std::mem::take(&mut intake.rows), std::mem::take(&mut intake.scores));
    let (visits, disagreements) = visits(rows, scores, &intake.names, &long, &mut intake.ledger);
    let (json, episodes) = (truth("truth.json"), truth("episodes.csv"));
    ReadBack { group, intake, visits, disagreements, truth: serde_json::from_str(&json).unwrap(), episodes }
}

/// Line, column and reason of a rejected row.
type Lost = (u64, Option<String>, String);

fn lost_by_reader(file: &FileLedger) -> Vec<Lost> {
    let column = |c: u16| file.column_name(c).to_string();
    file.rejected
        .told()
        .iter()
        .map(|(r, _)| (u64::from(r.place.line), r.column.map(column), r.reason.to_string()))
        .collect()
}

fn lost_in_truth(file: &Value) -> Vec<Lost> {
    let planted = file["planted"].as_array().unwrap().iter();
    let lost = planted.filter(|p| matches!(p["account"].as_str(), Some("rejected" | "left_out")));
    let text = |v: &Value| v.as_str().map(str::to_string);
    lost.map(|p| (p["line"].as_u64().unwrap(), text(&p["column"]), text(&p["reason"]).unwrap())).collect()
}

fn count_of(file: &Value, account: &str) -> u64 {
    file["planted"].as_array().unwrap().iter().filter(|p| p["account"] == account).count() as u64
}

#[test]
fn the_reader_accounts_for_every_row_as_the_truth_says() {
    let ReadBack { intake, visits, disagreements, truth, .. } = read_back();
    let files = truth["files"].as_array().unwrap();
    let mut seen = 0;
    for (id, file) in intake.ledger.iter() {
        let path = intake.files.path(id);
        let wanted = files.iter().find(|f| f["path"] == path).unwrap();
        let number = |key: &str| wanted[key].as_u64().unwrap();
        assert_eq!(file.read, number("rows_read"), "{path}");
        assert_eq!(lost_by_reader(file), lost_in_truth(wanted), "{path}");
        assert_eq!(file.duplicate_exact, count_of(wanted, "duplicate_exact"), "{path}: exact duplicates");
        assert_eq!(file.duplicate_differing, count_of(wanted, "duplicate_differing"), "{path}: differing duplicates");
        let blanked: Vec<_> =
            file.blanks.iter().map(|(c, r, t)| (file.column_name(c).to_string(), r, t.count, t.first_line)).collect();
        assert_eq!(file.blanks.cells(), number("cells_blanked"), "{path}: {blanked:?}");
        let retired: u64 = blanked.iter().filter(|b| b.1 == Reason::CodeNotValid).map(|b| b.2).sum();
        assert_eq!(retired, number("retired_code_rows"), "{path}: codes not valid on the day");
        assert_eq!(file.kept, number("rows_kept"), "{path}");
        seen += 1;
    }
    assert_eq!(seen, files.len());
    assert!(intake.ledger.faulty_share() < 0.02);
    let differing: u64 = files.iter().map(|f| count_of(f, "duplicate_differing")).sum();
    assert_eq!(disagreements.len() as u64, differing);
    let appointments: u64 =
        truth["sites"].as_array().unwrap().iter().map(|s| s["appointments"].as_u64().unwrap()).sum();
    assert_eq!(visits.rows.iter().filter(|row| row.is_visit).count() as u64, appointments, "each a visit, once");
    assert_eq!(intake.names.patients.len() as u64, truth["patients"].as_u64().unwrap());
}

#[test]
fn the_episodes_that_are_cut_are_those_that_were_drawn() {
    let ReadBack { group, intake, visits, episodes: drawn, .. } = read_back();
    let regions = Regions::of(&group.conditions, &intake.names.codes);
    let episodes = cut(&visits, &regions, &group.episodes);
    let mut found: Vec<String> = episodes
        .list
        .iter()
        .map(|e| {
            let condition = e.condition.map_or("", |id| group.conditions.get(id).key.as_str());
            format!("{},{condition},{}", intake.names.patients.get(e.patient), episodes.visits_of(e).len())
        })
        .collect();
    let mut wanted: Vec<String> = drawn
        .lines()
        .skip(1)
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            format!("{},{},{}", cells[0], cells[3], cells[7])
        })
        .collect();
    found.sort();
    wanted.sort();
    let missing: Vec<_> = wanted.iter().filter(|w| found.binary_search(w).is_err()).take(5).collect();
    let more: Vec<_> = found.iter().filter(|f| wanted.binary_search(f).is_err()).take(5).collect();
    assert!(missing.is_empty() && more.is_empty(), "drawn and not found: {missing:?}; found and not drawn: {more:?}");
    assert_eq!(episodes.counts.patients_at_two_sites_on_one_day, 1);
    assert_eq!(episodes.counts.patients_on_two_clocks, 0);
}

/// What treated visits of a sample come to.
struct Possible {
    /// Each rule, of how many visits it was asked, and how many break it.
    counts: [(Rule, usize, usize); Rule::COUNT],
    /// Lumbar visits with a gap.
    with_gap: usize,
    /// Of these, with a closed split.
    closed: usize,
}

fn possible_or_not(options: SampleOptions) -> Possible {
    let ReadBack { group, intake, visits, .. } = read_back_of(options);
    let regions = Regions::of(&group.conditions, &intake.names.codes);
    let episodes = cut(&visits, &regions, &group.episodes);
    let mut all = Vec::new();
    let (mut with_gap, mut closed) = (0, 0);
    for episode in &episodes.list {
        let rows: Vec<&Row> = episodes.visits_of(episode).iter().map(|at| &visits.rows[*at as usize]).collect();
        let mut marks = vec![Marks::default(); rows.len()];
        marks_of_course(&rows, episode.region, &group.setup_standard.rules, &mut marks);
        all.extend(marks);
        let gaps = rows.iter().filter(|_| episode.region == Some(Region::Lumbar)).filter_map(|row| row.setup.split_gap);
        for gap in gaps {
            with_gap += 1;
            closed += usize::from(gap.get() <= 1.0);
        }
    }
    let count = |has: &dyn Fn(&&Marks) -> bool| all.iter().filter(has).count();
    let counts = Rule::ALL.map(|rule| (rule, count(&|m| m.asked(rule)), count(&|m| m.broken(rule))));
    Possible { counts, with_gap, closed }
}

#[test]
fn without_faults_the_sample_is_possible() {
    let options = SampleOptions { faults: false, ..SampleOptions::default() };
    let Possible { counts, with_gap, closed } = possible_or_not(options);
    println!("{counts:?} {closed} of {with_gap}");
    for (rule, asked, broken) in counts {
        assert!(asked > 500, "{rule:?} was asked of {asked} visits");
        assert!(broken <= 5, "{rule:?} is broken by {broken} of {asked} visits");
    }
    assert!(with_gap > 4_000 && closed * 10 < with_gap, "{closed} of {with_gap} splits are closed");
}

#[test]
fn the_faults_planted_are_possible_but_for_a_pull_after_copied_ones() {
    for (rule, asked, broken) in possible_or_not(SampleOptions::default()).counts {
        // a pull copied forward several times falls behind the patient's own, which then seems to jump
        let most = if rule == Rule::PullJumps { 15 } else { 5 };
        assert!(broken <= most, "{rule:?} is broken by {broken} of {asked} visits");
    }
}
