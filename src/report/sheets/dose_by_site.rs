//! `dose_by_site.csv`: dose delivered by region and site.

use super::sheet::{Cell, Form, Kind, always, is_withheld, maybe, site};
use crate::findings::dose::DoseBySite;

/// The sheet.
pub const FORM: Form = Form {
    name: "dose_by_site",
    title: "Dose delivered by region and site, over episodes that have ended or are due",
    columns: &[
        always("region", Kind::OneOf(&["lumbar", "cervical", "other"]), "region treated"),
        always("site", Kind::Text, "site where most visits of the episode fell, or all"),
        maybe("episodes", Kind::Count, "episodes, to whole tens"),
        maybe(
            "first_visit_percent",
            Kind::Number,
            "mean peak pull at the first visit, percent of body weight; of episodes that record it at first and last visit",
        ),
        maybe("last_visit_percent", Kind::Number, "the same at the last visit of the same episodes"),
        maybe(
            "progression_percent_a_visit",
            Kind::Number,
            "median of the episodes' least-squares slopes of peak pull on the number of the visit, percent of body weight a visit",
        ),
        maybe("minutes_under_pull", Kind::Number, "median of the minutes under pull a visit"),
        maybe("delivered_of_planned", Kind::Number, "visits delivered / visits planned, over the episodes with a plan"),
        maybe("most_of_plan", Kind::Share, "share of the episodes with a plan that got at least 80 % of it"),
        maybe("visits_a_week", Kind::Number, "median of the episodes' visits a week"),
        always(
            "withheld",
            Kind::Flag,
            "whether a number of the line is withheld since few patients stand behind it, or would give such a one away",
        ),
    ],
    key: &["region", "site"],
};

/// A line.
pub fn line(dose: &DoseBySite) -> Vec<Cell> {
    let numbers = [
        dose.first,
        dose.last,
        dose.progression,
        dose.minutes,
        dose.delivered,
        dose.most_delivered,
        dose.visits_a_week,
    ];
    let withheld = is_withheld(&dose.episodes) || numbers.iter().any(is_withheld);
    let mut cells = vec![dose.region.key().into(), site(dose.site.as_ref()), dose.episodes.into()];
    cells.extend(numbers.map(Cell::from));
    cells.push(Cell::Flag(withheld));
    cells
}
