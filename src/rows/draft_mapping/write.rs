//! The draft as TOML.

use super::Draft;
use super::column::Column;
use super::fields::{Confidence, Known};
use super::marks::Marks;
use super::sample::{EncodingEvidence, Sample};
use super::show::{kind, plain, quoted, samples};
use super::uses::{Plan, Use};
use super::words;
use crate::catalogue::{Measures, PainSite};
use crate::group::field::{Field, Kind};
use crate::units::Unit;
use std::fmt::Write;

/// What the sections of a draft are written from.
pub(super) struct Findings<'a> {
    pub sample: &'a Sample,
    pub marks: Marks,
    pub columns: &'a [Column],
    pub plan: &'a Plan,
    pub known: &'a Known<'a>,
    pub measures: &'a Measures,
}

/// Writes the draft.
pub(super) fn draft(findings: &Findings<'_>) -> Draft {
    let mut pen = Pen { text: String::new(), warnings: Vec::new() };
    let rows = findings.sample.rows.len();
    let seen = if findings.sample.whole { "all" } else { "the first" };
    pen.line(&format!("# A draft from {seen} {rows} rows of an export: a proposal, to be checked line by line."));
    pen.line("# Confidence: certain, likely, guess; what is unknown stands at the end.");
    if findings.sample.odd_rows > 0 {
        pen.warn(&format!("{} lines have more or fewer fields than the header", findings.sample.odd_rows));
    }
    findings.file(&mut pen);
    findings.fields(&mut pen);
    words::sections(&mut pen, findings);
    findings.scores(&mut pen);
    findings.readings(&mut pen);
    findings.left_over(&mut pen);
    Draft { text: pen.text, warnings: pen.warnings }
}

/// Writes lines, and keeps what a person must look at.
pub(super) struct Pen {
    text: String,
    warnings: Vec<String>,
}

impl Pen {
    pub fn line(&mut self, line: &str) {
        self.text.push_str(line);
        self.text.push('\n');
    }

    /// A warning, as a comment and for the terminal.
    pub fn warn(&mut self, warning: &str) {
        self.line(&format!("# LOOK: {warning}"));
        self.warnings.push(warning.to_owned());
    }
}

