//! Responder rates with the lost imputed from their own course.
//!
//! In each of [`DRAWS`] draws the curve's parameters are drawn from their sampling distribution, then for every due episode
//! that lacks its baseline or endpoint its own coefficients from their posterior given all its readings, then the score on the
//! day endpoints are usually read, with its residual, rounded and held as scores are written. An episode without any
//! reading is drawn from the population. Rates are pooled over the draws by Rubin's rules on the logit (Rubin 1987).
//!
//! This is right if who is lost depends only on the readings that were seen (missing at random). The tipping point says
//! how far from that the truth would have to be.

use super::course_model::CourseModel;
use super::followed::Followed;
use super::grid::{Grid, Table};
use super::panel::Track;
use super::responders::Responders;
use super::score_scale::ScoreScale;
use crate::catalogue::Definition;
use mendcurve_stats::impute::{DrawnCount, TippingPoint, pooled_proportion, tipping_point};
use mendcurve_stats::interval::Estimate;
use mendcurve_stats::random::stream;
use mendcurve_stats::{Level, random};
use rayon::prelude::*;

/// How often the missing are drawn.
pub const DRAWS: usize = 50;
const SEED: u64 = 1987;

/// The due episodes of an outcome with the missing drawn.
#[derive(Clone, Debug)]
pub struct Imputed {
    /// One filled list a draw, in the order of the episodes given.
    draws: Vec<Vec<Followed>>,
    /// Whether the endpoint of each episode was missing.
    endpoint_drawn: Vec<bool>,
    scale: ScoreScale,
}

impl Imputed {
    /// Draws what is missing. `tracks` has one entry an episode: all its readings, if there are any.
    pub fn of(
        model: &CourseModel,
        scale: ScoreScale,
        endpoint_day: f64,
        key: &str,
        followed: &[Followed],
        tracks: &[Option<Track<'_>>],
    ) -> Self {
        let one = |draw: usize| {
            let mut stream = stream(SEED, format!("{key} draw {draw}").as_bytes());
            let model = model.drawn(&mut stream);
            let unread = model.posterior(&[], &[]);
            let fill = |(episode, track): (&Followed, &Option<Track<'_>>)| {
                let mut filled = *episode;
                if filled.pair().is_some() {
                    return filled;
                }
                let read = track.and_then(|track| model.posterior(track.days, track.scores));
                let posterior = if track.is_some() { read.as_ref() } else { unread.as_ref() };
                let curve = posterior.and_then(|posterior| model.drawn_curve(posterior, &mut stream));
                let mut score = |day: f64| {
                    let residual = random::standard_normal(&mut stream);
                    let score = curve.as_ref().and_then(|curve| model.score(curve, day, residual));
                    score.filter(|score| score.is_finite()).map(|score| scale.written(score))
                };
                // always both, so that the stream does not depend on what is missing
                let (baseline, endpoint) = (score(0.0), score(endpoint_day));
                filled.baseline = filled.baseline.or(baseline);
                filled.endpoint = filled.endpoint.or(endpoint);
                filled
            };
            followed.iter().zip(tracks).map(fill).collect()
        };
        Self {
            draws: (0..DRAWS).into_par_iter().map(one).collect(),
            endpoint_drawn: followed.iter().map(|episode| episode.endpoint.is_none()).collect(),
            scale,
        }
    }

    /// The pooled rate of each cell by one definition; `None` where no episode could respond.
    pub fn rates(&self, grid: &Grid, definition: &Definition) -> Table<Option<Estimate>> {
        let by_draw: Vec<Table<Responders>> = self
            .draws
            .par_iter()
            .map(|episodes| grid.sort(episodes).map(|cell| Responders::of(cell, definition)))
            .collect();
        let cells = by_draw.first().map_or(0, |table| table.values().len());
        let pooled = |cell: usize| {
            let rates = by_draw.iter().filter_map(|table| table.values().get(cell)).map(drawn);
            pooled_proportion(&rates.collect::<Vec<_>>(), Level::NINETY_FIVE).ok().map(|pooled| pooled.estimate)
        };
        Table::new(by_draw.first().map_or(1, Table::columns), (0..cells).map(pooled).collect())
    }

    /// By how much every drawn endpoint must be worse for the pooled rate of all episodes to fall below a limit.
    pub fn tipping(&self, definition: &Definition, limit: f64) -> Option<TippingPoint> {
        let rate = |worse_by: f64| {
            let rates: Vec<DrawnCount> = self
                .draws
                .par_iter()
                .map(|episodes| {
                    let worsened: Vec<Followed> = episodes
                        .iter()
                        .zip(&self.endpoint_drawn)
                        .map(|(episode, is_drawn)| match is_drawn {
                            true => self.worsened(*episode, worse_by),
                            false => *episode,
                        })
                        .collect();
                    drawn(&Responders::of(&worsened.iter().collect::<Vec<_>>(), definition))
                })
                .collect();
            pooled_proportion(&rates, Level::NINETY_FIVE).map(|pooled| pooled.estimate.value)
        };
        tipping_point(rate, limit, self.scale.width()).ok()
    }

    fn worsened(&self, episode: Followed, worse_by: f64) -> Followed {
        Followed { endpoint: episode.endpoint.map(|score| self.scale.worse_by(score, worse_by)), ..episode }
    }

    /// Whether the whole group has any endpoint that was drawn.
    pub fn has_drawn_endpoints(&self) -> bool {
        self.endpoint_drawn.contains(&true)
    }
}

/// Responders and episodes of one draw.
fn drawn(counts: &Responders) -> DrawnCount {
    DrawnCount { successes: counts.responders.into(), trials: counts.denominator.into() }
}
