//! One understood line of an export, in SI units and known words.
//!
//! A [`Row`] exists only when its mapping was applied and its patient and day were understood.
//! It owns nothing: names are numbers into [`Names`](super::names::Names), so that ten million
//! rows fit in memory and nothing is allocated per row.

use super::when::When;
pub use super::words::{EndedHow, Mode, Onset, Position, Sex, UpperRestraint};
use crate::catalogue::{ConditionId, MeasureId, PainSite, Region};
use crate::export::place::Place;
use crate::units::{Degrees, Kilograms, Millimetres, Minutes, Newtons, Seconds};
use std::num::{NonZeroU8, NonZeroU16, NonZeroU32};

/// A name by its position in one list of [`Names`](super::names::Names); four bytes, also when absent.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct NameId(pub NonZeroU32);

/// One understood line.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Row {
    /// File and line it came from.
    pub place: Place,
    /// The clinic.
    pub site: NameId,
    /// The patient's opaque key.
    pub patient: NameId,
    /// The day.
    pub when: When,
    /// The export's own episode label, if it has one.
    pub episode: Option<NameId>,
    /// Who treated.
    pub clinician: Option<NameId>,
    /// The traction table used.
    pub table: Option<NameId>,
    /// The export's own visit number.
    pub visit_no: Option<u16>,
    /// Whether the row stands for a visit (a row of a readings-only file does not).
    pub is_visit: bool,
    /// Whether the patient came; absent means yes.
    pub attended: Option<bool>,
    /// What is treated.
    pub condition: Option<ConditionId>,
    /// The codes cell as written, for the record.
    pub icd10: Option<NameId>,
    /// A code of the row asks for caution (myelopathy).
    pub caution: bool,
    /// What the machine was told to pull.
    pub dose: Dose,
    /// How patient and table were arranged.
    pub setup: Setup,
    /// What the row says about the patient.
    pub facts: Facts,
    /// The row's scores: `scores_from .. scores_from + scores_len` of the list beside the rows.
    pub scores_from: u32,
    /// How many scores the row holds.
    pub scores_len: u8,
}

/// What the machine was told to pull.
#[derive(Clone, Copy, PartialEq, Default, Debug)]
pub struct Dose {
    /// Static or intermittent.
    pub mode: Option<Mode>,
    /// Cycles.
    pub cycles: Option<u16>,
    /// Pull at the top of a cycle.
    pub peak_force: Option<Newtons>,
    /// Pull between the tops.
    pub low_force: Option<Newtons>,
    /// Time at the top of a cycle.
    pub hold: Option<Seconds>,
    /// Time at the low pull.
    pub rest: Option<Seconds>,
    /// Time from low to peak, and as long back.
    pub ramp: Option<Seconds>,
    /// Length of the session.
    pub session: Option<Minutes>,
    /// Body mass on the day.
    pub body_mass: Option<Kilograms>,
}

/// How patient and table were arranged.
#[derive(Clone, Copy, PartialEq, Default, Debug)]
pub struct Setup {
    /// Lumbar or cervical.
    pub region: Option<Region>,
    /// Prone or supine.
    pub position: Option<Position>,
    /// Angle of the table or of the pull, flexion positive.
    pub angle: Option<Degrees>,
    /// Tension of the return spring of the sliding half.
    pub return_tension: Option<Newtons>,
    /// Turns back from full tension, in tenths of a turn.
    pub tension_turns: Option<Turns>,
    /// How far the split of the table opens at peak pull.
    pub split_gap: Option<Millimetres>,
    /// What holds the upper body.
    pub upper_restraint: Option<UpperRestraint>,
    /// The pelvic belt's centre is on its landmark.
    pub belt_landmark_ok: Option<bool>,
    /// The belt is seated.
    pub belt_seated: Option<bool>,
    /// One whole cycle was run to take out the slack before the half was freed.
    pub slack_cycle_done: Option<bool>,
    /// The line of pull is level.
    pub level_pull: Option<bool>,
    /// The table is level.
    pub table_level: Option<bool>,
    /// Something untoward happened.
    pub adverse_event: Option<bool>,
}

/// What a row says about the patient; nothing here identifies a person.
#[derive(Clone, Copy, PartialEq, Default, Debug)]
pub struct Facts {
    /// Age, with 90 and over as one.
    pub age: Option<Age>,
    /// Sex as recorded.
    pub sex: Option<Sex>,
    /// Time from onset to the start of care, in three classes.
    pub onset: Option<Onset>,
    /// Surgery of the region before.
    pub prior_surgery: Option<bool>,
    /// A compensation claim is open.
    pub compensation: Option<bool>,
    /// How the course of care ended.
    pub ended_how: Option<EndedHow>,
    /// Visits planned at the start.
    pub planned_visits: Option<u16>,
    /// Body-mass index, kg/m2, recorded or from height and mass.
    pub body_mass_index: Option<BodyMassIndex>,
}

/// The answers to one measure on one row, in twelve bytes.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Score {
    /// The measure.
    pub measure: MeasureId,
    /// Where the pain is.
    pub pain_site: PainSite,
    /// Items asked; 0 where the score itself was written.
    asked: u8,
    /// The bits of the score; of items, those of their sum, then how many were answered.
    answers: [u8; 8],
}

