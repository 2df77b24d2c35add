//! Dose and setup of an episode, visit by visit, each quantity on its own strip.

use super::worklist::Channel;
use crate::episodes::episode::{Episode, Episodes, days_between};
use crate::rows::row::Row;
use crate::visits::dose;
use crate::visits::visits::Visits;

/// A quantity: label, unit, decimals, and how it is read from a visit.
struct Quantity {
    label: &'static str,
    unit: &'static str,
    decimals: usize,
    /// Smallest difference from the visit before that counts as another setting.
    notable: f64,
    read: fn(&Row) -> Option<f64>,
}

/// In the order of the strips. What counts as another setting is a choice of ours: about what can be read off and set again.
const QUANTITIES: [Quantity; 10] = [
    Quantity { label: "peak pull", unit: "N", decimals: 0, notable: 5.0, read: |row| Some(row.dose.peak_force?.get()) },
    Quantity {
        label: "peak pull",
        unit: "% of body weight",
        decimals: 1,
        notable: 2.0,
        read: |row| dose::percent_of_body_weight(&row.dose),
    },
    Quantity {
        label: "time under pull",
        unit: "min",
        decimals: 1,
        notable: 1.0,
        read: |row| dose::time_under_pull_s(&row.dose).map(|seconds| seconds / 60.0),
    },
    Quantity { label: "session", unit: "min", decimals: 0, notable: 1.0, read: |row| Some(row.dose.session?.get()) },
    Quantity { label: "hold", unit: "s", decimals: 0, notable: 5.0, read: |row| Some(row.dose.hold?.get()) },
    Quantity { label: "rest", unit: "s", decimals: 0, notable: 5.0, read: |row| Some(row.dose.rest?.get()) },
    Quantity { label: "angle", unit: "degrees", decimals: 0, notable: 2.0, read: |row| Some(row.setup.angle?.get()) },
    Quantity {
        label: "return tension",
        unit: "N",
        decimals: 0,
        notable: 5.0,
        read: |row| Some(row.setup.return_tension?.get()),
    },
    Quantity {
        label: "turns back",
        unit: "turns",
        decimals: 1,
        notable: 0.5,
        read: |row| row.setup.tension_turns.map(|turns| turns.get()),
    },
    Quantity {
        label: "split opening",
        unit: "mm",
        decimals: 1,
        notable: 1.0,
        read: |row| Some(row.setup.split_gap?.get()),
    },
];

/// The quantities that any visit of an episode recorded.
pub fn channels(visits: &Visits, episodes: &Episodes, episode: &Episode) -> Vec<Channel> {
    let first = episode.first.day();
    let rows: Vec<(i32, &Row)> = episodes
        .visits_of(episode)
        .iter()
        .filter_map(|position| visits.rows.get(*position as usize))
        .filter_map(|row| Some((i32::try_from(days_between(first, row.when.day())).ok()?, row)))
        .collect();
    QUANTITIES.iter().filter_map(|quantity| channel(quantity, &rows)).collect()
}

fn channel(quantity: &Quantity, rows: &[(i32, &Row)]) -> Option<Channel> {
    let points: Vec<(i32, f64)> = rows.iter().filter_map(|(day, row)| Some((*day, (quantity.read)(row)?))).collect();
    let changed = |pair: &[(i32, f64)]| match pair {
        [(_, before), (day, after)] if (after - before).abs() >= quantity.notable => Some((*day, *before, *after)),
        _ => None,
    };
    let changes = points.windows(2).filter_map(changed).collect();
    (!points.is_empty()).then_some(Channel {
        label: quantity.label,
        unit: quantity.unit,
        decimals: quantity.decimals,
        points,
        changes,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::episodes::boundaries::cut;
    use crate::episodes::timeline::*;
    use crate::group::settings::EpisodeRules;
    use crate::rows::row::Dose;
    use crate::units::Newtons;

    #[test]
    fn a_quantity_never_recorded_has_no_strip_and_a_change_is_marked() {
        let pulling = |day: i32, pull: Option<f64>| {
            let dose = Dose { peak_force: pull.map(|newtons| Newtons::new(newtons).unwrap()), ..Dose::default() };
            Row { dose, ..visit(day) }
        };
        let rows =
            vec![pulling(100, Some(200.0)), pulling(103, Some(203.0)), pulling(107, None), pulling(110, Some(240.0))];
        let visits = visits_with_scores(rows.into_iter().map(|row| (row, Vec::new())).collect());
        let episodes = cut(&visits, &regions(), &EpisodeRules::default());
        let strips = channels(&visits, &episodes, &episodes.list[0]);
        assert_eq!(strips.len(), 1);
        assert_eq!(strips[0].points, [(0, 200.0), (3, 203.0), (10, 240.0)]);
        assert_eq!(strips[0].changes, [(10, 203.0, 240.0)], "3 N is within what a dial can be read to");
    }
}
