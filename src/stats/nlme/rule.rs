//! The points at which one subject's integral over x is taken.
//!
//! All rules lie on lattices: x = k step, k whole, with steps of 3^(-rung / 5). So subjects whose integrals need much the
//! same step share their points, and what depends on x and the time alone is worked out once for all of them (`decay.rs`).

/// Rungs from one step to a third of it.
const RUNGS_A_THIRD: i32 = 5;

/// Points k step for k = `first`, `first` + 1, ...; always pairs, since they are worked on two at a time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Rule {
    rung: i32,
    step: f64,
    first: i64,
    pairs: usize,
}

impl Rule {
    /// Covers `low` to `high` (finite, in order) with a step of at most `step`, above 0.
    pub fn covering(low: f64, high: f64, step: f64) -> Self {
        // a hair less, so that a step that stands on a rung is not refined for the sake of its last digit
        let rung = (-f64::from(RUNGS_A_THIRD) * step.ln() / 3.0_f64.ln() - 1e-9).ceil() as i32;
        Self::on(rung, low, high)
    }

    fn on(rung: i32, low: f64, high: f64) -> Self {
        let step = 3.0_f64.powf(-f64::from(rung) / f64::from(RUNGS_A_THIRD));
        let (first, last) = ((low / step).floor() as i64, (high / step).ceil() as i64);
        let points = usize::try_from(last - first + 1).unwrap_or(1);
        Self { rung, step, first, pairs: points.div_ceil(2) }
    }

    /// The same range with three times the points, to check the rule.
    pub fn finer(self) -> Self {
        Self::on(self.rung + RUNGS_A_THIRD, self.x(0), self.x(self.points() - 1))
    }

    /// Which lattice.
    pub fn rung(self) -> i32 {
        self.rung
    }

    /// Distance between neighbours.
    pub fn step(self) -> f64 {
        self.step
    }

    /// Place of the first point on the lattice.
    pub fn first(self) -> i64 {
        self.first
    }

    /// Number of points, even.
    pub fn points(self) -> usize {
        2 * self.pairs
    }

    /// Number of pairs of points.
    pub fn pairs(self) -> usize {
        self.pairs
    }

    /// The point in this place, from 0.
    pub fn x(self, place: usize) -> f64 {
        self.step * (self.first + place as i64) as f64
    }

    /// The least rule of this lattice that holds the points of both.
    pub fn with(self, other: Self) -> Self {
        let first = self.first.min(other.first);
        let end = |rule: Self| rule.first + rule.points() as i64;
        let points = usize::try_from(end(self).max(end(other)) - first).unwrap_or(0);
        Self { first, pairs: points.div_ceil(2), ..self }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rule_covers_its_range_with_steps_no_longer_than_asked() {
        for (low, high, step) in [(-7.0, 7.0, 1.0), (-2.3, 3.1, 0.28), (0.4, 0.9, 0.01), (-29.0, 29.0, 0.7)] {
            let rule = Rule::covering(low, high, step);
            assert!(rule.step() <= step * (1.0 + 1e-9) && rule.step() > 0.8 * step);
            let (first, last) = (rule.x(0), rule.x(rule.points() - 1));
            assert!(first <= low && low - first < rule.step());
            assert!(last >= high && last - high < 2.0 * rule.step());
        }
        assert_eq!(Rule::covering(-7.0, 7.0, 1.0).step(), 1.0);
    }

    #[test]
    fn a_finer_rule_has_a_third_of_the_step() {
        let rule = Rule::covering(-2.3, 3.1, 0.28);
        let ratio = rule.step() / rule.finer().step();
        assert!((ratio - 3.0).abs() < 1e-12, "{ratio}");
        assert!(rule.finer().x(0) <= rule.x(0));
    }

    #[test]
    fn rules_of_one_lattice_share_their_points() {
        let (a, b) = (Rule::covering(-2.3, 3.1, 0.28), Rule::covering(0.2, 5.9, 0.27));
        assert_eq!(a.rung(), b.rung());
        let both = a.with(b);
        for rule in [a, b] {
            let place = usize::try_from(rule.first() - both.first()).unwrap();
            assert_eq!(both.x(place), rule.x(0));
            assert!(place + rule.points() <= both.points());
        }
    }
}
