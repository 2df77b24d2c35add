//! The same data in another order: exports, files and rows shuffled, files split and renamed. What is said of patients, sites and
//! conditions must come out byte for byte the same; only what names files and lines may differ.

use super::sample_group::{bytes, report};
use super::{mendcurve, project, stderr, text};
use mendcurve_stats::random::{stream, uniform};
use std::collections::BTreeMap;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use tempfile::TempDir;

/// All that names files and lines: the account by file, and where a row was read.
const NAMES_FILES: [&str; 11] = [
    ".mendcurve", // the hashes of all files
    "restricted/.mendcurve",
    "restricted/columns.csv",
    "restricted/lines_in_cells.csv",
    "data-quality.html",
    "figures/row-accounts.png",
    "tables/reconciliation.csv",
    "restricted/rejected_rows.csv",
    "restricted/disagreements.csv",
    "restricted/visits.parquet",
    "restricted/readings.parquet",
];

/// A keyed shuffle (Fisher & Yates).
fn shuffle<T>(list: &mut [T], key: &str) {
    let mut random = stream(13, key.as_bytes());
    for last in (1..list.len()).rev() {
        list.swap(last, (uniform(&mut random) * (last + 1) as f64) as usize);
    }
}

/// The records of a text with what ends them; a line end in quotes does not.
fn records(text: &[u8]) -> Vec<&[u8]> {
    let mut quoted = false;
    let ends = |byte: &u8| {
        quoted ^= *byte == b'"';
        *byte == b'\n' && !quoted
    };
    text.split_inclusive(ends).collect()
}

const LITTLE_ENDIAN_MARK: [u8; 2] = [0xFF, 0xFE];

/// What a file says, as bytes in which quotes and line ends are those of ASCII.
fn unpacked(path: &Path) -> (Vec<u8>, bool) {
    let mut content = std::fs::read(path).unwrap();
    if path.extension().is_some_and(|e| e == "gz") {
        let mut out = Vec::new();
        flate2::read::GzDecoder::new(content.as_slice()).read_to_end(&mut out).unwrap();
        content = out;
    }
    match content.strip_prefix(&LITTLE_ENDIAN_MARK) {
        Some(_) => (encoding_rs::UTF_16LE.decode(&content).0.into_owned().into_bytes(), true),
        None => (content, false),
    }
}

fn pack(path: &Path, content: &[u8], is_utf_16: bool) {
    let mut out = content.to_vec();
    if is_utf_16 {
        let units = std::str::from_utf8(content).unwrap().encode_utf16();
        out = LITTLE_ENDIAN_MARK.into_iter().chain(units.flat_map(u16::to_le_bytes)).collect();
    }
    if path.extension().is_some_and(|e| e == "gz") {
        let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
        packer.write_all(&out).unwrap();
        out = packer.finish().unwrap();
    }
    std::fs::write(path, out).unwrap();
}

/// Writes the sample into a folder in another order. Each file becomes two with other names, its records shuffled over both; exports are
/// shuffled, and the two files of one may stand on either side of those of the next.
fn write_shuffled(folder: &Path) {
    let sample = project().join("sample-data");
    for name in ["exports", "mappings"] {
        std::fs::create_dir_all(folder.join(name)).unwrap();
    }
    for mapping in std::fs::read_dir(sample.join("mappings")).unwrap() {
        let path = mapping.unwrap().path();
        std::fs::copy(&path, folder.join("mappings").join(path.file_name().unwrap())).unwrap();
    }
    let group: toml::Table = std::fs::read_to_string(sample.join("group.toml")).unwrap().parse().unwrap();
    let word = |export: &toml::Value, key: &str| export[key].as_str().unwrap().to_owned();
    let mut exports = Vec::new();
    let mut number = 0;
    for export in group["exports"].as_array().unwrap() {
        let mapping = word(export, "mapping");
        let skipped = usize::from(mapping.ends_with("fennick-bridge-visits.toml")) * 2; // its skip_lines
        for pattern in export["files"].as_array().unwrap() {
            for path in glob::glob(sample.join(pattern.as_str().unwrap()).to_str().unwrap()).unwrap() {
                let path = path.unwrap();
                let (content, is_utf_16) = unpacked(&path);
                let mut records = records(&content);
                let rows = records.split_off(skipped + 1);
                let head = records.concat();
                let mut rows: Vec<&[u8]> = rows;
                shuffle(&mut rows, text(&path));
                let (one, other) = rows.split_at(rows.len() / 3);
                let ending = if path.extension().is_some_and(|e| e == "gz") { "csv.gz" } else { "csv" };
                for part in [one, other] {
                    // the names sort against the order in which the files were split
                    let name = format!("exports/{:03}.{ending}", 900 - number);
                    number += 1;
                    pack(&folder.join(&name), &[head.as_slice(), &part.concat()].concat(), is_utf_16);
                    exports.push((word(export, "site"), name, mapping.clone()));
                }
            }
        }
    }
    shuffle(&mut exports, "exports");
    let mut settings = String::new();
    for (key, value) in group.iter().filter(|(key, _)| *key != "exports") {
        settings += &format!("{key} = {value}\n");
    }
    for (site, file, mapping) in exports {
        settings += &format!("[[exports]]\nsite = {site:?}\nfiles = [{file:?}]\nmapping = {mapping:?}\n");
    }
    std::fs::write(folder.join("group.toml"), settings).unwrap();
}

