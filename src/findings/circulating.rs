//! What was worked out -> what may circulate: every statistic to what its uncertainty supports, every count of a release in fives.
//!
//! One pass over the finished bulletin, so that pages, figures and sheets, which are made from it, can say no more than each other. How each
//! kind of number is rounded is told in [`super::rounding`].

mod courses;
mod quality;
mod setups;
mod sites;

use super::bulletin::{
    AgainstPrevious, Bulletin, ChangeRow, CompletenessRow, ConditionFindings, OrdinalRow, OutcomeFindings, Period,
    ResponderRow, Tipping,
};
use super::rounding::{Precision, error_of_share, mixed, standard_error};
use super::shown::{Estimate, Shown};
use crate::models::fitted_course::Records;
pub(super) use quality::round_quality;

/// The bulletin as it may circulate.
pub(super) fn circulating(mut bulletin: Bulletin, precision: Precision) -> Bulletin {
    bulletin.conditions.iter_mut().for_each(|condition| round_condition(condition, precision));
    bulletin.sites_compared.iter_mut().for_each(|comparison| sites::comparison(comparison, precision));
    bulletin.site_findings.iter_mut().for_each(|site| sites::site(site, precision));
    bulletin.lost.iter_mut().for_each(|lost| sites::seen_and_lost(lost, precision));
    if let Some(found) = &mut bulletin.setups {
        setups::setups(found, precision);
    }
    if let Some(dose) = &mut bulletin.dose {
        setups::dose(dose, precision);
    }
    round_quality(&mut bulletin.quality, precision);
    bulletin
}

/// A number that any change of the episodes and readings changes, in whatever order they come. Nobody can work it out who has
/// not all of the data.
pub(super) fn fingerprint(records: &Records<'_>) -> u64 {
    let key = |text: &str| text.bytes().fold(0, |hash, byte| mixed(hash ^ u64::from(byte)));
    let episodes = records.episodes.list.iter().map(|episode| {
        let patient = key(records.names.patients.get(episode.patient));
        let (first, last) = (episode.first.day().cast_unsigned(), episode.last.day().cast_unsigned());
        let days = (u64::from(first) << 32) | u64::from(last);
        mixed(patient ^ mixed(days ^ mixed(u64::from(episode.visits))))
    });
    let readings = records.readings.list.iter().map(|reading| {
        let day = u64::from(reading.when.day().cast_unsigned());
        mixed(reading.value.to_bits() ^ mixed(day))
    });
    episodes.chain(readings).fold(0, u64::wrapping_add)
}

fn round_condition(condition: &mut ConditionFindings, precision: Precision) {
    condition.outcomes.iter_mut().for_each(|outcome| round_outcome(outcome, precision));
    precision.shown(&mut condition.episodes_started);
    precision.shown(&mut condition.episodes_due);
    condition.onset_mix.iter_mut().for_each(|count| precision.shown(count));
}

fn round_outcome(outcome: &mut OutcomeFindings, precision: Precision) {
    distribution(outcome, precision); // before the counts that it rests on
    let patients = outcome.curve_patients;
    outcome.completeness.iter_mut().for_each(|row| completeness(row, precision));
    outcome.change.iter_mut().for_each(|row| change(row, precision));
    outcome.ordinal_change.iter_mut().for_each(|row| words(row, precision));
    outcome.responders.iter_mut().for_each(|row| responders(row, precision));
    courses::weeks(&mut outcome.weeks, precision);
    courses::curve(&mut outcome.curve, patients, outcome.curve_readings, precision);
    precision.shown(&mut outcome.curve_patients);
    outcome.curve_readings = precision.count(outcome.curve_readings);
    outcome.time_to_response.iter_mut().for_each(|found| courses::time_to_response(found, precision));
    if let Some(backtest) = &mut outcome.backtest {
        courses::backtest(backtest, precision);
    }
    for against in [&mut outcome.against_previous, &mut outcome.against_year_ago].into_iter().flatten() {
        difference(against, precision);
    }
}

fn completeness(row: &mut CompletenessRow, precision: Precision) {
    precision.share(&mut row.share, (row.with_endpoint, row.episodes));
    precision.share(&mut row.baseline_share, (row.with_baseline, row.episodes));
    [&mut row.episodes, &mut row.with_baseline, &mut row.with_endpoint]
        .into_iter()
        .for_each(|count| precision.shown(count));
}

