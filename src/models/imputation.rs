//! Responder rates with the lost imputed from their own course.
//!
//! In each of [`DRAWS`] draws ([`DRAWS_OF_MANY`] where very many are lost) the curve's parameters are drawn from their sampling distribution, then for every due episode
//! that lacks its baseline or endpoint its own coefficients from their posterior given all its readings, then the score on the
//! day endpoints are usually read, with its residual, rounded and held as scores are written. An episode without any
//! reading is drawn from the population. Each episode has a stream of its own, named by its patient: who else is in the run, and in which
//! order, does not change its draws. Rates are pooled over the draws by Rubin's rules on the logit (Rubin 1987).
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
use mendcurve_stats::random::{Key, stream};
use mendcurve_stats::{Level, random};
use rayon::prelude::*;

/// How often the missing are drawn.
pub const DRAWS: usize = 50;
/// How often where more than [`MANY`] are lost: drawing is then what takes the time, and so many lost leave little to chance.
pub const DRAWS_OF_MANY: usize = 10;
/// Lost episodes of an outcome beyond which fewer draws do.
pub const MANY: usize = 1_000;
const SEED: u64 = 1987;

/// The due episodes of an outcome with the missing drawn.
#[derive(Clone, Debug)]
pub struct Imputed {
    /// The episodes given, as they were seen.
    followed: Vec<Followed>,
    /// The positions of those that lack their baseline or endpoint, in order.
    lost: Vec<u32>,
    /// One list a draw: the lost, filled in, in the same order.
    draws: Vec<Vec<Filled>>,
    scale: ScoreScale,
}

/// Both scores of a lost episode in one draw, NaN where not even drawing gave one: there are many of these, so they are small.
#[derive(Clone, Copy, PartialEq, Debug)]
struct Filled {
    baseline: f64,
    endpoint: f64,
}

impl Filled {
    /// The episode with these scores.
    fn of(self, seen: &Followed) -> Followed {
        let score = |score: f64| Some(score).filter(|score| !score.is_nan());
        Followed { baseline: score(self.baseline), endpoint: score(self.endpoint), ..*seen }
    }
}

