//! The region of the spine that is treated.

/// The region of the spine that is treated.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Region {
    Lumbar,
    Cervical,
    Other,
}

impl Region {
    /// Its word in mappings and sheets.
    pub fn key(self) -> &'static str {
        match self {
            Self::Lumbar => "lumbar",
            Self::Cervical => "cervical",
            Self::Other => "other",
        }
    }

    /// The region of a word.
    pub fn parse(word: &str) -> Option<Self> {
        [Self::Lumbar, Self::Cervical, Self::Other].into_iter().find(|region| region.key() == word)
    }
}
