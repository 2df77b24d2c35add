//! Answers -> score: ranges checked, items summed, blanks treated by the rule of the measure.

use std::fmt;

use crate::catalogue::measure::{BlankRule, Items, Measure};
use crate::units::Burden;

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
        /// Items asked.
        asked: u8,
    },
}

/// What was done about items left blank.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum ImputationRule {
    /// Nothing: there were no blanks, or no items.
    None,
    /// A blank counts as the mean of the items answered.
    Prorated,
    /// A blank counts as 'no'.
    BlanksNotEndorsed {
        /// The score in the unit of the measure if blanks had counted as the mean of the items answered.
        prorated: f64,
    },
}

impl ImputationRule {
    /// Its key in sheets.
    pub fn key(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Prorated => "prorated",
            Self::BlanksNotEndorsed { .. } => "blanks_not_endorsed",
        }
    }
}

/// A score.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Scored {
    /// In the unit of the measure.
    pub value: f64,
    /// From 0 (best) to 100 (worst).
    pub burden: Burden,
    /// Items answered, where there were items.
    pub items_answered: Option<u8>,
    /// What was done about blanks.
    pub rule: ImputationRule,
}

/// Why there is no score.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Unscorable {
    /// Fewer items were answered than the measure needs.
    TooFewItems {
        /// Items answered.
        answered: u8,
        /// The fewest that give a score.
        needed: u8,
    },
    /// A score or an item outside its range, or more answers than items.
    OutOfRange,
    /// Items for a measure that has none.
    NoItems,
}

impl fmt::Display for Unscorable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooFewItems { answered, needed } => write!(f, "{answered} items answered, {needed} needed"),
            Self::OutOfRange => f.write_str("outside the range of the measure"),
            Self::NoItems => f.write_str("items for a measure that is a single number"),
        }
    }
}

impl std::error::Error for Unscorable {}

/// Scores one set of answers.
///
/// # Errors
/// When too few items were answered, or a value lies outside the range of the measure.
pub fn score(measure: &Measure, answers: Answers) -> Result<Scored, Unscorable> {
    let (value, items_answered, rule) = match answers {
        Answers::Value(value) => (value, None, ImputationRule::None),
        Answers::Items { sum, answered, asked } => {
            let items = measure.items.as_ref().ok_or(Unscorable::NoItems)?;
            let (value, rule) = score_items(measure, items, f64::from(sum), answered, asked)?;
            (value, Some(answered), rule)
        }
    };
    let burden = measure.burden(value).ok_or(Unscorable::OutOfRange)?;
    Ok(Scored { value, burden, items_answered, rule })
}

/// score = low + (high - low) sum / (item_max n), n the items answered (prorated) or all of them.
fn score_items(
    measure: &Measure,
    items: &Items,
    sum: f64,
    answered: u8,
    asked: u8,
) -> Result<(f64, ImputationRule), Unscorable> {
    let highest_sum = items.item_max * f64::from(answered);
    if answered > asked || asked > items.count || !(0.0..=highest_sum).contains(&sum) {
        return Err(Unscorable::OutOfRange);
    }
    if answered < items.fewest_answered {
        return Err(Unscorable::TooFewItems { answered, needed: items.fewest_answered });
    }
    let over = |n: u8| measure.low + (measure.high - measure.low) * sum / (items.item_max * f64::from(n));
    Ok(match items.rule {
        BlankRule::MeanOfNamed => (over(answered), ImputationRule::None),
        _ if answered == items.count => (over(answered), ImputationRule::None),
        BlankRule::Prorate => (over(answered), ImputationRule::Prorated),
        BlankRule::NotEndorsed => (over(items.count), ImputationRule::BlanksNotEndorsed { prorated: over(answered) }),
    })
}
