//! A visit's whole journey: exports -> rows -> visits -> episodes -> readings -> findings -> pages.

use super::progress::Stages;
use crate::catalogue::CatalogueError;
use crate::catalogue::natural_course::Courses as NaturalCourses;
use crate::episodes::boundaries::cut;
use crate::episodes::due::SiteEnds;
use crate::episodes::episode::Episodes;
use crate::episodes::period::default_period;
use crate::episodes::regions::Regions;
use crate::episodes::tables::write_episodes;
use crate::error::{Exit, Problem};
use crate::findings::NOT_RECORDED;
use crate::findings::account::{add_course_of_care, data_quality};
use crate::findings::bulletin::Bulletin;
use crate::findings::compose;
use crate::findings::dose::DoseFindings;
use crate::findings::find_setups::SetupSources;
use crate::findings::on_track::Watch;
use crate::findings::quality::DataQuality;
use crate::findings::setup_audience::shown_to;
use crate::findings::setups::SetupFindings;
use crate::findings::sources::Sources;
use crate::findings::withhold::Rule as SmallCells;
use crate::findings::worklist::{PatientOnTrack, Worklist};
use crate::group::mapping::Layout;
use crate::group::settings::Group;
use crate::models::fitted_course::{FittedCourses, Records};
use crate::models::imputed_outcomes::ImputedOutcomes;
use crate::outputs::create::make_folder;
use crate::readings::attach::{Readings, attach};
use crate::readings::notes::episode_notes;
use crate::readings::tables::{outcome_columns, write_readings};
use crate::readings::windows::Courses;
use crate::report::restricted::write_restricted;
use crate::report::sheets::sheet::write as write_sheet;
use crate::report::sheets::{
    backtest, case_mix_models, change, columns, completeness, curve_points, datapackage, disagreements,
    dose_associations, dose_by_site, dose_by_visit, lines_in_cells, on_track, ordinal_change, reconciliation,
    recovery_curves, rejected_rows, responders, setup_conformance, setup_findings, setup_variation, site_comparison,
    time_to_response,
};
use crate::report::wording::notice::rounding;
use crate::report::{Rules, write_pages};
use crate::rows::read_group::{Intake, read_group};
use crate::rows::when::Quarter;
use crate::visits::duplicates::{Disagreement, visits};
use crate::visits::tables::{EpisodeOfRows, write_visits};
use crate::visits::visits::Visits;
use std::path::Path;

/// Everything that was read and understood.
pub struct Understood {
    /// Files, names and the ledger; its rows have become `visits`.
    pub intake: Intake,
    /// The visits.
    pub visits: Visits,
    /// Pairs of rows that disagree.
    pub disagreements: Vec<Disagreement>,
    /// The episodes.
    pub episodes: Episodes,
    /// The readings.
    pub readings: Readings,
    /// The readings of each outcome over each episode.
    pub courses: Courses,
}

/// Reads a group's exports and cuts them into episodes with their readings.
///
/// # Errors
/// A file cannot be read, does not fit its mapping, or holds direct identifiers.
pub fn understand(group: &Group, stages: &Stages) -> Result<Understood, Problem> {
    let mut intake = stages.run("reading exports", |tell| read_group(group, tell))?;
    let long_files: Vec<bool> = group
        .exports
        .iter()
        .flat_map(|export| export.files.iter().map(|_| export.mapping.form.layout == Layout::ReadingRows))
        .collect();
    let (rows, scores) = (std::mem::take(&mut intake.rows), std::mem::take(&mut intake.scores));
    let (visits, disagreements) =
        stages.run("taking out duplicates", |_| visits(rows, scores, &intake.names, &long_files, &mut intake.ledger));
    if let Some(file) = intake.ledger.unbalanced().first() {
        let what =
            format!("the lines and rows of {} do not add up; this is a fault of the program", intake.files.path(*file));
        return Err(Problem::failure(what).hint("report it; no output was written"));
    }
    let regions = Regions::of(&group.conditions, &intake.names.codes);
    let episodes = stages.run("cutting visits into episodes", |_| cut(&visits, &regions, &group.episodes));
    let (readings, courses) = stages.run("scoring and attaching readings", |_| {
        let readings = attach(&visits, &episodes, &regions, &group.measures, &group.episodes);
        let courses = Courses::of(&readings, &episodes, &group.episodes);
        (readings, courses)
    });
    Ok(Understood { intake, visits, disagreements, episodes, readings, courses })
}

