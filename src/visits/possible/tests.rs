//! Each rule just inside and just outside its limit, and where it is not asked.

use super::*;
use crate::group::setup_standard::default_standard;
use crate::rows::made::visit;
use crate::rows::row::{Dose, Mode, Setup, Turns};
use crate::rows::when::When;
use crate::units::{Kilograms, Millimetres, Minutes, Newtons, STANDARD_GRAVITY, Seconds};

const LBF: f64 = 4.448_221_615_260_5; // NIST SP 811, B.8
const LUMBAR: Option<Region> = Some(Region::Lumbar);
const CERVICAL: Option<Region> = Some(Region::Cervical);

fn rules() -> PossibleRules {
    default_standard().unwrap().rules
}

fn row(day: i32, dose: Dose, setup: Setup) -> Row {
    Row { dose, setup, ..visit(day) }
}

fn course(rows: &[Row], region: Option<Region>, rules: &PossibleRules) -> Vec<Marks> {
    let rows: Vec<&Row> = rows.iter().collect();
    let mut marks = vec![Marks::default(); rows.len()];
    marks_of_course(&rows, region, rules, &mut marks);
    marks
}

/// What one rule says of one visit.
fn verdict(marks: Marks, rule: Rule) -> Option<bool> {
    assert!(marks.asked(rule) || !marks.broken(rule), "broken and not asked");
    marks.asked(rule).then(|| marks.broken(rule))
}

fn of_visit(rule: Rule, region: Option<Region>, dose: Dose, setup: Setup) -> Option<bool> {
    verdict(course(&[row(0, dose, setup)], region, &rules())[0], rule)
}

fn split(gap_mm: f64, pull_n: f64, tension_n: f64) -> (Dose, Setup) {
    let dose = Dose { peak_force: Newtons::new(pull_n), ..Dose::default() };
    let (split_gap, return_tension) = (Millimetres::new(gap_mm), Newtons::new(tension_n));
    (dose, Setup { split_gap, return_tension, ..Setup::default() })
}

/// A pull in percent of the weight of 80 kg.
fn pull(percent: f64) -> Dose {
    let peak_force = Newtons::new(percent / 100.0 * 80.0 * STANDARD_GRAVITY);
    Dose { peak_force, body_mass: Kilograms::new(80.0), ..Dose::default() }
}

fn lines(days: &[i32], doses: impl IntoIterator<Item = Dose>) -> Vec<Row> {
    days.iter().zip(doses).map(|(day, dose)| row(*day, dose, Setup::default())).collect()
}

/// What a rule says of each visit, a day apart, with these pulls in newtons.
fn of_pulls(rule: Rule, pulls: &[f64]) -> Vec<Option<bool>> {
    let days: Vec<i32> = (0..).take(pulls.len()).collect();
    let rows = lines(&days, pulls.iter().map(|n| Dose { peak_force: Newtons::new(*n), ..Dose::default() }));
    course(&rows, LUMBAR, &rules()).into_iter().map(|marks| verdict(marks, rule)).collect()
}

/// The same of body masses in kilograms on their days.
fn of_masses(rule: Rule, days: &[i32], masses: &[f64]) -> Vec<Option<bool>> {
    let rows = lines(days, masses.iter().map(|kg| Dose { body_mass: Kilograms::new(*kg), ..Dose::default() }));
    course(&rows, LUMBAR, &rules()).into_iter().map(|marks| verdict(marks, rule)).collect()
}

#[test]
fn a_split_opens_only_above_the_return_tension() {
    let said = |(dose, setup)| of_visit(Rule::SplitOpensBelowTension, LUMBAR, dose, setup);
    assert_eq!(said(split(1.01, 189.9, 200.0)), Some(true));
    assert_eq!(said(split(1.01, 190.1, 200.0)), Some(false), "5 % are left for rounding");
    assert_eq!(said(split(1.0, 100.0, 200.0)), Some(false), "closed");
    let (dose, setup) = split(6.0, 100.0, 200.0);
    assert_eq!(said((dose, Setup { return_tension: None, ..setup })), None);
    assert_eq!(said((dose, Setup { split_gap: None, ..setup })), None);
    assert_eq!(said((Dose::default(), setup)), None);
}

