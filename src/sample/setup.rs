//! Dose and setup of one visit: what the machine pulled and how patient and table were arranged.

use super::draw::Draw;
use super::patient::Patient;
use super::plan::{Plan, Region, SitePlan};
use chrono::NaiveDate;

/// Newtons in a pound-force (NIST SP 811, exact to the digits given).
pub const NEWTONS_PER_LBF: f64 = 4.448_221_615_260_5;
/// Newtons in a kilogram-force (exact).
pub const NEWTONS_PER_KGF: f64 = 9.806_65;

/// The dose of one visit.
#[derive(Clone, PartialEq, Debug)]
pub struct Dose {
    /// One steady pull rather than cycles.
    pub is_static: bool,
    /// Peak pull as a share of body weight, percent.
    pub percent: f64,
    /// Peak pull, N.
    pub peak_n: f64,
    /// Pull between, N; none when static.
    pub low_n: Option<f64>,
    /// Time at peak, s.
    pub hold_s: i64,
    /// Time at low pull, s.
    pub rest_s: i64,
    /// Time from low to peak, s.
    pub ramp_s: i64,
    /// Cycles.
    pub cycles: i64,
    /// Length, min.
    pub session_min: i64,
}

/// The setup of one visit. Fields of the pelvic belt and the split are empty for the neck.
#[derive(Clone, PartialEq, Debug)]
pub struct Setup {
    /// Face down.
    pub prone: bool,
    /// Degrees, flexion positive.
    pub angle: i64,
    /// Return tension, N.
    pub tension_n: Option<f64>,
    /// Turns back from full tension.
    pub turns: Option<f64>,
    /// Opening of the split at peak pull, mm.
    pub gap_mm: Option<f64>,
    /// What holds the upper body.
    pub restraint: &'static str,
    /// The belt's centre is on its landmark.
    pub landmark: Option<bool>,
    /// The belt is seated.
    pub seated: Option<bool>,
    /// One whole cycle took the slack out.
    pub slack: Option<bool>,
    /// The line of pull is level.
    pub level_pull: bool,
    /// The table is level.
    pub table_level: bool,
}

/// What a clinician decides once for an episode and then builds on.
#[derive(Clone, Debug)]
pub struct Regimen {
    is_static: bool,
    start: f64,
    step: f64,
    target: f64,
    ceiling: f64,
    hold_s: i64,
    rest_s: i64,
    ramp_s: i64,
    session_min: i64,
    prone: bool,
    angle: f64,
}

impl Regimen {
    /// Draws a regimen: lumbar 25 to 50 % of body weight, cervical 7 to 12 %.
    pub fn draw(draw: &mut Draw, region: Region, stenosis: bool, intermittent_only: bool) -> Self {
        let lumbar = region == Region::Lumbar;
        let (start, step, target) = if lumbar {
            (draw.between(25.0, 31.0), draw.between(1.2, 3.5), draw.between(36.0, 49.0))
        } else {
            (draw.between(7.0, 8.5), draw.between(0.2, 0.6), draw.between(9.0, 11.5))
        };
        let (hold_s, rest_s) = draw.one_of((60, 20), &[(30, 10)]);
        let angle = match (lumbar, stenosis) {
            (true, true) => draw.between(18.0, 26.0),
            (true, false) => draw.between(5.0, 20.0),
            _ => draw.between(14.0, 25.0),
        };
        Self {
            is_static: draw.chance(if stenosis { 0.3 } else { 0.1 }) && !intermittent_only,
            start,
            step,
            target,
            ceiling: if lumbar { 50.0 } else { 12.0 },
            hold_s,
            rest_s,
            ramp_s: draw.one_of(5, &[10, 10, 15]),
            session_min: draw.one_of(15, &[12, 15, 20]),
            prone: lumbar && draw.chance(if stenosis { 0.1 } else { 0.35 }),
            angle,
        }
    }

