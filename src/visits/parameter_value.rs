//! The value of a parameter of setup or dose at a visit.

use super::dose::percent_of_body_weight;
use crate::catalogue::parameter::Parameter;
use crate::rows::row::{Mode, Position, Row, UpperRestraint};

/// The value as a number: in the parameter's unit, 1 or 0 for yes or no, or the word's position (see [`Parameter`]). `None` where the
/// visit does not record it.
pub fn value(row: &Row, parameter: Parameter) -> Option<f64> {
    let yes_no = |flag: Option<bool>| flag.map(|yes| f64::from(u8::from(yes)));
    let (dose, setup) = (&row.dose, &row.setup);
    match parameter {
        Parameter::ReturnTension => setup.return_tension.map(|x| x.get()),
        Parameter::TensionTurns => setup.tension_turns.map(|x| x.get()),
        Parameter::SplitGap => setup.split_gap.map(|x| x.get()),
        Parameter::Angle => setup.angle.map(|x| x.get()),
        Parameter::BeltLandmark => yes_no(setup.belt_landmark_ok),
        Parameter::BeltSeated => yes_no(setup.belt_seated),
        Parameter::SlackCycle => yes_no(setup.slack_cycle_done),
        Parameter::LevelPull => yes_no(setup.level_pull),
        Parameter::TableLevel => yes_no(setup.table_level),
        Parameter::PullShare => percent_of_body_weight(dose),
        Parameter::Hold => dose.hold.map(|x| x.get()),
        Parameter::Rest => dose.rest.map(|x| x.get()),
        Parameter::Ramp => dose.ramp.map(|x| x.get()),
        Parameter::Session => dose.session.map(|x| x.get()),
        Parameter::Position => setup.position.map(|position| match position {
            Position::Prone => 0.0,
            Position::Supine => 1.0,
        }),
        Parameter::Mode => dose.mode.map(|mode| match mode {
            Mode::Static => 0.0,
            Mode::Intermittent => 1.0,
        }),
        Parameter::UpperRestraint => setup.upper_restraint.map(|restraint| match restraint {
            UpperRestraint::Handholds => 0.0,
            UpperRestraint::ChestHarness => 1.0,
            UpperRestraint::AxillaryPosts => 2.0,
            UpperRestraint::None => 3.0,
        }),
    }
}

/// Whether the pull could open the split: where it is below the return tension the half stays shut whatever the setup, and the
/// opening says nothing about it. Taken as yes where either is not recorded.
pub fn can_open_the_split(row: &Row) -> bool {
    match (row.dose.peak_force, row.setup.return_tension) {
        (Some(pull), Some(tension)) => pull > tension,
        _ => true,
    }
}