#[test]
fn a_split_opens_well_above_the_return_tension() {
    let said = |(dose, setup)| of_visit(Rule::SplitStaysClosed, LUMBAR, dose, setup);
    assert_eq!(said(split(1.0, 250.1, 200.0)), Some(true));
    assert_eq!(said(split(1.0, 249.9, 200.0)), Some(false));
    assert_eq!(said(split(1.01, 400.0, 200.0)), Some(false));
}

#[test]
fn a_split_opens_to_twice_the_usual_at_most() {
    let said = |gap_mm| {
        let setup = Setup { split_gap: Millimetres::new(gap_mm), ..Setup::default() };
        of_visit(Rule::SplitOpensFar, LUMBAR, Dose::default(), setup)
    };
    assert_eq!((said(12.7), said(12.71)), (Some(false), Some(true)));
}

#[test]
fn turns_back_from_full_give_a_range_of_tensions() {
    let said = |turns, tension_lbf: f64| {
        let tension_turns = Turns::new(turns);
        let setup = Setup { tension_turns, return_tension: Newtons::new(tension_lbf * LBF), ..Setup::default() };
        of_visit(Rule::TurnsAndTensionDisagree, LUMBAR, Dose::default(), setup)
    };
    // common practice, no published source: 5 turns give 40 to 45 lbf, 6 turns 38 to 43, none 50 to 55
    for (turns, low, high) in [(5.0, 40.0, 45.0), (6.0, 38.0, 43.0), (0.0, 50.0, 55.0)] {
        for inside in [low, high, low - 0.5, high + 0.5] {
            assert_eq!(said(turns, inside), Some(false), "{turns} turns, {inside} lbf");
        }
        for outside in [low - 0.51, high + 0.51] {
            assert_eq!(said(turns, outside), Some(true), "{turns} turns, {outside} lbf");
        }
    }
    assert_eq!(said(25.0, 3.0), Some(false));
    assert_eq!(said(25.5, 3.0), None, "slack by then");
}

#[test]
fn a_session_is_as_long_as_its_cycles() {
    let whole = Dose {
        mode: Some(Mode::Intermittent),
        cycles: Some(10),
        hold: Seconds::new(60.0),
        rest: Seconds::new(20.0),
        ramp: Seconds::new(5.0),
        ..Dose::default()
    };
    // ten cycles of 90 s are 15 min; one cycle more or less is 1.5 min
    let said = |dose, session| {
        let dose = Dose { session: Minutes::new(session), ..dose };
        of_visit(Rule::SessionAndCyclesDisagree, LUMBAR, dose, Setup::default())
    };
    assert_eq!(said(whole, 15.0), Some(false));
    assert_eq!(said(whole, 17.6), Some(false), "2.6 min are 14.8 % of 17.6 min");
    assert_eq!(said(whole, 17.7), Some(true), "2.7 min are 15.3 % of 17.7 min");
    assert_eq!(said(whole, 13.1), Some(false), "1.9 min are 14.5 % of 13.1 min");
    assert_eq!(said(whole, 13.0), Some(true), "2 min are 15.4 % of 13 min");
    let two = Dose { cycles: Some(2), ..whole };
    assert_eq!(said(two, 4.5), Some(false), "a third too long, but only one cycle");
    assert_eq!(said(two, 4.51), Some(true));
    for dose in [
        Dose { ramp: None, ..whole },
        Dose { rest: None, ..whole },
        Dose { cycles: None, ..whole },
        Dose { mode: None, ..whole },
    ] {
        assert_eq!(said(dose, 40.0), None);
    }
}

#[test]
fn a_static_session_is_as_long_as_its_one_pull() {
    let dose =
        Dose { mode: Some(Mode::Static), hold: Seconds::new(580.0), ramp: Seconds::new(10.0), ..Dose::default() };
    let said = |session| {
        let dose = Dose { session: Minutes::new(session), ..dose };
        of_visit(Rule::SessionAndCyclesDisagree, LUMBAR, dose, Setup::default())
    };
    // the pull takes 10 min
    assert_eq!((said(10.0), said(11.76), said(11.77)), (Some(false), Some(false), Some(true)));
    assert_eq!((said(8.7), said(8.69)), (Some(false), Some(true)));
}

