//! Sites compared like for like: the same patients would have done how at the group as a whole?
//!
//! [`cases`] takes the due episodes that one comparison is about; [`case_mix`] says what of them enters the model;
//! [`null_model`] is that model, which knows no sites; [`comparison`] holds each site against what it expects, and
//! [`between_sites`] says how far the sites lie apart and shrinks each towards the group. [`lost`] says what those not followed up could
//! do to a site's rate, [`course`] how its patients went week by week.

pub mod between_sites;
pub mod case_mix;
pub mod cases;
pub mod comparison;
pub mod course;
pub mod lost;
pub mod null_model;
