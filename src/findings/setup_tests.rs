//! What is found of the setups of the sample, and that nothing is found where nothing was planted.

use super::setups::SetupFindings;
use super::whole_tests::sample;

fn found() -> &'static SetupFindings {
    sample().setups.as_ref().unwrap()
}

#[test]
fn look() {
    let found = found();
    println!("{} visits, {} undated, {} tests", found.visits, found.undated, found.tests);
    for finding in &found.findings {
        println!(
            "{:?} {:?} {:?} {:?} {:.3} vs {:.3} {} p {:.1e} q {:.1e} since {:?} also {:?}",
            finding.kind,
            finding.place,
            finding.about,
            finding.measure,
            finding.observed,
            finding.reference,
            finding.unit,
            finding.p,
            finding.q,
            finding.since,
            finding.also
        );
    }
}
