//! `group.toml` and mapping files -> checked settings.
