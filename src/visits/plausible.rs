//! Doses and setups that are possible but unusual: counted, never changed.
//!
//! Limits (a design choice over the published ranges): lumbar over 60 % of body weight or 30 min;
//! cervical over 20 % of body weight, 20 kgf or 30 min. Setup limits come from
//! `catalogue/setup_practice.toml`, common practice without a published source.

use super::dose;
use crate::catalogue::Region;
use crate::catalogue::setup_practice::SetupPractice;
use crate::rows::row::Row;
use crate::units::STANDARD_GRAVITY;
use std::fmt;

/// Something unusual about one visit.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Warning {
    /// Lumbar pull over 60 % of body weight.
    LumbarPull,
    /// Cervical pull over 20 % of body weight or 20 kgf.
    CervicalPull,
    /// A session over 30 minutes.
    LongSession,
    /// Low pull above the peak pull.
    LowAbovePeak,
    /// Recorded tension and turns of the return spring do not belong together.
    TurnsAndTensionDisagree,
}

impl Warning {
    /// All of them.
    pub const ALL: [Self; 5] =
        [Self::LumbarPull, Self::CervicalPull, Self::LongSession, Self::LowAbovePeak, Self::TurnsAndTensionDisagree];
}

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::LumbarPull => "lumbar pull over 60 % of body weight",
            Self::CervicalPull => "cervical pull over 20 % of body weight or 20 kgf",
            Self::LongSession => "session over 30 minutes",
            Self::LowAbovePeak => "low pull above the peak pull",
            Self::TurnsAndTensionDisagree => {
                "recorded tension of the return spring lies outside what its recorded turns give"
            }
        })
    }
}

/// What is unusual about a visit in a region.
pub fn warnings(row: &Row, region: Option<Region>, practice: &SetupPractice) -> impl Iterator<Item = Warning> {
    let percent = dose::percent_of_body_weight(&row.dose);
    let pull_n = row.dose.peak_force.map(|f| f.get());
    let over = |x: Option<f64>, limit: f64| x.is_some_and(|x| x > limit);
    let lumbar = region == Some(Region::Lumbar);
    let cervical = region == Some(Region::Cervical);
    let tension_off = match (row.setup.tension_turns, row.setup.return_tension) {
        (Some(turns), Some(tension)) => practice.tension_range_n(turns.get()).is_some_and(|(low, high)| {
            // a recorded whole number of pounds-force may be half a pound off
            let half_pound = 0.5 * 4.448_221_615_260_5;
            tension.get() < low - half_pound || tension.get() > high + half_pound
        }),
        _ => false,
    };
    [
        (lumbar && over(percent, 60.0), Warning::LumbarPull),
        (cervical && (over(percent, 20.0) || over(pull_n, 20.0 * STANDARD_GRAVITY)), Warning::CervicalPull),
        (over(row.dose.session.map(|t| t.get()), 30.0), Warning::LongSession),
        (
            matches!((row.dose.low_force, row.dose.peak_force), (Some(low), Some(peak)) if low > peak),
            Warning::LowAbovePeak,
        ),
        (tension_off, Warning::TurnsAndTensionDisagree),
    ]
    .into_iter()
    .filter(|(holds, _)| *holds)
    .map(|(_, warning)| warning)
}
