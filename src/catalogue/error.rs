//! What may be wrong with an entry of a registry, shipped or set by the group.

use crate::error::Problem;

/// An entry of a registry that cannot be used.
#[derive(Clone, PartialEq, Eq, Debug, thiserror::Error)]
#[error("{}: {what}", self.path())]
pub struct CatalogueError {
    /// The registry, as its table is called in `group.toml`: `measures`, `conditions`.
    pub registry: &'static str,
    /// The key of the entry; empty when the registry as a whole cannot be read.
    pub key: String,
    /// The field of the entry, where one is to blame.
    pub field: Option<String>,
    /// What is wrong with it, without a full stop.
    pub what: String,
}

impl CatalogueError {
    /// An error about an entry as a whole.
    pub fn entry(registry: &'static str, key: &str, what: impl Into<String>) -> Self {
        Self { registry, key: key.to_owned(), field: None, what: what.into() }
    }

    /// The same, about one field.
    pub fn field(registry: &'static str, key: &str, field: &str, what: impl Into<String>) -> Self {
        Self { field: Some(field.to_owned()), ..Self::entry(registry, key, what) }
    }

    /// The dotted path into `group.toml`: `measures.headache.low`.
    pub fn path(&self) -> String {
        let parts = [Some(self.registry), Some(self.key.as_str()).filter(|key| !key.is_empty()), self.field.as_deref()];
        parts.into_iter().flatten().collect::<Vec<_>>().join(".")
    }
}

impl From<CatalogueError> for Problem {
    fn from(error: CatalogueError) -> Self {
        Problem::input(error.to_string())
    }
}
