//! Where the pain of a reading is felt.

/// Where the pain of a reading is felt.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum PainSite {
    Back,
    Leg,
    Neck,
    Arm,
    Other,
    Unspecified,
}

impl PainSite {
    /// All sites, in the order of reports.
    pub const ALL: [Self; 6] = [Self::Back, Self::Leg, Self::Neck, Self::Arm, Self::Other, Self::Unspecified];

    /// Its key in mappings, sheets and file names: `back`.
    pub fn key(self) -> &'static str {
        match self {
            Self::Back => "back",
            Self::Leg => "leg",
            Self::Neck => "neck",
            Self::Arm => "arm",
            Self::Other => "other",
            Self::Unspecified => "unspecified",
        }
    }

    /// Its name in a sentence: 'pain, back'.
    pub fn label(self) -> &'static str {
        match self {
            Self::Other => "elsewhere",
            Self::Unspecified => "site not stated",
            named => named.key(),
        }
    }

    /// The site of a key; blanks around it and case do not matter.
    pub fn parse(text: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|site| site.key().eq_ignore_ascii_case(text.trim()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_site_is_found_by_its_own_key_and_by_no_other_word() {
        for site in PainSite::ALL {
            assert_eq!(PainSite::parse(site.key()), Some(site));
        }
        assert_eq!(PainSite::parse(" Back "), Some(PainSite::Back));
        assert_eq!(PainSite::parse("knee"), None);
        assert_eq!(PainSite::parse(""), None);
    }
}
