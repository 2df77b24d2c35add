//! Invented doses for tests of pages, figures and sheets. No number here is anybody's.

use crate::catalogue::Region;
use crate::catalogue::measure::Domain;
use crate::findings::bulletin::{Estimate, Shown};
use crate::findings::dose::*;
use crate::models::dose::association::{DOMAINS, Test, Untested};
use crate::models::dose::exposures::Exposure;
use crate::models::sites::case_mix::Covariate;

/// Dose of a group with these sites. The third site is withheld, and return tension stands out in pain.
pub fn dose(sites: &[&str]) -> DoseFindings {
    let conditions = [
        ("lumbar_disc_radicular", "Lumbar disc disorder or sciatica with leg pain", Region::Lumbar, 31.0, 0.7),
        ("cervical_radicular", "Neck pain with radiating arm symptoms", Region::Cervical, 8.0, 0.25),
        ("lumbar_stenosis", "Lumbar spinal stenosis", Region::Lumbar, 27.0, 0.3),
    ];
    let by_visit = conditions.into_iter().flat_map(|(key, title, region, start, rise)| {
        (1..=12u32).map(move |visit_no| {
            let median = start + rise * f64::from(visit_no - 1);
            let is_withheld = visit_no == 12;
            PullByVisit {
                condition: key.to_owned(),
                condition_title: title.to_owned(),
                region,
                visit_no,
                visits: if is_withheld { Shown::Withheld } else { Shown::Value(400 - 30 * visit_no) },
                percent: match is_withheld {
                    true => Shown::Withheld,
                    false => Shown::Value([0.75, 0.9, 1.0, 1.12, 1.25].map(|share| share * median)),
                },
            }
        })
    });
    let (associations, untested) = associations();
    DoseFindings {
        by_visit: by_visit.collect(),
        by_site: [Region::Lumbar, Region::Cervical].into_iter().flat_map(|region| by_site(region, sites)).collect(),
        associations,
        untested,
    }
}

fn by_site(region: Region, sites: &[&str]) -> Vec<DoseBySite> {
    let share = if region == Region::Lumbar { 1.0 } else { 0.27 };
    let line = |site: Option<&str>, position: usize| {
        let of = |value: f64| if position == 2 { Shown::Withheld } else { Shown::Value(value) };
        let rise = share * (3.0 + position as f64);
        DoseBySite {
            region,
            site: site.map(str::to_owned),
            episodes: if position == 2 { Shown::Withheld } else { Shown::Value(90 + 10 * position as u32) },
            first: of(share * 31.0),
            last: of(share * 31.0 + rise),
            rise: of(rise),
            progression: of(rise / 11.0),
            minutes: of(13.5),
            delivered: of(0.78),
            most_delivered: of(0.61),
            visits_a_week: of(2.4),
        }
    };
    let whole = DoseBySite {
        first: Shown::Withheld,
        last: Shown::Withheld,
        rise: Shown::Withheld,
        progression: Shown::Withheld,
        ..line(None, 1)
    };
    std::iter::once(whole).chain(sites.iter().enumerate().map(|(position, site)| line(Some(site), position))).collect()
}

fn associations() -> (Vec<DoseAssociation>, Vec<NotTested>) {
    let (mut associations, mut untested) = (Vec::new(), Vec::new());
    let pairs = Exposure::ALL.into_iter().flat_map(|exposure| DOMAINS.map(|domain| (exposure, domain)));
    for (place, (exposure, domain)) in pairs.enumerate() {
        if exposure == Exposure::CervicalAngle {
            untested.push(NotTested { exposure, domain, why: Untested::TooFew });
            continue;
        }
        let stands_out = exposure == Exposure::ReturnTension && domain == Domain::Pain;
        let value = if stands_out { 1.32 } else { 0.9 + 0.015 * place as f64 };
        let width: f64 = if stands_out { 1.15 } else { 1.3 };
        associations.push(DoseAssociation {
            exposure,
            domain,
            episodes: 380 + 10 * place as u32,
            sites: 6,
            responded: 0.58,
            spread: 4.0,
            odds_ratio: Estimate { value, low: value / width, high: value * width },
            p: if stands_out { 0.0004 } else { 0.3 },
            test: Test::LikelihoodRatio,
            q: Some(if stands_out { 0.02 } else { 0.6 }),
            e_value: if stands_out { 1.56 } else { 1.2 },
            e_value_of_limit: if stands_out { 1.34 } else { 1.0 },
            allowed_for: vec![Covariate::Baseline, Covariate::Onset],
        });
    }
    (associations, untested)
}
