//! What is done with an input: the program's own steps, up to what each target wants to see.

use super::corpus::Corpus;
use super::csv_changes::SECRET;
use super::input::{Files, Folder, Lineage, Target};
use crate::cli::args::{Arguments, Command};
use crate::cli::journey::{self, Understood};
use crate::cli::progress::Stages;
use crate::cli::report;
use crate::error::{Exit, Problem};
use crate::export::blocks::FIRST_BLOCK;
use crate::group::load::load;
use crate::group::mapping::Mapping;
use crate::group::parse_mapping::parse_mapping;
use crate::group::settings::{Export, Group};
use crate::rows::draft_mapping;
use crate::rows::ledger::FileLedger;
use crate::rows::pseudonym::{Request, pseudonymise};
use clap::Parser;
use std::collections::HashMap;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// What came of an input, as far as the oracles look.
#[derive(Clone, Default, Debug)]
pub struct Outcome {
    /// The complaint it ended in, if it did.
    pub problem: Option<Problem>,
    /// The account of each file read.
    pub accounts: Vec<Account>,
    /// All that was understood, as text; equal for equal inputs.
    pub understood: String,
    /// All that was found, as the program prints it for itself.
    pub found: String,
    /// Text files that were written, by name.
    pub written: Vec<(String, String)>,
    /// What else is not as it must be, in words.
    pub wrong: Vec<String>,
}

/// The account of one file, and what it was read from.
#[derive(Clone, Debug)]
pub struct Account {
    /// Rows read.
    pub read: u64,
    /// Whether the program itself says that the account balances.
    pub balances: bool,
    /// The whole account, as the program prints it for itself.
    pub printed: String,
    /// The file.
    pub bytes: Arc<Vec<u8>>,
    /// Lines before its header.
    pub skip_lines: u32,
    /// Lines of the rows that were understood, sorted.
    pub lines: Vec<u32>,
}

/// Everything that inputs are tried with.
pub struct Workplace {
    folders: HashMap<(Target, String), Folder>,
    groups: HashMap<(Target, String), Group>,
    root: PathBuf,
    /// Whether everything that was understood is put into words, to be compared: slow.
    pub in_full: bool,
}

impl Workplace {
    /// A workplace in a folder.
    pub fn new(root: &Path) -> Self {
        let secret: String = (0..64u8).map(|i| char::from(b'!' + (i.wrapping_mul(37) % 90))).collect();
        let file = root.join("secret.txt");
        std::fs::write(&file, secret).expect("a secret");
        #[cfg(unix)]
        std::fs::set_permissions(&file, std::os::unix::fs::PermissionsExt::from_mode(0o600)).expect("its mode");
        let root = root.to_path_buf();
        Self { folders: HashMap::new(), groups: HashMap::new(), root, in_full: true }
    }

    /// Does with an input what its target says.
    pub fn run(&mut self, lineage: &Lineage, files: &Files, corpus: &Corpus) -> Outcome {
        let base = corpus.base(lineage.target, &lineage.base).expect("a base of the corpus");
        let key = (lineage.target, lineage.base.clone());
        let folder = self.folders.entry(key.clone()).or_insert_with(|| {
            let name = format!("{}-{}", lineage.target.word(), lineage.base.replace(['/', '@'], "-"));
            Folder::new(&self.root, &name)
        });
        let changed = base.changes.first().cloned().unwrap_or_default();
        if let Some(export) = &base.export
            && !self.groups.contains_key(&key)
        {
            folder.lay(&base.files);
            let group = only(load(folder.path()).expect("a base loads"), export);
            self.groups.insert(key.clone(), group);
        }
        match lineage.target {
            Target::Export => {
                folder.lay(files);
                read(&self.groups[&key], files, self.in_full)
            }
            Target::Mapping => {
                folder.lay(files);
                let group = self.groups.get_mut(&key).expect("read above");
                let text = String::from_utf8_lossy(&files[&changed]);
                match parse_mapping(&folder.path().join(&changed), &text, &group.measures, &group.conditions) {
                    Err(problem) => Outcome::of(problem),
                    Ok(mapping) => {
                        group.exports.iter_mut().for_each(|export| export.mapping = mapping.clone());
                        read(group, files, self.in_full)
                    }
                }
            }
            Target::Settings => {
                folder.lay(files);
                match load(folder.path()) {
                    Ok(group) => {
                        Outcome { understood: format!("{} exports", group.exports.len()), ..Outcome::default() }
                    }
                    Err(problem) => Outcome::of(problem),
                }
            }
            Target::Inspect => {
                folder.lay(files);
                let path = folder.path().join(&changed);
                inspect(&path, &self.root)
            }
            Target::Group => {
                folder.lay(files);
                findings(folder.path(), files)
            }
            Target::Report => {
                folder.lay(files);
                written_report(folder.path(), &self.root.join("out"))
            }
        }
    }
}

