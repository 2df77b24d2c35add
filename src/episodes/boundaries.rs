//! Where one course of care ends and the next begins.
//!
//! A patient's rows are cut on one clock at a time: calendar days and day offsets never mix. Treated visits are
//! taken in order of day:
//!
//! - A visit goes on with the latest episode of its region when no more than `gap_days` passed since that episode's
//!   last treated visit; otherwise it starts a new one. So lumbar and cervical care may run side by side.
//! - An episode label of the export decides instead: visits of one label are one episode, whatever the gap or region,
//!   and visits of two labels never are. Labels may be plain counters, so at another site a label counts as
//!   the same one only within `gap_days`. A label first met while an unlabelled episode of the region is
//!   open names that episode; an unlabelled visit follows the rule of gap and region.
//! - A missed visit goes to the episode around it: that of its label, else the nearest one of its region within
//!   `gap_days`, the earlier at a tie. It never opens one.

use super::describe::{Describer, Tallies};
use super::due::SiteEnds;
use super::episode::{CutCounts, Episode, Episodes, PatientSpan, days_between, is_treated, looked_at};
use super::regions::Regions;
use crate::catalogue::Region;
use crate::group::settings::EpisodeRules;
use crate::rows::row::{NameId, Row};
use crate::visits::visits::Visits;
use rayon::prelude::*;
use std::collections::HashMap;
use std::ops::Range;

/// Patients cut one after another by one thread, so that scratch space is allocated once for all of them.
const PATIENTS_A_PART: usize = 512;

/// Cuts a run's visits into episodes. Rows must be in the order [`Visits`] promises.
pub fn cut(visits: &Visits, regions: &Regions, rules: &EpisodeRules) -> Episodes {
    let rows = visits.rows.as_slice();
    let ends = SiteEnds::of(rows);
    let patients = patient_ranges(rows);
    let parts: Vec<Part> = patients
        .par_chunks(PATIENTS_A_PART)
        .map(|ranges| {
            let mut part = Part::default();
            let mut cutter = Cutter::new(rows, regions, rules, &ends);
            for range in ranges {
                cutter.cut_patient(range.clone(), &mut part);
            }
            part
        })
        .collect();
    join(parts, rows.len())
}

/// The rows of each patient.
fn patient_ranges(rows: &[Row]) -> Vec<Range<u32>> {
    let mut start = 0;
    rows.chunk_by(|a, b| a.patient == b.patient)
        .map(|chunk| {
            let range = start..start + chunk.len() as u32;
            start = range.end;
            range
        })
        .collect()
}

/// The episodes of some patients; positions count from the part's own start.
#[derive(Default)]
struct Part {
    list: Vec<Episode>,
    visit_rows: Vec<u32>,
    episode_of_row: Vec<Option<u32>>,
    patients: Vec<PatientSpan>,
    counts: CutCounts,
}

fn join(parts: Vec<Part>, rows: usize) -> Episodes {
    let mut all = Episodes {
        list: Vec::with_capacity(parts.iter().map(|part| part.list.len()).sum()),
        visit_rows: Vec::with_capacity(parts.iter().map(|part| part.visit_rows.len()).sum()),
        episode_of_row: Vec::with_capacity(rows),
        ..Episodes::default()
    };
    for part in parts {
        let (episodes, visits) = (all.list.len() as u32, all.visit_rows.len() as u32);
        all.list.extend(part.list.into_iter().map(|mut episode| {
            episode.visit_rows = shift(&episode.visit_rows, visits);
            episode
        }));
        all.visit_rows.extend(part.visit_rows);
        all.episode_of_row.extend(part.episode_of_row.into_iter().map(|id| id.map(|id| id + episodes)));
        all.patients.extend(
            part.patients.into_iter().map(|span| PatientSpan { episodes: shift(&span.episodes, episodes), ..span }),
        );
        all.counts.add(part.counts);
    }
    all
}

fn shift(range: &Range<u32>, by: u32) -> Range<u32> {
    range.start + by..range.end + by
}

/// An episode while its visits are still being gathered.
struct Draft {
    label: Option<NameId>,
    /// Region of the first visit that has one; a label may bring visits of others.
    region: Option<Region>,
    first_day: i32,
    last_day: i32,
    last_site: NameId,
}

impl Draft {
    /// Days from the treated span to a day; 0 inside.
    fn distance(&self, day: i32) -> i64 {
        days_between(day, self.first_day).max(days_between(self.last_day, day)).max(0)
    }
}