impl Findings<'_> {
    fn file(&self, pen: &mut Pen) {
        let sample = self.sample;
        pen.line("\n[file]");
        if self.plan.long.is_some() {
            pen.line("layout = \"reading rows\"  # likely: one column names the measure");
            let is_visit =
                self.plan.column_of(Field::PeakForce).is_some() || self.plan.column_of(Field::Session).is_some();
            let why =
                if is_visit { "there are columns of a treatment" } else { "no column says anything about a treatment" };
            pen.line(&format!("treated = {is_visit}  # guess: {why}; true when each row stands for a treated visit"));
        }
        let delimiter = match sample.delimiter {
            b'\t' => "tab".to_owned(),
            other => char::from(other).to_string(),
        };
        pen.line(&format!("delimiter = {}  # certain: {} columns", quoted(&delimiter), sample.header.len()));
        let why = match sample.encoding_evidence {
            EncodingEvidence::Mark => "certain: the file says so at its start",
            EncodingEvidence::Ascii => "likely: plain letters only so far",
            EncodingEvidence::Valid => "certain: other letters are valid in it",
            EncodingEvidence::Guess => "guess from the bytes: check words with accents",
        };
        pen.line(&format!("encoding = {}  # {why}", quoted(&sample.encoding.name().to_lowercase())));
        self.marks(pen);
        self.dates(pen);
        self.missing(pen);
        if sample.skip_lines > 0 {
            pen.line(&format!("skip_lines = {}  # likely: the lines before the header", sample.skip_lines));
        }
    }

    fn marks(&self, pen: &mut Pen) {
        let Marks { form, commas, points } = self.marks;
        let why = match (commas, points) {
            (0, 0) => "guess: no number has decimals".to_owned(),
            (0, n) => format!("certain: {n} numbers with a point, none with a comma"),
            (n, 0) => format!("certain: {n} numbers with a comma, none with a point"),
            (c, p) => format!("guess: {c} numbers with a comma, {p} with a point"),
        };
        if form.decimal == self.sample.delimiter {
            pen.warn("numbers have decimal commas and the delimiter is a comma: export with semicolons or tabs");
            return;
        }
        pen.line(&format!("decimal = {}  # {why}", quoted(&char::from(form.decimal).to_string())));
        if let Some(thousands) = form.thousands.filter(|mark| *mark != self.sample.delimiter) {
            pen.line(&format!(
                "thousands = {}  # likely: groups of three digits",
                quoted(&char::from(thousands).to_string())
            ));
        }
    }

    fn dates(&self, pen: &mut Pen) {
        let date = self.plan.column_of(Field::Date).and_then(|i| self.columns.get(i));
        let Some(fit) = date.and_then(|column| column.shape.dates.as_ref()) else { return };
        match fit.forms.as_slice() {
            [form] => {
                let short = if form.contains("%y") { "; two-digit years" } else { "" };
                pen.line(&format!("dates = {}  # certain: no other form fits{short}", quoted(form)));
            }
            forms => {
                pen.warn("the dates do not tell day from month: ask the site, then take one # away");
                for form in forms {
                    pen.line(&format!("# dates = {}", quoted(form)));
                }
            }
        }
    }

    /// Spellings of missing of every column that is used; numbers only those of scores.
    fn missing(&self, pen: &mut Pen) {
        let mut missing: Vec<&str> = Vec::new();
        for (column, used) in self.columns.iter().zip(&self.plan.uses) {
            let all = matches!(used, Use::Score(_) | Use::Reading);
            let some = matches!(used, Use::Field(..) | Use::UnitOf(_));
            for cell in &column.shape.missing {
                if (all || (some && self.known.aliases.is_missing(cell))) && !missing.contains(&cell.as_str()) {
                    missing.push(cell);
                }
            }
        }
        if !missing.is_empty() {
            let cells: Vec<String> = missing.iter().map(|cell| quoted(cell)).collect();
            pen.line(&format!("missing = [{}]  # likely: check that no number here is a real value", cells.join(", ")));
        }
    }

    fn fields(&self, pen: &mut Pen) {
        pen.line("\n[columns]");
        if self.plan.column_of(Field::Patient).is_none() {
            pen.warn("no column looks like the opaque key of a patient");
            pen.line("# patient = \"...\"");
        }
        if self.plan.column_of(Field::Date).is_none() && self.plan.column_of(Field::Day).is_none() {
            pen.warn("no column looks like the date or the day of a visit");
            pen.line("# date = \"...\"");
        }
        for (i, (column, used)) in self.columns.iter().zip(&self.plan.uses).enumerate() {
            if let Use::Field(field, confidence) = used {
                self.field(pen, i, column, *field, *confidence);
            }
        }
        if self.plan.column_of(Field::Site).is_none() {
            pen.line("# no column names the site: write it in group.toml");
        }
    }

    fn field(&self, pen: &mut Pen, i: usize, column: &Column, field: Field, confidence: Confidence) {
        let used = Use::Field(field, confidence);
        pen.line(&format!("# {}; {}", confidence.word(), samples(column, &used, self.known)));
        if let (Kind::Name, Some(kind)) = (field.kind(), column.shape.identifier) {
            pen.warn(&format!(
                "the cells of {field} look like {}: replace them with mendcurve pseudonymise --key-columns",
                kind.label()
            ));
        }
        let mut parts = vec![format!("column = {}", quoted(&column.name))];
        let mut open_question = None;
        if let Some(dimension) = field.kind().dimension() {
            let in_header = column.unit(dimension).0;
            let no_mass = self.plan.column_of(Field::BodyMass).is_none();
            if column.shape.has_units_in_cells() {
                parts.push("unit = \"in cell\"".to_owned());
            } else if let Some(name) = self.plan.unit_column(i).and_then(|at| self.columns.get(at)) {
                parts.push(format!("unit_column = {}", quoted(&name.name)));
            } else if in_header == Some(Unit::PercentBodyWeight) && no_mass {
                parts.push("unit = \"%BW\"".to_owned());
                open_question =
                    Some(format!("{field} is in percent of body weight, and no column gives the body mass"));
            } else if let Some(unit) = in_header {
                parts.push(format!("unit = {}", quoted(unit.symbol())));
            } else if field != Field::Angle {
                parts.push("unit = \"...\"".to_owned());
                open_question =
                    Some(format!("the unit of {field} is not in the file: ask the site ({})", dimension.units()));
            }
        }
        let own: Vec<String> = column
            .shape
            .missing
            .iter()
            .filter(|cell| !self.known.aliases.is_missing(cell))
            .map(|cell| quoted(cell))
            .collect();
        if !own.is_empty() {
            parts.push(format!("missing = [{}]", own.join(", ")));
        }
        let value = match parts.as_slice() {
            [_] => quoted(&column.name),
            parts => format!("{{ {} }}", parts.join(", ")),
        };
        match open_question {
            Some(question) => {
                pen.warn(&question);
                pen.line(&format!("# {field} = {value}"));
            }
            None => pen.line(&format!("{field} = {value}")),
        }
    }

    fn scores(&self, pen: &mut Pen) {
        if self.plan.long.is_some() {
            return;
        }
        for score in &self.plan.scores {
            let measure = self.measures.get(score.measure);
            let columns: Vec<&Column> = score.columns.iter().filter_map(|i| self.columns.get(*i)).collect();
            let (Some(first), Some(first_at)) = (columns.first(), score.columns.first()) else { continue };
            let says = samples(first, &Use::Score(0), self.known);
            pen.line("");
            // a score whose numbers fit no scale stays a comment until somebody has looked
            let lost = !score.items && score.scale.name.is_none() && !first.shape.numbers.is_empty();
            if lost {
                pen.warn(&format!("'{}' is outside every scale of {}", plain(&first.header), measure.key));
            }
            let mark = if lost { "# " } else { "" };
            pen.line(&format!("# {}; {}, {says}", score.confidence.word(), measure.title));
            pen.line(&format!("{mark}[[scores]]\n{mark}measure = {}", quoted(&measure.key)));
            if score.pain_site != PainSite::Unspecified {
                pen.line(&format!("{mark}of = {}", quoted(score.pain_site.key())));
            }
            if score.items {
                let names: Vec<String> = columns.iter().map(|column| quoted(&column.name)).collect();
                pen.line(&format!("{mark}items = [{}]", names.join(", ")));
                words::of_items(pen, &columns, self.known);
                continue;
            }
            pen.line(&format!("{mark}column = {}", quoted(&first.name)));
            if let Some(scale) = &score.scale.name {
                pen.line(&format!(
                    "{mark}scale = {}  # {}",
                    quoted(scale),
                    why_scale(score.scale.named, &score.scale.others)
                ));
            }
            words::of_score(pen, *first_at, first, measure, self.sample);
        }
    }

    fn readings(&self, pen: &mut Pen) {
        let Some(long) = &self.plan.long else { return };
        let name = |i: usize| self.columns.get(i).map_or(String::new(), |column| quoted(&column.name));
        pen.line(&format!(
            "\n[readings]\nmeasure_column = {}\nvalue_column = {}",
            name(long.measure_column),
            name(long.value_column)
        ));
        pen.line("\n[readings.measures]");
        for (own, found) in &long.kinds {
            // a name that is not word for word a usual one may be anything
            let Some((named, scale)) = found.as_ref().filter(|(named, _)| named.likeness >= 0.99) else {
                let line = self.sample.first_line(long.measure_column, own);
                let guess = found.as_ref().map(|(named, _)| self.measures.get(named.measure).key.as_str());
                let guess = guess.map_or(String::new(), |key| format!(", perhaps {key}"));
                pen.warn(&format!("the measure named on line {line} is not understood{guess}: map it, or ignore it"));
                pen.line("# \"...\" = { ignore = true }");
                continue;
            };
            let measure = self.measures.get(named.measure);
            let mut parts = vec![format!("measure = {}", quoted(&measure.key))];
            if named.pain_site != PainSite::Unspecified {
                parts.push(format!("of = {}", quoted(named.pain_site.key())));
            }
            if let Some(scale) = &scale.name {
                parts.push(format!("scale = {}", quoted(scale)));
            }
            let confidence = Confidence::of(named.likeness, true).word();
            let scale = why_scale(scale.named, &scale.others);
            pen.line(&format!("{} = {{ {} }}  # {confidence}; {scale}", quoted(own), parts.join(", ")));
        }
    }

    /// Dropped, ignored and unknown columns.
    fn left_over(&self, pen: &mut Pen) {
        let with =
            |wanted: fn(&Use) -> bool| self.columns.iter().zip(&self.plan.uses).filter(move |(_, used)| wanted(used));
        let named = |column: &Column| !column.header.is_empty();
        if with(|used| matches!(used, Use::Drop(_))).next().is_some() {
            pen.line("\n# Columns that may identify a person: never read, cells not shown.\n[drop]\ncolumns = [");
            for (column, used) in with(|used| matches!(used, Use::Drop(_))) {
                if let (Use::Drop(reason), true) = (used, named(column)) {
                    pen.line(&format!("  {},  # {reason}", quoted(&column.name)));
                }
            }
            pen.line("]");
        }
        if with(|used| *used == Use::Empty).any(|(column, _)| named(column)) {
            let names: Vec<String> = with(|used| *used == Use::Empty)
                .filter(|(c, _)| named(c))
                .map(|(column, _)| quoted(&column.name))
                .collect();
            pen.line(&format!("\n# Columns without any cell.\n[ignore]\ncolumns = [{}]", names.join(", ")));
        }
        let unknown = |used: &Use| matches!(used, Use::Unknown | Use::Spare(_));
        if with(unknown).next().is_some() {
            pen.line("\n# unknown: map each of these, or list it under [drop] or [ignore]");
            for (column, used) in with(unknown) {
                let why = match used {
                    Use::Spare(reason) => format!("; {reason}"),
                    _ => String::new(),
                };
                let name =
                    if named(column) { quoted(&column.name).replace('\n', " ") } else { "(no header)".to_owned() };
                pen.line(&format!("#   {name}: {}{why}; {}", kind(column), samples(column, used, self.known)));
            }
        }
    }
}

fn why_scale(named: bool, others: &[String]) -> String {
    match (named, others) {
        (true, _) => "likely: the name says so".to_owned(),
        (false, []) => "likely: every number fits".to_owned(),
        (false, others) => format!("guess: the tightest that fits; so would {}", others.join(", ")),
    }
}

/// Appends without a line end; used by the sections of words.
pub(super) fn list(cells: &[&str]) -> String {
    let mut out = String::from("[");
    for (i, cell) in cells.iter().enumerate() {
        let _ = write!(out, "{}{}", if i > 0 { ", " } else { "" }, quoted(cell));
    }
    out + "]"
}