#[test]
fn a_pull_stays_within_a_share_of_body_weight_by_region() {
    let said = |region, dose| of_visit(Rule::PullBeyondBodyWeightShare, region, dose, Setup::default());
    assert_eq!((said(LUMBAR, pull(59.99)), said(LUMBAR, pull(60.01))), (Some(false), Some(true)));
    assert_eq!((said(CERVICAL, pull(19.99)), said(CERVICAL, pull(20.01))), (Some(false), Some(true)));
    let kgf = |kgf| Dose { peak_force: Newtons::new(kgf * STANDARD_GRAVITY), ..Dose::default() };
    assert_eq!((said(CERVICAL, kgf(20.0)), said(CERVICAL, kgf(20.01))), (Some(false), Some(true)));
    let heavy = Dose { body_mass: Kilograms::new(150.0), ..kgf(21.0) };
    assert_eq!(said(CERVICAL, heavy), Some(true), "14 % of body weight, but over 20 kgf");
    assert_eq!(said(LUMBAR, kgf(50.0)), None);
    assert_eq!((said(None, pull(70.0)), said(Some(Region::Other), pull(70.0))), (None, None));
    let own = Setup { region: CERVICAL, ..Setup::default() };
    let by_own = of_visit(Rule::PullBeyondBodyWeightShare, LUMBAR, pull(30.0), own);
    assert_eq!(by_own, Some(true), "a visit's own region goes first");
}

#[test]
fn a_pull_stays_within_body_weight() {
    let said = |dose| of_visit(Rule::PullOverBodyWeight, None, dose, Setup::default());
    assert_eq!((said(pull(99.99)), said(pull(100.01))), (Some(false), Some(true)));
    assert_eq!(said(Dose { body_mass: None, ..pull(50.0) }), None);
}

#[test]
fn a_low_pull_stays_below_the_peak_and_a_session_within_half_an_hour() {
    let low = |low| {
        let dose = Dose { peak_force: Newtons::new(300.0), low_force: Newtons::new(low), ..Dose::default() };
        of_visit(Rule::LowPullAbovePeak, LUMBAR, dose, Setup::default())
    };
    assert_eq!((low(300.0), low(300.1)), (Some(false), Some(true)));
    let session = |min| {
        let dose = Dose { session: Minutes::new(min), ..Dose::default() };
        of_visit(Rule::SessionLong, LUMBAR, dose, Setup::default())
    };
    assert_eq!((session(30.0), session(30.1)), (Some(false), Some(true)));
}

#[test]
fn a_pull_follows_the_visit_before() {
    let said = |pulls: &[f64]| of_pulls(Rule::PullJumps, pulls);
    assert_eq!(said(&[200.0, 300.0, 200.0]), [None, Some(false), Some(false)]);
    assert_eq!(said(&[200.0, 300.1, 200.0]), [None, Some(true), Some(true)], "up and down");
    assert_eq!(said(&[80.0, 124.9]), [None, Some(false)], "under 45 N apart");
    assert_eq!(said(&[80.0, 125.0]), [None, Some(true)]);
    assert_eq!(said(&[0.0, 200.0]), [None, Some(true)]);
    assert_eq!(said(&[200.0, f64::NAN, 400.0]), [None, None, None], "not recorded at the visit before");
    let mut rows = lines(&[0, 1], [pull(10.0), pull(40.0)]);
    rows[0].setup.region = CERVICAL;
    assert_eq!(verdict(course(&rows, LUMBAR, &rules())[1], Rule::PullJumps), None, "two regions");
}

#[test]
fn a_neck_is_not_pulled_like_a_low_back() {
    let said = |region, dose| of_visit(Rule::LumbarDoseOnTheNeck, region, dose, Setup::default());
    assert_eq!((said(CERVICAL, pull(24.99)), said(CERVICAL, pull(25.01))), (Some(false), Some(true)));
    assert_eq!(said(LUMBAR, pull(40.0)), None);
}

