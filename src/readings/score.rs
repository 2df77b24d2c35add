//! Answers -> score: ranges checked, items summed, blanks treated by the rule of the measure.

use std::fmt;

use crate::catalogue::measure::{BlankRule, Items, Measure};
use crate::rows::row::Answers;
use crate::units::Burden;

/// What was done about items left blank.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum ImputationRule {
    /// Nothing: there were no blanks, or no items.
    None,
    /// A blank counts as the mean of the items answered.
    Prorated,
    /// A blank counts as 'no'; [`if_prorated`] is the other answer.
    BlanksNotEndorsed,
}

impl ImputationRule {
    /// Its key in sheets.
    pub fn key(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Prorated => "prorated",
            Self::BlanksNotEndorsed => "blanks_not_endorsed",
        }
    }
}

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
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
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
        BlankRule::NotEndorsed => (over(items.count), ImputationRule::BlanksNotEndorsed),
    })
}

/// What a score whose blanks counted as 'no' would be if they had counted as the mean of the items answered, in the unit of
/// the measure: low + (score - low) n / answered, n all items. `None` for a measure without items, or none answered.
pub fn if_prorated(measure: &Measure, score: f64, answered: u8) -> Option<f64> {
    let all = measure.items.as_ref()?.count;
    (answered > 0).then(|| measure.low + (score - measure.low) * f64::from(all) / f64::from(answered))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::catalogue::Measures;

    fn scored(key: &str, answers: Answers) -> Result<Scored, Unscorable> {
        let measures = Measures::embedded().unwrap();
        score(measures.get(measures.find(key).unwrap()), answers)
    }

    fn items(sum: f32, answered: u8, asked: u8) -> Answers {
        Answers::Items { sum, answered, asked }
    }

    #[test]
    fn answers_are_small_for_there_are_millions() {
        assert!(size_of::<Answers>() <= 16);
    }

    #[test]
    fn oswestry_worked_values_of_the_instruction_sheets() {
        // Fairbank & Pynsent 2000 as in the usual instruction sheets: 16 of 50 = 32 %, 16 of 45 = 35.5556 %
        // (the sheets print 35.5)
        let all = scored("odi", items(16.0, 10, 10)).unwrap();
        assert_eq!((all.value, all.rule, all.items_answered), (32.0, ImputationRule::None, Some(10)));
        let one_blank = scored("odi", items(16.0, 9, 10)).unwrap();
        assert_eq!((one_blank.value, one_blank.rule), (1600.0 / 45.0, ImputationRule::Prorated));
        assert_eq!(scored("odi", items(50.0, 10, 10)).unwrap().burden.get(), 100.0);
    }

    #[test]
    fn oswestry_and_neck_index_need_8_of_10_items() {
        // common practice, from memory, check before relying on it
        for key in ["odi", "ndi"] {
            assert!(scored(key, items(16.0, 8, 10)).is_ok());
            assert_eq!(scored(key, items(16.0, 7, 10)), Err(Unscorable::TooFewItems { answered: 7, needed: 8 }));
        }
        assert_eq!(Unscorable::TooFewItems { answered: 7, needed: 8 }.to_string(), "7 items answered, 8 needed");
    }

    #[test]
    fn the_neck_index_adds_the_mean_of_the_other_items_for_a_blank() {
        // Vernon's note on scoring: 18 over 9 items, mean 2, gives 20 of 50
        assert_eq!(scored("ndi", items(18.0, 9, 10)).unwrap().value, 20.0);
    }

    #[test]
    fn roland_morris_examples_of_kent_and_lauridsen() {
        // Managing missing scores on the RMDQ, on a form of 23 items: 17 of 23 -> 74 of 100; with 3 unanswered,
        // 17 of 20 -> 85
        let prorated_of_100 = |answered| {
            let scored = scored("rmdq", items(17.0, answered, 23)).unwrap();
            assert_eq!(scored.value, 17.0);
            assert_eq!(scored.rule.key(), "blanks_not_endorsed");
            let measures = Measures::embedded().unwrap();
            let measure = measures.get(measures.find("rmdq").unwrap());
            if_prorated(measure, scored.value, answered).unwrap() / 24.0 * 100.0
        };
        assert!((prorated_of_100(23) - 100.0 * 17.0 / 23.0).abs() < 1e-12);
        assert_eq!(prorated_of_100(23).round(), 74.0);
        assert!((prorated_of_100(20) - 85.0).abs() < 1e-12);
        assert_eq!(scored("rmdq", items(17.0, 24, 24)).unwrap().rule, ImputationRule::None);
        assert!(matches!(scored("rmdq", items(0.0, 0, 24)), Err(Unscorable::TooFewItems { answered: 0, .. })));
    }

    #[test]
    fn activities_that_a_patient_did_not_name_are_no_blanks() {
        let three = scored("psfs", items(12.0, 3, 5)).unwrap();
        assert_eq!((three.value, three.burden.get(), three.rule), (4.0, 60.0, ImputationRule::None));
    }

    #[test]
    fn values_and_items_outside_the_range_give_no_score() {
        for answers in [
            Answers::Value(101.0),
            Answers::Value(-1.0),
            Answers::Value(f64::NAN),
            items(51.0, 10, 10),
            items(-1.0, 10, 10),
            items(f32::NAN, 10, 10),
            items(10.0, 10, 9),
            items(10.0, 11, 11),
        ] {
            assert_eq!(scored("odi", answers), Err(Unscorable::OutOfRange), "{answers:?}");
        }
        assert_eq!(scored("pain_nrs", items(5.0, 1, 1)), Err(Unscorable::NoItems));
        assert_eq!(scored("pain_nrs", Answers::Value(7.0)).unwrap().burden.get(), 70.0);
    }
}