    /// The dose of treated visit `visit_no` (from 1).
    pub fn dose(&self, draw: &mut Draw, patient: &Patient, visit_no: usize) -> Dose {
        let built = (self.start + self.step * (visit_no as f64 - 1.0)).min(self.target);
        let percent = (built + 0.4 * draw.normal()).clamp(self.start - 1.0, self.ceiling);
        let peak_n = percent / 100.0 * patient.mass_kg * NEWTONS_PER_KGF;
        let session_min = if visit_no <= 2 { 10 } else { self.session_min };
        let cycle_s = self.hold_s + self.rest_s + 2 * self.ramp_s;
        Dose {
            is_static: self.is_static,
            percent,
            peak_n,
            low_n: (!self.is_static).then_some(peak_n * 0.5),
            hold_s: if self.is_static { session_min * 60 - 2 * self.ramp_s } else { self.hold_s },
            rest_s: if self.is_static { 0 } else { self.rest_s },
            ramp_s: self.ramp_s,
            cycles: if self.is_static { 1 } else { session_min * 60 / cycle_s },
            session_min,
        }
    }

    /// The setup of a visit with a peak pull, N, with the site's planted faults in it (but not the copying). The split opens
    /// only where the pull exceeds the tension of the return spring.
    pub fn setup(&self, draw: &mut Draw, at: &Where, peak_n: f64) -> Setup {
        let lumbar = at.region == Region::Lumbar;
        let (tension, turns) = at.tension(draw);
        let opening = at.gap(draw, tension);
        let gap = if peak_n < tension * NEWTONS_PER_LBF { 0.0 } else { opening };
        let usually = |draw: &mut Draw, p: f64| draw.chance(p);
        let belt = |draw: &mut Draw, p: f64| {
            let ok = usually(draw, p);
            lumbar.then_some(ok)
        };
        let other = draw.one_of("handholds", &["chest harness", "axillary posts"]);
        let usual = ["handholds", "chest harness", "axillary posts"].into_iter().find(|w| *w == at.site.restraint);
        let restraint = if draw.chance(0.94) { usual.unwrap_or(other) } else { other };
        Setup {
            prone: self.prone,
            angle: (self.angle + 0.9 * draw.normal()).round() as i64,
            tension_n: lumbar.then_some(tension * NEWTONS_PER_LBF),
            turns: lumbar.then_some(turns),
            gap_mm: lumbar.then_some(gap),
            restraint: if lumbar { restraint } else { "none" },
            landmark: belt(draw, 0.95),
            seated: belt(draw, 0.97),
            slack: belt(draw, 0.94),
            level_pull: usually(draw, 0.95),
            table_level: usually(draw, 0.98),
        }
    }
}

/// Where and when a setup is made.
pub struct Where<'a> {
    /// Seed of the sample, for what is fixed a table or clinician.
    pub seed: u64,
    /// The plan.
    pub plan: &'a Plan,
    /// The site.
    pub site: &'a SitePlan,
    /// The table's code.
    pub table: &'a str,
    /// The clinician's code.
    pub clinician: &'a str,
    /// The region.
    pub region: Region,
    /// The day.
    pub date: NaiveDate,
}

