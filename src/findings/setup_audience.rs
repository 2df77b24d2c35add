//! What of the findings on setups a readership may see: outside the group nobody's code.

use super::setups::{SetupFindings, Where};
use crate::group::settings::Audience;
use std::borrow::Cow;

/// The findings as one readership may see them.
#[derive(Clone, Debug)]
pub struct SetupsShown<'s> {
    /// The findings.
    pub setups: Cow<'s, SetupFindings>,
    /// Findings that were left out because they are about one clinician.
    pub findings_left_out: u32,
    /// Clinicians' lines and charts that were left out.
    pub lines_left_out: u32,
}

/// The findings for an audience: in a release everything that names a clinician's code is left out and counted.
pub fn shown_to<'s>(setups: &'s SetupFindings, audience: Audience) -> SetupsShown<'s> {
    if audience == Audience::Internal {
        return SetupsShown { setups: Cow::Borrowed(setups), findings_left_out: 0, lines_left_out: 0 };
    }
    let mut shown = setups.clone();
    let names_nobody = |place: &Where| place.clinician.is_none();
    shown.findings.retain(|found| names_nobody(&found.place));
    for found in &mut shown.findings {
        found.also.retain(names_nobody);
    }
    let lines = |setups: &SetupFindings| -> usize {
        let of = |p: &super::setups::ParameterFindings| {
            p.charts.len() + p.conformance.iter().map(|c| c.lines.len()).sum::<usize>()
        };
        setups.parameters.iter().map(of).sum()
    };
    let before = lines(setups);
    for parameter in &mut shown.parameters {
        parameter.charts.retain(|chart| names_nobody(&chart.place));
        for conformance in &mut parameter.conformance {
            conformance.lines.retain(|line| names_nobody(&line.place));
        }
    }
    let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    let findings_left_out = count(setups.findings.len() - shown.findings.len());
    let lines_left_out = count(before - lines(&shown));
    SetupsShown { setups: Cow::Owned(shown), findings_left_out, lines_left_out }
}
