//! The worklist, and the same for one clinician: most worrying first, each with its reason.

use super::{LIST_FILE, Restricted};
use crate::findings::worklist::{PatientOnTrack, Status};
use crate::report::pages::{Block, RestrictedPage, Row, Section, Standing};
use crate::report::wording::on_track as words;

/// Sections in the order of worry, with their names within the page.
const STATUSES: [(Status, &str); 5] = [
    (Status::Worsening, "worsening"),
    (Status::Behind, "behind"),
    (Status::TooFewReadings, "too-few-readings"),
    (Status::AsExpected, "as-expected"),
    (Status::Ahead, "ahead"),
];

/// Everyone.
pub(super) fn worklist_page(restricted: &Restricted<'_>) -> RestrictedPage {
    let everyone: Vec<&PatientOnTrack> = restricted.listed.iter().collect();
    let mut note = words::counts_note(restricted.worklist);
    if restricted.listed.len() < restricted.worklist.patients.len() {
        note = format!("{note} {}", words::not_listed(restricted.listed.len(), restricted.worklist.patients.len()));
    }
    let sections = sections(restricted, &everyone, "", note);
    let clinicians = restricted.clinicians.keys().copied().collect();
    restricted.page(words::WORKLIST, LIST_FILE, "", clinicians, sections)
}

/// A clinician's own patients.
pub(super) fn clinician_page(restricted: &Restricted<'_>, clinician: &str) -> RestrictedPage {
    let own = restricted.clinicians.get(clinician).map_or(&[][..], Vec::as_slice);
    let sections = sections(restricted, own, "../", words::OWN_NOTE.to_string());
    let file = restricted.clinician_file(clinician);
    let clinicians = restricted.clinicians.keys().copied().collect();
    restricted.page(&words::clinician_title(clinician), &file, "../", clinicians, sections)
}

fn sections(restricted: &Restricted<'_>, episodes: &[&PatientOnTrack], up: &str, note: String) -> Vec<Section> {
    let (in_care, ended): (Vec<&PatientOnTrack>, Vec<&PatientOnTrack>) = episodes.iter().partition(|e| e.in_care);
    let mut sections = vec![brief(&in_care, note)];
    for (status, id) in STATUSES {
        sections.push(listed(
            restricted,
            id,
            words::heading(status),
            in_care.iter().filter(|e| e.status == status),
            up,
        ));
    }
    sections.push(overdue(restricted, &in_care, up));
    sections.push(listed(restricted, "ended", words::ENDED, ended.iter(), up));
    let mut rules = Section::new("rules", words::RULES);
    rules.add_with_note(Block::List(restricted.worklist.rules.clone()), words::RULES_NOTE);
    sections.push(rules);
    sections
}

fn brief(in_care: &[&PatientOnTrack], note: String) -> Section {
    let mut section = Section::new("brief", words::IN_BRIEF);
    let counts = STATUSES.map(|(status, _)| (status, in_care.iter().filter(|e| e.status == status).count()));
    let text = if in_care.is_empty() { words::NOBODY.to_string() } else { words::counts(&counts) };
    section.add_with_note(Block::Lead(text), note);
    section
}

fn listed<'e>(
    restricted: &Restricted<'_>,
    id: &'static str,
    heading: &str,
    episodes: impl Iterator<Item = &'e &'e PatientOnTrack>,
    up: &str,
) -> Section {
    let mut section = Section::new(id, heading);
    section.rows.extend(episodes.map(|episode| line(restricted, episode, up)));
    section
}

fn line(restricted: &Restricted<'_>, episode: &PatientOnTrack, up: &str) -> Row {
    let (word, rest) = words::standing(episode.status, &episode.reason);
    let link = Some(link(restricted, episode, up));
    Row::new(Block::Standing(Standing { link, word, rest }), words::margin(episode))
}

fn link(restricted: &Restricted<'_>, episode: &PatientOnTrack, up: &str) -> (String, String) {
    (episode.patient.clone(), format!("{up}{}#episode-{}", restricted.patient_file(&episode.patient), episode.episode))
}

fn overdue(restricted: &Restricted<'_>, in_care: &[&PatientOnTrack], up: &str) -> Section {
    let mut section = Section::new("overdue", words::OVERDUE);
    for episode in in_care.iter().filter(|episode| !episode.overdue.is_empty()) {
        let (text, href) = link(restricted, episode, up);
        section.add(Block::Link { text, href });
        section.add(Block::List(episode.overdue.iter().map(|text| words::said(text)).collect()));
    }
    if section.rows.is_empty() {
        section.say(words::NONE_OVERDUE);
    }
    section
}
