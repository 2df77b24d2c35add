//! What of dose and setup is held against outcome: one number an episode each, from its first visits.
//!
//! **First visits.** The mean over the first four treated visits, of those that record it and fall before the endpoint's
//! window opens. Later visits follow from how the patient fares: those who do well are pulled harder. The first four do so
//! less, though the first answers to treatment already show in them.
//!
//! **Not among them** is the number of visits delivered: the outcome itself decides when care ends.

use super::recorded::meets_standard;
use crate::catalogue::Region;
use crate::catalogue::setup_standard::SetupStandard;
use crate::rows::row::{Mode, Row};
use crate::visits::dose;
use crate::visits::parameter_value::can_open_the_split;

/// Visits from the start that an exposure is taken from.
pub const FIRST_VISITS: usize = 4;
/// Pounds-force in N, by definition: 0.453 592 37 kg x 9.806 65 m/s2.
const LBF_N: f64 = 0.453_592_37 * 9.806_65;

/// A dose or setup that is held against outcome.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Exposure {
    /// Peak pull of lumbar care, percent of body weight.
    LumbarPull,
    /// Peak pull of cervical care, percent of body weight.
    CervicalPull,
    /// Time under pull a visit, min.
    MinutesUnderPull,
    /// Tension of the return spring of lumbar care, N.
    ReturnTension,
    /// Opening of the split of lumbar care, mm.
    SplitGap,
    /// Angle of lumbar care, degrees, flexion positive.
    LumbarAngle,
    /// Angle of cervical care, degrees, flexion positive.
    CervicalAngle,
    /// Share of visits with intermittent pull.
    Intermittent,
    /// Share of visits that meet all that they record of the setup standard.
    MeetsStandard,
}

impl Exposure {
    /// All, in the order of the pages.
    pub const ALL: [Self; 9] = [
        Self::LumbarPull,
        Self::CervicalPull,
        Self::MinutesUnderPull,
        Self::ReturnTension,
        Self::SplitGap,
        Self::LumbarAngle,
        Self::CervicalAngle,
        Self::Intermittent,
        Self::MeetsStandard,
    ];

    /// Its word in sheets.
    pub fn key(self) -> &'static str {
        match self {
            Self::LumbarPull => "percent_of_body_weight_lumbar",
            Self::CervicalPull => "percent_of_body_weight_cervical",
            Self::MinutesUnderPull => "minutes_under_pull",
            Self::ReturnTension => "return_tension",
            Self::SplitGap => "split_gap",
            Self::LumbarAngle => "angle_lumbar",
            Self::CervicalAngle => "angle_cervical",
            Self::Intermittent => "share_intermittent",
            Self::MeetsStandard => "share_meeting_standard",
        }
    }

    /// The region it is looked at in; both when absent.
    pub fn region(self) -> Option<Region> {
        match self {
            Self::LumbarPull | Self::ReturnTension | Self::SplitGap | Self::LumbarAngle => Some(Region::Lumbar),
            Self::CervicalPull | Self::CervicalAngle => Some(Region::Cervical),
            Self::MinutesUnderPull | Self::Intermittent | Self::MeetsStandard => None,
        }
    }

    /// The step that an odds ratio is given for, in the exposure's own unit: a difference of a size that sites and clinicians
    /// show (a choice, no published source; necks are pulled with about a fifth of what low backs are); the whole way from none to
    /// all of the visits for a share.
    pub fn step(self) -> f64 {
        match self {
            Self::LumbarPull | Self::MinutesUnderPull => 5.0,
            Self::LumbarAngle | Self::CervicalAngle => 5.0,
            Self::ReturnTension => 5.0 * LBF_N,
            Self::CervicalPull | Self::SplitGap | Self::Intermittent | Self::MeetsStandard => 1.0,
        }
    }

    /// The step with its unit, as in sheets.
    pub fn step_in_words(self) -> &'static str {
        match self {
            Self::LumbarPull => "5 %BW",
            Self::CervicalPull => "1 %BW",
            Self::MinutesUnderPull => "5 min",
            Self::LumbarAngle | Self::CervicalAngle => "5 deg",
            Self::ReturnTension => "5 lbf",
            Self::SplitGap => "1 mm",
            Self::Intermittent | Self::MeetsStandard => "none to all of the visits",
        }
    }

    fn of(self, region: Region, row: &Row, standard: &SetupStandard) -> Option<f64> {
        if self.region().is_some_and(|of| of != region) {
            return None;
        }
        let share = |yes: bool| f64::from(u8::from(yes));
        match self {
            Self::LumbarPull | Self::CervicalPull => dose::percent_of_body_weight(&row.dose),
            Self::MinutesUnderPull => dose::time_under_pull_s(&row.dose).map(|seconds| seconds / 60.0),
            Self::ReturnTension => row.setup.return_tension.map(|tension| tension.get()),
            Self::SplitGap => row.setup.split_gap.filter(|_| can_open_the_split(row)).map(|gap| gap.get()),
            Self::LumbarAngle | Self::CervicalAngle => row.setup.angle.map(|angle| angle.get()),
            Self::Intermittent => row.dose.mode.map(|mode| share(mode == Mode::Intermittent)),
            Self::MeetsStandard => meets_standard(standard, region, row).map(share),
        }
    }
}