impl Imputed {
    /// Draws what is missing. `tracks` has one entry an episode: all its readings, if there are any. `name` tells the episode at
    /// a position from all others of the group: its random stream is named by it.
    pub fn of(
        model: &CourseModel,
        scale: ScoreScale,
        endpoint_day: f64,
        key: &str,
        followed: Vec<Followed>,
        tracks: &[Option<Track<'_>>],
        name: impl Fn(u32) -> String,
    ) -> Self {
        let lost: Vec<u32> =
            (0..).zip(&followed).filter(|(_, episode)| episode.pair().is_none()).map(|(i, _)| i).collect();
        let own = |position: u32| Key::new(SEED, format!("{key}\0{}", name(position)).as_bytes());
        let to_fill: Vec<(&Followed, &Option<Track<'_>>, Key)> = (0..)
            .zip(followed.iter().zip(tracks))
            .filter(|(_, (episode, _))| episode.pair().is_none())
            .map(|(position, (episode, track))| (episode, track, own(position)))
            .collect();
        let one = |draw: u32| {
            let model = model.drawn(&mut stream(SEED, format!("{key} draw {draw}").as_bytes()));
            let unread = model.posterior(&[], &[]);
            let fill = |(episode, track, own): &(&Followed, &Option<Track<'_>>, Key)| {
                let mut stream = own.stream(draw.into());
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
                Filled {
                    baseline: episode.baseline.or(baseline).unwrap_or(f64::NAN),
                    endpoint: episode.endpoint.or(endpoint).unwrap_or(f64::NAN),
                }
            };
            to_fill.iter().map(fill).collect()
        };
        let draws = if lost.len() > MANY { DRAWS_OF_MANY } else { DRAWS };
        let draws = (0..draws as u32).into_par_iter().map(one).collect();
        Self { followed, lost, draws, scale }
    }

    /// The episodes given, as they were seen.
    pub fn followed(&self) -> &[Followed] {
        &self.followed
    }

    /// How often the missing were drawn.
    pub fn draws(&self) -> usize {
        self.draws.len()
    }

    /// Responders among the episodes at some positions, in order, in each draw.
    pub fn drawn(&self, definition: &Definition, positions: &[u32]) -> Vec<DrawnCount> {
        let mut seen = Responders::default();
        let mut lost = Vec::new();
        for position in positions {
            match (self.lost.binary_search(position), self.followed.get(*position as usize)) {
                (Ok(at), Some(episode)) => lost.push((at, episode)),
                (Err(_), Some(episode)) => seen.add(episode, definition),
                (_, None) => {}
            }
        }
        let of = |draw: &Vec<Filled>| {
            let mut counts = seen;
            for (at, episode) in &lost {
                draw.get(*at).into_iter().for_each(|filled| counts.add(&filled.of(episode), definition));
            }
            drawn(&counts)
        };
        self.draws.iter().map(of).collect()
    }

    /// The episodes that lack nothing.
    fn seen(&self) -> impl Iterator<Item = &Followed> {
        self.followed.iter().filter(|episode| episode.pair().is_some())
    }

    /// The pooled rate of each cell by one definition; `None` where no episode could respond.
    pub fn rates(&self, grid: &Grid, definition: &Definition) -> Table<Option<Estimate>> {
        let mut seen = grid.filled(Responders::default());
        let add = |table: &mut Table<Responders>, episode: &Followed| {
            let one = Responders::of(&[episode], definition); // decided once for all its cells
            for place in grid.places(episode) {
                if let Some(counts) = table.values_mut().get_mut(place) {
                    *counts += one;
                }
            }
        };
        self.seen().for_each(|episode| add(&mut seen, episode));
        let with_lost = |draw: &Vec<Filled>| {
            let mut table = seen.clone();
            self.filled(draw).for_each(|episode| add(&mut table, &episode));
            table
        };
        let by_draw: Vec<Table<Responders>> = self.draws.par_iter().map(with_lost).collect();
        let cells = by_draw.first().map_or(0, |table| table.values().len());
        let pooled = |cell: usize| {
            let rates = by_draw.iter().filter_map(|table| table.values().get(cell)).map(drawn);
            pooled_proportion(&rates.collect::<Vec<_>>(), Level::NINETY_FIVE).ok().map(|pooled| pooled.estimate)
        };
        Table::new(by_draw.first().map_or(1, Table::columns), (0..cells).map(pooled).collect())
    }

    /// By how much every drawn endpoint must be worse for the pooled rate of all episodes to fall below a limit.
    pub fn tipping(&self, definition: &Definition, limit: f64) -> Option<TippingPoint> {
        let mut seen = Responders::default();
        self.seen().for_each(|episode| seen.add(episode, definition));
        let is_drawn: Vec<bool> = self.lost().map(|episode| episode.endpoint.is_none()).collect();
        let held = |draw: &Vec<Filled>| {
            let mut counts = seen;
            let known = self.filled(draw).zip(&is_drawn).filter(|(_, is_drawn)| !**is_drawn);
            known.for_each(|(episode, _)| counts.add(&episode, definition));
            let drawn = self.filled(draw).zip(&is_drawn).filter(|(_, is_drawn)| **is_drawn);
            (counts, alike(drawn.map(|(episode, _)| episode).collect()))
        };
        let held: Vec<(Responders, Vec<(Followed, u32)>)> = self.draws.par_iter().map(held).collect();
        let rate = |worse_by: f64| {
            let of = |(counts, drawn_endpoints): &(Responders, Vec<(Followed, u32)>)| {
                let mut counts = *counts;
                for (episode, n) in drawn_endpoints {
                    counts += Responders::of(&[&self.worsened(*episode, worse_by)], definition).times(*n);
                }
                drawn(&counts)
            };
            let rates: Vec<DrawnCount> = held.iter().map(of).collect();
            pooled_proportion(&rates, Level::NINETY_FIVE).map(|pooled| pooled.estimate.value)
        };
        tipping_point(rate, limit, self.scale.width()).ok()
    }

    /// The lost as one draw fills them in.
    fn filled<'f>(&'f self, draw: &'f [Filled]) -> impl Iterator<Item = Followed> {
        self.lost().zip(draw).map(|(seen, filled)| filled.of(seen))
    }

    /// The lost, as they were seen.
    fn lost(&self) -> impl Iterator<Item = &Followed> {
        self.lost.iter().filter_map(|position| self.followed.get(*position as usize))
    }

    fn worsened(&self, episode: Followed, worse_by: f64) -> Followed {
        Followed { endpoint: episode.endpoint.map(|score| self.scale.worse_by(score, worse_by)), ..episode }
    }

    /// Whether the whole group has any endpoint that was drawn.
    pub fn has_drawn_endpoints(&self) -> bool {
        self.lost().any(|episode| episode.endpoint.is_none())
    }
}

/// Episodes with the same scores as one, with their number: scores are written in steps, so that few differ.
fn alike(mut episodes: Vec<Followed>) -> Vec<(Followed, u32)> {
    let scores = |episode: &Followed| (episode.baseline.map(f64::to_bits), episode.endpoint.map(f64::to_bits));
    episodes.sort_unstable_by_key(scores);
    let groups = episodes.chunk_by(|a, b| scores(a) == scores(b));
    groups.filter_map(|group| Some((*group.first()?, group.len() as u32))).collect()
}

/// Responders and episodes of one draw.
fn drawn(counts: &Responders) -> DrawnCount {
    DrawnCount { successes: counts.responders.into(), trials: counts.denominator.into() }
}

#[cfg(test)]
mod tests {
    use super::super::course_model::Kind;
    use super::super::grid::Cell;
    use super::super::panel::Panel;
    use super::super::simulated::{patients, response, scale};
    use super::*;
    use crate::rows::names::NameList;

