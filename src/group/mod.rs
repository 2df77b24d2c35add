//! `group.toml` and mapping files -> checked settings.

pub(crate) mod date_format;
mod document;
mod export_files;
mod extends;
pub mod field;
mod inside;
pub mod load;
pub mod mapping;
mod overrides;
pub mod parse_mapping;
pub mod plain_text;
pub mod settings;
pub mod setup_standard;
pub(crate) mod suggest;
