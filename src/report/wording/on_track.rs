//! What the clinician's pages and the terminal say of where a patient stands.

use super::numbers::{count, counted, decimal, percent_with_interval, range};
use super::phrases::sentence;
use crate::findings::bulletin::Estimate;
use crate::findings::curve::Backtest;
use crate::findings::worklist::{Channel, OutcomeOnTrack, PatientOnTrack, Status, Worklist};
use chrono::NaiveDate;

/// At the head of every page that shows patients one by one.
pub const RESTRICTED: &str = "Restricted: single patients. For those who treat them; not to be copied, sent on or \
     circulated.";
/// Instead of what is withheld.
pub const NOTHING_WITHHELD: &str = "Nothing is withheld here, however few stand behind it: these pages show single \
     patients, and are restricted for that reason.";
/// Title of the list, and name of the link to it.
pub const WORKLIST: &str = "Worklist";
/// Heading of the counts, for those who hear the page.
pub const IN_BRIEF: &str = "In brief";
/// Where more episodes are in care than are listed.
pub fn not_listed(listed: usize, all: usize) -> String {
    format!(
        "The {} most worrying of {} episodes are listed and have pages; on_track.csv has all of them.",
        count(listed as u64),
        count(all as u64)
    )
}

/// Heading of the overdue readings.
pub const OVERDUE: &str = "Overdue readings";
/// Heading of the episodes whose care is over.
pub const ENDED: &str = "Care has ended";
/// Heading of the cut-offs.
pub const RULES: &str = "How the words are chosen";
/// After the cut-offs.
pub const RULES_NOTE: &str = "The list is ordered by these words and by nothing else. It does not look for \
     contraindications, and a patient who is not at its head may still need attention first.";
/// Heading of the changes of dose and setup.
pub const CHANGES: &str = "Changes of dose and setup";
/// Heading of what to look for.
pub const NEXT_VISIT: &str = "At the next visit";
/// Beside it.
pub const NEXT_VISIT_NOTE: &str = "Good and bad news: the best and the worst fifth of what is expected.";
/// Columns of a sheet of readings; the day is the row's heading.
pub const READING_COLUMNS: [&str; 3] = ["reading", "expected before", "80\u{a0}% band"];
/// Columns of the sheet of changes; the quantity is the row's heading.
pub const CHANGE_COLUMNS: [&str; 3] = ["day", "before", "from then on"];
/// First column of the sheets.
pub const CORNERS: (&str, &str) = ("day", "quantity");
/// Where nothing was expected before a reading: the first, or one without a model.
pub const NO_BAND: &str = "none";
/// Beside the counts of a clinician's page.
pub const OWN_NOTE: &str = "Most worrying first. Episodes most of whose visits had this clinician.";
/// No episode is listed.
pub const NOBODY: &str = "No episode is in care on the last day of the exports.";
/// No reading is overdue.
pub const NONE_OVERDUE: &str = "No reading is overdue.";
/// An episode without any reading.
pub const NO_READING: &str = "No pain or disability score of this episode has been read.";
/// A recorded code asks for caution.
pub const CAUTION: &str = "Caution: a recorded code of this episode names myelopathy, a disorder of the spinal cord.";
/// A status word at the head of a sentence.
pub fn heading(status: Status) -> &'static str {
    match status {
        Status::Worsening => "Worsening",
        Status::Behind => "Behind",
        Status::TooFewReadings => "Too few readings",
        Status::AsExpected => "As expected",
        Status::Ahead => "Ahead",
    }
}

/// The status of an episode: the word that leads, and the rest, to be printed one after the other.
pub fn standing(status: Status, reason: &str) -> (&'static str, String) {
    (heading(status), format!(". {}", said(reason)).trim_end().to_string())
}

/// An outcome after the one that leads, likewise.
pub fn outcome_standing(outcome: &OutcomeOnTrack) -> (&'static str, String) {
    standing(outcome.status, &format!("{}: {}", outcome.title, outcome.reason))
}

/// Caption of the readings of an outcome as numbers.
pub fn readings_caption(outcome: &OutcomeOnTrack) -> String {
    format!("{}: readings and what was expected of each", axis_title(outcome))
}

/// A calendar day: `3 September 2026`.
pub fn date(date: NaiveDate) -> String {
    date.format("%-d %B %Y").to_string()
}

/// Up to when the exports reach.
pub fn up_to(day: Option<NaiveDate>) -> String {
    match day {
        Some(day) => format!("As of {}, the last day in the exports", date(day)),
        None => "The exports hold no calendar dates: days count from each patient's first treated visit".to_string(),
    }
}