impl Outcome {
    fn of(problem: Problem) -> Self {
        Self { problem: Some(problem), ..Self::default() }
    }

    /// What kind of outcome it is: a new kind makes an input worth changing further.
    pub fn kind(&self) -> u64 {
        let mut hasher = DefaultHasher::new();
        if let Some(problem) = &self.problem {
            class(&problem.what).hash(&mut hasher);
            (problem.exit as u8, problem.spot.is_some()).hash(&mut hasher);
        }
        let size = |n: u64| n.checked_ilog2().map_or(0, |log| log + 1);
        (size(self.found.len() as u64), size(self.written.len() as u64)).hash(&mut hasher);
        for account in &self.accounts {
            (size(account.read), size(account.lines.len() as u64)).hash(&mut hasher);
            reasons(&account.printed).hash(&mut hasher);
        }
        hasher.finish()
    }
}

/// The words among a printed account that are reasons, each once.
fn reasons(printed: &str) -> Vec<&str> {
    let words = printed.split(|c: char| !c.is_alphanumeric()).filter(|word| {
        word.len() > 5
            && word.starts_with(|c: char| c.is_uppercase())
            && !["FileId", "Rejected", "Tally"].contains(word)
    });
    let mut words: Vec<&str> = words.collect();
    words.sort_unstable();
    words.dedup();
    words
}

/// A complaint without what it quotes and counts.
pub fn class(what: &str) -> String {
    let mut out = String::new();
    let mut inside = None;
    for c in what.chars() {
        match inside {
            Some(quote) if c == quote => inside = None,
            Some(_) => {}
            None if matches!(c, '`' | '\'' | '"') => inside = Some(c),
            None if c.is_ascii_digit() => {}
            None => out.push(c),
        }
    }
    out.chars().take(80).collect()
}

/// The group with one file of one export alone.
fn only(group: Group, file: &str) -> Group {
    let of_file = |export: &Export| {
        let file = export.files.iter().find(|path| path.as_os_str() == file)?;
        Some(Export { files: vec![file.clone()], ..export.clone() })
    };
    let exports = group.exports.iter().filter_map(of_file).collect();
    Group { exports, ..group }
}

/// The mapping of each file, in reading order.
fn mappings(group: &Group) -> Vec<&Mapping> {
    group.exports.iter().flat_map(|export| export.files.iter().map(|_| &export.mapping)).collect()
}

/// Reads exports, takes duplicates out, cuts episodes and attaches readings.
pub fn read(group: &Group, files: &Files, in_full: bool) -> Outcome {
    match journey::understand(group, &Stages::new(true)) {
        Ok(understood) => {
            let printed = if in_full { print(&understood) } else { String::new() };
            Outcome { accounts: accounts(group, &understood, files), understood: printed, ..Outcome::default() }
        }
        Err(problem) => Outcome::of(problem),
    }
}

/// All that was understood. Names are printed in their order, not as the table that finds them, which is shuffled.
fn print(understood: &Understood) -> String {
    let Understood { intake, visits, disagreements, episodes, readings, courses } = understood;
    let names = &intake.names;
    let lists = [&names.sites, &names.patients, &names.clinicians, &names.tables, &names.episodes, &names.codes];
    let names: Vec<Vec<&str>> = lists.iter().map(|list| list.iter().map(|(_, name)| name).collect()).collect();
    let of_file = |file: &FileLedger| {
        let counts = (file.read, file.kept, file.duplicate_exact, file.duplicate_differing);
        format!("{counts:?}{:?}{:?}{:?}", file.rejected, file.blanks, file.unmapped)
    };
    let ledgers: Vec<String> = intake.ledger.iter().map(|(_, file)| of_file(file)).collect();
    format!("{names:?}{visits:?}{disagreements:?}{episodes:?}{readings:?}{courses:?}{ledgers:?}")
}

