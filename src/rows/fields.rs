//! One cell -> one field of a row in the making.

use super::cell::{Cell, within};
use super::codes::Cache;
use super::names::Names;
use super::reason::Reason;
use super::row::{
    Age, BodyMassIndex, Dose, EndedHow, Facts, Mode, NameId, Onset, Position, Setup, Sex, Turns, UpperRestraint,
};
use super::when::Quarter;
use crate::catalogue::{ConditionId, Region};
use crate::group::field::Field;
use crate::units::{Degrees, Kilograms, Millimetres, Minutes, Newtons, Seconds, body_weight_n};
use chrono::NaiveDate;

/// The strongest pull taken for possible when the body mass is not known: the weight of about 200 kg.
const STRONGEST_PULL_N: f64 = 2_000.0;
/// Longest hold, rest or ramp, and longest session (s).
const LONGEST_PHASE_S: f64 = 3_600.0;
const LONGEST_SESSION_S: f64 = 4.0 * 3_600.0;

/// What has been understood of a row so far.
#[derive(Clone, Copy, Default, Debug)]
pub struct Draft {
    /// Patient key.
    pub patient: Option<NameId>,
    /// Site from a column.
    pub site: Option<NameId>,
    /// Episode label.
    pub episode: Option<NameId>,
    /// Clinician.
    pub clinician: Option<NameId>,
    /// Traction table.
    pub table: Option<NameId>,
    /// Calendar date.
    pub date: Option<NaiveDate>,
    /// Day offset.
    pub day: Option<i32>,
    /// Quarter beside an offset.
    pub quarter: Option<Quarter>,
    /// Visit number.
    pub visit_no: Option<u16>,
    /// Came or not.
    pub attended: Option<bool>,
    /// Condition.
    pub condition: Option<ConditionId>,
    /// Codes cell.
    pub icd10: Option<NameId>,
    /// A code asks for caution.
    pub caution: bool,
    /// Dose.
    pub dose: Dose,
    /// Setup.
    pub setup: Setup,
    facts: Facts,
    height_mm: Option<f64>,
}

impl Draft {
    /// The facts about the patient, body-mass index worked out from height and mass when not recorded.
    pub fn facts(&self) -> Facts {
        let computed = || {
            let metres = self.height_mm? / 1000.0;
            BodyMassIndex::new(self.dose.body_mass?.get() / (metres * metres))
        };
        Facts { body_mass_index: self.facts.body_mass_index.or_else(computed), ..self.facts }
    }

    /// Reads a cell into the place of its field. Every field is named here, so that a new one does not compile without a place.
    ///
    /// # Errors
    /// Why the cell could not be understood; the draft is then unchanged.
    pub fn read(
        &mut self,
        cell: &Cell<'_>,
        names: &mut Names,
        cache: &mut Cache,
        as_of: NaiveDate,
    ) -> Result<(), Reason> {
        let Self { dose, setup, facts, .. } = self;
        match cell.field.field {
            Field::Patient => self.patient = cell.name(&mut names.patients)?,
            Field::Episode => self.episode = cell.name(&mut names.episodes)?,
            Field::Site => self.site = cell.name(&mut names.sites)?,
            Field::Clinician => self.clinician = cell.name(&mut names.clinicians)?,
            Field::Table => self.table = cell.name(&mut names.tables)?,
            Field::Date => self.date = Some(cell.date(as_of)?),
            Field::Day => self.day = Some(cell.days()? as i32),
            Field::Quarter => self.quarter = Some(cell.quarter()?),
            Field::VisitNo => self.visit_no = Some(cell.count()?),
            Field::Region => setup.region = Some(cell.word(Region::parse)?),
            Field::Condition => {
                let label = cache.label(&cell.plan.group.conditions, cell.canonical_text());
                self.condition = Some(label.ok_or(Reason::UnknownCondition)?);
            }
            Field::Icd10 => self.icd10 = cell.codes(&mut names.codes)?,
            Field::Position => setup.position = Some(cell.word(Position::named)?),
            Field::Angle => setup.angle = Degrees::new(cell.quantity(-90.0..=90.0)?),
            Field::Mode => dose.mode = Some(cell.word(Mode::named)?),
            Field::PeakForce => dose.peak_force = pull(cell, dose.body_mass)?,
            Field::LowForce => dose.low_force = pull(cell, dose.body_mass)?,
            Field::Hold => dose.hold = Seconds::new(cell.quantity(0.0..=LONGEST_PHASE_S)?),
            Field::Rest => dose.rest = Seconds::new(cell.quantity(0.0..=LONGEST_PHASE_S)?),
            Field::Ramp => dose.ramp = Seconds::new(cell.quantity(0.0..=LONGEST_PHASE_S)?),
            Field::Cycles => dose.cycles = Some(cell.count()?),
            Field::Session => dose.session = Minutes::new(cell.quantity(0.0..=LONGEST_SESSION_S)? / 60.0),
            Field::BodyMass => dose.body_mass = Kilograms::new(cell.quantity(10.0..=400.0)?),
            Field::Height => self.height_mm = Some(cell.quantity(500.0..=2_500.0)?),
            Field::BodyMassIndex => facts.body_mass_index = Some(cell.number(BodyMassIndex::new)?),
            Field::ReturnTension => {
                setup.return_tension = Newtons::new(within(0.0..=STRONGEST_PULL_N, cell.force(dose.body_mass)?)?);
            }
            Field::TensionTurns => setup.tension_turns = Some(cell.number(Turns::new)?),
            Field::SplitGap => setup.split_gap = Millimetres::new(cell.quantity(-100.0..=500.0)?),
            Field::UpperRestraint => setup.upper_restraint = Some(cell.word(UpperRestraint::named)?),
            Field::BeltLandmarkOk => setup.belt_landmark_ok = Some(cell.yes_no()?),
            Field::BeltSeated => setup.belt_seated = Some(cell.yes_no()?),
            Field::SlackCycleDone => setup.slack_cycle_done = Some(cell.yes_no()?),
            Field::LevelPull => setup.level_pull = Some(cell.yes_no()?),
            Field::TableLevel => setup.table_level = Some(cell.yes_no()?),
            Field::AdverseEvent => setup.adverse_event = Some(cell.yes_no()?),
            Field::Attended => self.attended = Some(cell.yes_no()?),
            Field::Onset => facts.onset = Some(cell.word(Onset::named)?),
            Field::OnsetDays => {
                let onset = Onset::of_days(cell.days()?).ok_or(Reason::OutsidePossible)?;
                facts.onset = facts.onset.or(Some(onset)); // a class that is written out goes before one worked out
            }
            Field::Age if cell.text == b"90+" => facts.age = Age::new(90.0),
            Field::Age => facts.age = Some(cell.number(Age::new)?),
            Field::Sex => facts.sex = Some(cell.word(Sex::named)?),
            Field::PriorSurgery => facts.prior_surgery = Some(cell.yes_no()?),
            Field::Compensation => facts.compensation = Some(cell.yes_no()?),
            Field::PlannedVisits => facts.planned_visits = Some(cell.count()?),
            Field::EndedHow => facts.ended_how = Some(cell.word(EndedHow::named)?),
        }
        Ok(())
    }
}

