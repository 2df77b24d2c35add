//! Records and a mapping -> rows: typed cells in SI units, or a counted rejection.

pub mod cell;
pub mod codes;
pub mod dates;
pub mod draft_mapping;
pub mod fields;
pub mod kept_names;
pub mod ledger;
#[cfg(test)]
pub(crate) mod made;
pub mod match_columns;
pub mod names;
pub mod number;
pub mod privacy;
pub mod pseudonym;
pub mod quantities;
pub mod quotes;
pub mod read_block;
pub mod read_file;
pub mod read_group;
pub mod reason;
pub mod row;
pub mod tables;
pub mod told;
pub mod when;
pub mod words;
