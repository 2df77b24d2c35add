//! The balance property: whatever is done to an export, read = kept + duplicate + rejected, and every
//! record of the file was read.

use super::SmallGroup;
use mendcurve::group::load::load;
use mendcurve::rows::read_group::read_group;
use mendcurve::visits::duplicates::visits;
use proptest::prelude::*;

const MAPPING: &str = "[file]\ndates = \"iso\"\nmissing = [\"-\"]\n[columns]\npatient = \"p\"\ndate = \"d\"\nclinician = \"c\"\n\
region = \"r\"\npeak_force = { column = \"pull\", unit = \"lbf\" }\n[[scores]]\nmeasure = \"pain_nrs\"\nof = \"back\"\ncolumn = \"pain\"\n";

fn clean_rows() -> Vec<Vec<u8>> {
    (0..30)
        .map(|i| format!("k{},2026-03-{:02},C{},lumbar,{},{}", i % 5, 1 + i / 5, i % 3, 60 + i, i % 11).into_bytes())
        .collect()
}

/// One thing done to the rows.
#[derive(Clone, Debug)]
enum Corruption {
    /// Puts a byte somewhere.
    Byte { row: usize, at: usize, byte: u8 },
    /// Cuts a row short.
    Cut { row: usize, at: usize },
    /// Repeats a row.
    Repeat { row: usize, to: usize },
    /// Takes a row out.
    Remove { row: usize },
    /// Empties a field.
    Empty { row: usize, field: usize },
    /// Replaces a field by one in quotes with a line end in it.
    Quoted { row: usize, field: usize },
}

fn corruption() -> impl Strategy<Value = Corruption> {
    let n = || any::<usize>();
    prop_oneof![
        (n(), n(), 0u8..128).prop_map(|(row, at, byte)| Corruption::Byte { row, at, byte }),
        (n(), n()).prop_map(|(row, at)| Corruption::Cut { row, at }),
        (n(), n()).prop_map(|(row, to)| Corruption::Repeat { row, to }),
        n().prop_map(|row| Corruption::Remove { row }),
        (n(), n()).prop_map(|(row, field)| Corruption::Empty { row, field }),
        (n(), n()).prop_map(|(row, field)| Corruption::Quoted { row, field }),
    ]
}

fn apply(rows: &mut Vec<Vec<u8>>, corruption: Corruption) {
    if rows.is_empty() {
        return;
    }
    let len = rows.len();
    match corruption {
        Corruption::Byte { row, at, byte } => {
            let row = &mut rows[row % len];
            let at = at % (row.len() + 1);
            row.insert(at, byte);
        }
        Corruption::Cut { row, at } => {
            let row = &mut rows[row % len];
            let at = at % (row.len() + 1);
            row.truncate(at);
        }
        Corruption::Repeat { row, to } => {
            let copy = rows[row % len].clone();
            rows.insert(to % (len + 1), copy);
        }
        Corruption::Remove { row } => {
            rows.remove(row % len);
        }
        Corruption::Empty { row, field } => replace(&mut rows[row % len], field, b""),
        Corruption::Quoted { row, field } => replace(&mut rows[row % len], field, b"\"two\nlines\""),
    }
}

fn replace(row: &mut Vec<u8>, field: usize, by: &[u8]) {
    let mut fields: Vec<Vec<u8>> = row.split(|b| *b == b',').map(<[u8]>::to_vec).collect();
    let field = field % fields.len();
    fields[field] = by.to_vec();
    *row = fields.join(&b',');
}

/// How many records the csv crate finds after the header.
fn records(export: &[u8]) -> u64 {
    let mut reader = csv::ReaderBuilder::new().flexible(true).from_reader(export);
    reader.byte_records().filter(|record| record.is_ok()).count() as u64
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn every_record_is_kept_a_duplicate_or_rejected(corruptions in proptest::collection::vec(corruption(), 0..12)) {
        let mut rows = clean_rows();
        for corruption in corruptions {
            apply(&mut rows, corruption);
        }
        let mut export = b"p,d,c,r,pull,pain\n".to_vec();
        export.extend(rows.join(&b'\n'));
        let small = SmallGroup::new(MAPPING, &export);
        let group = load(small.folder.path()).unwrap();
        // a file may be refused as a whole (names among the keys, say), but then nothing was lost silently
        if let Ok(mut intake) = read_group(&group, &|_, _| ()) {
            let (visits, disagreements) = visits(intake.rows, intake.scores, &[false], &mut intake.ledger);
            let (_, file) = intake.ledger.iter().next().unwrap();
            prop_assert!(file.balances(), "{file:?}");
            prop_assert_eq!(file.read, records(&export));
            // a row that disagrees with another is a duplicate, but its readings stay
            prop_assert_eq!(visits.rows.len() as u64, file.kept + file.duplicate_differing);
            prop_assert_eq!(disagreements.len() as u64, file.duplicate_differing);
            let mut own: Vec<_> = visits.rows.iter().map(|row| (row.scores_from, row.scores_len)).collect();
            own.retain(|(_, len)| *len > 0);
            own.sort_unstable();
            prop_assert!(own.windows(2).all(|w| w[0].0 + u32::from(w[0].1) <= w[1].0), "two rows share a score");
            prop_assert!(visits.rows.iter().all(|row| visits.scores_of(row).len() == usize::from(row.scores_len)));
        }
    }
}