    /// The episodes of a panel as an outcome sees them: lost when the reading of week 8 is missing.
    fn followed(panel: &Panel) -> Vec<Followed> {
        let site = NameList::default().intern("A").unwrap();
        let of = |track: Track<'_>| Followed {
            quarter: None,
            site,
            baseline: track.baseline(),
            endpoint: track.last().filter(|(day, _)| *day == 56.0).map(|(_, score)| score),
        };
        panel.tracks().map(of).collect()
    }

    fn impute(panel: &Panel, followed: &[Followed]) -> Imputed {
        let tracks: Vec<Track<'_>> = panel.tracks().collect();
        let model = CourseModel::fit(Kind::Exponential, &tracks).unwrap();
        let tracks: Vec<Option<Track<'_>>> = tracks.into_iter().map(Some).collect();
        Imputed::of(&model, scale(), 56.0, "test", followed.to_vec(), &tracks, |at| at.to_string())
    }

    fn whole(imputed: &Imputed) -> Estimate {
        let grid = Grid::new(Vec::new(), Vec::new());
        imputed.rates(&grid, &response()).get(Cell::WHOLE).copied().flatten().unwrap()
    }

    #[test]
    fn the_lost_who_fared_badly_lower_the_rate_towards_the_truth() {
        // the same patients with and without those losses
        let (all, some) = (followed(&patients(31, 400, false)), patients(31, 400, true));
        let truth = whole(&impute(&patients(31, 400, false), &all)).value;
        let lossy = followed(&some);
        let (_, seen) = seen(&lossy);
        let imputed = whole(&impute(&some, &lossy));
        assert!(seen > truth + 0.03, "{seen} {truth}: those left look better");
        assert!(imputed.value < seen, "{imputed:?} {seen}");
        assert!(imputed.interval.contains(truth), "{imputed:?} {truth}");
    }

    /// Responders among those with an endpoint.
    fn seen(followed: &[Followed]) -> (u32, f64) {
        let counts = Responders::of(&followed.iter().collect::<Vec<_>>(), &response());
        (counts.responders, counts.rate().unwrap().0)
    }

    #[test]
    fn with_nobody_lost_the_imputed_rate_is_the_rate_seen() {
        let panel = patients(32, 120, false);
        let followed = followed(&panel);
        let imputed = impute(&panel, &followed);
        assert!(!imputed.has_drawn_endpoints());
        assert!((whole(&imputed).value - seen(&followed).1).abs() < 1e-9);
    }

    #[test]
    fn the_tipping_point_lies_between_no_change_and_the_worst_case() {
        let panel = patients(33, 200, true);
        let followed = followed(&panel);
        let imputed = impute(&panel, &followed);
        let (responders, _) = seen(&followed);
        let worst = f64::from(responders) / 200.0;
        let rate = whole(&imputed).value;
        let between = 0.5 * (worst + rate);
        assert!(matches!(imputed.tipping(&response(), between), Some(TippingPoint::At(by)) if by > 0.0 && by < 10.0));
        assert_eq!(imputed.tipping(&response(), 0.5 * worst), Some(TippingPoint::Never));
        assert_eq!(imputed.tipping(&response(), rate + 0.01), Some(TippingPoint::AlreadyBelow));
    }

    #[test]
    fn an_episode_never_read_is_drawn_from_the_population_and_the_same_each_time() {
        let panel = patients(34, 60, false);
        let mut followed = followed(&panel);
        let model = CourseModel::fit(Kind::Spline, &panel.tracks().collect::<Vec<_>>()).unwrap();
        for episode in &mut followed {
            (episode.baseline, episode.endpoint) = (None, None);
        }
        let unread = vec![None; followed.len()];
        let draw = || Imputed::of(&model, scale(), 56.0, "test", followed.clone(), &unread, |at| at.to_string());
        let rate = whole(&draw());
        assert!((0.3..0.95).contains(&rate.value) && rate.interval.width() > 0.05, "{rate:?}");
        assert_eq!(draw().draws, draw().draws);
    }

    #[test]
    fn what_is_drawn_for_an_episode_does_not_depend_on_the_others() {
        let panel = patients(35, 60, false);
        let model = CourseModel::fit(Kind::Spline, &panel.tracks().collect::<Vec<_>>()).unwrap();
        let lost: Vec<Followed> =
            followed(&panel).into_iter().map(|episode| Followed { endpoint: None, ..episode }).collect();
        let tracks: Vec<Option<Track<'_>>> = panel.tracks().map(Some).collect();
        let draw = |order: &[usize]| {
            let pick = |of: &dyn Fn(usize) -> Followed| order.iter().map(|at| of(*at)).collect::<Vec<_>>();
            let tracks: Vec<_> = order.iter().map(|at| tracks[*at]).collect();
            let name = |at: u32| format!("patient {}", order[at as usize]);
            Imputed::of(&model, scale(), 56.0, "test", pick(&|at| lost[at]), &tracks, name).draws
        };
        let all = draw(&(0..60).collect::<Vec<_>>());
        let some = draw(&[40, 7, 23]);
        for (all, some) in all.iter().zip(&some) {
            assert_eq!(some.as_slice(), [all[40], all[7], all[23]]);
        }
        assert_ne!(all[0], all[1], "each draw is another");
    }
}