/// Whether more rows were rejected than the group allows.
pub fn has_too_many_rejected(group: &Group, understood: &Understood) -> bool {
    understood.intake.ledger.faulty_share() > group.reject_limit
}

/// The complaint about it.
pub fn too_many_rejected(group: &Group, understood: &Understood) -> Problem {
    let (share, limit) = (100.0 * understood.intake.ledger.faulty_share(), 100.0 * group.reject_limit);
    let what = format!("{share:.1} % of the rows were rejected, more than the limit of {limit:.1} %");
    Problem { exit: Exit::TooManyRejected, ..Problem::input(what) }
}

/// Lets nothing be said of data of which too much was rejected.
///
/// # Errors
/// Too many rows were rejected.
pub fn refuse_too_many_rejected(group: &Group, understood: &Understood) -> Result<(), Problem> {
    match has_too_many_rejected(group, understood) {
        false => Ok(()),
        true => Err(too_many_rejected(group, understood)
            .hint("make the report: it lists the rows with their reasons; or raise reject_limit in group.toml")),
    }
}

/// What the models are fitted to. Without a period, the latest that is complete.
pub fn records<'a>(group: &'a Group, understood: &'a Understood, period: Option<Quarter>) -> Records<'a> {
    Records {
        measures: &group.measures,
        conditions: &group.conditions,
        names: &understood.intake.names,
        episodes: &understood.episodes,
        readings: &understood.readings,
        courses: &understood.courses,
        windows: group.episodes,
        on_track: group.on_track,
        period: period.or_else(|| default_period(&understood.episodes)),
    }
}

/// Fits the course of each outcome of each condition.
pub fn fit(records: Records<'_>, stages: &Stages) -> FittedCourses {
    stages.run("fitting recovery curves", |tell| FittedCourses::fit_to(records, records.episodes.list.iter(), tell))
}

/// Works out everything that the report says.
///
/// # Errors
/// An embedded registry cannot be read.
pub fn find(
    group: &Group,
    understood: &Understood,
    records: Records<'_>,
    fitted: &FittedCourses,
    setups: Option<(SetupFindings, DoseFindings)>,
    stages: &Stages,
) -> Result<Bulletin, Problem> {
    let Understood { intake, disagreements, episodes, readings, courses, .. } = understood;
    let registry = |error: CatalogueError| Problem::failure(error.to_string());
    let natural_courses = NaturalCourses::embedded().map_err(registry)?;
    let mut quality = data_quality(&intake.files, &intake.ledger, disagreements);
    stages.run("checking the data's quality", |_| {
        let notes = episode_notes(episodes, readings, courses);
        add_course_of_care(&mut quality, &intake.files, readings, &group.measures, notes);
    });
    let natural_courses = &natural_courses;
    let imputed = &stages.run("imputing the lost", |_| ImputedOutcomes::of(&records, fitted, NOT_RECORDED));
    let sources = Sources { group: &group.name, audience: group.audience, natural_courses, records, fitted, imputed };
    Ok(stages.run("comparing", |_| compose::bulletin(sources, setups, quality)))
}

/// What is found of setups and dose; no curve is needed.
pub fn setups_and_dose(
    group: &Group,
    understood: &Understood,
    records: Records<'_>,
    stages: &Stages,
) -> (SetupFindings, DoseFindings) {
    let sources = SetupSources {
        records,
        visits: &understood.visits,
        standard: &group.setup_standard,
        standard_file: group.setup_standard_file.as_deref(),
    };
    let small = SmallCells::of(group.audience);
    stages.run("looking at setups and dose", |_| compose::setups_and_dose(&sources, small))
}

/// Every episode of one patient, the latest first, held against the courses of its conditions.
///
/// # Errors
/// No patient has the key.
pub fn on_track_of(group: &Group, understood: &Understood, key: &str) -> Result<Vec<PatientOnTrack>, Problem> {
    let unknown = || {
        Problem::input("no patient of the group has this key")
            .hint("write the key as it stands in the exports, or in restricted/on_track.csv of a report")
    };
    // sheets write an apostrophe before a key that begins like a formula
    let patients = &understood.intake.names.patients;
    let as_in_sheets = || key.strip_prefix('\'').and_then(|key| patients.find(key));
    let patient = patients.find(key).or_else(as_in_sheets).ok_or_else(unknown)?;
    let records = records(group, understood, None);
    let episodes = understood.episodes.list.iter().filter(|episode| episode.patient == patient);
    if episodes.clone().next().is_none() {
        return Err(unknown());
    }
    let fitted = FittedCourses::fit_to(records, episodes, &|_, _| ());
    let ends = SiteEnds::of(&understood.visits.rows);
    let watch = Watch { group: &group.name, records, fitted: &fitted, visits: &understood.visits, ends: &ends };
    Ok(watch.of_patient(patients.get(patient)))
}

