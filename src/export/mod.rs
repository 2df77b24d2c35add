//! Export file -> records with a place: bytes only, no meaning.

pub mod blocks;
mod cut;
pub mod encoding;
pub mod head;
pub mod lines;
pub mod open;
pub mod place;
pub mod records;
pub mod stray_quotes;
