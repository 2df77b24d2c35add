//! Rows -> visits: rows that repeat another are taken out and counted.
//!
//! Two rows stand for one visit when patient, day and site are the same and neither the visit
//! number, the region nor the export's episode label tells them apart.
//! - Equal in everything that was understood: one is kept, the later one is an exact duplicate. This is the only use of a row's
//!   place: it says on which of equal lines the account counts.
//! - Different: the fuller row is the visit, at a tie the one with the higher lot ([`Lots`]). The other
//!   is counted as a differing duplicate; its scores stay as readings without a visit, so that both
//!   values keep their place in the record.
//! - In a long export (one row a reading) one row is the visit, the others add their readings
//!   and fill what it leaves open; only a row equal to another is a duplicate.
//!
//! The rows of a day are put in order by what they say: visit number, episode label, region, then lot.

use super::lots::Lots;
use super::visits::{Visits, scores_in};
use crate::export::place::Place;
use crate::rows::ledger::Ledger;
use crate::rows::names::Names;
use crate::rows::row::{Dose, Facts, NameId, Row, Score, Setup};
use crate::rows::when::When;
use rayon::prelude::*;

/// Two rows of one visit that disagree: which was picked, which was not.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct Disagreement {
    /// The row that was not picked.
    pub other: Place,
    /// The row that was.
    pub picked: Place,
}

/// Takes duplicates out. `names` must be numbered by their text; `long_files` says of each file whether it holds one row a reading.
/// Pairs that disagree come in order of place.
pub fn visits(
    rows: Vec<Row>,
    scores: Vec<Score>,
    names: &Names,
    long_files: &[bool],
    ledger: &mut Ledger,
) -> (Visits, Vec<Disagreement>) {
    let mut visits = Visits { rows, scores };
    visits.rows.par_sort_unstable_by_key(order);
    put_days_in_order(&mut visits, &Lots::new(names), long_files);
    let mut gone = vec![false; visits.rows.len()];
    let mut disagreements = Vec::new();
    let mut from = 0;
    while from < visits.rows.len() {
        let to = group_end(&visits.rows, from);
        if to - from > 1 {
            settle(&mut visits, from..to, long_files, &mut gone, ledger, &mut disagreements);
        }
        from = to;
    }
    let mut flags = gone.iter();
    visits.rows.retain(|_| !flags.next().copied().unwrap_or(false));
    disagreements.sort_unstable();
    (visits, disagreements)
}

/// Puts the rows of each patient, day and site in order by what they say; equal ones by their place.
fn put_days_in_order(visits: &mut Visits, lots: &Lots<'_>, long_files: &[bool]) {
    let Visits { rows, scores } = visits;
    let key = |row: &Row| {
        let number = (row.visit_no.is_none(), row.visit_no);
        let lot = lots.of(row, scores_in(scores, row));
        (!row.is_visit, number, row.episode, row.setup.region, lot, is_long(row, long_files), row.place)
    };
    let days = rows.par_chunk_by_mut(same_day).filter(|day| day.len() > 1);
    days.for_each_init(Vec::new, |keyed, day| {
        keyed.clear();
        keyed.extend(day.iter().map(|row| (key(row), *row)));
        keyed.sort_unstable_by_key(|(key, _)| *key);
        day.iter_mut().zip(keyed.iter()).for_each(|(row, (_, sorted))| *row = *sorted);
    });
}

fn is_long(row: &Row, long_files: &[bool]) -> bool {
    long_files.get(usize::from(row.place.file.0)).copied().unwrap_or(false)
}

fn order(row: &Row) -> (NameId, bool, i32, NameId) {
    (row.patient, matches!(row.when, When::Offset { .. }), row.when.day(), row.site)
}

fn same_day(a: &Row, b: &Row) -> bool {
    a.patient == b.patient && a.when.same_clock(b.when) && a.when.day() == b.when.day() && a.site == b.site
}

