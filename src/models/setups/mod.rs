//! Visits -> how patients are set up where, by whom and on which table: what differs, from whom, since when.
//!
//! [`SetupVisits`](visits::SetupVisits) are the treated visits with their units (site, clinician, traction table);
//! a [`Column`](column::Column) is one parameter of one region over them. Each question to the data then has a file of its own and
//! answers with [`Tested`](tested::Tested): all that was asked, found or not, since one Benjamini-Hochberg step goes over everything.
//!
//! **What is a finding.** Units differ for ordinary reasons: tables have springs of their own, clinicians have habits. A finding must
//! be beyond chance, where patients rather than visits are what is independent; beyond what units of its kind usually
//! differ by; and large enough to matter, by the tolerance of the standard where there is one.

pub mod changes;
pub mod charts;
pub mod column;
pub mod conformance;
pub mod copied;
pub mod last_digits;
#[cfg(test)]
pub(crate) mod made;
pub mod openings;

pub mod possible;
pub mod shares;
pub mod spread;
pub mod tested;
#[cfg(test)]
mod tests;
pub mod unlike;
pub mod variation;
pub mod visits;
pub mod within;
