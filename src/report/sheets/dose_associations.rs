//! `dose_associations.csv`: dose and setup beside the response. Associations, not effects.

use super::sheet::{Cell, Form, Kind, always, maybe};
use crate::findings::dose::{DoseAssociation, DoseFindings, NotTested};
use crate::models::dose::association::{Test, Untested};
use crate::report::wording::sites::covariate_name;

/// The sheet.
pub const FORM: Form = Form {
    name: "dose_associations",
    title: "Dose and setup of the first four visits beside the response, within sites and at equal case mix: associations, not proof",
    columns: &[
        always("exposure", Kind::Text, "what of dose or setup, as a mean over the first four treated visits"),
        always("region", Kind::OneOf(&["lumbar", "cervical", "all"]), "region it is looked at in"),
        always(
            "measure",
            Kind::OneOf(&["pain", "disability"]),
            "domain whose minimal important change is the response",
        ),
        always("step", Kind::Text, "difference of the exposure that the odds ratio is for"),
        maybe("episodes", Kind::Count, "episodes with exposure and outcome, to whole tens"),
        maybe("sites", Kind::Count, "sites in which some responded and some did not"),
        maybe("responded", Kind::Share, "share that responded, to whole percent"),
        maybe(
            "sd_within_sites",
            Kind::Number,
            "SD of the exposure within sites; in %BW, min, N, mm, degrees or as a share",
        ),
        maybe("odds_ratio", Kind::Number, "odds of a response with one step more / without"),
        maybe("ci_low", Kind::Number, "its lower 95 % limit"),
        maybe("ci_high", Kind::Number, "its upper 95 % limit"),
        maybe("p", Kind::Share, "two-sided p value of no association"),
        maybe("q", Kind::Share, "after one Benjamini-Hochberg step over all findings on setups of the report"),
        maybe(
            "test",
            Kind::OneOf(&["likelihood ratio", "Wald", "penalised"]),
            "likelihood ratio: profile limits; penalised: Firth's likelihood, its profile limits and Wald's test",
        ),
        maybe(
            "e_value",
            Kind::Number,
            "least risk ratio of an unmeasured confounder, with both, that could explain it away",
        ),
        maybe("e_value_of_limit", Kind::Number, "the same of the limit nearer to 1"),
        maybe("allowed_for", Kind::Text, "what was allowed for beside the site, separated by semicolons"),
        maybe(
            "not_tested",
            Kind::OneOf(&["not recorded", "too few", "no variation within sites", "not fitted"]),
            "why there is no estimate",
        ),
    ],
    key: &["exposure", "measure"],
};

/// The lines: what was tested, then what was not.
pub fn lines(dose: &DoseFindings) -> impl Iterator<Item = Vec<Cell>> {
    dose.associations.iter().map(tested).chain(dose.untested.iter().map(untested))
}

fn tested(found: &DoseAssociation) -> Vec<Cell> {
    let names: Vec<&str> = found.allowed_for.iter().map(|covariate| covariate_name(*covariate)).collect();
    vec![
        found.exposure.key().into(),
        found.exposure.region().map_or("all", |region| region.key()).into(),
        found.domain.key().into(),
        found.exposure.step_in_words().into(),
        u64::from(found.episodes).into(),
        u64::from(found.sites).into(),
        found.responded.into(),
        found.spread.into(),
        found.odds_ratio.value.into(),
        found.odds_ratio.low.into(),
        found.odds_ratio.high.into(),
        found.p.into(),
        found.q.map_or(Cell::Empty, Cell::Number),
        match found.test {
            Test::LikelihoodRatio => "likelihood ratio",
            Test::Wald => "Wald",
            Test::Penalised => "penalised",
        }
        .into(),
        found.e_value.into(),
        found.e_value_of_limit.into(),
        if names.is_empty() { Cell::Empty } else { Cell::Text(names.join("; ")) },
        Cell::Empty,
    ]
}

fn untested(of: &NotTested) -> Vec<Cell> {
    let mut cells = vec![
        of.exposure.key().into(),
        of.exposure.region().map_or("all", |region| region.key()).into(),
        of.domain.key().into(),
        of.exposure.step_in_words().into(),
    ];
    cells.resize(FORM.columns.len() - 1, Cell::Empty);
    cells.push(
        match of.why {
            Untested::NotRecorded => "not recorded",
            Untested::TooFew => "too few",
            Untested::NoVariation => "no variation within sites",
            Untested::NotFitted => "not fitted",
        }
        .into(),
    );
    cells
}