/// The exposures of an episode, in the order of [`Exposure::ALL`]; absent where no visit records it.
#[derive(Clone, Copy, PartialEq, Default, Debug)]
pub struct Exposures([Option<f64>; 9]);

impl Exposures {
    /// Means over an episode's first visits, given as the rows that count.
    pub fn of<'a>(region: Region, first: impl Iterator<Item = &'a Row>, standard: &SetupStandard) -> Self {
        let mut sums = [(0.0, 0u32); 9];
        for row in first {
            for (exposure, (sum, count)) in Exposure::ALL.into_iter().zip(&mut sums) {
                if let Some(value) = exposure.of(region, row, standard) {
                    *sum += value;
                    *count += 1;
                }
            }
        }
        Self(sums.map(|(sum, count)| (count > 0).then(|| sum / f64::from(count))))
    }

    /// One of them, in its own unit.
    pub fn get(&self, exposure: Exposure) -> Option<f64> {
        self.0.get(exposure as usize).copied().flatten()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::episodes::timeline::visit;
    use crate::units::{Kilograms, Minutes, Newtons};

    #[test]
    fn an_exposure_is_the_mean_over_the_visits_that_record_it() {
        let standard = SetupStandard { is_default: true, items: Vec::new(), rules: Default::default() };
        let pull = |newtons: f64, mode| {
            let mut row = visit(0);
            row.dose.peak_force = Newtons::new(newtons);
            row.dose.body_mass = Kilograms::new(80.0);
            row.dose.mode = mode;
            row.dose.session = Minutes::new(12.0);
            row
        };
        let rows = [pull(200.0, Some(Mode::Static)), pull(400.0, Some(Mode::Intermittent)), visit(3)];
        let found = Exposures::of(Region::Lumbar, rows.iter(), &standard);
        let mean = found.get(Exposure::LumbarPull).unwrap();
        assert!((mean - 100.0 * 300.0 / 784.532).abs() < 1e-9, "80 kg weigh 784.532 N: {mean}");
        assert_eq!(found.get(Exposure::Intermittent), Some(0.5));
        assert_eq!(found.get(Exposure::MinutesUnderPull), Some(12.0), "of the intermittent visit it is not known");
        assert_eq!(found.get(Exposure::CervicalPull), None);
        assert_eq!(found.get(Exposure::MeetsStandard), None);
        assert!(Exposures::of(Region::Cervical, rows.iter(), &standard).get(Exposure::CervicalPull).is_some());
    }

    #[test]
    fn every_exposure_stands_at_its_place() {
        assert!(Exposure::ALL.into_iter().enumerate().all(|(place, exposure)| exposure as usize == place));
        assert!((Exposure::ReturnTension.step() - 22.241).abs() < 1e-3);
    }
}
