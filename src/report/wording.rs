//! Every sentence and number format that a reader sees.

pub mod figures;
pub mod notice;
mod numbers;

pub use numbers::{
    NOT_RECORDED, WITHHELD, count, counted, decimal, n_of, percent, percent_with_interval, range, signed,
    signed_with_interval, with_interval,
};
