//! From values to places on the drawing, and round numbers for ticks.

/// A straight-line scale.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scale {
    domain: (f64, f64),
    places: (f64, f64),
}

impl Scale {
    /// Maps `domain` onto `places`; a domain without width is widened by one.
    pub(super) fn new(domain: (f64, f64), places: (f64, f64)) -> Self {
        let domain = if domain.1 > domain.0 { domain } else { (domain.0, domain.0 + 1.0) };
        Self { domain, places }
    }

    /// Where a value stands, kept within the scale's ends.
    pub(super) fn at(&self, value: f64) -> f64 {
        let share = ((value - self.domain.0) / (self.domain.1 - self.domain.0)).clamp(0.0, 1.0);
        self.places.0 + share * (self.places.1 - self.places.0)
    }

    /// Whether a value lies on the scale.
    pub(super) fn holds(&self, value: f64) -> bool {
        (self.domain.0..=self.domain.1).contains(&value)
    }

    /// The ends of the domain.
    pub(super) fn domain(&self) -> (f64, f64) {
        self.domain
    }

    /// Round values within the domain, about `wanted` of them.
    pub(super) fn ticks(&self, wanted: usize) -> Vec<f64> {
        let step = round_step((self.domain.1 - self.domain.0) / wanted.max(1) as f64);
        let first = (self.domain.0 / step - 1e-9).ceil() as i64;
        let last = (self.domain.1 / step + 1e-9).floor() as i64;
        (first..=last).map(|k| k as f64 * step).collect()
    }
}

/// The least of 1, 2, 5 times a power of ten that is not below `step`.
fn round_step(step: f64) -> f64 {
    if !(step.is_finite() && step > 0.0) {
        return 1.0;
    }
    let power = 10f64.powf(step.log10().floor());
    [1.0, 2.0, 5.0]
        .into_iter()
        .map(|m| m * power)
        .find(|candidate| *candidate >= step * (1.0 - 1e-9))
        .unwrap_or(10.0 * power)
}

/// The least and the largest finite value, if there is any.
pub(super) fn span(values: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    values.filter(|v| v.is_finite()).map(|v| (v, v)).reduce(|(low, high), (v, _)| (low.min(v), high.max(v)))
}

/// Round ends that hold all finite values, never beyond `limits`.
pub(super) fn round_domain(values: impl Iterator<Item = f64>, wanted: usize, limits: (f64, f64)) -> (f64, f64) {
    let Some((low, high)) = span(values) else {
        return if limits.0.is_finite() && limits.1.is_finite() { limits } else { (0.0, 1.0) };
    };
    let step = round_step((high - low).max(1e-6) / wanted.max(1) as f64);
    (((low / step).floor() * step).max(limits.0), ((high / step).ceil() * step).min(limits.1))
}

/// Round ends of several scales of one length, each around its own values, so that a step is as long on all of them. Each is given
/// by its least and largest value; none goes beyond `limits` unless its values do.
pub(super) fn equal_domains(spans: &[(f64, f64)], wanted: usize, limits: (f64, f64)) -> Vec<(f64, f64)> {
    let longest = spans.iter().map(|(low, high)| high - low).filter(|span| span.is_finite()).fold(1e-6, f64::max);
    let step = round_step(longest / wanted.max(1) as f64);
    let in_steps = |(low, high): &(f64, f64)| ((low / step + 1e-9).floor(), (high / step - 1e-9).ceil());
    let steps = spans.iter().map(in_steps).map(|(low, high)| high - low).fold(1.0, f64::max);
    let (least, most) = (limits.0 / step, limits.1 / step);
    let domain = |span: &(f64, f64)| {
        let (low, high) = in_steps(span);
        let low = low - ((steps - (high - low)) / 2.0).floor();
        let low = low.min(most - steps).max(least);
        (low * step, (low + steps) * step)
    };
    spans.iter().map(domain).collect()
}

/// Decimals needed to tell the ticks apart.
pub(super) fn tick_decimals(ticks: &[f64]) -> usize {
    (0..=4)
        .find(|&places| {
            let unit = 10f64.powi(places);
            ticks.iter().all(|t| (t * unit - (t * unit).round()).abs() < 1e-6)
        })
        .unwrap_or(4) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        let ticks = Scale::new((0.0, 100.0), (0.0, 1.0)).ticks(5);
        assert_eq!(ticks, [0.0, 20.0, 40.0, 60.0, 80.0, 100.0]);
        let ticks = Scale::new((-13.0, 2.0), (0.0, 1.0)).ticks(4);
        assert_eq!(ticks, [-10.0, -5.0, 0.0]);
        assert_eq!(tick_decimals(&[0.0, 0.5, 1.0]), 1);
        assert_eq!(tick_decimals(&[0.0, 5.0]), 0);
    }

    #[test]
    fn a_domain_holds_its_values_and_respects_the_limits() {
        assert_eq!(round_domain([3.2, 47.0].into_iter(), 5, (0.0, 100.0)), (0.0, 50.0));
        assert_eq!(round_domain([3.2, 9.7].into_iter(), 4, (0.0, 10.0)), (2.0, 10.0));
        assert_eq!(round_domain([f64::NAN].into_iter(), 4, (0.0, 10.0)), (0.0, 10.0));
    }

    #[test]
    fn scales_of_one_length_stand_around_their_own_values() {
        let ends = (f64::NEG_INFINITY, f64::INFINITY);
        let found = equal_domains(&[(40.2, 41.9), (51.8, 52.3), (38.1, 44.0)], 4, ends);
        assert_eq!(found, [(38.0, 44.0), (50.0, 56.0), (38.0, 44.0)]);
        let shares = equal_domains(&[(0.93, 1.0), (0.02, 0.11), (0.5, 0.5)], 4, (0.0, 1.0));
        let rounded: Vec<(f64, f64)> = shares.iter().map(|d| ((100.0 * d.0).round(), (100.0 * d.1).round())).collect();
        assert_eq!(rounded, [(85.0, 100.0), (0.0, 15.0), (45.0, 60.0)]);
        assert_eq!(equal_domains(&[], 4, ends), []);
    }

    #[test]
    fn a_value_off_the_scale_is_kept_at_its_end() {
        let scale = Scale::new((0.0, 10.0), (100.0, 0.0));
        assert_eq!(scale.at(5.0), 50.0);
        assert_eq!(scale.at(12.0), 0.0);
        assert!(!scale.holds(12.0) && scale.holds(10.0));
        assert!(Scale::new((2.0, 2.0), (0.0, 1.0)).at(2.0).is_finite());
    }
}
