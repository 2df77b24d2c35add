//! Facts of the trade as data: measures, conditions, identifiers. (placeholder until the catalogue lands)

/// A measure of the registry, by position.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct MeasureId(pub u16);
/// A condition of the registry, by position.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct ConditionId(pub u16);
/// The region of the spine that is treated.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Region {
    /// Low back.
    Lumbar,
    /// Neck.
    Cervical,
    /// Any other.
    Other,
}
/// Where the pain of a reading is felt.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum PainSite {
    /// Back.
    Back,
    /// Leg.
    Leg,
    /// Neck.
    Neck,
    /// Arm.
    Arm,
    /// Elsewhere.
    Other,
    /// Not said.
    Unspecified,
}
