//! The closed lists of words that a cell may hold.

/// A closed list, each value with its word.
macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($(#[$of_word:meta])* $variant:ident $word:literal,)* }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
        pub enum $name { $($(#[$of_word])* $variant,)* }

        impl $name {
            /// Its word in mappings and sheets.
            pub fn word(self) -> &'static str {
                match self { $(Self::$variant => $word,)* }
            }

            /// The one of a word.
            pub fn named(word: &str) -> Option<Self> {
                match word { $($word => Some(Self::$variant),)* _ => None }
            }
        }
    };
}

words! {
    /// Static or intermittent traction.
    Mode {
        /// One steady pull.
        Static "static",
        /// Cycles of pull and rest.
        Intermittent "intermittent",
    }
}

words! {
    /// How the patient lies.
    Position {
        /// Face down.
        Prone "prone",
        /// Face up.
        Supine "supine",
    }
}

words! {
    /// What holds the upper body against the pull.
    UpperRestraint {
        /// The patient holds on.
        Handholds "handholds",
        /// A harness round the chest.
        ChestHarness "chest harness",
        /// Posts under the arms.
        AxillaryPosts "axillary posts",
        /// Nothing.
        None "none",
    }
}

words! {
    /// Sex as recorded.
    Sex {
        /// Female.
        Female "female",
        /// Male.
        Male "male",
        /// Another entry.
        Other "other",
    }
}

words! {
    /// Time from onset to the start of care: acute under 6 weeks, subacute 6 to 12, persistent over 12.
    Onset {
        /// Under 6 weeks.
        Acute "acute",
        /// 6 to 12 weeks.
        Subacute "subacute",
        /// Over 12 weeks.
        Persistent "persistent",
    }
}

impl Onset {
    /// The class of a time since onset in days.
    pub fn of_days(days: f64) -> Option<Self> {
        if days.is_nan() || days < 0.0 {
            None
        } else if days < 42.0 {
            Some(Self::Acute)
        } else if days <= 84.0 {
            Some(Self::Subacute)
        } else {
            Some(Self::Persistent)
        }
    }
}

words! {
    /// How a course of care ended.
    EndedHow {
        /// As planned.
        Completed "completed",
        /// Before the plan was done.
        StoppedEarly "stopped early",
        /// To other care.
        ReferredOn "referred on",
        /// Nobody knows.
        Lost "lost",
        /// Still in care.
        Ongoing "ongoing",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn onset_classes_meet_at_6_and_12_weeks() {
        assert_eq!(Onset::of_days(41.0), Some(Onset::Acute));
        assert_eq!(Onset::of_days(42.0), Some(Onset::Subacute));
        assert_eq!(Onset::of_days(84.0), Some(Onset::Subacute));
        assert_eq!(Onset::of_days(85.0), Some(Onset::Persistent));
        assert_eq!(Onset::of_days(f64::NAN), None);
    }
}
