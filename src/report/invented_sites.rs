//! Invented comparisons of sites for tests of pages and figures. No number here is anybody's.

use crate::catalogue::measure::Domain;
use crate::findings::bulletin::{Estimate, Period, Shown};
use crate::findings::sites::*;
use crate::models::sites::case_mix::Covariate;
use crate::models::sites::cases::Quantity;
use crate::rows::when::Quarter;

/// Comparisons over all conditions in pain: response and follow-up. The first site is above, the last one below in follow-up, and the
/// third is withheld.
pub fn compared(sites: &[&str], quarters: &[Quarter]) -> Vec<SiteComparison> {
    vec![
        comparison(
            Quantity::Response,
            sites,
            quarters,
            |position| if position == 0 { Call::Above } else { Call::Within },
        ),
        comparison(Quantity::FollowedUp, sites, quarters, |position| {
            if position + 1 == sites.len() { Call::Below } else { Call::Within }
        }),
    ]
}

fn comparison(
    quantity: Quantity,
    sites: &[&str],
    quarters: &[Quarter],
    call: impl Fn(usize) -> Call,
) -> SiteComparison {
    let row = |position: usize, period: Period| {
        let call = call(position);
        let adjusted = match call {
            Call::Above => 0.74,
            Call::Below => 0.41,
            _ => 0.55 + 0.01 * position as f64,
        };
        let of = |value: f64| if position == 2 { Shown::Withheld } else { Shown::Value(value) };
        SiteRow {
            period,
            site: sites[position].to_owned(),
            episodes: if position == 2 { Shown::Withheld } else { Shown::Value(90 + position as u32) },
            observed: of(90.0 * adjusted),
            expected: of(52.0),
            ratio: of(90.0 * adjusted / 52.0),
            raw: of(adjusted - 0.03),
            expected_rate: of(0.58),
            adjusted: of(adjusted),
            shrunken: match position {
                2 => Shown::Withheld,
                _ => Shown::Value(Estimate { value: adjusted, low: adjusted - 0.08, high: adjusted + 0.07 }),
            },
            limits_95: if position == 2 { Shown::Withheld } else { Shown::Value((0.47, 0.68)) },
            limits_998: if position == 2 { Shown::Withheld } else { Shown::Value((0.4, 0.74)) },
            score: of((adjusted - 0.57) / 0.05),
            q: Some(if matches!(call, Call::Above | Call::Below) { 0.004 } else { 0.4 }),
            call,
        }
    };
    let all = (0..sites.len()).map(|position| row(position, Period::All)).collect();
    let by_quarter = quarters
        .iter()
        .flat_map(|quarter| (0..sites.len()).map(|position| row(position, Period::Quarter(*quarter))))
        .collect();
    SiteComparison {
        condition: ALL_CONDITIONS.to_owned(),
        condition_title: "All conditions".to_owned(),
        measure: "pain".to_owned(),
        measure_title: "Pain".to_owned(),
        quantity,
        episodes: Shown::Value(552),
        has_hidden_parts: false,
        overall: Shown::Value(0.57),
        entered: vec![(Covariate::Baseline, Shown::Value(0)), (Covariate::Age, Shown::Value(4))],
        left_out: vec![Covariate::BodyMassIndex],
        discrimination: Some(Estimate { value: 0.66, low: 0.61, high: 0.71 }),
        calibration_slope: Some(0.9),
        penalised: false,
        between_sd: Some(0.3),
        funnel: (1..=20)
            .map(|step| {
                let episodes = 5.0 * f64::from(step);
                let reach = 1.0 / episodes.sqrt();
                let limits = |z: f64| ((0.57 - 0.5 * z * reach).max(0.0), (0.57 + 0.5 * z * reach).min(1.0));
                FunnelAt { episodes, limits_95: limits(1.96), limits_998: limits(3.09) }
            })
            .collect(),
        rows: all,
        by_quarter,
    }
}

/// Those seen and lost; the later the site in the list, the more the lost matter.
pub fn lost(position: usize) -> SeenAndLost {
    let gap = 0.02 * position as f64;
    SeenAndLost {
        domain: Domain::Pain,
        due: Shown::Value(130),
        followed_up: Shown::Value(100 - 8 * position as u32),
        share: Shown::Value((100.0 - 8.0 * position as f64) / 130.0),
        seen: Shown::Value(Estimate { value: 0.57, low: 0.5, high: 0.64 }),
        imputed: Shown::Value(Estimate { value: 0.57 - gap, low: 0.48 - gap, high: 0.66 - gap }),
        gap: Shown::Value(gap),
    }
}

/// What the pages of sites say.
pub fn findings(sites: &[&str], quarters: &[Quarter]) -> Vec<SiteFindings> {
    let week = |week: u32, shift: f64| SiteWeek {
        week,
        day: 7.0 * f64::from(week),
        mean: {
            let value = 30.0 + 32.0 * (-f64::from(week) / 3.0).exp() + shift;
            Estimate { value, low: value - 4.0, high: value + 4.0 }
        },
        episodes: 60 - week,
    };
    let of = |(position, site): (usize, &&str)| SiteFindings {
        site: (*site).to_owned(),
        courses: vec![SiteCourse {
            domain: Domain::Pain,
            site: (0..9).map(|w| week(w, position as f64 - 2.0)).collect(),
            group: (0..12).map(|w| week(w, 0.0)).collect(),
        }],
        lost: vec![lost(position)],
        quarters: vec![QuartersOf {
            domain: Domain::Pain,
            centre: 0.55,
            group: 0.57,
            quarters: (0..)
                .zip(quarters)
                .map(|(i, quarter)| {
                    let shown = i != 1 || position != 2;
                    let value = 0.45 + 0.05 * f64::from(i);
                    let point = QuarterPoint {
                        value,
                        limits: (0.3, 0.8),
                        episodes: 22,
                        is_rounded: false,
                        signals: position == 0 && i == 3,
                    };
                    (*quarter, shown.then_some(point))
                })
                .collect(),
        }],
        ended: Ended {
            due: Shown::Value(130),
            completed: Shown::Value(80),
            stopped_early: Shown::Value(20),
            referred_on: Shown::Withheld,
            lost: Shown::Value(20),
            not_recorded: Shown::Withheld,
        },
    };
    sites.iter().enumerate().map(of).collect()
}
