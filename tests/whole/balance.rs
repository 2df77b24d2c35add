//! The account of lines and rows: whatever happens to the bytes of an export, every line of it is the header's, blank, a
//! row's, or told by its number, and read = kept + duplicate + rejected.

use super::SmallGroup;
use mendcurve::error::{Exit, Problem};
use mendcurve::group::load::load;
use mendcurve::rows::read_group::{Intake, read_group};
use mendcurve::visits::duplicates::visits;
use proptest::prelude::*;
use std::collections::BTreeMap;

const COLUMNS: &str = "[columns]\npatient = \"p\"\ndate = \"d\"\nclinician = \"c\"\nregion = \"r\"\n\
icd10 = \"codes\"\npeak_force = { column = \"pull\", unit = \"lbf\" }\n[[scores]]\nmeasure = \"pain_nrs\"\nof = \"back\"\n\
column = \"pain\"\n";

/// A kind of export: its mapping, its header, its delimiter and its rows.
struct Kind {
    mapping: String,
    header: String,
    rows: Vec<String>,
}

/// Plain cells; notes of several lines in a column that is dropped; every cell quoted; codes one a line.
fn kinds() -> Vec<Kind> {
    let row = |i: usize| {
        let cells = [format!("k{}", i % 5), format!("2026-03-{:02}", 1 + i / 5), format!("C{}", i % 3)];
        let rest = ["lumbar".to_owned(), "M54.59".to_owned(), (60 + i).to_string(), (i % 11).to_string()];
        [cells.as_slice(), rest.as_slice()].concat()
    };
    let note = |i: usize| match i % 4 {
        0 => "\"came late, left early\"".to_owned(),
        1 => "\"slept well\nwalked a \"\"mile\"\"\n\nno complaint\"".to_owned(),
        2 => "\"\"".to_owned(),
        _ => "fine".to_owned(),
    };
    let header = "p,d,c,r,codes,pull,pain";
    let noted = Kind {
        mapping: format!("[file]\ndates = \"iso\"\n{COLUMNS}[drop]\ncolumns = [\"note\"]\n"),
        header: "p,d,note,c,r,codes,pull,pain".to_owned(),
        rows: (0..30)
            .map(|i| {
                let mut cells = row(i);
                cells.insert(2, note(i));
                cells.join(",")
            })
            .collect(),
    };
    vec![
        Kind {
            mapping: format!("[file]\ndates = \"iso\"\n{COLUMNS}"),
            header: header.to_owned(),
            rows: (0..30).map(|i| row(i).join(",")).collect(),
        },
        noted,
        Kind {
            mapping: format!("[file]\ndates = \"iso\"\ndelimiter = \";\"\n{COLUMNS}"),
            header: header.replace(',', ";"),
            rows: (0..30)
                .map(|i| row(i).iter().map(|cell| format!("\"{cell}\"")).collect::<Vec<_>>().join(";"))
                .collect(),
        },
        Kind {
            mapping: format!("[file]\ndates = \"iso\"\n{COLUMNS}"),
            header: header.to_owned(),
            rows: (0..30)
                .map(|i| {
                    let mut cells = row(i);
                    if i % 4 == 0 {
                        cells[4] = "\"M54.59\nM54.16\"".to_owned();
                    }
                    cells.join(",")
                })
                .collect(),
        },
    ]
}

/// What happens to one byte.
#[derive(Clone, Debug)]
enum Edit {
    Insert(prop::sample::Index, u8),
    Replace(prop::sample::Index, u8),
    Remove(prop::sample::Index),
}

fn edit() -> impl Strategy<Value = Edit> {
    let byte = prop_oneof![
        4 => Just(b'"'),
        1 => Just(b','),
        1 => Just(b';'),
        1 => Just(b'\n'),
        1 => Just(b'\r'),
        2 => any::<u8>(),
    ];
    let at = any::<prop::sample::Index>;
    prop_oneof![
        2 => (at(), byte.clone()).prop_map(|(at, byte)| Edit::Insert(at, byte)),
        2 => (at(), byte).prop_map(|(at, byte)| Edit::Replace(at, byte)),
        1 => at().prop_map(Edit::Remove),
    ]
}

fn apply(text: &mut Vec<u8>, edit: &Edit) {
    match edit {
        Edit::Insert(at, byte) => text.insert(at.index(text.len() + 1), *byte),
        Edit::Replace(at, byte) => {
            let at = at.index(text.len());
            text[at] = *byte;
        }
        Edit::Remove(at) => drop(text.remove(at.index(text.len()))),
    }
}

/// The lines of a text, cut byte by byte as an editor would: it knows nothing of cells.
fn naive_lines(text: &[u8]) -> Vec<Vec<u8>> {
    let (mut lines, mut line, mut before) = (Vec::new(), Vec::new(), 0);
    for byte in text {
        match byte {
            b'\n' if before == b'\r' => (),
            b'\n' | b'\r' => lines.push(std::mem::take(&mut line)),
            _ => line.push(*byte),
        }
        before = *byte;
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines
}

/// What an intake says of each line.
fn told(intake: &Intake) -> BTreeMap<u64, Vec<&'static str>> {
    let (_, file) = intake.ledger.iter().next().unwrap();
    let mut told: BTreeMap<u64, Vec<&'static str>> = BTreeMap::new();
    let mut tell = |line: u32, what| told.entry(u64::from(line)).or_default().push(what);
    intake.rows.iter().for_each(|row| tell(row.place.line, "row"));
    file.rejected.told().iter().for_each(|(rejected, _)| tell(rejected.place.line, "rejected"));
    file.lines_in_cells.listed().iter().for_each(|line| tell(line.place.line, "in a cell"));
    told
}

