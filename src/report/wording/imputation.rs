//! What imputing the missing says about the responders.

use super::phrases::{definition, unit_of_change};
use super::{decimal, percent};
use crate::findings::bulletin::{Estimate, Tipping};

/// How it was done.
pub const HOW: &str = "Imputed rate: what is missing of a patient's baseline or endpoint is drawn 50 times (10 times where over 1,000 are lost) from \
     the fitted course for that patient, given the readings there are, and the rates are pooled by Rubin's rules on the logit. \
     That is right if whoever was lost went on as their own readings predict; nothing in the data can show it.";
/// Where no curve was fitted.
pub const NOT_IMPUTED: &str = "Nothing is imputed here, since there is no fitted course to draw from.";
/// In a cell without an imputed rate.
pub const NONE: &str = "none";
/// Heading of the column.
pub const COLUMN: &str = "imputed (95\u{a0}%\u{a0}CI)";

/// How much worse the lost would have to be.
pub fn tipping(key: &str, label: &str, tipping: Tipping, seen: &Estimate, unit: &str, places: usize) -> String {
    let limit = percent(seen.low);
    let unit = unit_of_change(unit);
    let verdict = match tipping {
        Tipping::Worse(by) => format!(
            "the imputed rate falls below {limit}, the lower limit of the rate seen, once every patient lost ended {} {unit} \
             worse than imputed",
            decimal(by, places)
        ),
        Tipping::AlreadyBelow => {
            format!("the imputed rate already lies below {limit}, the lower limit of the rate seen: those lost matter")
        }
        Tipping::Never => format!(
            "even had every patient lost ended at the worst score, the imputed rate would not fall below {limit}, the lower \
             limit of the rate seen"
        ),
    };
    format!("{}: {verdict}.", name(key, label))
}

/// A definition without its threshold where it has a name.
fn name(key: &str, label: &str) -> String {
    let full = definition(key, label);
    full.split_once(": ").map_or(full.clone(), |(name, _)| name.to_string())
}

/// Before those sentences.
pub const TIPPING_INTRO: &str = "How much worse than imputed the lost would have to be to change the message:";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_tipping_point_is_a_sentence_with_its_limit_and_unit() {
        let seen = Estimate { value: 0.62, low: 0.56, high: 0.67 };
        let say = |case| tipping("fifty_percent", "at least 50 % lower", case, &seen, "%", 1);
        assert_eq!(
            say(Tipping::Worse(7.42)),
            "At least 50\u{a0}% lower: the imputed rate falls below 56\u{a0}%, the lower limit of the rate seen, \
             once every patient lost ended 7.4 percentage points worse than imputed."
        );
        assert!(say(Tipping::AlreadyBelow).contains("already lies below 56\u{a0}%"));
        assert!(say(Tipping::Never).contains("would not fall below 56\u{a0}%"));
        let named = tipping("minimal_important", "at least 2 points lower", Tipping::Never, &seen, "points", 1);
        assert!(named.starts_with("Minimal important change: even had"), "{named}");
    }
}
