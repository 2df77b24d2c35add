use super::*;
use crate::models::dose::association::{Association, Test, Untested};
use crate::models::dose::exposures::Exposure;
use crate::rows::row::NameId;
use mendcurve_stats::Interval;
use mendcurve_stats::e_value::EValue;
use std::num::NonZeroU32;

const INTERNAL: Rule = Rule { up_to: 4, also_left_out: false };

fn line(site: Option<u32>, patients: u32, most_and_less: (u32, u32)) -> DoseAtSite {
    let behind = |value| Some(Behind { value, patients });
    DoseAtSite {
        region: Region::Lumbar,
        site: site.and_then(NonZeroU32::new).map(NameId),
        episodes: patients,
        patients,
        first: behind(30.0),
        last: behind(36.0),
        progression: behind(0.8),
        minutes: behind(12.0),
        delivered: behind(0.7),
        most_delivered: behind(0.4),
        most_and_less,
        visits_a_week: None,
    }
}

#[test]
fn few_patients_are_withheld_and_so_is_a_share_that_tells_few() {
    let few = site_line(INTERNAL, Some("A".to_owned()), &line(Some(1), 4, (2, 2)));
    assert_eq!((few.episodes, few.first, few.most_delivered), (Shown::Withheld, Shown::Withheld, Shown::Withheld));
    assert_eq!(few.visits_a_week, Shown::Missing);
    let enough = site_line(INTERNAL, Some("A".to_owned()), &line(Some(1), 34, (33, 1)));
    assert_eq!((enough.episodes, enough.first), (Shown::Value(30), Shown::Value(30.0)));
    assert_eq!(enough.most_delivered, Shown::Withheld, "one who did not");
    let release = Rule { up_to: 10, also_left_out: true };
    assert_eq!(site_line(release, None, &line(None, 10, (0, 10))).first, Shown::Withheld);
}

#[test]
fn the_whole_group_hides_what_one_of_its_sites_hides() {
    let shown =
        |patients, most_and_less| site_line(INTERNAL, Some("A".to_owned()), &line(Some(1), patients, most_and_less));
    let mut whole = site_line(INTERNAL, None, &line(None, 60, (30, 30)));
    withhold_with_parts(&mut whole, &[shown(30, (15, 15)), shown(30, (28, 2))]);
    assert_eq!((whole.most_delivered, whole.delivered), (Shown::Withheld, Shown::Value(0.7)));
    withhold_with_parts(&mut whole, &[shown(57, (30, 27)), shown(3, (0, 3))]);
    assert_eq!((whole.first, whole.episodes), (Shown::Withheld, Shown::Withheld));
    let mut other = DoseBySite { region: Region::Cervical, ..site_line(INTERNAL, None, &line(None, 60, (30, 30))) };
    withhold_with_parts(&mut other, &[shown(3, (0, 3))]);
    assert_eq!(other.first, Shown::Value(30.0), "a site of the other region hides nothing here");
}

#[test]
fn counts_are_told_to_whole_tens() {
    assert_eq!([5, 14, 15, 996].map(|count| tens(INTERNAL, count)), [10, 10, 20, 1000]);
    let release = Rule { up_to: 10, also_left_out: true };
    assert_eq!([11, 24, 26].map(|count| tens(release, count)), [20, 20, 30]);
}

#[test]
fn p_values_leave_and_come_back_in_order() {
    let held = |exposure, p: f64| Held {
        exposure,
        domain: crate::catalogue::measure::Domain::Pain,
        found: match p < 1.0 {
            true => Ok(Association {
                episodes: 204,
                responders: 101,
                sites: 3,
                spread: 5.0,
                odds_ratio: 1.3,
                interval: Interval { low: 1.1, high: 1.6 },
                p,
                test: Test::LikelihoodRatio,
                e_value: EValue { estimate: 1.5, limit: 1.3 },
                allowed_for: Vec::new(),
            }),
            false => Err(Untested::TooFew),
        },
    };
    let (associations, untested) = outcomes(
        INTERNAL,
        vec![held(Exposure::LumbarPull, 0.01), held(Exposure::SplitGap, 1.0), held(Exposure::Intermittent, 0.2)],
    );
    let mut dose = DoseFindings { by_visit: Vec::new(), by_site: Vec::new(), associations, untested };
    assert_eq!(dose.p_values(), [0.01, 0.2]);
    assert!(dose.associations.iter().all(|a| a.q.is_none() && !a.is_beyond_chance()));
    dose.set_q(&[0.02, 0.2]);
    assert!(dose.associations[0].is_beyond_chance() && !dose.associations[1].is_beyond_chance());
    assert_eq!((dose.associations[0].episodes, dose.associations[0].responded), (200, 0.5));
    assert_eq!(dose.untested.len(), 1);
}