/// Cuts patients one after another; the vectors are scratch space that outlives a patient.
struct Cutter<'a> {
    rows: &'a [Row],
    rules: &'a EpisodeRules,
    regions: &'a Regions,
    describer: Describer<'a>,
    tallies: Tallies,
    row_regions: Vec<Option<Region>>,
    drafts: Vec<Draft>,
    draft_of_row: Vec<Option<u32>>,
    latest: [Option<u32>; 4],
    labels: HashMap<NameId, u32>,
    order: Vec<u32>,
    rank: Vec<u32>,
    ends: Vec<u32>,
}

impl<'a> Cutter<'a> {
    fn new(rows: &'a [Row], regions: &'a Regions, rules: &'a EpisodeRules, ends: &'a SiteEnds) -> Self {
        Self {
            rows,
            rules,
            regions,
            describer: Describer { rows, regions, rules, ends },
            tallies: Tallies::default(),
            row_regions: Vec::new(),
            drafts: Vec::new(),
            draft_of_row: Vec::new(),
            latest: [None; 4],
            labels: HashMap::new(),
            order: Vec::new(),
            rank: Vec::new(),
            ends: Vec::new(),
        }
    }

    fn cut_patient(&mut self, range: Range<u32>, part: &mut Part) {
        let rows = &self.rows[range.start as usize..range.end as usize];
        let Some(first) = rows.first() else { return };
        let first_episode = part.list.len();
        let mut start = range.start;
        for on_one_clock in rows.chunk_by(|a, b| a.when.same_clock(b.when)) {
            self.cut_clock(on_one_clock, start, part);
            start += on_one_clock.len() as u32;
        }
        let episodes = &mut part.list[first_episode..];
        super::describe::complete_sex(episodes, rows);
        part.counts.patients_with_conflicting_sex += u64::from(super::describe::sexes_conflict(rows));
        part.counts.patients_at_two_sites_on_one_day += u64::from(two_sites_on_one_day(rows));
        part.counts.patients_on_two_clocks += u64::from(rows.iter().any(|row| !row.when.same_clock(first.when)));
        part.patients.push(PatientSpan {
            patient: first.patient,
            rows: range,
            episodes: first_episode as u32..part.list.len() as u32,
        });
    }

    /// Cuts a patient's rows on one clock, the first of which stands at `start` among the run's rows.
    fn cut_clock(&mut self, rows: &[Row], start: u32, part: &mut Part) {
        self.regions.resolve(rows, &mut self.row_regions);
        self.drafts.clear();
        self.labels.clear();
        self.latest = [None; 4];
        self.draft_of_row.clear();
        for (i, row) in rows.iter().enumerate() {
            let draft = is_treated(row).then(|| self.draft_for(row, self.row_regions[i]));
            self.draft_of_row.push(draft);
        }
        for (i, row) in rows.iter().enumerate() {
            if row.is_visit && !is_treated(row) {
                self.draft_of_row[i] = self.draft_around(row, self.row_regions[i]);
                part.counts.missed_visits_without_episode += u64::from(self.draft_of_row[i].is_none());
            }
        }
        self.rank_drafts();
        self.emit(rows, start, part);
    }

    /// The draft a treated visit goes on with, or a new one.
    fn draft_for(&mut self, row: &Row, region: Option<Region>) -> u32 {
        let day = row.when.day();
        let gap = i64::from(self.rules.gap_days);
        let near = |draft: &Draft| days_between(draft.last_day, day) <= gap;
        let latest = self.latest[slot(region)].filter(|&d| near(&self.drafts[d as usize]));
        let known = match row.episode {
            None => latest,
            Some(label) => match self.labels.get(&label) {
                Some(&d) => Some(d).filter(|&d| {
                    let draft = &self.drafts[d as usize];
                    draft.last_site == row.site || near(draft)
                }),
                None => latest.filter(|&d| self.drafts[d as usize].label.is_none()),
            },
        };
        let d = known.unwrap_or_else(|| {
            self.drafts.push(Draft { label: None, region, first_day: day, last_day: day, last_site: row.site });
            self.drafts.len() as u32 - 1
        });
        let draft = &mut self.drafts[d as usize];
        draft.last_day = day;
        draft.last_site = row.site;
        draft.region = draft.region.or(region);
        if let Some(label) = row.episode {
            draft.label = Some(label);
            self.labels.insert(label, d);
        }
        self.latest[slot(region)] = Some(d);
        d
    }

