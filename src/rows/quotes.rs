//! What the mapping and the header say of quoted cells with line ends: for [`crate::export::stray_quotes`].

use super::match_columns::{CellSource, Plan};
use super::read_block::clean;
use crate::export::records::Record;
use crate::export::stray_quotes::QuoteRule;
use crate::group::field::Field;

/// The rule for the rows of a file.
pub fn quote_rule<'p>(plan: &'p Plan<'_>) -> QuoteRule<'p> {
    QuoteRule {
        width: plan.width,
        text: plan.text.clone(),
        is_row: Box::new(move |record| names_patient_and_day(plan, record)),
    }
}

/// Whether a record names a patient, and a day in the declared form.
fn names_patient_and_day(plan: &Plan<'_>, record: &Record<'_>) -> bool {
    plan.fields.iter().all(|field| {
        let CellSource::Column(column) = field.source else { return true };
        let cell = clean(record.get(usize::from(column)));
        match field.field {
            Field::Patient => !cell.is_empty(),
            Field::Date => plan.dates.read(cell).is_some(),
            Field::Day => plan.numbers.read(cell).is_some(),
            _ => true,
        }
    })
}