/// Finds who is on track.
pub fn worklist(
    group: &Group,
    understood: &Understood,
    records: Records<'_>,
    fitted: &FittedCourses,
    stages: &Stages,
) -> Worklist {
    let ends = SiteEnds::of(&understood.visits.rows);
    let watch = Watch { group: &group.name, records, fitted, visits: &understood.visits, ends: &ends };
    stages.run("finding who is on track", |_| watch.worklist())
}

/// Writes what is said of patients and rows one by one into a report's folder.
///
/// # Errors
/// The disk is full or the folder cannot be written.
pub fn write_patients(
    understood: &Understood,
    worklist: &Worklist,
    out: &Path,
    stages: &Stages,
) -> Result<(), Problem> {
    stages.run("writing patients' pages", |tell| write_restricted(worklist, out, tell))?;
    stages.run("writing patients' sheets", |_| write_rows(understood, Some(worklist), out))
}

/// Writes pages, figures and sheets into a report's folder.
///
/// # Errors
/// The disk is full or the folder cannot be written.
pub fn write_findings(group: &Group, bulletin: &Bulletin, out: &Path, stages: &Stages) -> Result<(), Problem> {
    let rules = Rules::of(group, bulletin);
    stages.run("drawing figures and pages", |tell| write_pages(bulletin, &rules, out, tell))?;
    stages.run("writing sheets", |_| write_results(bulletin, out))
}

/// Writes the reconciliation: all that a run for release leaves when too many rows were rejected.
///
/// # Errors
/// The folder cannot be written.
pub fn write_reconciliation(quality: &DataQuality, out: &Path) -> Result<(), Problem> {
    let tables = out.join("tables");
    make_folder(&tables).map_err(|error| Problem::io(&tables, &error))?;
    write_sheet(&tables, &reconciliation::FORM, quality.files.iter().map(reconciliation::line))
}

/// Writes the rejected rows, and with a worklist its sheet as well.
///
/// # Errors
/// The folder cannot be written.
pub fn write_rows(understood: &Understood, worklist: Option<&Worklist>, out: &Path) -> Result<(), Problem> {
    let Understood { intake, disagreements, .. } = understood;
    let restricted = out.join("restricted");
    make_folder(&restricted).map_err(|error| Problem::io(&restricted, &error))?;
    write_sheet(&restricted, &rejected_rows::FORM, rejected_rows::lines(&intake.files, &intake.ledger))?;
    let pairs = disagreements.iter().map(|pair| disagreements::line(&intake.files, pair));
    write_sheet(&restricted, &disagreements::FORM, pairs)?;
    write_sheet(&restricted, &lines_in_cells::FORM, lines_in_cells::lines(&intake.files, &intake.ledger))?;
    write_sheet(&restricted, &columns::FORM, columns::lines(&intake.files, &intake.ledger))?;
    let mut forms = vec![&rejected_rows::FORM, &disagreements::FORM, &lines_in_cells::FORM, &columns::FORM];
    if let Some(worklist) = worklist {
        write_sheet(&restricted, &on_track::FORM, on_track::lines(worklist))?;
        forms.push(&on_track::FORM);
    }
    datapackage::write(&restricted, "restricted", "Patients and rows one by one; restricted", None, &forms)
}

/// The account of rows as the readers may see it.
pub fn account_of_rows(group: &Group, understood: &Understood) -> DataQuality {
    let Understood { intake, disagreements, .. } = understood;
    let quality = data_quality(&intake.files, &intake.ledger, disagreements);
    compose::circulating_account(quality, group.audience, &records(group, understood, None))
}