/// Refused as a whole, with what to do: nothing was lost in silence.
fn is_told(problem: &Problem) -> bool {
    matches!(problem.exit, Exit::BadInput | Exit::PrivacyGate) && problem.remedy.is_some()
}

fn check(kind: &Kind, export: &[u8]) -> Result<(), TestCaseError> {
    let small = SmallGroup::new(&kind.mapping, export);
    let group = load(small.folder.path()).unwrap();
    let mut intake = match read_group(&group, &|_, _| ()) {
        Ok(intake) => intake,
        Err(problem) => {
            prop_assert!(is_told(&problem), "{problem}");
            return Ok(());
        }
    };
    let (_, file) = intake.ledger.iter().next().unwrap();
    prop_assert!(file.balances(), "{file:?}");
    let lines = naive_lines(export);
    prop_assert_eq!(file.lines, lines.len() as u64);
    let head_from = lines.iter().position(|line| !line.is_empty()).unwrap();
    let head = head_from as u64 + 1..head_from as u64 + 1 + file.lines_of_head;
    let told = told(&intake);
    for (number, line) in (1..).zip(&lines) {
        let said = told.get(&number).map_or(&[][..], Vec::as_slice);
        let expected = usize::from(!line.is_empty() && !head.contains(&number));
        prop_assert!(
            said.len() == expected || line.is_empty() && said == ["in a cell"],
            "line {number} is {said:?}: {}",
            String::from_utf8_lossy(line)
        );
        // a row that nobody touched is read, or rejected itself
        let untouched = kind.rows.iter().any(|row| !row.contains('"') && row.as_bytes() == line.as_slice());
        if untouched && lines[head_from] == kind.header.as_bytes() {
            prop_assert!(said != ["in a cell"], "line {number} was swallowed");
        }
    }
    let read = file.read;
    let (rows, scores) = (std::mem::take(&mut intake.rows), std::mem::take(&mut intake.scores));
    let (visits, disagreements) = visits(rows, scores, &intake.names, &[false], &mut intake.ledger);
    let (_, file) = intake.ledger.iter().next().unwrap();
    prop_assert!(file.balances() && file.read == read, "{file:?}");
    // a row that disagrees with another is a duplicate, but its readings stay
    prop_assert_eq!(visits.rows.len() as u64, file.kept + file.duplicate_differing);
    prop_assert_eq!(disagreements.len() as u64, file.duplicate_differing);
    let mut own: Vec<_> = visits.rows.iter().map(|row| (row.scores_from, row.scores_len)).collect();
    own.retain(|(_, len)| *len > 0);
    own.sort_unstable();
    prop_assert!(own.windows(2).all(|w| w[0].0 + u32::from(w[0].1) <= w[1].0), "two rows share a score");
    prop_assert!(visits.rows.iter().all(|row| visits.scores_of(row).len() == usize::from(row.scores_len)));
    Ok(())
}

fn export_of(kind: &Kind) -> Vec<u8> {
    format!("{}\n{}\n", kind.header, kind.rows.join("\n")).into_bytes()
}

#[test]
fn an_export_that_nobody_touched_is_read_whole() {
    for kind in kinds() {
        let small = SmallGroup::new(&kind.mapping, export_of(&kind));
        let intake = read_group(&load(small.folder.path()).unwrap(), &|_, _| ()).unwrap();
        let (_, file) = intake.ledger.iter().next().unwrap();
        assert_eq!((intake.rows.len(), file.rejected.rows()), (30, 0), "{}", kind.header);
        let in_cells = kind.rows.iter().map(|row| row.matches('\n').count() as u64).sum::<u64>();
        assert_eq!(file.lines_in_cells.count(), in_cells);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1_500, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_corruption_of_up_to_five_bytes_loses_a_row_in_silence(
        kind in 0usize..4,
        edits in proptest::collection::vec(edit(), 1..=5),
    ) {
        let kind = &kinds()[kind];
        let mut export = export_of(kind);
        edits.iter().for_each(|edit| apply(&mut export, edit));
        check(kind, &export)?;
    }
}

/// Two quotation marks at every pair of cells of neighbouring rows: what chance rarely finds.
#[test]
fn no_pair_of_stray_quotes_loses_a_row_in_silence() {
    for kind in kinds() {
        let export = export_of(&kind);
        let delimiter = if kind.header.contains(';') { b';' } else { b',' };
        let starts: Vec<usize> =
            (0..export.len()).filter(|at| *at == 0 || [delimiter, b'\n'].contains(&export[at - 1])).collect();
        let some: Vec<usize> = starts.iter().copied().filter(|at| *at > 150 && *at < 420).collect();
        for (i, open) in some.iter().enumerate() {
            for close in some[i..].iter().step_by(3) {
                for inside in [0, 1] {
                    let mut broken = export.clone();
                    broken.insert(close - inside, b'"');
                    broken.insert(*open, b'"');
                    check(&kind, &broken).unwrap_or_else(|fault| panic!("{open}, {close}: {fault}"));
                }
            }
        }
    }
}
