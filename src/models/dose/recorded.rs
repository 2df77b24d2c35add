//! The value that a visit records of a parameter, and whether the visit is as a standard asks.

use crate::catalogue::parameter::Parameter;
use crate::catalogue::region::Region;
use crate::catalogue::setup_standard::{SetupStandard, StandardItem};
use crate::rows::row::{Mode, Position, Row, UpperRestraint};
use crate::visits::dose;

/// A visit's value of a parameter, in the parameter's own unit; 1 and 0 for yes and no; the position of a word.
pub fn recorded(parameter: Parameter, row: &Row) -> Option<f64> {
    let (setup, dose) = (&row.setup, &row.dose);
    let yes = |answer: Option<bool>| answer.map(|yes| f64::from(u8::from(yes)));
    match parameter {
        Parameter::ReturnTension => setup.return_tension.map(|tension| tension.get()),
        Parameter::TensionTurns => setup.tension_turns.map(|turns| turns.get()),
        Parameter::SplitGap => setup.split_gap.map(|gap| gap.get()),
        Parameter::Angle => setup.angle.map(|angle| angle.get()),
        Parameter::Position => setup.position.map(|position| match position {
            Position::Prone => 0.0,
            Position::Supine => 1.0,
        }),
        Parameter::UpperRestraint => setup.upper_restraint.map(|restraint| match restraint {
            UpperRestraint::Handholds => 0.0,
            UpperRestraint::ChestHarness => 1.0,
            UpperRestraint::AxillaryPosts => 2.0,
            UpperRestraint::None => 3.0,
        }),
        Parameter::BeltLandmark => yes(setup.belt_landmark_ok),
        Parameter::BeltSeated => yes(setup.belt_seated),
        Parameter::SlackCycle => yes(setup.slack_cycle_done),
        Parameter::LevelPull => yes(setup.level_pull),
        Parameter::TableLevel => yes(setup.table_level),
        Parameter::Mode => dose.mode.map(|mode| match mode {
            Mode::Static => 0.0,
            Mode::Intermittent => 1.0,
        }),
        Parameter::PullShare => dose::percent_of_body_weight(dose),
        Parameter::Hold => dose.hold.map(|hold| hold.get()),
        Parameter::Rest => dose.rest.map(|rest| rest.get()),
        Parameter::Ramp => dose.ramp.map(|ramp| ramp.get()),
        Parameter::Session => dose.session.map(|session| session.get()),
    }
}

/// Whether a visit meets every item of a standard that holds for it and that it records; `None` where it records none of them. An
/// item for one position holds for visits that record that position.
pub fn meets_standard(standard: &SetupStandard, region: Region, row: &Row) -> Option<bool> {
    let position = row.setup.position.map(|position| match position {
        Position::Prone => "prone",
        Position::Supine => "supine",
    });
    let holds = |item: &&StandardItem| item.region == region && (item.position.is_none() || item.position == position);
    let met = |item: &StandardItem| Some(item.target.is_met_by(recorded(item.parameter, row)?));
    standard.items.iter().filter(holds).filter_map(met).reduce(|all, met| all && met)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::parameter::Nature;
    use crate::catalogue::setup_standard::{Grade, ReadingUnit, Target};
    use crate::episodes::timeline::visit;
    use crate::rows::row::Setup;
    use crate::units::{Degrees, Newtons};

    fn item(parameter: Parameter, position: Option<&'static str>, target: Target) -> StandardItem {
        StandardItem {
            parameter,
            region: Region::Lumbar,
            position,
            target,
            grade: Grade::Required,
            unit: ReadingUnit { symbol: "", factor: 1.0 },
            source: String::new(),
            note: String::new(),
        }
    }

    #[test]
    fn words_stand_where_the_catalogue_has_them() {
        let place = |parameter: Parameter, word: &str| match parameter.nature() {
            Nature::Word(words) => words.iter().position(|of| *of == word).map(|at| at as f64),
            _ => None,
        };
        let mut row = visit(0);
        row.setup.position = Some(Position::Supine);
        row.setup.upper_restraint = Some(UpperRestraint::AxillaryPosts);
        row.dose.mode = Some(Mode::Intermittent);
        assert_eq!(recorded(Parameter::Position, &row), place(Parameter::Position, "supine"));
        assert_eq!(recorded(Parameter::UpperRestraint, &row), place(Parameter::UpperRestraint, "axillary posts"));
        assert_eq!(recorded(Parameter::Mode, &row), place(Parameter::Mode, "intermittent"));
    }

    #[test]
    fn a_visit_is_held_against_what_it_records_and_what_holds_for_it() {
        let items = vec![
            item(Parameter::ReturnTension, None, Target::Number { aim: 180.0, low: 160.0, high: 200.0 }),
            item(Parameter::BeltSeated, None, Target::YesNo(true)),
            item(Parameter::Angle, Some("supine"), Target::Number { aim: 20.0, low: 15.0, high: 25.0 }),
        ];
        let standard = SetupStandard { is_default: true, items };
        let meets = |setup: Setup| meets_standard(&standard, Region::Lumbar, &Row { setup, ..visit(0) });
        let right = Setup { return_tension: Newtons::new(170.0), ..Setup::default() };
        assert_eq!(meets(Setup::default()), None);
        assert_eq!(meets(right), Some(true));
        assert_eq!(meets(Setup { belt_seated: Some(false), ..right }), Some(false));
        let angled = Setup { angle: Degrees::new(0.0), ..right };
        assert_eq!(meets(angled), Some(true), "no position recorded: the angle's item does not hold");
        assert_eq!(meets(Setup { position: Some(Position::Supine), ..angled }), Some(false));
        assert_eq!(meets(Setup { position: Some(Position::Prone), ..angled }), Some(true));
        assert_eq!(meets_standard(&standard, Region::Cervical, &Row { setup: right, ..visit(0) }), None);
    }
}
