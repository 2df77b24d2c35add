use super::*;
use sha2::{Digest, Sha256};

fn fingerprint(files: &[SampleFile]) -> String {
    let mut hash = Sha256::new();
    for file in files {
        hash.update(file.path.as_bytes());
        hash.update([0]);
        hash.update(file.text.as_bytes());
        hash.update([0]);
    }
    hash.finalize().iter().map(|byte| format!("{byte:02x}")).collect()
}

fn drawn(options: SampleOptions) -> (SampleSummary, Vec<SampleFile>) {
    let mut files = Vec::new();
    let mut keep = |file| {
        files.push(file);
        Ok(())
    };
    let summary = invent(options, PATIENTS_A_PART, &mut keep).unwrap();
    (summary, files)
}

fn shipped() -> (SampleSummary, Vec<SampleFile>) {
    drawn(SampleOptions::default())
}

/// The patients of a group that is drawn in one part.
fn patients_of(patients: usize) -> Vec<History> {
    let plan = Plan::shipped().unwrap();
    histories(&plan, SampleOptions::default().seed, &patients_by_home(&plan, patients), 0, 1)
}

fn truth_of(files: &[SampleFile]) -> serde_json::Value {
    let file = files.iter().find(|f| f.path == "truth/truth.json").unwrap();
    serde_json::from_str(&file.text).unwrap()
}

#[test]
fn the_same_seed_gives_the_same_bytes_and_another_seed_others() {
    let options = SampleOptions { patients: 60, ..SampleOptions::default() };
    let (a, b) = (drawn(options).1, drawn(options).1);
    assert!(a.iter().zip(&b).all(|(a, b)| a.bytes == b.bytes));
    let other = drawn(SampleOptions { seed: 5, ..options }).1;
    assert_ne!(fingerprint(&a), fingerprint(&other));
}

/// If this and the next fail after a wanted change of the generator, write `sample-data` anew
/// (`mendcurve sample sample-data`) and put the new value into fingerprint.txt.
#[test]
fn the_shipped_seed_gives_the_fingerprinted_sample_on_every_platform() {
    assert_eq!(fingerprint(&shipped().1), include_str!("fingerprint.txt").trim());
}

#[test]
fn the_committed_sample_is_what_the_generator_gives() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-data");
    for file in shipped().1 {
        let committed = std::fs::read(folder.join(&file.path)).unwrap();
        if file.path.ends_with(".gz") {
            let mut text = Vec::new();
            std::io::Read::read_to_end(&mut flate2::read::GzDecoder::new(committed.as_slice()), &mut text).unwrap();
            let (committed, _, _) = encoding_rs::WINDOWS_1252.decode(&text);
            assert!(committed == file.text, "{}", file.path);
        } else {
            assert!(committed == file.bytes, "{}", file.path);
        }
    }
}

#[test]
fn the_sample_is_small_enough_for_a_repository() {
    let (summary, files) = shipped();
    assert!(summary.bytes() < 3_000_000, "{} bytes", summary.bytes());
    assert_eq!(summary.patients, 900);
    assert!(files.iter().all(|f| f.bytes.len() < 800_000), "no file so large that nobody opens it");
}

#[test]
fn one_more_patient_changes_nobody_else() {
    let keys = |patients| -> Vec<String> {
        patients_of(patients).into_iter().filter(|h| h.patient.home == 0).take(20).map(|h| h.patient.key).collect()
    };
    assert_eq!(keys(300), keys(900));
}

/// Patients, their episodes and what is read of a group do not depend on how many parts it is written in.
#[test]
fn a_group_in_parts_is_the_group_in_one() {
    let options = SampleOptions { patients: 150, ..SampleOptions::default() };
    let read = |most_a_part| {
        let scratch = tempfile::tempdir().unwrap();
        let mut episodes = Vec::new();
        let mut most = 0;
        let summary = invent(options, most_a_part, &mut |file| {
            if file.path.ends_with("episodes.csv") {
                let lines = || file.text.lines().skip(1).map(str::to_owned);
                most = most.max(lines().filter(|line| line.split(',').nth(1) == Some("1")).count());
                episodes.extend(lines());
            }
            let path = scratch.path().join(&file.path);
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(path, file.bytes).unwrap();
            Ok(())
        });
        let group = crate::group::load::load(scratch.path()).unwrap();
        let intake = crate::rows::read_group::read_group(&group, &|_, _| ()).unwrap();
        let patients: Vec<String> = intake.names.patients.iter().map(|(_, key)| key.to_owned()).collect();
        episodes.sort();
        let summary = summary.unwrap();
        ((summary.patients, summary.episodes, summary.visits, patients, episodes), intake.ledger.iter().count(), most)
    };
    let (in_one, files, all) = read(150);
    let (in_parts, files_of_parts, most) = read(40);
    assert_eq!((in_one.0, files, all), (150, 14, 150));
    assert!(in_parts == in_one, "other patients, episodes or appointments");
    assert!(files_of_parts > 3 * 14, "{files_of_parts} files"); // a small part may lack a quarter
    assert!(most <= 40, "{most} patients were in memory at once");
}