fn responders(row: &mut ResponderRow, precision: Precision) {
    if let (Shown::Value(rate), Shown::Value(some), Shown::Value(all)) =
        (&mut row.rate, row.responders, row.with_outcome)
    {
        *rate = precision.rate(*rate, (some, all));
    }
    // best case: all that are not known to have failed
    let not_failed = match (row.episodes, row.with_outcome, row.responders) {
        (Shown::Value(all), Shown::Value(with), Shown::Value(some)) => {
            Shown::Value(precision.people(all) + precision.people(some) - precision.people(with))
        }
        _ => Shown::Withheld,
    };
    precision.share(&mut row.worst_case, (row.responders, row.episodes));
    match (&mut row.best_case, not_failed, row.episodes) {
        (Shown::Value(best), Shown::Value(some), Shown::Value(all)) if precision.is_release() => {
            *best = (1e3 * f64::from(some) / f64::from(precision.people(all).max(1))).round() / 1e3;
        }
        (best, Shown::Value(_), all) => precision.share(best, (Shown::Value(0), all)),
        _ => {}
    }
    if let Shown::Value(imputed) = &mut row.imputed {
        *imputed = precision.estimate(*imputed);
    }
    if let Some(Tipping::Worse(by)) = &mut row.tipping {
        *by = precision.rough(*by);
    }
    let counts = [&mut row.episodes, &mut row.with_outcome, &mut row.responders];
    counts.into_iter().chain([&mut row.baseline_too_low, &mut row.baseline_missing]).for_each(|n| precision.shown(n));
}

fn change(row: &mut ChangeRow, precision: Precision) {
    let Shown::Value(episodes) = row.episodes else { return };
    let n = f64::from(episodes.max(2));
    // of a mean of values with this SD; of the SD itself
    let (of_mean, of_sd) = (|sd: f64| sd / n.sqrt(), |sd: f64| sd / (2.0 * (n - 1.0)).sqrt());
    for (mean, sd) in [(&mut row.baseline_mean, row.baseline_sd), (&mut row.endpoint_mean, row.endpoint_sd)] {
        if let (Shown::Value(mean), Shown::Value(sd)) = (mean, sd) {
            *mean = precision.number(*mean, of_mean(sd));
        }
    }
    if let Shown::Value(change) = &mut row.change {
        *change = precision.estimate(*change);
    }
    if let Shown::Value(size) = &mut row.effect_size {
        *size = precision.number(*size, (1.0 / n + size.powi(2) / (2.0 * n)).sqrt());
    }
    // an SD of a release twice as roughly as its error asks for: squares tell an outlying patient more than means do
    let wider = if precision.is_release() { 2.0 } else { 1.0 };
    for sd in [&mut row.baseline_sd, &mut row.endpoint_sd, &mut row.change_sd] {
        if let Shown::Value(sd) = sd {
            *sd = precision.number(*sd, wider * of_sd(*sd));
        }
    }
    precision.shown(&mut row.episodes);
}

fn words(row: &mut OrdinalRow, precision: Precision) {
    [&mut row.episodes, &mut row.better, &mut row.same, &mut row.worse]
        .into_iter()
        .for_each(|count| precision.shown(count));
}

/// The distribution of change: shares of those with an endpoint, and of all due.
fn distribution(outcome: &mut OutcomeFindings, precision: Precision) {
    let of_group = |period: &Period, site: &Option<String>| *period == Period::All && site.is_none();
    let row = outcome.completeness.iter().find(|row| of_group(&row.period, &row.site));
    let Some((Shown::Value(with), Shown::Value(due))) = row.map(|row| (row.with_endpoint, row.episodes)) else {
        outcome.cumulative.clear();
        return;
    };
    for (_, of_those_seen, of_due) in &mut outcome.cumulative {
        let reached = Shown::Value((*of_those_seen * f64::from(with)).round() as u32);
        for (share, all) in [(of_those_seen, with), (of_due, due)] {
            let mut shown = Shown::Value(*share);
            precision.share(&mut shown, (reached, Shown::Value(all)));
            if let Shown::Value(rounded) = shown {
                *share = rounded;
            }
        }
    }
}

fn difference(against: &mut AgainstPrevious, precision: Precision) {
    for difference in [&mut against.change, &mut against.rate].into_iter().flatten() {
        difference.estimate = precision.estimate(difference.estimate);
        for p in [&mut difference.p, &mut difference.q].into_iter().flatten() {
            *p = precision.p(*p);
        }
    }
}