fn group_end(rows: &[Row], from: usize) -> usize {
    let Some(first) = rows.get(from) else { return from + 1 };
    rows.iter().skip(from + 1).position(|row| !same_day(first, row)).map_or(rows.len(), |n| from + 1 + n)
}

/// Whether two rows of one patient, day and site can be the same visit.
fn may_be_one(a: &Row, b: &Row) -> bool {
    fn differ<T: PartialEq>(a: Option<T>, b: Option<T>) -> bool {
        matches!((a, b), (Some(a), Some(b)) if a != b)
    }
    a.is_visit == b.is_visit
        && !differ(a.visit_no, b.visit_no)
        && !differ(a.setup.region, b.setup.region)
        && !differ(a.episode, b.episode)
}

fn settle(
    visits: &mut Visits,
    group: std::ops::Range<usize>,
    long_files: &[bool],
    gone: &mut [bool],
    ledger: &mut Ledger,
    disagreements: &mut Vec<Disagreement>,
) {
    drop_repeats(visits, group.clone(), gone, ledger);
    let is_gone = |gone: &[bool], i: usize| gone.get(i).copied().unwrap_or(true);
    for later in group.clone() {
        for earlier in looked_back(&group, later) {
            let (Some(a), Some(b)) = (visits.rows.get(earlier).copied(), visits.rows.get(later).copied()) else {
                break;
            };
            if is_gone(gone, earlier) || is_gone(gone, later) || !a.is_visit || !may_be_one(&a, &b) {
                continue;
            }
            if is_long(&a, long_files) && is_long(&b, long_files) {
                join(visits, earlier, later);
                break;
            }
            let earlier_is_fuller = fullness(visits, &a) > fullness(visits, &b);
            let (picked, other) = if earlier_is_fuller { (a, later) } else { (b, earlier) };
            if let Some(other) = visits.rows.get_mut(other) {
                other.is_visit = false;
                account(ledger, other, false);
                disagreements.push(Disagreement { other: other.place, picked: picked.place });
            }
            if earlier_is_fuller {
                break;
            }
        }
    }
}

/// The earlier rows of the day that a row is compared with. One patient has a handful of rows a day;
/// an export whose patient column is a constant has millions, and must not take hours.
fn looked_back(group: &std::ops::Range<usize>, later: usize) -> std::ops::Range<usize> {
    later.saturating_sub(200).max(group.start)..later
}

/// Marks every row that says the same as an earlier one of its day.
fn drop_repeats(visits: &Visits, group: std::ops::Range<usize>, gone: &mut [bool], ledger: &mut Ledger) {
    for later in group.clone() {
        let Some(b) = visits.rows.get(later) else { continue };
        let repeats = looked_back(&group, later)
            .filter(|earlier| !gone.get(*earlier).copied().unwrap_or(true))
            .any(|earlier| visits.rows.get(earlier).is_some_and(|a| equal(visits, a, b)));
        if repeats {
            if let Some(flag) = gone.get_mut(later) {
                *flag = true;
            }
            account(ledger, b, true);
        }
    }
}

/// A further row of a long export gives its reading and fills what the visit leaves open.
fn join(visits: &mut Visits, first: usize, further: usize) {
    let Some(more) = visits.rows.get_mut(further) else { return };
    more.is_visit = false;
    let more = *more;
    let Some(row) = visits.rows.get_mut(first) else { return };
    row.clinician = row.clinician.or(more.clinician);
    row.table = row.table.or(more.table);
    row.attended = row.attended.or(more.attended);
    row.condition = row.condition.or(more.condition);
    row.icd10 = row.icd10.or(more.icd10);
    row.caution |= more.caution;
    row.dose = fill_dose(row.dose, more.dose);
    row.setup = fill_setup(row.setup, more.setup);
    row.facts = fill_facts(row.facts, more.facts);
}

