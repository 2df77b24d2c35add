//! Rules that the numbers of one visit are enough for. P is the peak pull (N), T the return tension (N), W the body weight (N).

use super::Marks;
use crate::catalogue::Region;
use crate::catalogue::rule::{Rule, RuleLimits, SessionAndCyclesDisagree, TurnsAndTensionDisagree};
use crate::rows::row::{Dose, Mode, Row, Setup};
use crate::units::Unit;
use crate::visits::dose::percent_of_body_weight;

/// The marks of a visit in a region by itself; every rule, switched on or not.
pub(super) fn marks(row: &Row, region: Option<Region>, limits: &RuleLimits) -> Marks {
    let Row { dose, setup, .. } = row;
    let gap_mm = setup.split_gap.map(|gap| gap.get());
    let percent = percent_of_body_weight(dose);
    let session_min = dose.session.map(|session| session.get());
    let over = |number: Option<f64>, limit: f64| number.map(|number| number > limit);
    let mut marks = Marks::default();
    marks.note(Rule::SplitOpensBelowTension, opens_below_tension(row, limits));
    marks.note(Rule::SplitStaysClosed, stays_closed(row, limits));
    marks.note(Rule::SplitOpensFar, over(gap_mm, limits.split_opens_far.most_mm));
    marks.note(Rule::TurnsAndTensionDisagree, turns_disagree(setup, &limits.turns_and_tension_disagree));
    marks.note(Rule::SessionAndCyclesDisagree, session_disagrees(dose, &limits.session_and_cycles_disagree));
    marks.note(Rule::PullBeyondBodyWeightShare, beyond_share(dose, percent, region, limits));
    marks.note(Rule::PullOverBodyWeight, over(percent, limits.pull_over_body_weight.most_percent));
    marks.note(Rule::LowPullAbovePeak, dose.low_force.zip(dose.peak_force).map(|(low, peak)| low > peak));
    marks.note(Rule::SessionLong, over(session_min, limits.session_long.most_min));
    let lumbar_from = limits.lumbar_dose_on_the_neck.lumbar_from_percent;
    let neck_percent = percent.filter(|_| region == Some(Region::Cervical));
    marks.note(Rule::LumbarDoseOnTheNeck, neck_percent.map(|percent| percent >= lumbar_from));
    marks
}

/// Gap, P and T of a visit that records all three.
fn split(row: &Row) -> Option<(f64, f64, f64)> {
    Some((row.setup.split_gap?.get(), row.dose.peak_force?.get(), row.setup.return_tension?.get()))
}

/// gap > closed and P < (1 - margin) T.
fn opens_below_tension(row: &Row, limits: &RuleLimits) -> Option<bool> {
    let limits = &limits.split_opens_below_tension;
    let (gap_mm, pull, tension) = split(row)?;
    Some(gap_mm > limits.closed_mm && pull < (1.0 - limits.margin_share) * tension)
}

/// gap <= closed and P > ratio T.
fn stays_closed(row: &Row, limits: &RuleLimits) -> Option<bool> {
    let limits = &limits.split_stays_closed;
    let (gap_mm, pull, tension) = split(row)?;
    Some(gap_mm <= limits.closed_mm && pull > limits.pull_to_tension_ratio * tension)
}

/// T outside full - t k, where full is a range, t turns were turned back and each takes off k. Not asked of a spring that
/// would be slack by then.
fn turns_disagree(setup: &Setup, limits: &TurnsAndTensionDisagree) -> Option<bool> {
    let newtons_per_lbf = Unit::PoundForce.factor()?;
    let tension_lbf = setup.return_tension?.get() / newtons_per_lbf;
    let off_lbf = limits.lbf_per_turn * setup.tension_turns?.get();
    let (low, high) = (limits.full_tension_low_lbf - off_lbf, limits.full_tension_high_lbf - off_lbf);
    // units were converted: a billionth more than the rounding is none
    let rounding = limits.rounding_lbf + 1e-9 * high.abs();
    (low >= 0.0).then_some(!(low - rounding..=high + rounding).contains(&tension_lbf))
}

/// Intermittent: |S - n c| > apart c and > share S, with session S, n cycles and c = 2 ramps + hold + rest.
/// Static: |S - (2 ramps + hold)| > share S.
fn session_disagrees(dose: &Dose, limits: &SessionAndCyclesDisagree) -> Option<bool> {
    let session_s = 60.0 * dose.session?.get();
    let pull_s = 2.0 * dose.ramp?.get() + dose.hold?.get();
    let (profile_s, cycle_s) = match dose.mode? {
        Mode::Static => (pull_s, 0.0),
        Mode::Intermittent => {
            let cycle_s = pull_s + dose.rest?.get();
            (f64::from(dose.cycles?) * cycle_s, cycle_s)
        }
    };
    let apart_s = (session_s - profile_s).abs();
    let rounding_s = 1e-9 * session_s.abs();
    Some(
        apart_s > limits.cycles_apart * cycle_s + rounding_s
            && apart_s > limits.apart_share * session_s.abs() + rounding_s,
    )
}

/// P over a share of W by region; in the neck also over a pull of its own, for which no body mass is needed.
fn beyond_share(dose: &Dose, percent: Option<f64>, region: Option<Region>, limits: &RuleLimits) -> Option<bool> {
    let limits = &limits.pull_beyond_body_weight_share;
    match region? {
        Region::Lumbar => Some(percent? > limits.lumbar_percent),
        Region::Cervical => {
            let pull_kgf = dose.peak_force?.get() / Unit::KilogramForce.factor()?;
            Some(pull_kgf > limits.cervical_kgf * (1.0 + 1e-9) || percent.is_some_and(|p| p > limits.cervical_percent))
        }
        Region::Other => None,
    }
}
