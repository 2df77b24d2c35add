//! What is recorded of a setup and a dose: the parameters that sites are compared in and a written standard speaks of.

use super::region::Region;
use crate::units::{Dimension, Unit};

/// A parameter of setup or dose. Its value is a number: in its own unit, 1 and 0 for yes and no, or the position of a word
/// among [`Nature::Word`].
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Parameter {
    /// Tension of the return spring of the sliding half, N.
    ReturnTension,
    /// Turns back from full tension.
    TensionTurns,
    /// Opening of the split at peak pull, mm.
    SplitGap,
    /// Angle of the table or of the pull, degrees, flexion positive.
    Angle,
    /// Prone or supine.
    Position,
    /// What holds the upper body.
    UpperRestraint,
    /// The pelvic belt's centre is on its landmark.
    BeltLandmark,
    BeltSeated,
    /// One whole cycle took out the slack before the half was freed.
    SlackCycle,
    /// The line of pull is level.
    LevelPull,
    TableLevel,
    /// Static or intermittent.
    Mode,
    /// Peak pull, percent of body weight.
    PullShare,
    /// Time at peak, s.
    Hold,
    /// Time at low pull, s.
    Rest,
    /// Time from low to peak, s.
    Ramp,
    /// Length of the session, min.
    Session,
}

/// A parameter in a region.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct About {
    pub parameter: Parameter,
    pub region: Region,
}

/// What kind of value a parameter has.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Nature {
    /// A number in the unit with this symbol, which a standard may give in any unit of the dimension.
    Number {
        /// Symbol of the unit that values are kept in.
        unit: &'static str,
        /// Its dimension; `None` for counts and percentages.
        dimension: Option<Dimension>,
    },
    YesNo,
    /// One of these words.
    Word(&'static [&'static str]),
}

/// Whose doing a parameter mostly is: with whom it is compared, and what it is followed by over time.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum SetBy {
    /// The traction table's own state: visit by visit on one table.
    Table,
    /// The clinician, visit by visit.
    Clinician,
    /// The clinician, once for a patient's course: visits of one patient say the same again.
    Course,
}

impl Parameter {
    /// All, in the order of the pages.
    pub const ALL: [Self; 17] = [
        Self::ReturnTension,
        Self::TensionTurns,
        Self::SplitGap,
        Self::BeltLandmark,
        Self::BeltSeated,
        Self::SlackCycle,
        Self::LevelPull,
        Self::TableLevel,
        Self::UpperRestraint,
        Self::Position,
        Self::Angle,
        Self::Mode,
        Self::PullShare,
        Self::Hold,
        Self::Rest,
        Self::Ramp,
        Self::Session,
    ];

    /// Its key in standards and sheets: the canonical field's.
    pub fn key(self) -> &'static str {
        match self {
            Self::ReturnTension => "return_tension",
            Self::TensionTurns => "tension_turns",
            Self::SplitGap => "split_gap",
            Self::Angle => "angle",
            Self::Position => "position",
            Self::UpperRestraint => "upper_restraint",
            Self::BeltLandmark => "belt_landmark_ok",
            Self::BeltSeated => "belt_seated",
            Self::SlackCycle => "slack_cycle_done",
            Self::LevelPull => "level_pull",
            Self::TableLevel => "table_level",
            Self::Mode => "mode",
            Self::PullShare => "percent_of_body_weight",
            Self::Hold => "hold",
            Self::Rest => "rest",
            Self::Ramp => "ramp",
            Self::Session => "session",
        }
    }

    /// The parameter of a key.
    pub fn parse(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|parameter| parameter.key() == key)
    }

    /// What kind of value it has.
    pub fn nature(self) -> Nature {
        let number = |unit: Unit| Nature::Number { unit: unit.symbol(), dimension: Some(unit.dimension()) };
        match self {
            Self::ReturnTension => number(Unit::Newton),
            Self::SplitGap => number(Unit::Millimetre),
            Self::Angle => number(Unit::Degree),
            Self::Hold | Self::Rest | Self::Ramp => number(Unit::Second),
            Self::Session => number(Unit::Minute),
            Self::TensionTurns => Nature::Number { unit: "turns", dimension: None },
            Self::PullShare => Nature::Number { unit: "%BW", dimension: None },
            Self::BeltLandmark | Self::BeltSeated | Self::SlackCycle | Self::LevelPull | Self::TableLevel => {
                Nature::YesNo
            }
            Self::Position => Nature::Word(&["prone", "supine"]),
            Self::Mode => Nature::Word(&["static", "intermittent"]),
            Self::UpperRestraint => Nature::Word(&["handholds", "chest harness", "axillary posts", "none"]),
        }
    }

    /// Whose doing it mostly is (common practice, no published source).
    pub fn set_by(self) -> SetBy {
        match self {
            Self::ReturnTension | Self::SplitGap | Self::TableLevel => SetBy::Table,
            Self::TensionTurns
            | Self::BeltLandmark
            | Self::BeltSeated
            | Self::SlackCycle
            | Self::LevelPull
            | Self::UpperRestraint => SetBy::Clinician,
            _ => SetBy::Course,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_leads_back_to_its_parameter() {
        for parameter in Parameter::ALL {
            assert_eq!(Parameter::parse(parameter.key()), Some(parameter));
        }
        assert_eq!(Parameter::parse("tension"), None);
    }
}
