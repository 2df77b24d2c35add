//! The rules of what recorded numbers can be, by key, with the limits of each.

use std::fmt;

macro_rules! rules {
    ($(
        #[doc = $what:literal]
        $rule:ident $key:ident { $(#[doc = $meaning:literal] $limit:ident,)* }
    )*) => {
        /// A rule of what is possible: recorded numbers that break it cannot all be right, or hardly.
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
        pub enum Rule { $(#[doc = $what] $rule,)* }

        impl Rule {
            pub const COUNT: usize = [$(Self::$rule),*].len();
            /// All, in the order of the standard.
            pub const ALL: [Self; Self::COUNT] = [$(Self::$rule),*];

            /// Its key in standards and sheets: `[rule.KEY]`.
            pub fn key(self) -> &'static str {
                match self { $(Self::$rule => stringify!($key),)* }
            }
        }

        $(
            #[doc = concat!("Limits of [`Rule::", stringify!($rule), "`].")]
            #[derive(Clone, Copy, PartialEq, Default, Debug)]
            pub struct $rule { $(#[doc = $meaning] pub $limit: f64,)* }
        )*

        /// The limits of all rules; units are in their names.
        #[derive(Clone, Copy, PartialEq, Default, Debug)]
        pub struct RuleLimits { $(#[doc = $what] pub $key: $rule,)* }

        impl RuleLimits {
            /// The limits of one rule by name, to be read.
            pub fn named(&self, rule: Rule) -> Vec<(&'static str, f64)> {
                match rule {
                    $(Rule::$rule => vec![$((stringify!($limit), self.$key.$limit)),*],)*
                }
            }

            /// The limits of one rule by name, to be set.
            pub fn named_mut(&mut self, rule: Rule) -> Vec<(&'static str, &mut f64)> {
                match rule {
                    $(Rule::$rule => vec![$((stringify!($limit), &mut self.$key.$limit)),*],)*
                }
            }
        }
    };
}

rules! {
    /// The split is recorded open although the peak pull is below the tension that holds it closed.
    SplitOpensBelowTension split_opens_below_tension {
        /// A gap up to this counts as closed, mm.
        closed_mm,
        /// Share of the tension that the pull may be below it, for rounding.
        margin_share,
    }
    /// The split stays closed although the peak pull is well above the tension.
    SplitStaysClosed split_stays_closed {
        /// A gap up to this counts as closed, mm.
        closed_mm,
        /// Pull as a multiple of the tension above which the split must open.
        pull_to_tension_ratio,
    }
    /// The split opens far beyond what is usual.
    SplitOpensFar split_opens_far {
        /// The widest opening, mm.
        most_mm,
    }
    /// Recorded turns back and tension are not what one spring gives.
    TurnsAndTensionDisagree turns_and_tension_disagree {
        /// Tension of a fully tensioned spring, lower end, lbf.
        full_tension_low_lbf,
        /// The same, upper end, lbf.
        full_tension_high_lbf,
        /// What one turn back takes off, lbf.
        lbf_per_turn,
        /// What rounding may add or take, lbf.
        rounding_lbf,
    }
    /// The session is not as long as its cycles, or as its one static pull.
    SessionAndCyclesDisagree session_and_cycles_disagree {
        /// Whole cycles that may be missing or too many.
        cycles_apart,
        /// Share of the session that may be missing or too much.
        apart_share,
    }
    /// The pull is a larger share of body weight than is usual anywhere, or more than a neck is given.
    PullBeyondBodyWeightShare pull_beyond_body_weight_share {
        /// Largest lumbar pull, percent of body weight.
        lumbar_percent,
        /// Largest cervical pull, percent of body weight.
        cervical_percent,
        /// Largest cervical pull, kgf.
        cervical_kgf,
    }
    /// The pull is more than the patient weighs.
    PullOverBodyWeight pull_over_body_weight {
        /// Largest pull, percent of body weight.
        most_percent,
    }
    /// The low pull of a cycle is above its peak.
    LowPullAbovePeak low_pull_above_peak {}
    /// A session longer than is usual anywhere.
    SessionLong session_long {
        /// Longest session, min.
        most_min,
    }
    /// The pull is far from that of the visit before.
    PullJumps pull_jumps {
        /// Larger over smaller pull beyond which it is a jump.
        larger_to_smaller_ratio,
        /// Least difference of the two, N.
        least_difference_n,
    }
    /// A neck is pulled by a share of body weight that is usual for a low back.
    LumbarDoseOnTheNeck lumbar_dose_on_the_neck {
        /// Where the usual lumbar range begins, percent of body weight.
        lumbar_from_percent,
    }
    /// A pull or a body mass is as far from the episode's others as one unit is from another.
    UnitSwapped unit_swapped {
        /// How far a ratio may be from the factor between two units, as a share of it.
        factor_share,
        /// How far the other visits may lie from their median, as a share of it.
        agree_share,
        /// Other visits that must agree.
        least_others,
    }
    /// Body mass changes faster than a body can.
    BodyMassJumps body_mass_jumps {
        /// Change, as a share of the earlier mass, from which it is a jump.
        change_share,
        /// Days within which it is one.
        within_days,
    }
}

impl Rule {
    /// The rule of a key.
    pub fn parse(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|rule| rule.key() == key)
    }
}

/// A set of rules, in two bytes.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Default)]
pub struct RuleSet(u16);

const _: () = assert!(Rule::COUNT <= 16, "a RuleSet has 16 bits");

impl RuleSet {
    /// Whether a rule is in it.
    pub fn has(self, rule: Rule) -> bool {
        self.0 & (1 << rule as u16) != 0
    }

    pub fn add(&mut self, rule: Rule) {
        self.0 |= 1 << rule as u16;
    }

    pub fn remove(&mut self, rule: Rule) {
        self.0 &= !(1 << rule as u16);
    }

    /// The rules that both hold.
    pub fn and(self, other: Self) -> Self {
        Self(self.0 & other.0)
    }

    /// Whether none is in it.
    pub fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// Its rules, in order.
    pub fn iter(self) -> impl Iterator<Item = Rule> {
        Rule::ALL.into_iter().filter(move |rule| self.has(*rule))
    }
}

impl fmt::Debug for RuleSet {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_set().entries(self.iter()).finish()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_leads_back_to_its_rule() {
        for rule in Rule::ALL {
            assert_eq!(Rule::parse(rule.key()), Some(rule));
        }
        assert_eq!(Rule::parse("split"), None);
    }

    #[test]
    fn a_set_holds_what_was_added_and_not_taken_out() {
        let mut set = RuleSet::default();
        assert!(set.is_empty());
        for rule in Rule::ALL {
            set.add(rule);
        }
        assert_eq!(set.iter().count(), Rule::COUNT);
        set.remove(Rule::SessionLong);
        assert!(!set.has(Rule::SessionLong) && set.has(Rule::PullJumps));
        let mut one = RuleSet::default();
        one.add(Rule::PullJumps);
        one.add(Rule::SessionLong);
        assert_eq!(set.and(one).iter().collect::<Vec<_>>(), [Rule::PullJumps]);
    }

    #[test]
    fn a_limit_set_by_name_is_read_by_name_and_by_field() {
        let mut limits = RuleLimits::default();
        for (name, limit) in limits.named_mut(Rule::PullBeyondBodyWeightShare) {
            *limit = if name == "cervical_kgf" { 20.0 } else { 60.0 };
        }
        assert_eq!(limits.pull_beyond_body_weight_share.cervical_kgf, 20.0);
        let named = [("lumbar_percent", 60.0), ("cervical_percent", 60.0), ("cervical_kgf", 20.0)];
        assert_eq!(limits.named(Rule::PullBeyondBodyWeightShare), named);
    }
}
