//! `mendcurve patient`: is this patient on track? On the terminal, in words and plain characters.

use super::args::PatientArguments;
use super::chart::{self, chart};
use super::journey;
use super::progress::Stages;
use super::say;
use crate::error::{Exit, Problem, plain};
use crate::findings::worklist::{OutcomeOnTrack, PatientOnTrack};
use crate::group::load::load;
use crate::report::wording::on_track as words;

/// Columns that a terminal is taken to have.
const WIDTH: usize = 80;
/// A narrower one is written on as if it had so many.
const NARROWEST: usize = 40;

/// Runs the command.
///
/// # Errors
/// Settings, mappings or exports are wrong, or the group has no such patient.
pub fn run(arguments: &PatientArguments) -> Result<Exit, Problem> {
    let group = load(&arguments.folder)?;
    let stages = Stages::new(arguments.quiet);
    let understood = journey::understand(&group, &stages)?;
    journey::refuse_too_many_rejected(&group, &understood)?;
    let episodes = journey::on_track_of(&group, &understood, &arguments.key)?;
    for episode in &episodes {
        say::out(&text(episode, WIDTH))?;
    }
    Ok(Exit::Fine)
}

/// An episode for a terminal of `width` characters: where it stands and why, a chart for each outcome, what to look for
/// next, dose and setup, overdue readings. No colour; each line ended.
pub fn text(patient: &PatientOnTrack, width: usize) -> String {
    let width = width.max(NARROWEST);
    let mut page = Page { text: String::new(), width };
    page.say(&format!("{}. {}", words::patient_title(&patient.patient), words::episode_heading(patient)));
    page.say(&words::said(&words::place(patient)));
    page.say(&words::said(&words::visits(patient)));
    page.gap();
    let (word, rest) = words::standing(patient.status, &patient.reason);
    page.say(&format!("{word}{rest}"));
    for outcome in patient.outcomes.iter().skip(1) {
        let (word, rest) = words::outcome_standing(outcome); // the first one's is the episode's
        page.say(&format!("{word}{rest}"));
    }
    if patient.caution {
        page.say(words::CAUTION);
    }
    if patient.outcomes.is_empty() {
        page.say(words::NO_READING);
    }
    for outcome in &patient.outcomes {
        page.outcome(outcome);
    }
    if !patient.outcomes.is_empty() {
        page.gap();
        page.say(chart::KEY);
    }
    page.list(words::NEXT_VISIT, patient.outcomes.iter().filter_map(words::next_visit));
    page.list(words::OVERDUE, patient.overdue.iter().map(|overdue| words::said(overdue)));
    page.list(
        words::CHANGES,
        words::last_visit(patient).into_iter().chain(patient.channels.iter().filter_map(words::channel_line)),
    );
    page.gap();
    page.say(words::RESTRICTED);
    page.say(crate::report::wording::notice::NOTICE_IN_BRIEF);
    page.text
}

/// Lines of limited width.
struct Page {
    text: String,
    width: usize,
}

impl Page {
    fn gap(&mut self) {
        self.text.push('\n');
    }

    fn say(&mut self, text: &str) {
        self.lines(text, "", "");
    }

    fn list(&mut self, heading: &str, items: impl Iterator<Item = String>) {
        for (i, item) in items.enumerate() {
            if i == 0 {
                self.gap();
                self.say(heading);
            }
            self.lines(&item, "- ", "  ");
        }
    }

    fn outcome(&mut self, outcome: &OutcomeOnTrack) {
        self.gap();
        self.say(&words::axis_title(outcome));
        self.text.push_str(&chart(outcome, self.width));
    }

    /// Breaks a text between words; a longer word stands alone. The first line begins with `first`, the others with `rest`.
    fn lines(&mut self, text: &str, first: &str, rest: &str) {
        let mut line = first.to_string();
        let mut is_empty = true;
        for word in text.split(' ').filter(|word| !word.is_empty()) {
            if !is_empty && line.chars().count() + 1 + word.chars().count() > self.width {
                self.end(&line);
                line = rest.to_string();
                is_empty = true;
            }
            if !is_empty {
                line.push(' ');
            }
            line.push_str(word);
            is_empty = false;
        }
        self.end(&line);
    }

    /// Ends a line. A line end in a key begins none.
    fn end(&mut self, line: &str) {
        self.text.push_str(&plain(&line.replace('\u{a0}', " ")));
        self.text.push('\n');
    }
}

#[cfg(test)]
#[path = "patient_tests.rs"]
mod tests;
