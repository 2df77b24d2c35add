//! Why a model could not be fitted.

/// Why a model could not be fitted.
#[derive(Clone, PartialEq, Debug)]
pub enum Unfit {
    /// Too few patients with enough readings.
    TooFew,
    /// The readings do not determine it; why, in words.
    NotIdentifiable(&'static str),
    /// No optimum could be shown.
    NotConverged,
    /// The numerics refused the readings; a fault of the program.
    Refused(String),
}

impl Unfit {
    pub fn in_words(&self) -> String {
        match self {
            Self::TooFew => "too few patients have enough readings".to_owned(),
            Self::NotIdentifiable(why) => (*why).to_owned(),
            Self::NotConverged => "no best fit could be shown".to_owned(),
            Self::Refused(why) => why.clone(),
        }
    }
}
