//! Linear mixed models: one curve for the population, one for each subject around it.
//!
//! **Model.** y = X beta + Z u + e by subject, u ~ N(0, G), e ~ N(0, sigma2 I), all independent (Laird & Ware 1982,
//! Biometrics 38:963-74); fitted by maximum or restricted maximum likelihood, profiled over the Cholesky factor of G
//! relative to sigma2 (Bates et al. 2015, J Stat Softw 67(1)).
//!
//! **Parts.** [`block`]: sums of products of each subject, all that a fit needs. [`criterion`]: the likelihood and its
//! derivatives. [`fit`]: the estimates, or why there are none. [`cross_products`]: the same
//! sums as whole numbers, so that parts of a data set add up exactly. [`spline`] and [`trajectory`]: the model of a course
//! over time, one natural cubic spline for the population and one for each subject.
//!
//! **Published values.** Sleep study (Bates et al. 2015), folder `lmm_sleepstudy`; folders `lmm_*` against lme4.

pub mod block;
pub mod criterion;
pub mod cross_products;
mod descent;
pub mod fit;
#[cfg(test)]
mod naive;
mod singular;
mod small_matrix;
pub mod spline;
pub mod trajectory;

pub use block::{Block, Reduced, SubjectSums};
pub use criterion::Criterion;
pub use cross_products::{CrossProducts, FixedColumn};
pub use fit::{Fit, Outcome, Refusal, fit_blocks, fit_blocks_from};
pub use singular::Singular;
pub use spline::Spline;
pub use trajectory::Trajectory;