/// A pull that patient and table can bear.
fn pull(cell: &Cell<'_>, body_mass: Option<Kilograms>) -> Result<Option<Newtons>, Reason> {
    let force = cell.force(body_mass)?;
    if force < 0.0 {
        return Err(Reason::NegativePull);
    }
    if force > body_mass.map_or(STRONGEST_PULL_N, body_weight_n) {
        return Err(Reason::PullAboveBodyWeight);
    }
    Ok(Newtons::new(force))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::export::blocks::Block;
    use crate::export::records::Records;
    use crate::group::field::Kind;
    use crate::group::load::load;
    use crate::rows::match_columns::{CellSource, FieldPlan, UnitPlan, plan};
    use crate::units::Unit;

    /// Cells that a field understands, no two alike in what they say.
    fn cells_of(field: Field) -> &'static [&'static str] {
        match field.kind() {
            Kind::Name => &["C-0417"],
            Kind::Codes => &["M54.16"],
            Kind::Date => &["2026-03-02"],
            Kind::Quarter => &["2026-Q1"],
            Kind::Length if field == Field::Height => &["1700"],
            Kind::Days | Kind::Count | Kind::Number => &["30"],
            Kind::Force | Kind::Length | Kind::Mass | Kind::Time | Kind::Angle => &["30"],
            Kind::YesNo => &["yes", "no"],
            Kind::Word(words) => words,
            Kind::ConditionLabel => &["sciatica"],
        }
    }

    #[test]
    fn every_field_and_every_word_has_a_place_of_its_own() {
        let folder = tempfile::tempdir().unwrap();
        let put = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).unwrap();
        put(
            "group.toml",
            "name = 'G'\nas_of = 2026-10-01\n[[exports]]\nsite = 'A'\nfiles = ['e.csv']\nmapping = 'm.toml'\n",
        );
        put("m.toml", "[columns]\npatient = 'P'\ndate = 'D'\n");
        put("e.csv", "P,D\n");
        let group = load(folder.path()).unwrap();
        let header = ["P".to_owned(), "D".to_owned()];
        let plan = plan(&group, &group.exports[0].mapping, Some("A"), &header, "e.csv".as_ref()).unwrap();
        let block = Block { bytes: b"p,d\n".to_vec(), first_line: 2, strays: Vec::new(), joined: false };
        let mut records = Records::new(&block, b',');
        let record = records.next_record().unwrap();

        let mut drafts = vec![format!("{:?}", Draft::default())];
        // days since onset go where the class of onset goes
        for field in Field::ALL.iter().copied().filter(|field| *field != Field::OnsetDays) {
            let cells = cells_of(field);
            let words: Vec<(String, String)> = match field.kind() {
                Kind::YesNo | Kind::Word(_) => cells.iter().map(|word| ((*word).into(), (*word).into())).collect(),
                _ => Vec::new(),
            };
            let unit = field.kind().dimension().map(|dimension| {
                let unit = ["N", "mm", "kg", "s", "deg"].iter().find_map(|unit| Unit::parse(unit, dimension));
                UnitPlan::Fixed(unit.unwrap())
            });
            let source = CellSource::Column(0);
            let field = FieldPlan { field, kind: field.kind(), source, unit, missing: Vec::new(), words: &words };
            for text in cells {
                let mut draft = Draft::default();
                let cell = Cell { text: text.as_bytes(), field: &field, plan: &plan, record: &record };
                let read = draft.read(&cell, &mut Names::default(), &mut Cache::default(), group.as_of);
                assert_eq!(read, Ok(()), "{}: {text}", field.field);
                drafts.push(format!("{draft:?}"));
            }
        }
        let count = drafts.len();
        drafts.sort();
        drafts.dedup();
        assert_eq!(drafts.len(), count, "two cells are stored alike, or one nowhere");
    }
}
