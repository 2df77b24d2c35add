//! A hand-made row for tests.

use super::row::{Dose, Facts, NameId, Row, Setup};
use super::when::When;
use crate::catalogue::Region;
use crate::export::place::{FileId, Place};
use std::num::NonZeroU32;

/// A lumbar visit of the first patient at the first site on a day of the calendar, and nothing else recorded.
pub fn visit(day: i32) -> Row {
    Row {
        place: Place { file: FileId(0), line: 2 },
        site: NameId(NonZeroU32::MIN),
        patient: NameId(NonZeroU32::MIN),
        when: When::Calendar { day },
        episode: None,
        clinician: None,
        table: None,
        visit_no: None,
        is_visit: true,
        attended: None,
        condition: None,
        icd10: None,
        caution: false,
        dose: Dose::default(),
        setup: Setup { region: Some(Region::Lumbar), ..Setup::default() },
        facts: Facts::default(),
        scores_from: 0,
        scores_len: 0,
    }
}
