//! A patient's page: every listed episode with its course on one time axis, and what to look for next.

use super::Restricted;
use crate::findings::worklist::{OutcomeOnTrack, PatientOnTrack};
use crate::report::assemble::ReportError;
use crate::report::figures::{FigureText, patient_course};
use crate::report::pages::{Block, Cell, PlacedFigure, RestrictedPage, Row, Section, Sheet, Standing};
use crate::report::wording::{decimal, on_track as words, patient_course as figure_words, range};

const UP: &str = "../";

pub(super) fn patient_page(restricted: &Restricted<'_>, patient: &str) -> Result<RestrictedPage, ReportError> {
    let episodes = restricted.patients.get(patient).map_or(&[][..], Vec::as_slice);
    let sections = episodes.iter().map(|e| episode(restricted, e)).collect::<Result<Vec<Section>, ReportError>>()?;
    let mut clinicians: Vec<&str> = episodes.iter().filter_map(|e| e.clinician.as_deref()).collect();
    clinicians.sort_unstable();
    clinicians.dedup();
    let file = restricted.patient_file(patient);
    Ok(restricted.page(&words::patient_title(patient), &file, UP, clinicians, sections))
}

fn episode(restricted: &Restricted<'_>, episode: &PatientOnTrack) -> Result<Section, ReportError> {
    let mut section = Section::new(format!("episode-{}", episode.episode), words::episode_heading(episode));
    let (word, rest) = words::standing(episode.status, &episode.reason);
    let notes = vec![words::said(&words::place(episode)), words::said(&words::visits(episode))];
    section.rows.push(Row::new(Block::Standing(Standing { link: None, word, rest }), notes));
    if episode.caution {
        section.say(words::CAUTION);
    }
    for outcome in episode.outcomes.iter().skip(1) {
        let (word, rest) = words::outcome_standing(outcome); // the first one's is the episode's
        section.say(format!("{word}{rest}"));
    }
    if episode.outcomes.is_empty() {
        section.say(words::NO_READING);
    }
    if let Some(text) = words::last_visit(episode) {
        section.say(text);
    }
    course(restricted, episode, &mut section)?;
    next_visit(episode, &mut section);
    if !episode.overdue.is_empty() {
        section.add(Block::Heading(words::OVERDUE.to_string()));
        section.add(Block::List(episode.overdue.iter().map(|text| words::said(text)).collect()));
    }
    sheets(episode, &mut section);
    Ok(section)
}

fn course(restricted: &Restricted<'_>, episode: &PatientOnTrack, section: &mut Section) -> Result<(), ReportError> {
    if episode.outcomes.is_empty() && episode.channels.is_empty() {
        return Ok(());
    }
    let text = FigureText {
        name: format!("course-{}", episode.episode),
        title: figure_words::figure_title(episode),
        subtitle: figure_words::figure_subtitle(episode),
        source: figure_words::figure_source(&restricted.worklist.group),
    };
    let figure = patient_course(&text, episode)?;
    let notes = episode.outcomes.iter().map(words::model_note).collect();
    let placed = PlacedFigure::without_png(&figure, figure_words::READ_COURSE);
    section.rows.push(Row::new(Block::Figure(placed), each_once(notes)));
    Ok(())
}

fn next_visit(episode: &PatientOnTrack, section: &mut Section) {
    let said: Vec<String> = episode.outcomes.iter().filter_map(words::next_visit).collect();
    if !said.is_empty() {
        section.add(Block::Heading(words::NEXT_VISIT.to_string()));
        section.add_with_note(Block::List(said), words::NEXT_VISIT_NOTE);
    }
}

fn sheets(episode: &PatientOnTrack, section: &mut Section) {
    let (day, quantity) = words::CORNERS;
    let mut sheets: Vec<Sheet> = episode.outcomes.iter().map(|outcome| readings(outcome, day)).collect();
    let mut changes = Sheet::new(words::CHANGES, quantity, &words::CHANGE_COLUMNS);
    for channel in &episode.channels {
        for &(day, before, after) in &channel.changes {
            let value = |value| Cell::Text(words::channel_value(channel, value));
            changes.row(channel.label, vec![words::day(day.into()).into(), value(before), value(after)]);
        }
    }
    sheets.push(changes);
    for sheet in sheets.into_iter().filter(|sheet| !sheet.rows.is_empty()) {
        section.add(Block::Sheet(sheet));
    }
}

fn readings(outcome: &OutcomeOnTrack, corner: &str) -> Sheet {
    let mut sheet = Sheet::new(words::readings_caption(outcome), corner, &words::READING_COLUMNS);
    let places = outcome.decimals;
    for reading in &outcome.readings {
        let (expected, band) = match &reading.expected {
            Some(e) => (decimal(e.value, places), range(e.low, e.high, places)),
            None => (words::NO_BAND.to_string(), words::NO_BAND.to_string()),
        };
        let cells = vec![decimal(reading.value, places).into(), expected.into(), band.into()];
        sheet.row(words::day(reading.day.into()), cells);
    }
    sheet
}

/// Notes that several outcomes share are said once.
fn each_once(notes: Vec<String>) -> Vec<String> {
    let mut said: Vec<String> = Vec::new();
    for note in notes {
        if !said.contains(&note) {
            said.push(note);
        }
    }
    said
}