fn accounts(group: &Group, understood: &Understood, files: &Files) -> Vec<Account> {
    let mut lines = vec![Vec::new(); understood.intake.files.len()];
    for row in &understood.visits.rows {
        lines[usize::from(row.place.file.0)].push(row.place.line);
    }
    let parts = understood.intake.ledger.iter().zip(mappings(group)).zip(lines);
    let accounts = parts.map(|(((id, ledger), mapping), mut lines)| {
        lines.sort_unstable();
        Account {
            read: ledger.read,
            balances: ledger.balances(),
            printed: format!("{:?}{:?}", ledger.rejected, ledger.blanks),
            bytes: files.get(understood.intake.files.path(id)).cloned().unwrap_or_default(),
            skip_lines: mapping.form.skip_lines,
            lines,
        }
    });
    accounts.collect()
}

/// What was printed, with every line counted from `shift` lines earlier.
fn earlier(printed: &str, shift: u64) -> String {
    let mut parts = printed.split("line: ");
    let mut out = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        let digits = part.bytes().take_while(u8::is_ascii_digit).count();
        match part[..digits].parse::<u64>() {
            Ok(line) => out.push_str(&format!("line: {}{}", line.saturating_sub(shift), &part[digits..])),
            Err(_) => out.push_str(&format!("line: {part}")), // such as a baseline
        }
    }
    out
}

/// Whether an export reads the same with blank lines after its header, so many that its first block ends somewhere in
/// its rows. `None` where that cannot be tried; else what was read, its lines counted as without the blank lines.
pub fn read_across_blocks(
    workplace: &mut Workplace,
    lineage: &Lineage,
    files: &Files,
    corpus: &Corpus,
) -> Option<Outcome> {
    let base = corpus.base(lineage.target, &lineage.base)?;
    let path = base.changes.first()?;
    let bytes = files.get(path)?;
    let key = (lineage.target, lineage.base.clone());
    let group = workplace.groups.get(&key)?;
    let skip = group.exports.first()?.mapping.form.skip_lines as usize;
    let plain = std::str::from_utf8(bytes).is_ok() && !bytes.starts_with(b"\xef\xbb\xbf") && !bytes.contains(&b'\r');
    let header_end = bytes.iter().enumerate().filter(|(_, byte)| **byte == b'\n').map(|(at, _)| at + 1).nth(skip)?;
    if !plain || bytes[..header_end].contains(&b'"') || skip > 5 {
        return None;
    }
    let rows = bytes.len() - header_end;
    let blank = FIRST_BLOCK - header_end - rows / 2;
    let padded = [&bytes[..header_end], &vec![b'\n'; blank], &bytes[header_end..]].concat();
    let mut files = files.clone();
    files.insert(path.clone(), Arc::new(padded));
    let folder = workplace.folders.get_mut(&key)?;
    folder.lay(&files);
    let mut outcome = read(workplace.groups.get(&key)?, &files, true);
    outcome.understood = earlier(&outcome.understood, blank as u64);
    Some(outcome)
}

