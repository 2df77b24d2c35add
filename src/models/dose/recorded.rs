//! Whether a visit is as a standard asks.

use crate::catalogue::region::Region;
use crate::catalogue::setup_standard::{SetupStandard, StandardItem};
use crate::rows::row::{Position, Row};
use crate::visits::parameter_value::value;

/// Whether a visit meets every item of a standard that holds for it and that it records; `None` where it records none of them. An
/// item for one position holds for visits that record that position.
pub fn meets_standard(standard: &SetupStandard, region: Region, row: &Row) -> Option<bool> {
    let position = row.setup.position.map(|position| match position {
        Position::Prone => "prone",
        Position::Supine => "supine",
    });
    let holds = |item: &&StandardItem| item.region == region && (item.position.is_none() || item.position == position);
    let met = |item: &StandardItem| Some(item.target.is_met_by(value(row, item.parameter)?));
    standard.items.iter().filter(holds).filter_map(met).reduce(|all, met| all && met)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::parameter::Parameter;
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
    fn a_visit_is_held_against_what_it_records_and_what_holds_for_it() {
        let items = vec![
            item(Parameter::ReturnTension, None, Target::Number { aim: 180.0, low: 160.0, high: 200.0 }),
            item(Parameter::BeltSeated, None, Target::YesNo(true)),
            item(Parameter::Angle, Some("supine"), Target::Number { aim: 20.0, low: 15.0, high: 25.0 }),
        ];
        let standard = SetupStandard { is_default: true, items, rules: Default::default() };
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
