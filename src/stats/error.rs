//! What can be wrong with the numbers handed in.
//!
//! The messages name the argument, never a value: a value may come from a patient's record.

use std::fmt;

/// Why the numbers handed in cannot be used.
#[derive(Debug, Clone, PartialEq, Eq)]
#[non_exhaustive]
pub enum InputError {
    /// A single argument lies outside its domain, or is NaN.
    OutOfRange {
        /// The argument, as a reader would call it.
        what: &'static str,
        /// Its domain in words.
        domain: &'static str,
    },
    /// An element of a slice is NaN, infinite, or outside the slice's domain.
    BadElement {
        /// The slice.
        what: &'static str,
        /// Position of the first such element, from 0.
        index: usize,
        /// The domain in words.
        domain: &'static str,
    },
    /// Two slices that run side by side have different lengths.
    LengthsDiffer {
        /// The slice that does not fit.
        what: &'static str,
        /// Length it should have.
        expected: usize,
        /// Length it has.
        found: usize,
    },
    /// There are fewer observations (or groups) than the formula needs.
    TooFew {
        /// What is counted.
        what: &'static str,
        /// How many are needed at least.
        needed: usize,
        /// How many there are.
        found: usize,
    },
    /// A regression term is a linear combination of the terms before it.
    RankDeficient {
        /// Name of the first such term.
        term: String,
    },
}

impl fmt::Display for InputError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::OutOfRange { what, domain } => write!(f, "{what} must be {domain}"),
            Self::BadElement { what, index, domain } => {
                write!(f, "{what}: element {index} (counted from 0) must be {domain}")
            }
            Self::LengthsDiffer { what, expected, found } => {
                write!(f, "{what}: {expected} elements expected, {found} found")
            }
            Self::TooFew { what, needed, found } => {
                write!(f, "at least {needed} {what} needed, {found} found")
            }
            Self::RankDeficient { term } => {
                write!(f, "the term '{term}' is a linear combination of the terms before it")
            }
        }
    }
}

impl std::error::Error for InputError {}

/// Refuses a slice that holds a NaN or an infinity.
pub(crate) fn all_finite(what: &'static str, values: &[f64]) -> Result<(), InputError> {
    match values.iter().position(|v| !v.is_finite()) {
        Some(index) => Err(InputError::BadElement { what, index, domain: "a finite number" }),
        None => Ok(()),
    }
}

/// Refuses a slice whose length is not `expected`.
pub(crate) fn same_length(what: &'static str, expected: usize, found: usize) -> Result<(), InputError> {
    if expected == found { Ok(()) } else { Err(InputError::LengthsDiffer { what, expected, found }) }
}

/// Refuses a count below `needed`.
pub(crate) fn at_least(what: &'static str, needed: usize, found: usize) -> Result<(), InputError> {
    if found >= needed { Ok(()) } else { Err(InputError::TooFew { what, needed, found }) }
}

/// Refuses weights that are not positive and finite, or not one for each of `expected` observations.
pub(crate) fn positive_weights(weights: &[f64], expected: usize) -> Result<(), InputError> {
    same_length("weights", expected, weights.len())?;
    match weights.iter().position(|w| !(w.is_finite() && *w > 0.0)) {
        Some(index) => Err(InputError::BadElement { what: "weights", index, domain: "positive and finite" }),
        None => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_message_names_the_argument_and_the_position_but_never_the_value() {
        let error = all_finite("before", &[1.0, f64::NAN, 731.25]).unwrap_err();
        assert_eq!(error.to_string(), "before: element 1 (counted from 0) must be a finite number");
    }

    #[test]
    fn a_weight_must_be_positive_finite_and_have_an_observation() {
        assert!(positive_weights(&[1.0, 2.0], 2).is_ok());
        for bad in [[1.0, 0.0], [1.0, -1.0], [1.0, f64::NAN], [1.0, f64::INFINITY]] {
            assert!(matches!(positive_weights(&bad, 2), Err(InputError::BadElement { index: 1, .. })));
        }
        assert!(matches!(positive_weights(&[1.0], 2), Err(InputError::LengthsDiffer { expected: 2, found: 1, .. })));
    }
}