macro_rules! fill {
    ($(#[$doc:meta])* $name:ident $type:ident { $($field:ident),* $(,)? }) => {
        fn $name(a: $type, b: $type) -> $type {
            $type { $($field: a.$field.or(b.$field)),* }
        }
    };
}

fill!(fill_dose Dose { mode, cycles, peak_force, low_force, hold, rest, ramp, session, body_mass });
fill!(fill_setup Setup {
    region, position, angle, return_tension, tension_turns, split_gap, upper_restraint, belt_landmark_ok,
    belt_seated, slack_cycle_done, level_pull, table_level, adverse_event,
});
fill!(fill_facts Facts { age, sex, onset, prior_surgery, compensation, ended_how, planned_visits, body_mass_index });

/// Whether two rows say the same in everything that was understood.
fn equal(visits: &Visits, a: &Row, b: &Row) -> bool {
    let same_but_for_place = |a: &Row, b: &Row| {
        let at_one_place = Row { place: a.place, scores_from: a.scores_from, ..*b };
        *a == at_one_place
    };
    let (scores_a, scores_b) = (visits.scores_of(a), visits.scores_of(b));
    same_but_for_place(a, b)
        && scores_a.len() == scores_b.len()
        && scores_a
            .iter()
            .zip(scores_b)
            .all(|(a, b)| (a.measure, a.pain_site, a.answers()) == (b.measure, b.pain_site, b.answers()))
}

/// How many cells of a row were understood.
fn fullness(visits: &Visits, row: &Row) -> usize {
    let dose = row.dose;
    let setup = row.setup;
    let facts = row.facts;
    [
        row.clinician.is_some(),
        row.table.is_some(),
        row.visit_no.is_some(),
        row.attended.is_some(),
        row.condition.is_some(),
        row.icd10.is_some(),
        row.episode.is_some(),
        dose.mode.is_some(),
        dose.cycles.is_some(),
        dose.peak_force.is_some(),
        dose.low_force.is_some(),
        dose.hold.is_some(),
        dose.rest.is_some(),
        dose.ramp.is_some(),
        dose.session.is_some(),
        dose.body_mass.is_some(),
        setup.region.is_some(),
        setup.position.is_some(),
        setup.angle.is_some(),
        setup.return_tension.is_some(),
        setup.tension_turns.is_some(),
        setup.split_gap.is_some(),
        setup.upper_restraint.is_some(),
        setup.belt_landmark_ok.is_some(),
        setup.belt_seated.is_some(),
        setup.slack_cycle_done.is_some(),
        setup.level_pull.is_some(),
        setup.table_level.is_some(),
        setup.adverse_event.is_some(),
        facts.age.is_some(),
        facts.sex.is_some(),
        facts.onset.is_some(),
        facts.prior_surgery.is_some(),
        facts.compensation.is_some(),
        facts.ended_how.is_some(),
        facts.planned_visits.is_some(),
        facts.body_mass_index.is_some(),
    ]
    .iter()
    .filter(|known| **known)
    .count()
        + visits.scores_of(row).len()
}

fn account(ledger: &mut Ledger, row: &Row, exact: bool) {
    if let Some(file) = ledger.get_mut(row.place.file) {
        file.kept -= 1;
        if exact {
            file.duplicate_exact += 1;
        } else {
            file.duplicate_differing += 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::{MeasureId, PainSite};
    use crate::export::place::FileId;
    use crate::rows::ledger::FileLedger;
    use crate::rows::made::visit;
    use crate::rows::row::Answers;
    use crate::units::Newtons;
    use proptest::prelude::*;

    const FILES: u16 = 3;

    fn pain(value: f64) -> Vec<Score> {
        vec![Score::new(MeasureId(0), PainSite::Back, Answers::Value(value))]
    }

    fn pulled(row: Row, newtons: f64) -> Row {
        Row { dose: Dose { peak_force: Newtons::new(newtons), ..row.dose }, ..row }
    }

    /// Rows of one patient that meet each rule, with their file.
    fn day_full_of_rows() -> Vec<(u16, Row, Vec<Score>)> {
        let numbered = |number| Row { visit_no: Some(number), ..visit(3) };
        vec![
            (0, visit(0), pain(4.0)),
            (1, visit(0), pain(4.0)), // the same again
            (0, visit(0), pain(6.0)), // neither is fuller
            (1, pulled(visit(0), 200.0), pain(5.0)),
            (0, numbered(1), pain(7.0)),
            (0, numbered(2), pain(3.0)),
            (1, visit(3), pain(9.0)), // fits both
            (1, Row { is_visit: false, ..visit(3) }, pain(2.0)),
            (2, visit(9), pain(8.0)), // one row a reading
            (2, pulled(visit(9), 300.0), pain(1.0)),
            (2, pulled(visit(9), 310.0), pain(0.0)),
            (2, Row { setup: Setup::default(), ..visit(9) }, vec![]),
        ]
    }

    type Said = (Row, Vec<(MeasureId, PainSite, Answers)>);

    /// What is left of rows read in some order, without their places; files in the order of `files`; and the account summed.
    fn settled(order: &[usize], files: &[u16]) -> (Vec<Said>, [u64; 3]) {
        let entries = day_full_of_rows();
        let (mut rows, mut scores) = (Vec::new(), Vec::new());
        let mut ledger = Ledger::default();
        for file in 0..FILES {
            let kept = entries.iter().filter(|(own, ..)| files[usize::from(*own)] == file).count() as u64;
            ledger.push(FileLedger { lines: kept, read: kept, kept, ..FileLedger::default() });
        }
        for (line, at) in (2..).zip(order) {
            let (file, row, own) = &entries[*at];
            let place = Place { file: FileId(files[usize::from(*file)]), line };
            rows.push(Row { place, scores_from: scores.len() as u32, scores_len: own.len() as u8, ..*row });
            scores.extend(own);
        }
        let mut names = Names::default();
        names.sites.intern("A");
        names.patients.intern("P");
        let long: Vec<bool> = (0..FILES).map(|file| files[2] == file).collect();
        let (visits, disagreements) = visits(rows, scores, &names, &long, &mut ledger);
        assert!(ledger.unbalanced().is_empty() && disagreements.is_sorted());
        let nowhere = visit(0).place;
        let said = |row: &Row| {
            let scores = visits.scores_of(row).iter().map(|s| (s.measure, s.pain_site, s.answers())).collect();
            (Row { place: nowhere, scores_from: 0, ..*row }, scores)
        };
        let mut counts = [0; 3];
        for (_, file) in ledger.iter() {
            counts[0] += file.kept;
            counts[1] += file.duplicate_exact;
            counts[2] += file.duplicate_differing;
        }
        (visits.rows.iter().map(said).collect(), counts)
    }

    #[test]
    fn each_rule_is_met_in_the_order_the_rows_were_written_in() {
        let (said, counts) = settled(&(0..12).collect::<Vec<_>>(), &[0, 1, 2]);
        assert_eq!(counts, [8, 1, 3]);
        let treated: Vec<(i32, Option<u16>, Option<f64>)> = said
            .iter()
            .filter(|(row, _)| row.is_visit)
            .map(|(row, _)| (row.when.day(), row.visit_no, row.dose.peak_force.map(Newtons::get)))
            .collect();
        let (days, pull): (Vec<_>, Vec<_>) = treated.iter().map(|(day, number, pull)| ((*day, *number), *pull)).unzip();
        assert_eq!(days, [(0, None), (3, Some(1)), (3, Some(2)), (9, None)]);
        assert_eq!(pull[0], Some(200.0), "the fuller row is the visit");
        assert!(matches!(pull[3], Some(300.0 | 310.0)), "rows of a reading fill the visit");
    }

    proptest! {
        /// No order of rows, and no order of files, changes what is left of them.
        #[test]
        fn what_is_left_does_not_depend_on_places(
            order in Just((0..12).collect::<Vec<usize>>()).prop_shuffle(),
            files in Just(vec![0_u16, 1, 2]).prop_shuffle(),
        ) {
            let straight = settled(&(0..12).collect::<Vec<_>>(), &[0, 1, 2]);
            prop_assert_eq!(settled(&order, &files), straight);
        }
    }
}
