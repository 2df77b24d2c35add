//! A condition and its episodes before anything is found of its outcomes.

use crate::catalogue::Region;
use crate::episodes::episode::Episode;
use crate::rows::row::Onset;

/// An episode with its position in the run.
pub(super) type Numbered<'a> = (u32, &'a Episode);

/// What is known of a condition before its outcomes.
pub(super) struct About {
    pub(super) key: String,
    pub(super) region: Region,
    pub(super) radicular: bool,
    /// The onset class of most of its episodes that have one.
    pub(super) onset: Option<Onset>,
}
