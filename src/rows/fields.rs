//! One cell -> one field of a row in the making.

use super::dates;
use super::match_columns::{FieldPlan, Plan};
use super::names::{NameList, Names};
use super::quantities;
use super::reason::Reason;
use super::row::{
    Age, BodyMassIndex, Dose, EndedHow, Facts, Mode, NameId, Onset, Position, Setup, Sex, Turns, UpperRestraint,
};
use super::when::{DAY_OFFSETS, Quarter, When};
use crate::catalogue::{CellCodes, ConditionId, Conditions, Region};
use crate::export::records::Record;
use crate::group::field::{Field, Kind};
use crate::group::plain_text::has_control;
use crate::units::{Degrees, Kilograms, Millimetres, Minutes, Newtons, Seconds, body_weight_n};
use chrono::NaiveDate;
use std::collections::HashMap;

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
}

/// What need not be worked out twice within a block.
#[derive(Default, Debug)]
pub struct Cache {
    labels: HashMap<Box<[u8]>, Option<ConditionId>>,
    codes: HashMap<(Box<str>, Option<Quarter>), CellCodes>,
}

impl Cache {
    /// The conditions of a codes cell on a day. Codes change with a quarter's first day, so the quarter is enough to remember them by.
    pub fn codes(&mut self, conditions: &Conditions, cell: &str, when: When) -> CellCodes {
        let quarter = when.quarter();
        if let Some(known) = self.codes.get(&(Box::from(cell), quarter)) {
            return *known;
        }
        let on = when.date().or(quarter.map(Quarter::first_day));
        let found = conditions.parse_cell(cell, on);
        self.codes.insert((cell.into(), quarter), found);
        found
    }

    fn label(&mut self, conditions: &Conditions, cell: &[u8]) -> Option<ConditionId> {
        if let Some(known) = self.labels.get(cell) {
            return *known;
        }
        let found = std::str::from_utf8(cell).ok().and_then(|text| conditions.by_label(text));
        self.labels.insert(cell.into(), found);
        found
    }
}

/// Reads a cell that is neither empty nor missing into the draft.
///
/// # Errors
/// Why the cell could not be understood; the draft is then unchanged.
#[expect(
    clippy::too_many_arguments,
    reason = "the hot path passes its parts by reference instead of bundling them per cell"
)]
pub fn read(
    plan: &Plan<'_>,
    field: &FieldPlan<'_>,
    cell: &[u8],
    record: &Record<'_>,
    draft: &mut Draft,
    names: &mut Names,
    cache: &mut Cache,
    as_of: NaiveDate,
) -> Result<(), Reason> {
    match field.kind {
        Kind::Name | Kind::Codes => {
            let cell = canonical_word(field, cell).map_or(cell, str::as_bytes);
            if field.kind == Kind::Codes && !codes_of(cell).all(is_code) {
                return read_name(field.field, &codes_alone(cell).ok_or(Reason::UnknownCode)?, draft, names);
            }
            read_name(field.field, cell, draft, names)
        }
        Kind::Date => {
            let date = plan.dates.read(cell).ok_or(Reason::NotADate)?;
            if dates::too_early(date) {
                return Err(Reason::DateTooEarly);
            }
            if date > as_of {
                return Err(Reason::DateInFuture);
            }
            draft.date = Some(date);
            Ok(())
        }
        Kind::Days => {
            let days = number(plan, field, cell, Reason::NotDays)?;
            if days.fract() != 0.0 || !DAY_OFFSETS.contains(&days) {
                return Err(Reason::NotDays);
            }
            match field.field {
                Field::Day => draft.day = Some(days as i32),
                _ => {
                    draft.facts.onset = draft.facts.onset.or(Some(Onset::of_days(days).ok_or(Reason::OutsidePossible)?))
                }
            }
            Ok(())
        }
        Kind::Quarter => {
            let text = std::str::from_utf8(cell).map_err(|_| Reason::NotAQuarter)?;
            draft.quarter = Some(Quarter::parse(text).ok_or(Reason::NotAQuarter)?);
            Ok(())
        }
        Kind::Count => read_count(plan, field, cell, draft),
        Kind::Number => read_number(plan, field, cell, draft),
        Kind::Force | Kind::Length | Kind::Mass | Kind::Time | Kind::Angle => {
            let si = quantities::read(plan, field, cell, record, draft.dose.body_mass)?;
            store_quantity(field.field, si, draft)
        }
        Kind::YesNo => {
            let answer = yes_no(field, cell).ok_or(Reason::UnknownWord)?;
            store_yes_no(field.field, answer, draft).ok_or(Reason::UnknownWord)
        }
        Kind::Word(_) => {
            let word = canonical_word(field, cell).ok_or(Reason::UnknownWord)?;
            store_word(field.field, word, draft).ok_or(Reason::UnknownWord)
        }
        Kind::ConditionLabel => {
            let found = match canonical_word(field, cell) {
                Some(word) => cache.label(&plan.group.conditions, word.as_bytes()),
                None => cache.label(&plan.group.conditions, cell),
            };
            draft.condition = Some(found.ok_or(Reason::UnknownCondition)?);
            Ok(())
        }
    }
}

