//! Checks of the time until an event.

use mendcurve_stats::Level;
use mendcurve_stats::survival::{
    KaplanMeier, LogRank, Spell, SpellEnd, SurvivalStep, aalen_johansen, kaplan_meier, log_rank,
};

use crate::reader::Dataset;

const L95: Level = Level::NINETY_FIVE;

/// 0 censored, 1 the event, 2 the competing end.
fn spells(times: &[f64], ends: &[f64]) -> Vec<Spell> {
    let end = |code: f64| match code {
        0.0 => SpellEnd::Censored,
        1.0 => SpellEnd::Event,
        2.0 => SpellEnd::Competing,
        _ => panic!("unknown end"),
    };
    times.iter().zip(ends).map(|(&time, &code)| Spell { time, end: end(code) }).collect()
}

/// One slice a group, groups numbered from 0.
fn split(spells: &[Spell], group: &[f64]) -> Vec<Vec<Spell>> {
    let groups = group.iter().fold(0.0_f64, |most, g| most.max(*g)) as usize + 1;
    let of = |g: usize| spells.iter().zip(group).filter(|(_, label)| **label == g as f64).map(|(s, _)| *s).collect();
    (0..groups).map(of).collect()
}

fn step_at(curve: &KaplanMeier, time: f64) -> &SurvivalStep {
    curve.steps.iter().rfind(|step| step.time <= time).unwrap()
}

fn compare_step(d: &Dataset, curve: &KaplanMeier, time: f64) {
    let step = step_at(curve, time);
    let interval = step.interval.unwrap();
    d.compare(&format!("se_{time}"), step.standard_error.unwrap());
    d.compare(&format!("low_{time}"), interval.low);
    d.compare(&format!("high_{time}"), interval.high);
}

fn compare_test(d: &Dataset, test: &LogRank) {
    d.compare("chi_square", test.chi_square);
    d.compare("p_value", test.p_value);
    for (i, group) in test.groups.iter().enumerate() {
        d.compare(&format!("observed_{i}"), group.observed as f64);
        d.compare(&format!("expected_{i}"), group.expected);
    }
}

pub fn freireich(d: &Dataset) {
    let all = spells(d.column("weeks"), d.column("relapsed"));
    let groups = split(&all, d.column("on_6mp"));
    let [placebo, mercaptopurine] = [0, 1].map(|i: usize| kaplan_meier(&groups[i], L95).unwrap());
    assert_eq!(mercaptopurine.steps.len(), 7);
    for step in &mercaptopurine.steps {
        compare_step(d, &mercaptopurine, step.time);
        d.compare(&format!("published_{}", step.time), step.survival);
    }
    d.compare("median_6mp", mercaptopurine.median.value.unwrap());
    d.compare("median_6mp_low", mercaptopurine.median.low.unwrap());
    assert_eq!(mercaptopurine.median.high, None);
    d.compare("median_placebo", placebo.median.value.unwrap());
    d.compare("median_placebo_low", placebo.median.low.unwrap());
    d.compare("median_placebo_high", placebo.median.high.unwrap());
    let test = log_rank(&[&groups[0], &groups[1]]).unwrap();
    compare_test(d, &test);
    d.compare("published_chi_square", test.chi_square);
}

pub fn lung(d: &Dataset) {
    let all = spells(d.column("time"), d.column("died"));
    let curve = kaplan_meier(&all, L95).unwrap();
    for day in [5.0, 100.0, 365.0, 500.0, 883.0] {
        d.compare(&format!("survival_{day}"), step_at(&curve, day).survival);
        compare_step(d, &curve, day);
    }
    d.compare("median", curve.median.value.unwrap());
    d.compare("median_low", curve.median.low.unwrap());
    d.compare("median_high", curve.median.high.unwrap());
    let groups = split(&all, d.column("ecog"));
    let slices: Vec<&[Spell]> = groups.iter().map(Vec::as_slice).collect();
    compare_test(d, &log_rank(&slices).unwrap());
}

pub fn mgus2(d: &Dataset) {
    let curves = aalen_johansen(&spells(d.column("months"), d.column("end")), L95).unwrap();
    for month in [1, 12, 60, 120, 240, 360] {
        let step = curves.steps.iter().rfind(|s| s.time <= f64::from(month)).unwrap();
        d.compare(&format!("neither_{month}"), step.neither);
        for (name, incidence) in [("event", step.event), ("competing", step.competing)] {
            d.compare(&format!("{name}_{month}"), incidence.value);
            d.compare(&format!("{name}_se_{month}"), incidence.standard_error);
            if let Some(interval) = incidence.interval {
                d.compare(&format!("{name}_low_{month}"), interval.low);
                d.compare(&format!("{name}_high_{month}"), interval.high);
            }
        }
    }
}