impl Score {
    /// Answers, in the measure's own scale.
    pub fn new(measure: MeasureId, pain_site: PainSite, answers: Answers) -> Self {
        let (asked, bits) = match answers {
            Answers::Value(value) => (0, value.to_bits()),
            Answers::Items { sum, answered, asked } => {
                (asked.max(1), u64::from(sum.to_bits()) << 8 | u64::from(answered))
            }
        };
        Self { measure, pain_site, asked, answers: bits.to_ne_bytes() }
    }

    /// The answers, in the measure's own scale.
    pub fn answers(&self) -> Answers {
        let bits = u64::from_ne_bytes(self.answers);
        match self.asked {
            0 => Answers::Value(f64::from_bits(bits)),
            asked => Answers::Items { sum: f32::from_bits((bits >> 8) as u32), answered: bits as u8, asked },
        }
    }
}

/// What a patient answered to one measure.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Answers {
    /// The score itself, in the unit of the measure.
    Value(f64),
    /// The items, each from 0 up.
    Items {
        /// Sum of the answers.
        sum: f32,
        /// Items answered.
        answered: u8,
        /// Items asked, at least 1.
        asked: u8,
    },
}

/// Age in whole years, 0 to 90, where 90 means 90 or over (45 CFR 164.514(b)(2)(i)(C)).
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Age(NonZeroU8); // one more than the age, so that zero is free to mean "absent"

impl Age {
    /// An age in years; anything over 89 becomes 90. `None` outside 0 to 120.
    pub fn new(years: f64) -> Option<Self> {
        (0.0..=120.0).contains(&years).then(|| Self(NonZeroU8::MIN.saturating_add((years.floor() as u8).min(90))))
    }

    /// Years, 90 meaning 90 or over.
    pub fn years(self) -> u8 {
        self.0.get() - 1
    }

    /// The ten-year band it falls in, as text: `18-29`, `30-39`, ..., `80-89`, `90+`; under 18 `0-17`.
    pub fn band(self) -> &'static str {
        match self.years() {
            0..=17 => "0-17",
            18..=29 => "18-29",
            30..=39 => "30-39",
            40..=49 => "40-49",
            50..=59 => "50-59",
            60..=69 => "60-69",
            70..=79 => "70-79",
            80..=89 => "80-89",
            _ => "90+",
        }
    }
}

/// Body-mass index in tenths of kg/m2, 8.0 to 99.9.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct BodyMassIndex(NonZeroU16);

impl BodyMassIndex {
    /// From kg/m2, kept to one decimal; `None` outside 8 to 99.9.
    pub fn new(kg_per_m2: f64) -> Option<Self> {
        let tenths = NonZeroU16::new((kg_per_m2 * 10.0).round() as u16)?;
        (8.0..=99.9).contains(&kg_per_m2).then_some(Self(tenths))
    }

    /// In kg/m2.
    pub fn kg_per_m2(self) -> f64 {
        f64::from(self.0.get()) / 10.0
    }
}

/// Turns back from full spring tension, kept in hundredths, 0 to 100 turns.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Turns(NonZeroU16); // one more than the hundredths, so that zero is free to mean "absent"

impl Turns {
    /// From turns; `None` outside 0 to 100.
    pub fn new(turns: f64) -> Option<Self> {
        (0.0..=100.0).contains(&turns).then(|| Self(NonZeroU16::MIN.saturating_add((turns * 100.0).round() as u16)))
    }

    /// In turns.
    pub fn get(self) -> f64 {
        f64::from(self.0.get() - 1) / 100.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_row_is_small_enough_for_ten_million_visits() {
        assert!(size_of::<Row>() <= 168, "{} bytes", size_of::<Row>());
        assert!(size_of::<Score>() <= 12, "{} bytes", size_of::<Score>());
        assert_eq!(size_of::<Option<NameId>>(), 4);
    }

    #[test]
    fn what_is_kept_in_few_bytes_comes_back_whole() {
        let asked = [
            Answers::Value(100.0 / 3.0),
            Answers::Value(-0.1),
            Answers::Value(0.0),
            Answers::Items { sum: 12.5, answered: 255, asked: 255 },
            Answers::Items { sum: 0.0, answered: 1, asked: 24 },
        ];
        for answers in asked {
            assert_eq!(Score::new(MeasureId(7), PainSite::Leg, answers).answers(), answers);
        }
        for turns in [0.0, 5.5, 100.0] {
            assert_eq!(Turns::new(turns).map(Turns::get), Some(turns));
        }
        assert_eq!(Turns::new(100.01), None);
        assert_eq!(Age::new(0.0).map(Age::years), Some(0));
        assert_eq!(BodyMassIndex::new(8.0).map(BodyMassIndex::kg_per_m2), Some(8.0));
        assert_eq!(BodyMassIndex::new(0.0), None);
        assert_eq!(BodyMassIndex::new(f64::NAN), None);
    }

    #[test]
    fn ages_over_89_become_one_class() {
        assert_eq!(Age::new(89.9).map(Age::years), Some(89));
        assert_eq!(Age::new(90.0), Age::new(104.0));
        assert_eq!(Age::new(95.0).map(Age::band), Some("90+"));
        assert_eq!(Age::new(f64::NAN), None);
        assert_eq!(Age::new(-1.0), None);
    }
}
