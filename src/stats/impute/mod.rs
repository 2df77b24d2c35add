//! One answer from many completed copies of data with gaps, and how bad the gaps would have to be to change it.

mod proportion;
mod rubin;
mod tipping;

pub use proportion::{DrawnCount, PooledProportion, PoolingScale, pooled_proportion};
pub use rubin::{Pooled, pool};
pub use tipping::{TippingPoint, tipping_point};
