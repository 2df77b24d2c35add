//! Where nothing is planted, hardly any report may find anything of setups: the share of reports with a false finding, over
//! re-seeded groups.
//!
//! `cargo test --release --lib alike_setups -- --ignored --nocapture` invents 200 groups of 900 patients whose sites differ in whom
//! they treat, whose tables have springs of their own and whose clinicians have habits, but none that matters, and counts the reports with
//! any finding, or any dose or setup said to go along with outcome. Its result is recorded in docs/measured.md.

use super::{SampleOptions, write};
use crate::findings::dose::DoseFindings;
use crate::findings::setups::SetupFindings;
use crate::findings::whole_tests::setups_of;
use rayon::prelude::*;

fn found(seed: u64) -> (SetupFindings, DoseFindings) {
    let folder = tempfile::tempdir().unwrap();
    write(folder.path(), SampleOptions { seed, faults: false, ..SampleOptions::default() }).unwrap();
    setups_of(folder.path())
}

/// What is found of setups, and which dose or setup goes along with outcome.
fn names((found, dose): &(SetupFindings, DoseFindings)) -> Vec<String> {
    let name = |finding: &crate::findings::setups::SetupFinding| {
        let place = &finding.place;
        let narrow = place.clinician.as_ref().or(place.table.as_ref()).map_or("", String::as_str);
        let parameter = finding.about.map_or("", |about| about.parameter.key());
        format!("{} {narrow} {} {parameter} q {:.1e}", place.site, finding.kind.key(), finding.q)
    };
    let called = dose.associations.iter().filter(|of| of.is_beyond_chance());
    found.findings.iter().map(name).chain(called.map(|of| format!("{:?} q {:?}", of.exposure, of.q))).collect()
}

#[test]
fn nothing_is_found_in_a_group_without_faults_although_much_is_asked() {
    let found = found(1);
    assert!(found.0.tests > 1000, "{}", found.0.tests);
    assert_eq!(names(&found), Vec::<String>::new());
}

#[test]
#[ignore = "minutes; the command stands in the head of the file"]
fn false_findings_over_200_groups_stay_within_the_nominal_rate() {
    let groups: u64 = std::env::var("GROUPS").ok().and_then(|text| text.parse().ok()).unwrap_or(200);
    let runs: Vec<(Vec<String>, u32)> = (1..=groups)
        .into_par_iter()
        .map(|seed| {
            let found = found(seed);
            (names(&found), found.0.tests)
        })
        .collect();
    let with_findings = runs.iter().filter(|(found, _)| !found.is_empty()).count();
    for (seed, (found, _)) in runs.iter().enumerate().filter(|(_, (found, _))| !found.is_empty()) {
        println!("{}: {found:?}", seed + 1);
    }
    let tests = runs.iter().map(|(_, tests)| u64::from(*tests)).sum::<u64>() / groups;
    println!("{with_findings} of {groups} reports have a false finding; {tests} tests in each on average");
    // nominal 5 %: of 200 runs 10, and up to 16 within two standard errors
    assert!(with_findings as f64 <= 0.08 * groups as f64, "{with_findings}");
}