/// Title of a clinician's page.
pub fn clinician_title(clinician: &str) -> String {
    format!("Patients of clinician {clinician}")
}

/// Name of the link to a clinician's page.
pub fn clinician_link(clinician: &str) -> String {
    format!("Clinician {clinician}")
}

/// Title of a patient's page.
pub fn patient_title(patient: &str) -> String {
    format!("Patient {patient}")
}

/// Heading of an episode.
pub fn episode_heading(patient: &PatientOnTrack) -> String {
    format!("Episode {}: {}", patient.episode, patient.condition_title)
}

/// How many stand where: `14 episodes in care: 2 worsening, 3 behind, ...`.
pub fn counts(statuses: &[(Status, usize)]) -> String {
    let total: usize = statuses.iter().map(|(_, n)| n).sum();
    let each: Vec<String> = statuses
        .iter()
        .filter(|(_, n)| *n > 0)
        .map(|(status, n)| format!("{} {}", count(*n as u64), status.word()).replace(' ', "\u{a0}"))
        .collect();
    format!("{} in care: {}.", counted(total as u64, "episode", "episodes"), each.join(", "))
}

/// Beside the counts.
pub fn counts_note(worklist: &Worklist) -> String {
    let without = worklist.patients.iter().filter(|p| p.in_care && p.clinician.is_none()).count();
    let base = "Most worrying first. Each name leads to the patient's page.";
    match without {
        0 => base.to_string(),
        n => format!(
            "{base} {} without a recorded clinician stand on this list only.",
            counted(n as u64, "episode", "episodes")
        ),
    }
}

/// A finished text as a sentence.
pub fn said(text: &str) -> String {
    sentence(text).replace(" %", "\u{a0}%")
}

/// Who treats the patient, and where.
pub fn place(patient: &PatientOnTrack) -> String {
    match &patient.clinician {
        Some(clinician) => format!("{}, clinician {clinician}", patient.site),
        None => format!("{}, no clinician recorded", patient.site),
    }
}

/// Visits so far.
pub fn visits(patient: &PatientOnTrack) -> String {
    let done = match patient.planned_visits {
        Some(planned) => {
            format!(
                "{} of {}",
                count(patient.visits.into()),
                counted(planned.into(), "planned visit", "planned visits")
            )
        }
        None => visits_of(patient.visits),
    };
    let first = patient.first_visit.map(|day| format!("first on {}, ", date(day))).unwrap_or_default();
    let ended = if patient.in_care { "" } else { "; care has ended" };
    format!("{done}; {first}last on day {}{ended}", day(patient.last_visit_day.into()))
}

pub(super) fn visits_of(n: u32) -> String {
    counted(n.into(), "visit", "visits")
}

/// In the margin of a line of the list.
pub fn margin(patient: &PatientOnTrack) -> Vec<String> {
    let episode = if patient.episode > 1 { format!(", episode {}", patient.episode) } else { String::new() };
    let mut notes = vec![format!("{}{episode}. {}. {}.", patient.condition_title, place(patient), visits(patient))];
    if !patient.overdue.is_empty() {
        notes.push(format!("{} overdue.", counted(patient.overdue.len() as u64, "reading", "readings")));
    }
    notes
}

/// A day since the first treated visit.
pub fn day(day: f64) -> String {
    decimal(day, 0)
}

/// `4.2 or lower`, or higher where that is better.
pub fn at_least_as_good(value: f64, outcome: &OutcomeOnTrack) -> String {
    let side = if outcome.lower_is_better { "lower" } else { "higher" };
    format!("{} or {side}", decimal(value, outcome.decimals))
}

fn at_least_as_bad(value: f64, outcome: &OutcomeOnTrack) -> String {
    let side = if outcome.lower_is_better { "higher" } else { "lower" };
    format!("{} or {side}", decimal(value, outcome.decimals))
}

/// `4.2 (80 % band 2.6 to 5.9)`.
pub fn with_band(expected: &Estimate, places: usize) -> String {
    format!("{} (80\u{a0}% band {})", decimal(expected.value, places), range(expected.low, expected.high, places))
}

/// What would count as good news at the next visit.
pub fn next_visit(outcome: &OutcomeOnTrack) -> Option<String> {
    let next = outcome.next.as_ref()?;
    Some(format!(
        "{}, about day {}: {} would be good news, {} bad news; expected is {}.",
        outcome.title,
        day(next.day),
        at_least_as_good(next.good_news, outcome),
        at_least_as_bad(next.bad_news, outcome),
        with_band(&next.expected, outcome.decimals)
    ))
}

