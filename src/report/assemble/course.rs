//! The course of an outcome: its figure, and the sentences under it.

use crate::findings::bulletin::OutcomeFindings;
use crate::findings::curve::CurveOutcome;
use crate::report::lookup::shown;
use crate::report::pages::{Block, Row};
use crate::report::wording;

/// What stands beside the figure of every course.
pub(super) fn cautions() -> Vec<String> {
    vec![wording::curve::UNCONTROLLED.to_string(), wording::course::ONE_SD.to_string()]
}

/// The curve in words, why this model, and what the ends of the scale do to it; or why there is none.
pub(super) fn in_words(outcome: &OutcomeFindings) -> Vec<Row> {
    let say = |text: String, notes: Vec<String>| Row::new(Block::Paragraph(text), notes);
    let curve = match &outcome.curve {
        CurveOutcome::Fitted(curve) => curve,
        CurveOutcome::NotIdentifiable(why) => return vec![say(wording::course::not_identifiable(why), Vec::new())],
        CurveOutcome::TooFewReadings => return vec![say(wording::curve::TOO_FEW_READINGS.to_string(), Vec::new())],
    };
    let episodes = shown(&outcome.curve_patients).map(u64::from);
    let note = wording::curve::note(episodes, u64::from(outcome.curve_readings), curve);
    let choice = match &curve.choice {
        Some(choice) => wording::curve::choice(curve.model, choice),
        None => wording::curve::ONLY_ONE_MODEL.to_string(),
    };
    let ends = [Some(wording::curve::at_the_ends(curve)), curve.ends.as_deref().map(wording::phrases::sentence)];
    vec![
        say(wording::curve::curve(curve, outcome.decimals), vec![note]),
        say(choice, curve.singular.iter().map(|singular| wording::phrases::sentence(singular)).collect()),
        say(ends.into_iter().flatten().collect::<Vec<_>>().join(" "), Vec::new()),
    ]
}
