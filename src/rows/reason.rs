//! Why a row is rejected or a cell blanked. Never the cell's own text: it may identify a person.

use std::fmt;

/// A reason, for a row or for a cell.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Reason {
    /// The row has another number of fields than the header.
    FieldCount,
    /// A quoted cell goes on past the line's end where no line end is allowed.
    StrayQuote,
    /// The row holds a NUL byte.
    NulByte,
    /// The header stands again among the rows.
    RepeatedHeader,
    /// A declared filter leaves the row out.
    LeftOut,
    /// A required cell is empty.
    RequiredMissing,
    /// Not a date in the declared form.
    NotADate,
    /// Before 1990.
    DateTooEarly,
    /// After the day the group is read as of.
    DateInFuture,
    /// Not a whole number of days between -3,660 and 36,600.
    NotDays,
    /// Not a quarter such as 2026-Q3.
    NotAQuarter,
    /// Not a number in the declared form.
    NotANumber,
    /// Not a whole number between 0 and 65,535.
    NotACount,
    /// A number outside what is possible for the field.
    OutsidePossible,
    /// A pull below zero.
    NegativePull,
    /// A pull above the patient's body weight, or above 2,000 N where that is not known.
    PullAboveBodyWeight,
    /// No unit beside the number.
    UnitMissing,
    /// A unit that the field cannot have, or another than the mapping says.
    UnitImpossible,
    /// Percent of body weight without a body mass.
    BodyMassMissing,
    /// A word that the mapping does not know.
    UnknownWord,
    /// A condition label that is not in the registry.
    UnknownCondition,
    /// No code of the cell is in the registry.
    UnknownCode,
    /// A code that was not valid on the day; its condition is kept.
    CodeNotValid,
    /// A measure name that the mapping does not know.
    UnknownMeasure,
    /// A score outside the measure's scale.
    ScoreOutsideScale,
    /// An item outside its range.
    ItemOutsideRange,
    /// A name longer than 200 characters.
    NameTooLong,
    /// A name with a control character.
    ControlCharacter,
    /// A key or name that looks like a direct identifier among others that do not.
    MayIdentify,
}

impl Reason {
    /// Whether it is a declared choice and not a fault.
    pub fn is_choice(self) -> bool {
        matches!(self, Self::LeftOut)
    }
}

impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::FieldCount => "the row has more or fewer fields than the header",
            Self::StrayQuote => {
                "stray quote: a quoted cell goes on past the end of the line, and what follows are rows or no whole row"
            }
            Self::NulByte => "the row holds a NUL byte",
            Self::RepeatedHeader => "the header stands again among the rows",
            Self::LeftOut => "left out by the declared filter",
            Self::RequiredMissing => "the cell is empty and the row cannot be understood without it",
            Self::NotADate => "not a date in the declared form",
            Self::DateTooEarly => "the date lies before 1990",
            Self::DateInFuture => "the date lies after the day the group is read as of",
            Self::NotDays => "not a whole number of days between -3,660 and 36,600",
            Self::NotAQuarter => "not a quarter such as 2026-Q3",
            Self::NotANumber => "not a number in the declared form",
            Self::NotACount => "not a whole number between 0 and 65,535",
            Self::OutsidePossible => "the number is outside what is possible here",
            Self::NegativePull => "the pull is below zero",
            Self::PullAboveBodyWeight => {
                "the pull is above the patient's body weight, or above 2,000 N where that is not known"
            }
            Self::UnitMissing => "no unit stands beside the number",
            Self::UnitImpossible => "the unit is not possible here, or not the one the mapping says",
            Self::BodyMassMissing => "a percentage of body weight without a body mass on the row",
            Self::UnknownWord => "the word is not in the mapping's vocabulary",
            Self::UnknownCondition => "the condition label is not in the registry",
            Self::UnknownCode => "no code of the cell is in the registry",
            Self::CodeNotValid => "a code that was not valid on the day; its condition is kept",
            Self::UnknownMeasure => "the measure name is not in the mapping",
            Self::ScoreOutsideScale => "the score is outside the measure's scale",
            Self::ItemOutsideRange => "the item is outside its range",
            Self::NameTooLong => "the name is longer than 200 characters",
            Self::ControlCharacter => "the name holds a control character",
            Self::MayIdentify => "the key or name looks like a direct identifier, unlike the others of the file",
        })
    }
}