impl Where<'_> {
    /// Return tension in lbf and turns back from full. Full is 50 to 55 lbf by table, a turn takes
    /// 2 lbf off (common practice, no published source), so `t` turns leave `50 - 2t` to `55 - 2t`.
    fn tension(&self, draw: &mut Draw) -> (f64, f64) {
        let fault = &self.plan.return_tension_too_high;
        let full = Draw::keyed(self.seed, &["table", self.table]).between(51.0, 54.0);
        let habit = Draw::keyed(self.seed, &["clinician", self.clinician]).one_of(5.5, &[6.0, 5.5]);
        let usual = if draw.chance(0.85) { habit } else { draw.one_of(5.0, &[5.5, 6.0]) };
        let scatter = 0.5 * draw.normal();
        let (full, turns) = if self.site.name == fault.site { (54.0, fault.turns) } else { (full, usual) };
        let tension = (full - 2.0 * turns + scatter).clamp(50.5 - 2.0 * turns, 54.5 - 2.0 * turns);
        (tension, turns)
    }

    /// Opening of the split at a peak pull above the tension, mm: a quarter of an inch with scatter, a little of the
    /// table's own, less under a stiffer return, and the drift where one is planted.
    fn gap(&self, draw: &mut Draw, tension: f64) -> f64 {
        let high = &self.plan.return_tension_too_high;
        let drift = &self.plan.drifting;
        let own = 0.15 * Draw::keyed(self.seed, &["gap", self.table]).normal();
        let stiffer = high.gap_mm_per_lbf * (tension - high.usual_lbf);
        let weeks = (self.date - drift.since).num_days().max(0) as f64 / 7.0;
        let drifted =
            if self.site.name == drift.site && self.table == drift.table { drift.mm_per_week * weeks } else { 0.0 };
        (6.35 + own + stiffer + drifted + 0.35 * draw.normal()).clamp(1.0, 14.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn setups(site: &str, table: &str, date: &str) -> Vec<Setup> {
        setups_at(400.0, site, table, date)
    }

    fn setups_at(peak_n: f64, site: &str, table: &str, date: &str) -> Vec<Setup> {
        let plan = Plan::shipped().unwrap();
        let site = plan.sites.iter().find(|s| s.name == site).unwrap();
        let mut draw = Draw::keyed(4, &["setups"]);
        let at = Where {
            seed: 4,
            plan: &plan,
            site,
            table,
            clinician: "XC1",
            region: Region::Lumbar,
            date: date.parse().unwrap(),
        };
        (0..300).map(|_| Regimen::draw(&mut draw, Region::Lumbar, false, false).setup(&mut draw, &at, peak_n)).collect()
    }

    fn mean(of: impl Iterator<Item = f64>) -> f64 {
        let all: Vec<f64> = of.collect();
        all.iter().sum::<f64>() / all.len() as f64
    }

    #[test]
    fn usual_tension_is_about_40_lbf_and_agrees_with_its_turns() {
        let all = setups("Alderwick", "AT1", "2026-01-05");
        let lbf = |s: &Setup| s.tension_n.unwrap() / NEWTONS_PER_LBF;
        assert!((mean(all.iter().map(lbf)) - 41.0).abs() < 2.0);
        for setup in &all {
            let turns = setup.turns.unwrap();
            assert!((50.0 - 2.0 * turns..=55.0 - 2.0 * turns).contains(&lbf(setup)), "{setup:?}");
        }
    }

    #[test]
    fn the_site_with_too_much_tension_has_about_52_lbf() {
        let all = setups("Coldlarch", "CT1", "2026-01-05");
        let lbf = mean(all.iter().map(|s| s.tension_n.unwrap() / NEWTONS_PER_LBF));
        assert!((51.0..53.0).contains(&lbf), "{lbf}");
        assert!(mean(all.iter().map(|s| s.gap_mm.unwrap())) < 5.8);
    }

    #[test]
    fn the_split_opens_only_where_the_pull_exceeds_the_tension() {
        let peak_n = 42.0 * NEWTONS_PER_LBF;
        let all = setups_at(peak_n, "Alderwick", "AT1", "2026-01-05");
        let is_open = |s: &Setup| s.gap_mm.unwrap() > 1.0;
        assert!(all.iter().all(|s| is_open(s) == (s.tension_n.unwrap() <= peak_n)));
        let open = all.iter().filter(|s| is_open(s)).count();
        assert!((20..280).contains(&open), "{open} of 300 open");
    }

    #[test]
    fn one_table_drifts_from_its_day_on_and_its_neighbour_does_not() {
        let gap = |table, day| mean(setups("Dunnock Hill", table, day).iter().map(|s| s.gap_mm.unwrap()));
        assert!((gap("DT2", "2025-09-01") - gap("DT2", "2026-02-01")).abs() < 0.1);
        assert!(gap("DT2", "2026-08-31") - gap("DT2", "2025-09-01") > 2.0);
        assert!((gap("DT1", "2026-08-31") - gap("DT1", "2025-09-01")).abs() < 0.1);
    }

    #[test]
    fn dose_builds_up_within_the_usual_share_of_body_weight() {
        let mut draw = Draw::keyed(4, &["dose"]);
        for region in [Region::Lumbar, Region::Cervical] {
            let (low, high) = if region == Region::Lumbar { (24.0, 50.0) } else { (6.0, 12.0) };
            for _ in 0..200 {
                let patient = Patient::draw(&mut draw, 0);
                let regimen = Regimen::draw(&mut draw, region, false, false);
                let percents: Vec<f64> = (1..=12).map(|n| regimen.dose(&mut draw, &patient, n).percent).collect();
                assert!(percents.iter().all(|p| (low..=high).contains(p)), "{percents:?}");
                assert!(percents[11] > percents[0]);
            }
        }
    }
}
