//! What `mendcurve setups` prints.
use crate::findings::setups::SetupFindings;
/// To be replaced at the merge.
pub fn terminal(setups: &SetupFindings) -> String {
    format!("{setups:?}")
}