/// The parts of a codes cell.
fn codes_of(cell: &[u8]) -> impl Iterator<Item = &[u8]> {
    cell.split(|b| b";,|/ \n".contains(b)).filter(|part| !part.is_empty())
}

/// A letter, a digit, a letter or digit, then after an optional dot up to four more (ICD-10-CM).
fn is_code(part: &[u8]) -> bool {
    let is_alphanumeric = |part: &[u8]| part.iter().all(u8::is_ascii_alphanumeric);
    let [letter, digit, third, rest @ ..] = part else { return false };
    let rest = rest.strip_prefix(b".").unwrap_or(rest);
    letter.is_ascii_alphabetic()
        && digit.is_ascii_digit()
        && is_alphanumeric(&[*third])
        && is_alphanumeric(rest)
        && rest.len() <= 4
}

/// The codes of a cell that holds other words as well, which may be anybody's; `None` when it holds no code.
fn codes_alone(cell: &[u8]) -> Option<Vec<u8>> {
    let codes: Vec<&[u8]> = codes_of(cell).filter(|part| is_code(part)).collect();
    (!codes.is_empty()).then(|| codes.join(&b' '))
}

fn read_name(field: Field, cell: &[u8], draft: &mut Draft, names: &mut Names) -> Result<(), Reason> {
    if cell.len() > 200 {
        return Err(Reason::NameTooLong);
    }
    let text = std::str::from_utf8(cell).map_err(|_| Reason::UnknownWord)?;
    let spaced; // codes may stand one a line, other names may not
    let text = match has_control(text) {
        false => text,
        true if field == Field::Icd10 => {
            spaced = text.replace(char::is_control, " ");
            if has_control(&spaced) {
                return Err(Reason::ControlCharacter);
            }
            &spaced
        }
        true => return Err(Reason::ControlCharacter),
    };
    let put = |list: &mut NameList| list.intern(text);
    match field {
        Field::Patient => draft.patient = put(&mut names.patients),
        Field::Site => draft.site = put(&mut names.sites),
        Field::Clinician => draft.clinician = put(&mut names.clinicians),
        Field::Table => draft.table = put(&mut names.tables),
        Field::Episode => draft.episode = put(&mut names.episodes),
        Field::Icd10 => draft.icd10 = put(&mut names.codes),
        _ => return Err(Reason::UnknownWord),
    }
    Ok(())
}

/// A number, or a word that the mapping turns into one.
fn number(plan: &Plan<'_>, field: &FieldPlan<'_>, cell: &[u8], otherwise: Reason) -> Result<f64, Reason> {
    let text = match canonical_word(field, cell) {
        Some(word) => return word.parse().map_err(|_| otherwise),
        None => cell,
    };
    plan.numbers.read(text).ok_or(otherwise)
}

fn read_count(plan: &Plan<'_>, field: &FieldPlan<'_>, cell: &[u8], draft: &mut Draft) -> Result<(), Reason> {
    let count = number(plan, field, cell, Reason::NotACount)?;
    if count.fract() != 0.0 || !(0.0..=65_535.0).contains(&count) {
        return Err(Reason::NotACount);
    }
    let count = count as u16;
    match field.field {
        Field::VisitNo => draft.visit_no = Some(count),
        Field::Cycles => draft.dose.cycles = Some(count),
        Field::PlannedVisits => draft.facts.planned_visits = Some(count),
        _ => return Err(Reason::NotACount),
    }
    Ok(())
}