fn write_results(bulletin: &Bulletin, out: &Path) -> Result<(), Problem> {
    write_reconciliation(&bulletin.quality, out)?;
    let tables = &out.join("tables");
    let outcomes = || bulletin.conditions.iter().flat_map(|c| c.outcomes.iter().map(move |outcome| (c, outcome)));
    let lines = outcomes().flat_map(|(_, outcome)| outcome.completeness.iter().map(completeness::line));
    write_sheet(tables, &completeness::FORM, lines)?;
    write_sheet(tables, &responders::FORM, outcomes().flat_map(|(_, o)| o.responders.iter().map(responders::line)))?;
    write_sheet(tables, &change::FORM, outcomes().flat_map(|(_, o)| o.change.iter().map(change::line)))?;
    let words = outcomes().flat_map(|(_, o)| o.ordinal_change.iter().map(ordinal_change::line));
    write_sheet(tables, &ordinal_change::FORM, words)?;
    write_sheet(tables, &recovery_curves::FORM, outcomes().flat_map(|(c, o)| recovery_curves::lines(c, o)))?;
    write_sheet(tables, &curve_points::FORM, outcomes().flat_map(|(c, o)| curve_points::lines(c, o)))?;
    write_sheet(tables, &time_to_response::FORM, outcomes().flat_map(|(c, o)| time_to_response::lines(c, o)))?;
    write_sheet(tables, &backtest::FORM, outcomes().flat_map(|(c, o)| backtest::lines(c, o)))?;
    let compared = bulletin.sites_compared.iter().flat_map(site_comparison::lines);
    write_sheet(tables, &site_comparison::FORM, compared)?;
    write_sheet(tables, &case_mix_models::FORM, bulletin.sites_compared.iter().map(case_mix_models::line))?;
    let setups = bulletin.setups.as_ref().map(|setups| shown_to(setups, bulletin.audience).setups);
    write_sheet(tables, &setup_variation::FORM, setups.iter().flat_map(|setups| setup_variation::lines(setups)))?;
    write_sheet(tables, &setup_findings::FORM, setups.iter().flat_map(|setups| setup_findings::lines(setups)))?;
    write_sheet(tables, &setup_conformance::FORM, setups.iter().flat_map(|setups| setup_conformance::lines(setups)))?;
    let mut forms = vec![
        &reconciliation::FORM,
        &completeness::FORM,
        &responders::FORM,
        &change::FORM,
        &ordinal_change::FORM,
        &recovery_curves::FORM,
        &curve_points::FORM,
        &time_to_response::FORM,
        &backtest::FORM,
        &site_comparison::FORM,
        &case_mix_models::FORM,
        &setup_variation::FORM,
        &setup_findings::FORM,
        &setup_conformance::FORM,
    ];
    if let Some(dose) = &bulletin.dose {
        write_sheet(tables, &dose_by_visit::FORM, dose.by_visit.iter().map(dose_by_visit::line))?;
        write_sheet(tables, &dose_by_site::FORM, dose.by_site.iter().map(dose_by_site::line))?;
        write_sheet(tables, &dose_associations::FORM, dose_associations::lines(dose))?;
        forms.extend([&dose_by_visit::FORM, &dose_by_site::FORM, &dose_associations::FORM]);
    }
    let rounding = rounding(bulletin.audience);
    datapackage::write(tables, "outcomes", &format!("Outcomes of {}", bulletin.group), Some(rounding), &forms)
}

/// Writes the datasets into a report's folder.
///
/// # Errors
/// The disk is full or the folder cannot be written.
pub fn write_datasets(group: &Group, understood: &Understood, out: &Path, stages: &Stages) -> Result<(), Problem> {
    stages.run("writing datasets", |_| datasets(group, understood, &out.join("restricted")))
}

fn datasets(group: &Group, understood: &Understood, restricted: &Path) -> Result<(), Problem> {
    let Understood { intake, visits, episodes, readings, courses, .. } = understood;
    let first_days: Vec<i32> = episodes.list.iter().map(|episode| episode.first.day()).collect();
    let of_rows = EpisodeOfRows { episode_of_row: &episodes.episode_of_row, first_days: &first_days };
    let (names, files, measures) = (&intake.names, &intake.files, &group.measures);
    let of_visits = || write_visits(&restricted.join("visits.parquet"), visits, names, files, of_rows);
    let of_readings =
        || write_readings(&restricted.join("readings.parquet"), readings, courses, measures, names, files);
    let of_episodes = || {
        let outcomes = outcome_columns(readings, courses, measures);
        let file = restricted.join("episodes.parquet");
        write_episodes(&file, &episodes.list, &outcomes, names, &group.conditions)
    };
    // side by side, since each is packed by one thread; of several faults the first file's is told
    let (first, (second, third)) = rayon::join(of_visits, || rayon::join(of_readings, of_episodes));
    first.and(second).and(third)
}