#[test]
fn patients_have_keys_of_their_own() {
    let all = patients_of(900);
    let keys: std::collections::BTreeSet<_> = all.iter().map(|h| &h.patient.key).collect();
    assert_eq!(keys.len(), 900);
}

#[test]
fn the_account_of_every_file_balances_and_loses_under_2_percent() {
    let truth = truth_of(&shipped().1);
    let files = truth["files"].as_array().unwrap();
    assert_eq!(files.len(), 14);
    for file in files {
        let n = |key: &str| file[key].as_u64().unwrap();
        assert_eq!(n("rows_read"), n("rows_kept") + n("rows_duplicate") + n("rows_rejected"), "{file}");
        assert!((n("rows_rejected") - n("rows_left_out")) as f64 <= 0.02 * n("rows_read") as f64, "{}", file["path"]);
    }
}

#[test]
fn a_planted_line_of_the_truth_is_that_line_of_the_file() {
    let (_, files) = shipped();
    let truth = truth_of(&files);
    let mut checked = 0;
    for account in truth["files"].as_array().unwrap() {
        let file = files.iter().find(|f| f.path == account["path"].as_str().unwrap()).unwrap();
        let lines: Vec<&str> = file.text.split('\n').collect();
        let width = |line: &str| line.split([',', ';', '|', '\t']).count();
        for planted in account["planted"].as_array().unwrap() {
            let line = lines[planted["line"].as_u64().unwrap() as usize - 1];
            match planted["fault"].as_str().unwrap() {
                "year_too_early" => assert!(line.contains("0202") || line.contains("-9999"), "{line}"),
                "date_in_the_future" => assert!(line.contains("2031") || line.contains("99999"), "{line}"),
                "unknown_word" => assert!(line.contains("sideways"), "{line}"),
                "exact_duplicate" => {
                    assert_eq!(line, lines[planted["copy_of_line"].as_u64().unwrap() as usize - 1]);
                }
                "too_many_fields" => assert!(width(line) > width(lines[0]) || line.contains('"'), "{line}"),
                _ => continue,
            }
            checked += 1;
        }
    }
    assert!(checked > 60, "{checked}");
}

#[test]
fn every_kind_of_fault_is_somewhere_in_the_sample() {
    let truth = truth_of(&shipped().1).to_string();
    for kind in [
        "impossible_date",
        "year_too_early",
        "date_in_the_future",
        "missing_patient",
        "too_few_fields",
        "too_many_fields",
        "score_out_of_range",
        "percent_over100",
        "pull_too_high",
        "negative_pull",
        "unknown_word",
        "exact_duplicate",
        "rows_disagree",
        "left_out_by_filter",
    ] {
        assert!(truth.contains(&format!("\"{kind}\"")), "{kind}");
    }
}

#[test]
fn the_site_that_loses_its_worst_loses_most() {
    let truth = truth_of(&shipped().1);
    let lost = |name: &str| {
        let site = truth["sites"].as_array().unwrap().iter().find(|s| s["name"] == name).unwrap();
        site["lost_or_stopped_share"].as_f64().unwrap()
    };
    for other in ["Alderwick", "Brindleford", "Coldlarch", "Dunnock Hill"] {
        assert!(lost("Eastlow") > lost(other) + 0.1, "{other}");
    }
}

#[test]
fn a_folder_that_holds_something_is_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("letter.txt"), "mine").unwrap();
    let options = SampleOptions { patients: 12, ..SampleOptions::default() };
    assert!(matches!(write(folder.path(), options), Err(SampleError::NotEmpty(_))));
    let fresh = folder.path().join("new");
    let summary = write(&fresh, options).unwrap();
    assert_eq!(summary.patients, 12);
    assert!(summary.to_string().starts_with("12 invented patients, "), "{summary}");
    assert!(fresh.join("exports/eastlow.csv").exists());
    assert!(
        matches!(write(&fresh, options), Err(SampleError::NotEmpty(_))),
        "group.toml and exports may be someone's own"
    );
    let few = SampleOptions { patients: 5, ..options };
    assert!(matches!(write(&folder.path().join("few"), few), Err(SampleError::TooFewPatients(5))));
}
