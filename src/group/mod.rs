//! `group.toml` and mapping files -> checked settings.

pub mod field;
pub mod mapping;
pub mod settings;
