//! Export file -> records with a place: bytes only, no meaning.

pub mod blocks;
pub mod encoding;
pub mod open;
pub mod place;
pub mod records;
