//! The canonical fields a mapping can fill, and what kind of cell each takes.

use crate::units::Dimension;
use std::fmt;

/// What a cell of a field holds.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Kind {
    /// An opaque name, kept as written.
    Name,
    /// A calendar date.
    Date,
    /// A whole number of days (may be negative).
    Days,
    /// A calendar quarter.
    Quarter,
    /// A whole number, 0 to 65,535.
    Count,
    /// A plain number.
    Number,
    /// A force, SI unit N.
    Force,
    /// A length, SI unit mm (millimetre, as the trade uses it).
    Length,
    /// A mass, SI unit kg.
    Mass,
    /// A time, in s or min as the field says.
    Time,
    /// An angle in degrees.
    Angle,
    /// Yes or no.
    YesNo,
    /// One of a closed list of words.
    Word(&'static [&'static str]),
    /// A local label of a condition.
    ConditionLabel,
    /// ICD-10-CM codes, several a cell.
    Codes,
}

impl Kind {
    /// What a quantity measures; `None` for kinds without a unit.
    pub fn dimension(self) -> Option<Dimension> {
        match self {
            Kind::Force => Some(Dimension::Force),
            Kind::Length => Some(Dimension::Length),
            Kind::Mass => Some(Dimension::Mass),
            Kind::Time => Some(Dimension::Time),
            Kind::Angle => Some(Dimension::Angle),
            _ => None,
        }
    }
}

macro_rules! fields {
    ($($variant:ident $name:literal $kind:expr, $doc:literal;)*) => {
        /// A canonical field.
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
        pub enum Field { $(#[doc = $doc] $variant,)* }

        impl Field {
            /// Every field, in the order of the mapping reference.
            pub const ALL: &'static [Field] = &[$(Field::$variant),*];

            /// Its name in a mapping.
            pub fn name(self) -> &'static str {
                match self { $(Field::$variant => $name,)* }
            }

            /// What its cells hold.
            pub fn kind(self) -> Kind {
                match self { $(Field::$variant => $kind,)* }
            }

            /// What it is, in a sentence.
            pub fn describe(self) -> &'static str {
                match self { $(Field::$variant => $doc,)* }
            }

            /// The field of a name.
            pub fn named(name: &str) -> Option<Field> {
                match name { $($name => Some(Field::$variant),)* _ => None }
            }
        }
    };
}

fields! {
    Patient "patient" Kind::Name, "The patient's opaque key.";
    Episode "episode" Kind::Name, "The export's own label of a course of care.";
    Site "site" Kind::Name, "The clinic, when one export holds several.";
    Clinician "clinician" Kind::Name, "Who treated, as a code.";
    Table "table" Kind::Name, "The traction table used.";
    Date "date" Kind::Date, "The calendar date of the visit or reading.";
    Day "day" Kind::Days, "The day as an offset on the patient's own clock.";
    Quarter "quarter" Kind::Quarter, "The calendar quarter, beside a day offset.";
    VisitNo "visit_no" Kind::Count, "The number of the visit in its course of care.";
    Region "region" Kind::Word(&["lumbar", "cervical", "other"]), "The region treated.";
    Condition "condition" Kind::ConditionLabel, "The condition, as a local label.";
    Icd10 "icd10" Kind::Codes, "ICD-10-CM codes, several a cell.";
    Position "position" Kind::Word(&["prone", "supine"]), "How the patient lies.";
    Angle "angle" Kind::Angle, "The angle of table or pull, flexion positive.";
    Mode "mode" Kind::Word(&["static", "intermittent"]), "Static or intermittent pull.";
    PeakForce "peak_force" Kind::Force, "The pull at the top of a cycle.";
    LowForce "low_force" Kind::Force, "The pull between the tops.";
    Hold "hold" Kind::Time, "Time at the top of a cycle.";
    Rest "rest" Kind::Time, "Time at the low pull.";
    Ramp "ramp" Kind::Time, "Time from low to peak.";
    Cycles "cycles" Kind::Count, "Cycles of pull and rest.";
    Session "session" Kind::Time, "Length of the session.";
    BodyMass "body_mass" Kind::Mass, "Body mass on the day.";
    Height "height" Kind::Length, "Body height.";
    BodyMassIndex "body_mass_index" Kind::Number, "Body-mass index, kg/m2.";
    ReturnTension "return_tension" Kind::Force, "Tension of the return spring of the sliding half.";
    TensionTurns "tension_turns" Kind::Number, "Turns back from full spring tension.";
    SplitGap "split_gap" Kind::Length, "How far the split opens at peak pull.";
    UpperRestraint "upper_restraint" Kind::Word(&["handholds", "chest harness", "axillary posts", "none"]), "What holds the upper body.";
    BeltLandmarkOk "belt_landmark_ok" Kind::YesNo, "The pelvic belt's centre is on its landmark.";
    BeltSeated "belt_seated" Kind::YesNo, "The belt is seated.";
    SlackCycleDone "slack_cycle_done" Kind::YesNo, "A whole cycle took out the slack first.";
    LevelPull "level_pull" Kind::YesNo, "The line of pull is level.";
    TableLevel "table_level" Kind::YesNo, "The table is level.";
    AdverseEvent "adverse_event" Kind::YesNo, "Something untoward happened.";
    Attended "attended" Kind::YesNo, "The patient came.";
    Onset "onset" Kind::Word(&["acute", "subacute", "persistent"]), "Time from onset in three classes.";
    OnsetDays "onset_days" Kind::Days, "Days from onset to the start of care.";
    Age "age" Kind::Number, "Age in years; over 89 becomes 90.";
    Sex "sex" Kind::Word(&["female", "male", "other"]), "Sex as recorded.";
    PriorSurgery "prior_surgery" Kind::YesNo, "Surgery of the region before.";
    Compensation "compensation" Kind::YesNo, "A compensation claim is open.";
    PlannedVisits "planned_visits" Kind::Count, "Visits planned at the start.";
    EndedHow "ended_how" Kind::Word(&["completed", "stopped early", "referred on", "lost", "ongoing"]), "How the course of care ended.";
}

impl Field {
    /// Whether a row without it cannot be understood.
    pub fn is_required(self) -> bool {
        matches!(self, Field::Patient | Field::Date | Field::Day)
    }
}

impl fmt::Display for Field {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_field_is_found_by_its_name() {
        for field in Field::ALL {
            assert_eq!(Field::named(field.name()), Some(*field));
        }
        assert_eq!(Field::named("pain"), None);
    }
}
