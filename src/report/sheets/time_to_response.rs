//! `time_to_response.csv`: how long until a response, by each definition.

use super::sheet::{Cell, Form, Kind, always, is_withheld, maybe};
use crate::findings::bulletin::{ConditionFindings, OutcomeFindings};
use crate::findings::curve::TimeToResponse;

const ONSET: &str = "acute, subacute and persistent onset";

/// The sheet.
pub const FORM: Form = Form {
    name: "time_to_response",
    title: "Days from the first treated visit to a response, with stopping early as the competing event",
    columns: &[
        always("condition", Kind::Text, "condition key"),
        always("measure", Kind::Text, "outcome key: measure and site of pain"),
        always(
            "definition",
            Kind::Text,
            "definition of a response; sustained_ before it where two readings in a row must meet it",
        ),
        maybe("episodes", Kind::Count, "episodes with a baseline from which the definition can be reached"),
        maybe("events", Kind::Count, "of these, responses seen"),
        maybe(
            "median_day",
            Kind::Number,
            "Kaplan-Meier median, those who stopped counted as if they went on; empty when not reached",
        ),
        maybe("ci_low", Kind::Number, "lower 95 % limit of the median (Brookmeyer-Crowley); empty when not reached"),
        maybe("ci_high", Kind::Number, "upper 95 % limit of the median; empty when not reached"),
        maybe("p_logrank", Kind::Share, "p of the log-rank test between the classes named in `compared`"),
        maybe("stopped", Kind::Count, "of the episodes, care that stopped early before a response"),
        maybe("compared", Kind::Text, "classes that the log-rank test compares"),
        maybe("last_day", Kind::Number, "end of the last week whose shares may be shown"),
        maybe("responded_by_last_day", Kind::Share, "cumulative incidence of a response by then (Aalen-Johansen)"),
        maybe("responded_low", Kind::Share, "its lower 95 % limit"),
        maybe("responded_high", Kind::Share, "its upper 95 % limit"),
        maybe(
            "stopped_by_last_day",
            Kind::Share,
            "cumulative incidence of stopping early before a response, by last_day_of_stops",
        ),
        always("withheld", Kind::Flag, "whether a count of the line is withheld as a small cell"),
        maybe("last_day_of_stops", Kind::Number, "end of the last week whose share of stops may be shown"),
    ],
    key: &["condition", "measure", "definition"],
};

/// The lines of one outcome.
pub fn lines(condition: &ConditionFindings, outcome: &OutcomeFindings) -> Vec<Vec<Cell>> {
    let number = |x: Option<f64>| x.map_or(Cell::Empty, Cell::Number);
    let line = |found: &TimeToResponse| {
        let last = found.incidence.last().filter(|last| last.day > 0.0);
        let stopped = found.stopped_by.last().filter(|(day, _)| *day > 0.0);
        vec![
            condition.key.as_str().into(),
            outcome.key.as_str().into(),
            found.definition.as_str().into(),
            found.episodes.into(),
            found.events.into(),
            number(found.median_day),
            number(found.median_low),
            number(found.median_high),
            number(found.p_logrank),
            found.stopped.into(),
            found.p_logrank.map_or(Cell::Empty, |_| ONSET.into()),
            number(last.map(|last| last.day)),
            number(last.map(|last| last.response.value)),
            number(last.map(|last| last.response.low)),
            number(last.map(|last| last.response.high)),
            number(stopped.map(|(_, share)| *share)),
            Cell::Flag([found.episodes, found.events, found.stopped].iter().any(is_withheld)),
            number(stopped.map(|(day, _)| *day)),
        ]
    };
    outcome.time_to_response.iter().map(line).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::findings::bulletin::Shown;
    use crate::report::invented;

    #[test]
    fn a_limit_not_reached_and_a_count_withheld_are_both_empty_and_told_apart() {
        let mut condition = invented::bulletin().conditions.remove(0);
        let mut outcome = condition.outcomes.remove(0);
        let cell = |lines: &[Vec<Cell>], name: &str| {
            let column = FORM.columns.iter().position(|column| column.name == name).unwrap();
            lines[0][column].clone()
        };
        let open = lines(&condition, &outcome);
        assert_eq!((cell(&open, "ci_low"), cell(&open, "ci_high")), (Cell::Number(28.0), Cell::Empty));
        assert_eq!(cell(&open, "withheld"), Cell::Flag(false));
        outcome.time_to_response[0].stopped = Shown::Withheld;
        let closed = lines(&condition, &outcome);
        assert_eq!((cell(&closed, "stopped"), cell(&closed, "withheld")), (Cell::Empty, Cell::Flag(true)));
    }
}
