//! `fixed`: the same value in every row.

use super::super::document::{Node, refuse_formula};
use super::super::field::Kind;
use super::super::mapping::{FieldRule, FileForm, UnitRule};
use super::super::suggest::did_you_mean;
use super::words::folded;
use crate::catalogue::Conditions;
use crate::error::Problem;
use chrono::NaiveDate;

/// A constant that its field can hold, written as a cell of this export would write it.
pub(super) fn as_cell(
    rule: &FieldRule,
    text: &str,
    form: &FileForm,
    conditions: &Conditions,
    node: &Node,
) -> Result<String, Problem> {
    let known = rule.words.iter().any(|(word, _)| *word == folded(text));
    let (fits, remedy) = match rule.field.kind() {
        Kind::Word(allowed) => (known, did_you_mean(text, allowed.iter().copied())),
        Kind::YesNo => (known, "write \"yes\" or \"no\"".to_owned()),
        Kind::ConditionLabel => (
            known || conditions.by_label(text).is_some(),
            "use the key of a condition, or give it words under [words.condition]".to_owned(),
        ),
        Kind::Date => (
            NaiveDate::parse_from_str(text, &form.dates).is_ok(),
            "write the date in the form of `dates` under [file]".to_owned(),
        ),
        Kind::Name | Kind::Codes | Kind::Quarter => (!text.is_empty(), "fill it in, or take the field out".to_owned()),
        Kind::Days | Kind::Count => (known || text.parse::<i64>().is_ok(), "write a whole number".to_owned()),
        Kind::Number | Kind::Force | Kind::Length | Kind::Mass | Kind::Time | Kind::Angle => {
            match text.replace(',', ".").parse::<f64>().ok().filter(|number| number.is_finite()) {
                Some(number) => return Ok(number.to_string().replace('.', &char::from(form.decimal).to_string())),
                None => (known || rule.unit == Some(UnitRule::InCell), "write a number".to_owned()),
            }
        }
    };
    if rule.field.kind() == Kind::Name {
        refuse_formula(text, rule.field.name(), &node.spot)?;
    }
    match fits {
        true => Ok(text.to_owned()),
        false => Err(node.problem(format!("`{}` cannot be fixed to this", rule.field)).hint(remedy)),
    }
}