fn read_number(plan: &Plan<'_>, field: &FieldPlan<'_>, cell: &[u8], draft: &mut Draft) -> Result<(), Reason> {
    if field.field == Field::Age && cell == b"90+" {
        draft.facts.age = Age::new(90.0);
        return Ok(());
    }
    let number = number(plan, field, cell, Reason::NotANumber)?;
    match field.field {
        Field::Age => draft.facts.age = Some(Age::new(number).ok_or(Reason::OutsidePossible)?),
        Field::BodyMassIndex => {
            draft.facts.body_mass_index = Some(BodyMassIndex::new(number).ok_or(Reason::OutsidePossible)?);
        }
        Field::TensionTurns => draft.setup.tension_turns = Some(Turns::new(number).ok_or(Reason::OutsidePossible)?),
        _ => return Err(Reason::NotANumber),
    }
    Ok(())
}

/// The strongest pull taken for possible when the body mass is not known: the weight of about 200 kg.
const STRONGEST_PULL_N: f64 = 2_000.0;

fn store_quantity(field: Field, si: f64, draft: &mut Draft) -> Result<(), Reason> {
    let inside = |low: f64, high: f64| if (low..=high).contains(&si) { Ok(()) } else { Err(Reason::OutsidePossible) };
    match field {
        Field::PeakForce | Field::LowForce => {
            if si < 0.0 {
                return Err(Reason::NegativePull);
            }
            let most = draft.dose.body_mass.map_or(STRONGEST_PULL_N, body_weight_n);
            if si > most {
                return Err(Reason::PullAboveBodyWeight);
            }
            match field {
                Field::PeakForce => draft.dose.peak_force = Newtons::new(si),
                _ => draft.dose.low_force = Newtons::new(si),
            }
        }
        Field::ReturnTension => {
            inside(0.0, STRONGEST_PULL_N)?;
            draft.setup.return_tension = Newtons::new(si);
        }
        Field::BodyMass => {
            inside(10.0, 400.0)?;
            draft.dose.body_mass = Kilograms::new(si);
        }
        Field::Height => {
            inside(500.0, 2_500.0)?;
            draft.height_mm = Some(si);
        }
        Field::SplitGap => {
            inside(-100.0, 500.0)?;
            draft.setup.split_gap = Millimetres::new(si);
        }
        Field::Angle => {
            inside(-90.0, 90.0)?;
            draft.setup.angle = Degrees::new(si);
        }
        Field::Session => {
            inside(0.0, 4.0 * 3_600.0)?;
            draft.dose.session = Minutes::new(si / 60.0);
        }
        _ => {
            inside(0.0, 3_600.0)?;
            let time = Seconds::new(si);
            match field {
                Field::Hold => draft.dose.hold = time,
                Field::Rest => draft.dose.rest = time,
                _ => draft.dose.ramp = time,
            }
        }
    }
    Ok(())
}

fn yes_no(field: &FieldPlan<'_>, cell: &[u8]) -> Option<bool> {
    match canonical_word(field, cell)? {
        "yes" => Some(true),
        "no" => Some(false),
        _ => None,
    }
}

/// `None` for a field that has no place of its own.
fn store_yes_no(field: Field, answer: bool, draft: &mut Draft) -> Option<()> {
    let answer = Some(answer);
    match field {
        Field::BeltLandmarkOk => draft.setup.belt_landmark_ok = answer,
        Field::BeltSeated => draft.setup.belt_seated = answer,
        Field::SlackCycleDone => draft.setup.slack_cycle_done = answer,
        Field::LevelPull => draft.setup.level_pull = answer,
        Field::TableLevel => draft.setup.table_level = answer,
        Field::AdverseEvent => draft.setup.adverse_event = answer,
        Field::Attended => draft.attended = answer,
        Field::PriorSurgery => draft.facts.prior_surgery = answer,
        Field::Compensation => draft.facts.compensation = answer,
        _ => return None,
    }
    Some(())
}

