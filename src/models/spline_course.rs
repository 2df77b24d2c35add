//! stub
use super::course_model::Unfit;
use mendcurve_stats::Estimate;
use mendcurve_stats::series::{PopulationPoint, Predictive, Series};
use rand_chacha::ChaCha8Rng;
/// s
#[derive(Clone, Debug)]
pub struct SplineCourse;
/// s
#[derive(Clone, Debug)]
pub struct SplinePosterior;
/// s
#[derive(Clone, Debug)]
pub struct SplineCurve;
impl SplineCourse {
    /// s
    pub fn fit(_: &[Series<'_>]) -> Result<Self, Unfit> {
        Err(Unfit::TooFew)
    }
    pub(super) fn posterior(&self, _: &Series<'_>) -> Option<SplinePosterior> {
        None
    }
    pub(super) fn predict(&self, _: &SplinePosterior, _: f64) -> Option<Predictive> {
        None
    }
    pub(super) fn log_density(&self, _: &Series<'_>) -> Option<f64> {
        None
    }
    pub(super) fn drawn(&self, _: &mut ChaCha8Rng) -> Self {
        self.clone()
    }
    pub(super) fn drawn_curve(&self, _: &SplinePosterior, _: &mut ChaCha8Rng) -> SplineCurve {
        SplineCurve
    }
    pub(super) fn score(&self, _: &SplineCurve, _: f64, _: f64) -> Option<f64> {
        None
    }
    pub(super) fn population(&self, _: f64) -> Option<PopulationPoint> {
        None
    }
    pub(super) fn day_of_change(&self, _: f64, _: f64) -> Option<Estimate> {
        None
    }
    pub(super) fn residual_sd(&self) -> f64 {
        0.0
    }
    pub(super) fn singular(&self) -> Option<String> {
        None
    }
    pub(super) fn evidence(&self) -> String {
        String::new()
    }
}
