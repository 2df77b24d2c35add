//! Broken rows, planted on purpose: a reader must reject, blank or count each.
//!
//! Rows that must be rejected are extra rows, so that the visits that remain are exactly the ones
//! that were drawn. Cells that must be blanked sit in rows that stay.

use super::draw::Draw;
use super::sheet::{Cell, Export, ExportRow, Fault, Planted, Role};
use crate::rows::reason::Reason;

/// Kinds that cost the whole row.
const ROW_FAULTS: [Fault; 6] = [
    Fault::ImpossibleDate,
    Fault::MissingPatient,
    Fault::DateInTheFuture,
    Fault::TooFewFields,
    Fault::YearTooEarly,
    Fault::TooManyFields,
];

/// Kinds that cost one cell.
const CELL_FAULTS: [Fault; 5] =
    [Fault::ScoreOutOfRange, Fault::PullTooHigh, Fault::UnknownWord, Fault::PercentOver100, Fault::NegativePull];

/// Plants faults in an export, in proportion to its rows: at most 1.2 % rows to reject, and capped,
/// so that a large sample is not swamped.
pub fn plant(export: &mut Export, seed: u64) {
    let mut draw = Draw::keyed(seed, &["broken rows", &export.path]);
    let rows = export.rows.len();
    for (number, row) in export.rows.iter_mut().enumerate() {
        row.number = Some(number);
    }
    if rows < 80 {
        return;
    }
    let quota = |share: f64, most: usize| ((rows as f64 * share) as usize).clamp(1, most);
    let start = usize::try_from(draw.whole(0, 5)).unwrap_or(0);
    for kind in CELL_FAULTS.into_iter().cycle().skip(start).take(quota(0.006, 15)) {
        break_cell(export, &mut draw, kind);
    }
    let mut extra: Vec<(usize, ExportRow)> = Vec::new();
    let row_faults = ROW_FAULTS.into_iter().cycle().skip(start).take(quota(0.010, 18));
    let twins = [Fault::ExactDuplicate].into_iter().cycle().take(quota(0.003, 5));
    let disagreeing = [Fault::RowsDisagree].into_iter().cycle().take(quota(0.002, 4));
    let mut taken: Vec<usize> = Vec::new();
    for kind in row_faults.chain(twins).chain(disagreeing) {
        if let Some((at, row)) = broken_copy(export, &mut draw, kind, &taken) {
            taken.push(at);
            extra.push((at, row));
        }
    }
    // From the end, so that positions before stay true; each copy comes after its original.
    extra.sort_by_key(|(at, _)| std::cmp::Reverse(*at));
    for (at, row) in extra {
        let later = at + 1 + usize::try_from(draw.whole(0, 4)).unwrap_or(0);
        export.rows.insert(later.min(export.rows.len()), row);
    }
}

/// A sound row drawn at random that has a cell of the role.
fn pick(export: &Export, draw: &mut Draw, role: Role, taken: &[usize]) -> Option<usize> {
    let last = i64::try_from(export.rows.len()).ok()? - 1;
    (0..400).find_map(|_| {
        let at = usize::try_from(draw.whole(0, last)).ok()?;
        let row = export.rows.get(at)?;
        (row.planted.is_none() && !taken.contains(&at) && row.place_of(role).is_some()).then_some(at)
    })
}

/// Spoils one cell of a row that stays.
fn break_cell(export: &mut Export, draw: &mut Draw, kind: Fault) {
    let spelling = export.spelling;
    let (role, text) = match kind {
        Fault::ScoreOutOfRange => (Role::Pain, spelling.pain_too_high),
        Fault::PercentOver100 => (Role::Percent, spelling.percent_too_high),
        Fault::PullTooHigh => (Role::Pull, spelling.pull_too_high),
        Fault::NegativePull => (Role::Pull, spelling.pull_negative),
        _ => (Role::Word, "sideways"),
    };
    let Some(at) = pick(export, draw, role, &[]) else { return };
    let Some(row) = export.rows.get_mut(at) else { return };
    let column = row.place_of(role);
    if let Some(cell) = column.and_then(|c| row.cells.get_mut(c)) {
        cell.text = text.into();
        row.planted = Some(Planted { kind, column, copy_of: None });
    }
}

/// A copy of a sound row, spoiled or not, with the position of its original.
fn broken_copy(export: &Export, draw: &mut Draw, kind: Fault, taken: &[usize]) -> Option<(usize, ExportRow)> {
    let spelling = &export.spelling;
    let set = match kind {
        Fault::ImpossibleDate => Some((Role::Day, spelling.impossible_day)),
        Fault::YearTooEarly => Some((Role::Day, spelling.early_day)),
        Fault::DateInTheFuture => Some((Role::Day, spelling.future_day)),
        Fault::MissingPatient => Some((Role::Patient, "")),
        Fault::RowsDisagree => Some((Role::Pain, "")),
        _ => None,
    };
    let at = pick(export, draw, set.map_or(Role::Patient, |(role, _)| role), taken)?;
    let mut row = export.rows.get(at)?.clone();
    let mut column = None;
    if let Some((role, text)) = set {
        column = row.place_of(role);
        let cell = column.and_then(|c| row.cells.get_mut(c))?;
        let [one, other] = spelling.pains;
        cell.text = match kind {
            Fault::RowsDisagree if cell.text == one => other.into(),
            Fault::RowsDisagree => one.into(),
            _ => text.into(),
        };
    }
    match kind {
        Fault::TooFewFields => row.cells.truncate(row.cells.len().saturating_sub(2)),
        Fault::TooManyFields => row
            .cells
            .extend([Cell { role: Role::Plain, text: "x".into() }, Cell { role: Role::Plain, text: "y".into() }]),
        _ => {}
    }
    row.planted = Some(Planted { kind, column, copy_of: row.number.take() });
    Some((at, row))
}

