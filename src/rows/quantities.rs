//! A quantity in a cell -> its SI unit.

use super::match_columns::{FieldPlan, Plan, UnitPlan};
use super::reason::Reason;
use crate::export::records::Record;
use crate::units::{Kilograms, STANDARD_GRAVITY, Unit};

/// Reads a quantity in N, mm, kg, s or degrees.
///
/// # Errors
/// Not a number, no or an impossible unit, or a percentage of body weight without a body mass.
pub fn read(
    plan: &Plan<'_>,
    field: &FieldPlan<'_>,
    cell: &[u8],
    record: &Record<'_>,
    body_mass: Option<Kilograms>,
) -> Result<f64, Reason> {
    let dimension = field.kind.dimension().ok_or(Reason::UnitImpossible)?;
    let parse = |text: &[u8]| {
        std::str::from_utf8(text).ok().and_then(|text| Unit::parse(text, dimension)).ok_or(Reason::UnitImpossible)
    };
    let (number, unit) = match field.unit {
        Some(UnitPlan::Column(column)) => {
            let unit = record.get(usize::from(column)).trim_ascii();
            if unit.is_empty() {
                return Err(Reason::UnitMissing);
            }
            (plan.numbers.read(cell).ok_or(Reason::NotANumber)?, parse(unit)?)
        }
        Some(UnitPlan::InCell) => {
            let (number, unit) = plan.numbers.read_with_unit(cell).ok_or(Reason::NotANumber)?;
            if unit.is_empty() {
                return Err(Reason::UnitMissing);
            }
            (number, parse(unit)?)
        }
        fixed => {
            let declared = match fixed {
                Some(UnitPlan::Fixed(unit)) => unit,
                _ => Unit::Degree, // angles are in degrees unless said otherwise
            };
            match plan.numbers.read(cell) {
                Some(number) => (number, declared),
                None => {
                    // `40 lb` in a column declared lb is fine; another unit is not
                    let (number, unit) = plan.numbers.read_with_unit(cell).ok_or(Reason::NotANumber)?;
                    if parse(unit)? != declared {
                        return Err(Reason::UnitImpossible);
                    }
                    (number, declared)
                }
            }
        }
    };
    match unit.factor() {
        Some(factor) => Ok(number * factor),
        None if !(0.0..=100.0).contains(&number) => {
            Err(if number < 0.0 { Reason::NegativePull } else { Reason::PullAboveBodyWeight })
        }
        None => body_mass.map(|mass| number / 100.0 * mass.get() * STANDARD_GRAVITY).ok_or(Reason::BodyMassMissing),
    }
}
