//! Where the variation sits: nested variance components by restricted maximum likelihood.
//!
//! **Model.** y = mu + u_1 + ... + u_K + e: each of K = 1 to 4 nested levels (site, clinician within site, patient within
//! clinician, ...) adds an independent normal effect of variance v_k for each of its groups; e has variance v_e.
//!
//! **Formula.** Minus twice the restricted log-likelihood (Patterson & Thompson 1971, Biometrika 58:545-54),
//! D = (N - 1) ln 2 pi + ln|V| + ln(1'V^-1 1) + (y - mu)'V^-1(y - mu), by one walk over the tree instead of any matrix.
//! A group of the lowest level with n values knows its own level to the precision w = n / v_e; a group with effect variance
//! v passes w' = w / (1 + v w) and its mean m up to its parent, whose w and m are the sum and the mean by weight w'. Then
//! ln|V| = N ln v_e + sum over groups of ln(1 + v w), and the quadratic form is the squares within the lowest groups over
//! v_e plus the sum over all groups of w' (m - m of the parent)2: the Woodbury identity applied level by level. The walk
//! down gives each group's r = w'(m - t), t the parent's predicted level, hence its best linear unbiased
//! prediction v r (Henderson 1975, Biometrics 31:423-47), its variance, and the exact gradient dD/dv_k =
//! sum(a - r2), a = w' - w'2 Var(t). Groups of the lowest level with the same parent and the same n are walked as one:
//! nothing is lost, since only their number, mean and squares matter.
//!
//! **Intervals.** Profile likelihood: the values at which the best D over all other components lies within the chi-square
//! quantile with 1 degree of freedom of its minimum; for each component and for each component's share of the total.
//! A limit at which the component is gone is 0. With few groups they are wide to the right, as they should be.
//!
//! **Domain and edge cases.** Values finite, rows sorted by their codes. Components at zero are answers, not errors: the
//! slope of D there is given. No fit, with the reason: a level with no more groups than the one above (nothing tells
//! the two apart), no group with two values, no variation within the lowest groups. D may have several minima in
//! badly unbalanced data; the descent starts from moments and finds one.
//!
//! **Cost.** One pass over the rows, then the number of distinct groups a step.
//!
//! **Reference.** `lme4` on `Pastes` and `nlme::Oxide`, folders `nested_pastes` and `nested_oxide`; a dense
//! restricted likelihood in this module's tests.

mod criterion;
mod descent;
mod effects;
mod fit;
mod profile;
mod tree;

pub use effects::Effect;
pub use fit::{Component, Fit, Outcome, Part, Refusal, fit};
pub use profile::PartInterval;
pub use tree::{MAX_LEVELS, Nested};

#[cfg(test)]
mod tests;