/// The canonical word of a cell: exact first, then whatever the case.
fn canonical_word<'w>(field: &FieldPlan<'w>, cell: &[u8]) -> Option<&'w str> {
    if field.words.is_empty() {
        return None;
    }
    let exact = field.words.iter().find(|(word, _)| word.as_bytes() == cell);
    if let Some((_, canonical)) = exact {
        return Some(canonical);
    }
    if cell.is_ascii() {
        return field
            .words
            .iter()
            .find(|(word, _)| word.as_bytes().eq_ignore_ascii_case(cell))
            .map(|(_, c)| c.as_str());
    }
    let lower = std::str::from_utf8(cell).ok()?.to_lowercase();
    field.words.iter().find(|(word, _)| *word == lower).map(|(_, canonical)| canonical.as_str())
}

fn store_word(field: Field, word: &str, draft: &mut Draft) -> Option<()> {
    match field {
        Field::Region => draft.setup.region = Some(Region::parse(word)?),
        Field::Position => {
            draft.setup.position = Some(match word {
                "prone" => Position::Prone,
                "supine" => Position::Supine,
                _ => return None,
            });
        }
        Field::Mode => {
            draft.dose.mode = Some(match word {
                "static" => Mode::Static,
                "intermittent" => Mode::Intermittent,
                _ => return None,
            });
        }
        Field::UpperRestraint => {
            draft.setup.upper_restraint = Some(match word {
                "handholds" => UpperRestraint::Handholds,
                "chest harness" => UpperRestraint::ChestHarness,
                "axillary posts" => UpperRestraint::AxillaryPosts,
                "none" => UpperRestraint::None,
                _ => return None,
            });
        }
        Field::Onset => {
            draft.facts.onset = Some(match word {
                "acute" => Onset::Acute,
                "subacute" => Onset::Subacute,
                "persistent" => Onset::Persistent,
                _ => return None,
            });
        }
        Field::Sex => {
            draft.facts.sex = Some(match word {
                "female" => Sex::Female,
                "male" => Sex::Male,
                "other" => Sex::Other,
                _ => return None,
            });
        }
        Field::EndedHow => {
            draft.facts.ended_how = Some(match word {
                "completed" => EndedHow::Completed,
                "stopped early" => EndedHow::StoppedEarly,
                "referred on" => EndedHow::ReferredOn,
                "lost" => EndedHow::Lost,
                "ongoing" => EndedHow::Ongoing,
                _ => return None,
            });
        }
        _ => return None,
    }
    Some(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_yes_no_field_and_every_word_has_a_place_of_its_own() {
        let mut stored: Vec<String> = Vec::new();
        for field in Field::ALL {
            let mut note = |draft: &Draft| stored.push(format!("{draft:?}"));
            match field.kind() {
                Kind::YesNo => {
                    let mut draft = Draft::default();
                    assert_eq!(store_yes_no(*field, true, &mut draft), Some(()), "{field}");
                    note(&draft);
                }
                Kind::Word(words) => {
                    for word in words {
                        let mut draft = Draft::default();
                        let known = store_word(*field, word, &mut draft).is_some();
                        assert!(known, "{field}: {word}");
                        note(&draft);
                    }
                }
                _ => {}
            }
        }
        stored.push(format!("{:?}", Draft::default()));
        let count = stored.len();
        stored.sort();
        stored.dedup();
        assert_eq!(stored.len(), count, "two answers are stored alike, or one nowhere");
    }

    #[test]
    fn a_codes_cell_keeps_its_codes_alone() {
        let alone = |cell: &str| codes_alone(cell.as_bytes()).map(|codes| String::from_utf8(codes).unwrap());
        assert_eq!(alone("M54.16 Quillfeather, Anna; M51.26"), Some("M54.16 M51.26".into()));
        assert_eq!(alone("Quillfeather"), None);
        for code in ["M54.16", "M5416", "m54.5", "S33.5XXA", "J45"] {
            assert!(is_code(code.as_bytes()), "{code}");
        }
        for word in ["", "M5", "Anna", "C-0417", "A19580312", "M54.16789"] {
            assert!(!is_code(word.as_bytes()), "{word}");
        }
    }
}
