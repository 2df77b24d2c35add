//! A group's written setup standard: what each parameter should be, and which recorded numbers are not possible.

use super::parameter::Parameter;
use super::possible_rules::PossibleRules;
use super::region::Region;

/// A written setup standard.
#[derive(Clone, PartialEq, Debug)]
pub struct SetupStandard {
    /// Whether its items are the program's own, of common-practice values.
    pub is_default: bool,
    /// The items, in the order of the file. At most one holds for a parameter, region and position.
    pub items: Vec<StandardItem>,
    /// Which recorded numbers are not possible.
    pub rules: PossibleRules,
}

/// The program's own standard as text, in the form in which a group writes its own.
pub fn default_text() -> &'static str {
    include_str!("setup_standard.toml")
}

/// What one parameter should be.
#[derive(Clone, PartialEq, Debug)]
pub struct StandardItem {
    pub parameter: Parameter,
    /// The region it holds for.
    pub region: Region,
    /// The position it holds for, as a word of [`Parameter::Position`]; all when absent.
    pub position: Option<&'static str>,
    pub target: Target,
    /// How binding it is.
    pub grade: Grade,
    /// The unit that the standard gives it in and people read it in.
    pub unit: ReadingUnit,
    pub source: String,
    /// What to bear in mind; may be empty.
    pub note: String,
}

/// What a parameter should be, in the parameter's own unit.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Target {
    /// A number from `low` to `high`, both included.
    Number {
        /// The number aimed at.
        aim: f64,
        /// The least that is still right.
        low: f64,
        /// The most that is still right.
        high: f64,
    },
    YesNo(bool),
    /// The word at this position of the parameter's words.
    Word(usize),
}

impl Target {
    /// Whether a recorded value of the parameter is as it should be. A number may be off by a billionth: units were converted.
    pub fn is_met_by(self, value: f64) -> bool {
        match self {
            Self::Number { low, high, .. } => {
                let rounding = 1e-9 * low.abs().max(high.abs()).max(1.0);
                (low - rounding..=high + rounding).contains(&value)
            }
            Self::YesNo(yes) => (value == 1.0) == yes,
            Self::Word(position) => value == position as f64,
        }
    }
}

/// How binding an item is.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Grade {
    /// Must be met.
    Required,
    /// Should be met.
    Advised,
}

impl Grade {
    /// Its word in standards and sheets.
    pub fn key(self) -> &'static str {
        match self {
            Self::Required => "required",
            Self::Advised => "advised",
        }
    }
}

/// A unit for people: a symbol, and how many of the parameter's own unit one is.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct ReadingUnit {
    /// The symbol; empty for a yes or no and for words.
    pub symbol: &'static str,
    /// How many of the parameter's own unit one is.
    pub factor: f64,
}