#[test]
fn a_pull_in_another_unit_stands_out_from_the_episode() {
    let said = |pulls: &[f64]| of_pulls(Rule::UnitSwapped, pulls);
    let [no, yes] = [Some(false), Some(true)];
    for factor in [9.806_65 / LBF, LBF, 9.806_65] {
        assert_eq!(said(&[300.0, 300.0 * factor, 310.0, 290.0, 300.0]), [no, yes, no, no, no], "{factor}");
        assert_eq!(said(&[300.0, 300.0 / factor, 310.0, 290.0, 300.0]), [no, yes, no, no, no], "{factor}");
        for off in [1.049, 0.951] {
            assert_eq!(said(&[300.0, 300.0, 300.0, 300.0 * factor * off])[3], yes, "{factor} {off}");
        }
        for off in [1.051, 0.949] {
            assert_eq!(said(&[300.0, 300.0, 300.0, 300.0 * factor * off])[3], no, "{factor} {off}");
        }
    }
    assert_eq!(said(&[300.0, 300.0, 661.4]), [None, None, None], "two others are too few");
    assert_eq!(said(&[300.0, 300.0, 300.0, 376.0, 661.4])[4], None, "376 is over a quarter more than 300");
    assert_eq!(said(&[300.0, 300.0, 300.0, 374.0, 661.4])[4], yes);
    let twice = said(&[300.0, 661.4, 300.0, 310.0, 661.4, 290.0]);
    assert_eq!(twice, [no, yes, no, no, yes, no], "both visits of a swapped unit");
    assert_eq!(said(&[0.0, 0.0, 0.0, 0.0]), [None; 4]);
    assert_eq!(said(&[]), []);
    assert_eq!(said(&[300.0]), [None]);
}

#[test]
fn a_body_mass_in_pounds_stands_out_from_the_episode() {
    let said = |third: f64| of_masses(Rule::UnitSwapped, &[0, 10, 20, 30], &[80.0, 80.0, third, 81.0])[2];
    assert_eq!((said(176.4), said(36.3)), (Some(true), Some(true)));
    assert_eq!(said(80.0 * LBF), Some(false), "no unit of mass is 4.4 kg");
}

#[test]
fn a_body_mass_keeps_within_a_fifth_in_a_week() {
    let said = |days: &[i32], masses: &[f64]| of_masses(Rule::BodyMassJumps, days, masses);
    assert_eq!(said(&[0, 7], &[80.0, 95.9]), [None, Some(false)]);
    assert_eq!(said(&[0, 7], &[80.0, 96.0]), [None, Some(true)]);
    assert_eq!(said(&[0, 7], &[80.0, 64.0]), [None, Some(true)]);
    assert_eq!(said(&[0, 8], &[80.0, 120.0]), [None, None]);
    assert_eq!(said(&[0, 3, 6], &[80.0, f64::NAN, 120.0]), [None, None, Some(true)], "the last that was weighed");
    let mut rows = lines(&[0, 1], [pull(30.0), Dose { body_mass: Kilograms::new(160.0), ..pull(30.0) }]);
    rows[1].when = When::Offset { day: 1, quarter: None };
    assert_eq!(verdict(course(&rows, LUMBAR, &rules())[1], Rule::BodyMassJumps), None, "two clocks");
}

#[test]
fn a_rule_switched_off_is_not_asked_and_a_changed_limit_holds() {
    let rows = lines(&[0], [Dose { session: Minutes::new(40.0), ..pull(70.0) }]);
    let mut rules = rules();
    let before = course(&rows, LUMBAR, &rules)[0];
    assert!(before.broken(Rule::SessionLong) && before.broken(Rule::PullBeyondBodyWeightShare));
    rules.switch(Rule::SessionLong, false);
    rules.limits.pull_beyond_body_weight_share.lumbar_percent = 75.0;
    let after = course(&rows, LUMBAR, &rules)[0];
    assert_eq!(verdict(after, Rule::SessionLong), None);
    assert_eq!(verdict(after, Rule::PullBeyondBodyWeightShare), Some(false));
    rules.switch(Rule::SessionLong, true);
    assert!(course(&rows, LUMBAR, &rules)[0].broken(Rule::SessionLong));
}

#[test]
fn marks_are_small_and_replace_what_stood_there() {
    assert_eq!(size_of::<Marks>(), 4);
    let rows = lines(&[0], [Dose { session: Minutes::new(40.0), ..Dose::default() }]);
    let mut marks = [Marks::default()];
    marks_of_course(&[&rows[0]], LUMBAR, &rules(), &mut marks);
    assert!(marks[0].broken(Rule::SessionLong));
    marks_of_course(&[&row(0, Dose::default(), Setup::default())], LUMBAR, &rules(), &mut marks);
    assert_eq!(marks, [Marks::default()]);
}