/// Drafts a mapping for an export, and replaces the keys of its first column.
pub fn inspect(path: &Path, root: &Path) -> Outcome {
    let mut outcome = match draft_mapping::inspect(path) {
        Err(problem) => Outcome::of(problem),
        Ok(draft) => {
            let mut outcome = Outcome { understood: draft.text.clone(), ..Outcome::default() };
            if let Err(problem) = toml::from_str::<toml::Table>(&draft.text) {
                outcome.wrong.push(format!("the drafted mapping is not TOML: {}", problem.message()));
            }
            outcome
        }
    };
    let text = String::from_utf8_lossy(&std::fs::read(path).unwrap_or_default()).into_owned();
    let first_line = text.trim_start_matches('\u{feff}').lines().next().unwrap_or_default();
    let delimiter = [",", ";", "|"].into_iter().max_by_key(|d| first_line.matches(d).count()).unwrap_or(",");
    let key = first_line.split(delimiter).next().unwrap_or_default().trim_matches('"').to_owned();
    let out = root.join("pseudonymised.csv");
    let _ = std::fs::remove_file(&out);
    let request = Request {
        file: path.to_path_buf(),
        key_columns: vec![key],
        secret_file: root.join("secret.txt"),
        out: out.clone(),
        drop: Vec::new(),
        shift_dates: Vec::new(),
        date_format: None,
        delimiter: delimiter.to_owned(),
        encoding: "utf-8".to_owned(),
    };
    match pseudonymise(&request) {
        Ok(_) => {
            let made = String::from_utf8_lossy(&std::fs::read(&out).unwrap_or_default()).into_owned();
            let keys = text.lines().skip(1).filter_map(|line| line.split(delimiter).next());
            if !text.contains('"')
                && keys.map(|key| key.trim_matches('"')).any(|key| key == SECRET)
                && made.lines().any(|line| line.starts_with(SECRET))
            {
                outcome.wrong.push("a key stands in the pseudonymised copy".to_owned());
            }
        }
        Err(problem) => {
            if out.exists() {
                outcome.wrong.push("a refused pseudonymised copy was left".to_owned());
            }
            outcome.problem.get_or_insert(problem);
        }
    }
    outcome
}

/// Everything that a report says, without writing it.
pub fn findings(folder: &Path, files: &Files) -> Outcome {
    let stages = Stages::new(true);
    let found = load(folder).and_then(|group| {
        let understood = journey::understand(&group, &stages)?;
        let accounts = accounts(&group, &understood, files);
        if let Err(problem) = journey::refuse_too_many_rejected(&group, &understood) {
            return Ok(Outcome { accounts, ..Outcome::of(problem) });
        }
        let records = journey::records(&group, &understood, None);
        let setups = journey::setups_and_dose(&group, &understood, records, &stages);
        let fitted = journey::fit(records, &stages);
        let bulletin = journey::find(&group, &understood, records, &fitted, Some(setups), &stages)?;
        let worklist = journey::worklist(&group, &understood, records, &fitted, &stages);
        let found = format!("{bulletin:?}\n{worklist:?}");
        Ok(Outcome { accounts, found, ..Outcome::default() })
    });
    found.unwrap_or_else(Outcome::of)
}

/// The whole command, and the text files that it wrote.
pub fn written_report(folder: &Path, out: &Path) -> Outcome {
    let words = [
        "mendcurve".as_ref(),
        "report".as_ref(),
        folder.as_os_str(),
        "--out".as_ref(),
        out.as_os_str(),
        "--quiet".as_ref(),
    ];
    let Command::Report(arguments) = Arguments::parse_from(words).command else {
        unreachable!("a report was asked for")
    };
    let mut outcome = match report::run(&arguments) {
        Ok(Exit::Fine) => Outcome::default(),
        Ok(exit) => Outcome { wrong: vec![format!("ended with {exit:?} and no complaint")], ..Outcome::default() },
        Err(problem) => Outcome::of(problem),
    };
    let written = super::corpus::files_below_if_there(out);
    if let Some(problem) = &outcome.problem
        && problem.exit != Exit::TooManyRejected
        && !written.is_empty()
    {
        outcome.wrong.push("a refused report left files".to_owned());
    }
    let parent = out.parent().expect("a parent");
    let name = out.file_name().expect("a name").to_string_lossy().into_owned();
    let beside =
        std::fs::read_dir(parent).expect("a folder").filter_map(|entry| entry.ok()?.file_name().into_string().ok());
    if beside.into_iter().any(|other| other.starts_with(&format!(".{name}."))) {
        outcome.wrong.push("a folder half written was left beside the output".to_owned());
    }
    let is_text = |name: &str| [".csv", ".html", ".json"].iter().any(|end| name.ends_with(end));
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    outcome.written =
        written.iter().filter(|(name, _)| is_text(name)).map(|(name, bytes)| (name.clone(), text(bytes))).collect();
    let mut hasher = DefaultHasher::new();
    written.iter().for_each(|file| file.hash(&mut hasher));
    outcome.understood = format!("{} files, {:x}", written.len(), hasher.finish());
    let _ = std::fs::remove_dir_all(out);
    let _ = std::fs::remove_dir_all(out.with_file_name(format!("{name}.rejected")));
    outcome
}