    /// The draft a missed visit belongs to.
    fn draft_around(&self, row: &Row, region: Option<Region>) -> Option<u32> {
        if let Some(&d) = row.episode.and_then(|label| self.labels.get(&label)) {
            return Some(d);
        }
        let (day, gap) = (row.when.day(), i64::from(self.rules.gap_days));
        let fits = |draft: &Draft| region.is_none() || draft.region.is_none() || draft.region == region;
        looked_at(&self.drafts, |draft| days_between(day, draft.first_day) <= gap)
            .map(|d| (&self.drafts[d], d as u32))
            .filter(|(draft, _)| fits(draft) && draft.distance(day) <= gap)
            .min_by_key(|&(draft, d)| (draft.distance(day), d))
            .map(|(_, d)| d)
    }

    /// Puts the drafts in order of first day, region, and the order opened.
    fn rank_drafts(&mut self) {
        self.order.clear();
        self.order.extend(0..self.drafts.len() as u32);
        let drafts = &self.drafts;
        self.order.sort_by_key(|&d| (drafts[d as usize].first_day, slot(drafts[d as usize].region), d));
        self.rank.clear();
        self.rank.resize(self.drafts.len(), 0);
        for (rank, &d) in (0u32..).zip(&self.order) {
            self.rank[d as usize] = rank;
        }
    }

    /// Writes the episodes of one clock: their visits by a counting sort, then each described.
    fn emit(&mut self, rows: &[Row], start: u32, part: &mut Part) {
        let base = part.list.len() as u32;
        let first_row = part.episode_of_row.len();
        part.episode_of_row.extend(self.draft_of_row.iter().map(|d| d.map(|d| base + self.rank[d as usize])));
        let of_row = &part.episode_of_row[first_row..];

        let offset = part.visit_rows.len() as u32;
        let ends = &mut self.ends;
        ends.clear();
        ends.resize(self.drafts.len(), 0);
        let treated = || rows.iter().zip(of_row).filter(|(row, _)| is_treated(row));
        for id in treated().filter_map(|(_, id)| *id) {
            ends[(id - base) as usize] += 1;
        }
        let mut next = offset;
        for end in ends.iter_mut() {
            let visits = std::mem::replace(end, next);
            next += visits;
        }
        part.visit_rows.resize(next as usize, 0);
        for (i, (row, id)) in (start..).zip(rows.iter().zip(of_row)) {
            if let (true, Some(id)) = (is_treated(row), *id) {
                let end = &mut ends[(id - base) as usize];
                part.visit_rows[*end as usize] = i;
                *end += 1;
            }
        }

        let mut from = offset;
        for (&end, &d) in ends.iter().zip(&self.order) {
            let visits = &part.visit_rows[from as usize..end as usize];
            let Draft { label, region, .. } = self.drafts[d as usize];
            let episode = self.describer.describe(visits, from, region, &mut self.tallies, &mut part.counts);
            part.list.extend(episode.map(|episode| Episode { label, ..episode }));
            from = end;
        }
        let list = &mut part.list[base as usize..];
        flag_overlaps(list);
        self.describer.complete(list, base, rows, of_row);
    }
}

/// A place in an array for each region and for none.
fn slot(region: Option<Region>) -> usize {
    match region {
        Some(Region::Lumbar) => 0,
        Some(Region::Cervical) => 1,
        Some(Region::Other) => 2,
        None => 3,
    }
}

/// Flags the episodes, in order of first day, whose treated spans share a day with another's.
fn flag_overlaps(episodes: &mut [Episode]) {
    let mut longest: Option<usize> = None; // of those so far, the one that reaches furthest
    for i in 0..episodes.len() {
        let (first, last) = (episodes[i].first.day(), episodes[i].last.day());
        match longest {
            Some(l) if episodes[l].last.day() >= first => {
                episodes[l].overlaps = true;
                episodes[i].overlaps = true;
                if last > episodes[l].last.day() {
                    longest = Some(i);
                }
            }
            _ => longest = Some(i),
        }
    }
}

/// Whether a patient was treated at more than one site on one day. Rows are in order of day, then site.
fn two_sites_on_one_day(rows: &[Row]) -> bool {
    let mut treated = rows.iter().filter(|row| is_treated(row));
    let Some(mut before) = treated.next() else { return false };
    treated.any(|row| {
        let differs =
            row.site != before.site && row.when.same_clock(before.when) && row.when.day() == before.when.day();
        before = row;
        differs
    })
}