/// A description of a folder's sheets without those that name files: it holds their sizes.
fn without_those(folder: &str, package: &[u8]) -> serde_json::Value {
    let mut package: serde_json::Value = serde_json::from_slice(package).unwrap();
    let names_files = |sheet: &serde_json::Value| {
        NAMES_FILES.contains(&format!("{folder}/{}", sheet["path"].as_str().unwrap()).as_str())
    };
    let sheets = package["resources"].as_array_mut().unwrap();
    let all = sheets.len();
    sheets.retain(|sheet| !names_files(sheet));
    assert!(sheets.len() < all && !sheets.is_empty());
    package
}

/// The report of the shuffled sample, written once for all tests.
fn shuffled_report() -> PathBuf {
    static SLOT: OnceLock<TempDir> = OnceLock::new();
    let scratch = SLOT.get_or_init(|| {
        let scratch = tempfile::tempdir().unwrap();
        let folder = scratch.path().join("group");
        write_shuffled(&folder);
        let out = scratch.path().join("out");
        let output = mendcurve(&["report", text(&folder), "--out", text(&out), "--quiet"]);
        assert!(output.status.success(), "{}", stderr(&output));
        scratch
    });
    scratch.path().join("out")
}

#[test]
fn exports_files_and_rows_in_another_order_give_the_same_report() {
    let (shuffled, straight) = (bytes(&shuffled_report()), bytes(&report()));
    assert_eq!(shuffled.keys().collect::<Vec<_>>(), straight.keys().collect::<Vec<_>>());
    let differing: Vec<&str> = shuffled
        .iter()
        .filter(|(path, content)| **content != straight[*path])
        .map(|(path, _)| text(path))
        .filter(|path| !NAMES_FILES.contains(path) && !path.ends_with("datapackage.json"))
        .collect();
    assert!(differing.is_empty(), "{} of {} files differ: {differing:?}", differing.len(), shuffled.len());
    for folder in ["tables", "restricted"] {
        let package = |of: &BTreeMap<PathBuf, Vec<u8>>| {
            without_those(folder, &of[Path::new(&format!("{folder}/datapackage.json"))])
        };
        assert_eq!(package(&shuffled), package(&straight));
    }
    assert!(NAMES_FILES.iter().all(|path| straight.contains_key(Path::new(path))), "every exception is a file");
}

/// The datasets name the file and line of each row; but for these two columns they are the same, row by row.
#[test]
fn the_datasets_differ_in_files_and_lines_alone() {
    let scratch = tempfile::tempdir().unwrap();
    let question = scratch.path().join("all.sql");
    for dataset in ["visits", "readings"] {
        std::fs::write(&question, format!("SELECT * FROM {dataset}")).unwrap();
        let answer = |from: &Path| {
            let output = mendcurve(&["query", text(&question), "--from", text(from), "--format", "csv"]);
            assert!(output.status.success(), "{}", stderr(&output));
            let mut reader = csv::Reader::from_reader(output.stdout.as_slice());
            let is_place = |name: &&str| name.starts_with("source_");
            let kept: Vec<usize> =
                (0..).zip(reader.headers().unwrap()).filter(|(_, name)| !is_place(name)).map(|(i, _)| i).collect();
            assert_eq!(kept.len() + 2, reader.headers().unwrap().len());
            reader
                .records()
                .map(|record| {
                    let record = record.unwrap();
                    kept.iter().map(|i| record[*i].to_owned()).collect()
                })
                .collect::<Vec<Vec<String>>>()
        };
        let (shuffled, straight) = (answer(&shuffled_report()), answer(&report()));
        assert_eq!(shuffled.len(), straight.len(), "{dataset}");
        let first = shuffled.iter().zip(&straight).find(|(a, b)| a != b);
        assert!(first.is_none(), "{dataset}: {first:?}");
        assert!(straight.len() > 5_000, "{dataset}");
    }
}