/// Beside an outcome: where its predictions come from.
pub fn model_note(outcome: &OutcomeOnTrack) -> String {
    match outcome.model {
        Some(model) => format!("Predictions: {}, from this patient's baseline and readings.", model.label()),
        None => "No prediction: no model of this outcome may be relied on.".to_string(),
    }
}

/// A value of a channel with its unit.
pub fn channel_value(channel: &Channel, value: f64) -> String {
    let number = decimal(value, channel.decimals);
    if channel.unit.is_empty() { number } else { format!("{number}\u{a0}{}", channel.unit) }
}

/// A score with its unit and its better side.
pub fn axis_title(outcome: &OutcomeOnTrack) -> String {
    format!("{}{}", outcome.title, beside_title(outcome))
}

/// What stands after a score's name: its unit and its better side.
pub fn beside_title(outcome: &OutcomeOnTrack) -> String {
    let direction = super::figures::direction(outcome.lower_is_better);
    if outcome.unit.is_empty() { format!("; {direction}") } else { format!(", {}; {direction}", outcome.unit) }
}

/// A quantity of dose or setup over the episode in a line: `peak pull: 200 N at first, 260 N on day 35; changed on days 9, 18`.
pub fn channel_line(channel: &Channel) -> Option<String> {
    let (&(_, from), &(on, to)) = (channel.points.first()?, channel.points.last()?);
    let days: Vec<String> = channel.changes.iter().map(|change| day(change.0.into())).collect();
    Some(match days.as_slice() {
        [] => format!("{}: {} throughout.", channel.label, channel_value(channel, to)),
        days => format!(
            "{}: {} at first, {} on day {}; changed on {} {}.",
            channel.label,
            channel_value(channel, from),
            channel_value(channel, to),
            day(on.into()),
            if days.len() == 1 { "day" } else { "days" },
            days.join(", ")
        ),
    })
}

/// Whether the last visit's dose or setup differed from the one before.
pub fn last_visit(patient: &PatientOnTrack) -> Option<String> {
    if patient.channels.is_empty() {
        return None;
    }
    let last = patient.last_visit_day;
    let changed: Vec<String> = patient
        .channels
        .iter()
        .flat_map(|channel| channel.changes.iter().filter(|c| c.0 == last).map(move |c| (channel, c)))
        .map(|(channel, (_, before, after))| {
            let (before, after) = (channel_value(channel, *before), channel_value(channel, *after));
            format!("{} from {before} to {after}", channel.label)
        })
        .collect();
    let last = day(last.into());
    Some(match changed.as_slice() {
        [] => format!(
            "At the last visit, day {last}, no recorded quantity of dose or setup differed from the visit before."
        ),
        changed => format!("At the last visit, day {last}, changed: {}.", changed.join("; ")),
    })
}

/// Under the sheets of the backtest.
pub const BACKTEST_KEY: &str = "
Follow-up: number of the reading after the baseline. Brackets: 95 % interval. Area under ROC and Brier score judge the
chance of a response; sensitivity, specificity and PPV judge the word behind as a forecast of no response.";
/// There is no backtest.
pub const NO_BACKTEST: &str = "No outcome of any condition has enough patients to try predictions on.";

/// How often the band held what came, and what is withheld for it.
pub fn backtest(backtest: &Backtest) -> String {
    let coverage = match &backtest.coverage {
        Some(e) => format!(
            "The 80\u{a0}% band held {} of the readings it was given for.",
            percent_with_interval(e.value, e.low, e.high)
        ),
        None => "Too few readings to say how often the 80\u{a0}% band held them.".to_string(),
    };
    match &backtest.withheld {
        Some(why) => format!("{coverage} The words behind and ahead are withheld: {}", why.trim_end_matches('.')) + ".",
        None => coverage,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_status_word_leads_the_sentence() {
        assert_eq!(standing(Status::Behind, "pain is 6 %"), ("Behind", ". Pain is 6\u{a0}%.".into()));
        assert_eq!(standing(Status::Ahead, ""), ("Ahead", ".".into()));
    }

    #[test]
    fn counts_leave_out_what_nobody_is() {
        let text = counts(&[(Status::Worsening, 1), (Status::Behind, 0), (Status::Ahead, 2)]);
        assert_eq!(text, "3\u{a0}episodes in care: 1\u{a0}worsening, 2\u{a0}ahead.");
    }
}
