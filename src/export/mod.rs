//! Export file -> records with a place: bytes only, no meaning.

pub mod place;
