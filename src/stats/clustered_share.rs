//! Shares of events that come in clusters, as visits of patients: how much less the events of a cluster tell than as many independent ones.
//!
//! **Formula.** Intraclass correlation by the analysis-of-variance estimator within units (Donner 1986, Int Stat Rev 54:67-82; Fleiss
//! 1981): with clusters c of n_c events and share p_c in units u of N_u events and share p_u, G clusters and U units,
//! MSB = sum n_c (p_c - p_u)2 / (G - U), MSW = sum n_c p_c (1 - p_c) / (N - G), n0 = (N - sum_u sum_c n_c2 / N_u) / (G - U),
//! rho = (MSB - MSW) / (MSB + (n0 - 1) MSW), held within 0 and 1. Differences between units do not enter.
//! Design effect of a unit: 1 + (sum n_c2 / sum n_c - 1) rho (Kish 1965; Donner & Klar 2000, 5.1). Dividing counts
//! by it leaves as many events as would tell as much if they were independent.
//!
//! **Domain and edge cases.** Sizes positive, events within 0 and the size. Nothing left to tell clusters apart (no cluster with
//! two events, or as many units as clusters): rho 0. No variation at all: rho 0.
//!
//! **Reference.** By hand in this module's tests.

use crate::error::InputError;
use crate::sum::sum;

/// The events of one cluster.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cluster {
    /// The unit it belongs to.
    pub unit: usize,
    /// Events seen.
    pub size: f64,
    /// Of these, hits.
    pub hits: f64,
}

/// The correlation between events of one cluster, 0 to 1.
///
/// # Errors
/// If a size is not positive and finite, or hits are not within 0 and the size.
pub fn intraclass_correlation(clusters: &[Cluster]) -> Result<f64, InputError> {
    let inside = |c: &Cluster| c.size > 0.0 && c.size.is_finite() && (0.0..=c.size).contains(&c.hits);
    if let Some(index) = clusters.iter().position(|cluster| !inside(cluster)) {
        return Err(InputError::BadElement { what: "clusters", index, domain: "hits within 0 and a positive size" });
    }
    let units = clusters.iter().map(|cluster| cluster.unit + 1).max().unwrap_or(0);
    let (mut size, mut hits, mut squares) = (vec![0.0; units], vec![0.0; units], vec![0.0; units]);
    for cluster in clusters {
        size[cluster.unit] += cluster.size;
        hits[cluster.unit] += cluster.hits;
        squares[cluster.unit] += cluster.size * cluster.size;
    }
    let all = sum(size.iter().copied());
    let seen = size.iter().filter(|n| **n > 0.0).count();
    let (between_df, within_df) = (clusters.len() as f64 - seen as f64, all - clusters.len() as f64);
    if between_df <= 0.0 || within_df <= 0.0 {
        return Ok(0.0);
    }
    let share = |cluster: &Cluster| cluster.hits / cluster.size;
    let of_unit = |cluster: &Cluster| hits[cluster.unit] / size[cluster.unit];
    let between = sum(clusters.iter().map(|c| c.size * (share(c) - of_unit(c)).powi(2))) / between_df;
    let within = sum(clusters.iter().map(|c| c.size * share(c) * (1.0 - share(c)))) / within_df;
    let usual = (all - sum(size.iter().zip(&squares).filter(|(n, _)| **n > 0.0).map(|(n, s)| s / n))) / between_df;
    let whole = between + (usual - 1.0) * within;
    Ok(if whole > 0.0 { ((between - within) / whole).clamp(0.0, 1.0) } else { 0.0 })
}

/// The design effect of clusters of these sizes at a correlation, at least 1; 1 for none.
#[must_use]
pub fn design_effect(sizes: impl Iterator<Item = f64> + Clone, correlation: f64) -> f64 {
    let all = sum(sizes.clone());
    let squares = sum(sizes.map(|n| n * n));
    if all > 0.0 { (1.0 + (squares / all - 1.0) * correlation).max(1.0) } else { 1.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn clusters(rows: &[(usize, f64, f64)]) -> Vec<Cluster> {
        rows.iter().map(|(unit, size, hits)| Cluster { unit: *unit, size: *size, hits: *hits }).collect()
    }

    #[test]
    fn clusters_that_are_all_or_nothing_correlate_wholly() {
        let all = clusters(&[(0, 4.0, 4.0), (0, 4.0, 0.0), (0, 4.0, 4.0), (0, 4.0, 0.0)]);
        assert_eq!(intraclass_correlation(&all), Ok(1.0));
        assert_eq!(design_effect(all.iter().map(|c| c.size), 1.0), 4.0);
    }

    #[test]
    fn two_unlike_clusters_by_hand() {
        // shares 3/4 and 1/4 of 4 each, unit share 1/2: MSB = 4 (1/16 + 1/16) / 1 = 1/2; MSW = (4 x 3/16 x 2) / 6 = 1/4;
        // n0 = (8 - 32/8) / 1 = 4; rho = (1/2 - 1/4) / (1/2 + 3/4) = 1/5
        let two = clusters(&[(0, 4.0, 3.0), (0, 4.0, 1.0)]);
        assert!((intraclass_correlation(&two).unwrap() - 0.2).abs() < 1e-15);
        assert!((design_effect(two.iter().map(|c| c.size), 0.2) - 1.6).abs() < 1e-15);
    }

    #[test]
    fn a_difference_between_units_is_not_taken_for_one_between_clusters() {
        let apart = clusters(&[(0, 4.0, 4.0), (0, 4.0, 4.0), (1, 4.0, 0.0), (1, 4.0, 0.0)]);
        assert_eq!(intraclass_correlation(&apart), Ok(0.0));
        let alone = clusters(&[(0, 1.0, 1.0), (0, 1.0, 0.0), (2, 1.0, 1.0)]);
        assert_eq!(intraclass_correlation(&alone), Ok(0.0));
        assert!(intraclass_correlation(&clusters(&[(0, 2.0, 3.0)])).is_err());
        assert_eq!(design_effect(std::iter::empty(), 0.5), 1.0);
    }
}