/// What the account of a file must say of a planted row.
#[derive(Clone, Copy, PartialEq, Eq, Debug, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Account {
    /// The row is rejected.
    Rejected,
    /// The row is left out by a declared filter.
    LeftOut,
    /// The row is an exact duplicate.
    DuplicateExact,
    /// The row, or the one it was copied from, is a differing duplicate.
    DuplicateDiffering,
    /// The row is kept, one of its cells blanked.
    CellBlanked,
    /// The row is kept: in a file of one row a reading, two values of one day are two readings.
    Kept,
}

/// Account and reason that a reader owes a fault in a file. `one_row_a_visit`: a wide file of visits.
pub fn expected(kind: Fault, day_offsets: bool, one_row_a_visit: bool) -> (Account, Option<Reason>) {
    let rejected = |reason| (Account::Rejected, Some(reason));
    let blanked = |reason| (Account::CellBlanked, Some(reason));
    match kind {
        Fault::ImpossibleDate | Fault::YearTooEarly | Fault::DateInTheFuture if day_offsets => {
            rejected(Reason::NotDays)
        }
        Fault::ImpossibleDate => rejected(Reason::NotADate),
        Fault::YearTooEarly => rejected(Reason::DateTooEarly),
        Fault::DateInTheFuture => rejected(Reason::DateInFuture),
        Fault::MissingPatient => rejected(Reason::RequiredMissing),
        Fault::TooFewFields | Fault::TooManyFields => rejected(Reason::FieldCount),
        Fault::ScoreOutOfRange | Fault::PercentOver100 => blanked(Reason::ScoreOutsideScale),
        Fault::PullTooHigh => blanked(Reason::PullAboveBodyWeight),
        Fault::NegativePull => blanked(Reason::NegativePull),
        Fault::UnknownWord => blanked(Reason::UnknownWord),
        Fault::LeftOutByFilter => (Account::LeftOut, Some(Reason::LeftOut)),
        Fault::ExactDuplicate => (Account::DuplicateExact, None),
        Fault::RowsDisagree if one_row_a_visit => (Account::DuplicateDiffering, None),
        Fault::RowsDisagree => (Account::Kept, None),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample::sheet::{Format, Spelling, cell, plain};

    const SPELLING: Spelling = Spelling {
        impossible_day: "31.04.",
        early_day: "0202",
        future_day: "2031",
        pain_too_high: "11",
        pains: ["3", "7"],
        percent_too_high: "120",
        pull_too_high: "10000",
        pull_negative: "-1",
    };

    fn broken(rows: usize) -> Export {
        let row = |i: usize| {
            let cells = vec![
                cell(Role::Patient, format!("p{i}")),
                cell(Role::Day, "1"),
                cell(Role::Pain, (i % 11).to_string()),
                cell(Role::Pull, "300"),
                cell(Role::Word, "prone"),
                cell(Role::Percent, "40"),
                plain("z"),
            ];
            ExportRow::sound(cells)
        };
        let mut export = Export {
            path: "exports/x.csv".into(),
            mapping: "x.toml",
            site: 0,
            treated: true,
            header: vec![],
            rows: (0..rows).map(row).collect(),
            format: Format::plain(b','),
            spelling: SPELLING,
        };
        plant(&mut export, 9);
        export
    }

    #[test]
    fn every_kind_is_planted_in_a_large_file_and_few_rows_are_lost() {
        let export = broken(2000);
        let planted: Vec<Fault> = export.rows.iter().filter_map(|row| Some(row.planted.as_ref()?.kind)).collect();
        for kind in ROW_FAULTS.into_iter().chain(CELL_FAULTS).chain([Fault::ExactDuplicate, Fault::RowsDisagree]) {
            assert!(planted.contains(&kind), "{kind:?}");
        }
        let rejected = planted.iter().filter(|kind| ROW_FAULTS.contains(kind)).count();
        assert!((rejected as f64) < 0.02 * export.rows.len() as f64);
    }

    #[test]
    fn the_rows_that_were_there_stay_and_copies_follow_their_originals() {
        let export = broken(2000);
        assert_eq!(export.rows.iter().filter(|row| row.number.is_some()).count(), 2000);
        for (at, row) in export.rows.iter().enumerate() {
            let Some(original) = row.planted.as_ref().and_then(|p| p.copy_of) else { continue };
            let before = export.rows.iter().position(|row| row.number == Some(original));
            assert!(before.is_some_and(|before| before < at));
        }
    }

    #[test]
    fn a_disagreeing_twin_differs_in_its_pain_only() {
        let export = broken(2000);
        let twin =
            export.rows.iter().find(|row| row.planted.as_ref().is_some_and(|p| p.kind == Fault::RowsDisagree)).unwrap();
        let of = twin.planted.as_ref().and_then(|p| p.copy_of);
        let original = export.rows.iter().find(|row| row.number == of).unwrap();
        let differ: Vec<Role> =
            twin.cells.iter().zip(&original.cells).filter(|(a, b)| a != b).map(|(a, _)| a.role).collect();
        assert_eq!(differ, [Role::Pain]);
    }

    #[test]
    fn a_small_file_is_left_alone() {
        assert!(broken(60).rows.iter().all(|row| row.planted.is_none()));
    }
}
