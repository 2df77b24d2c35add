//! One question put to the data about one unit, with its answer.

use super::visits::UnitId;
use crate::catalogue::parameter::About;

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Question {
    /// Is this item of the standard met less often than elsewhere, or than it must be?
    Conformance {
        /// Its position in the standard.
        item: usize,
    },
    /// Is the usual value unlike the siblings'?
    Unlike,
    /// Are values spread unlike the other sites', beyond a shift?
    Spread,
    /// Did it change at once?
    Shift,
    /// Does it drift?
    Drift,
    /// Do entries repeat those of the visit before?
    CopiedForward,
    /// Are last digits uneven?
    Digits {
        /// The preferred digit.
        digit: u8,
        /// Symbol of the unit that values were recorded in.
        unit: &'static str,
    },
    /// Do recorded numbers break a rule of what is possible?
    NotPossible {
        /// Position of the rule among all.
        rule: usize,
    },
    /// Does the table open unlike its siblings at equal tension?
    Opening,
}

/// An answer. Numbers are in the parameter's own unit, or shares.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Tested {
    pub question: Question,
    pub unit: UnitId,
    /// In which parameter and region; `None` for entries copied forward and rules.
    pub about: Option<About>,
    /// What is seen.
    pub observed: f64,
    /// What it is held against.
    pub reference: f64,
    /// 95 % interval of what is seen.
    pub interval: (f64, f64),
    /// Likeliest, earliest and latest day on which it began, as days since 1970-01-01.
    pub since: Option<(i32, i32, i32)>,
    /// Of a share, how many patients have a visit on the one side and how many on the other; of entries and digits visits, which
    /// are at least as many. `None` for other numbers.
    pub sides: Option<(u32, u32)>,
    /// Visits behind it.
    pub visits: u32,
    /// Patients behind it.
    pub patients: u32,
    /// Whether it is large enough to matter if it is real.
    pub matters: bool,
    /// p value; 1 where something other than chance speaks against it.
    pub p: f64,
}

const PERMUTATIONS: u32 = 999;
/// Where the first permutations leave hardly anything over: a small p value among many takes more of them.
const MORE_PERMUTATIONS: u32 = 49_999;

/// A p value by as many permutations as it takes. `p`: the p value by that many.
pub fn by_permutations(p: impl Fn(u32) -> f64) -> f64 {
    let first = p(PERMUTATIONS);
    if first < 2.0 / f64::from(PERMUTATIONS + 1) { p(MORE_PERMUTATIONS) } else { first }
}
