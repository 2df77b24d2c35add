//! What pages are built from: a surround that all carry, and sections of rows with side notes.

use crate::report::figures::Figure;
use crate::report::wording::{self, Around};
use crate::report::{typeface, wording::NOT_RECORDED};
use askama::Template;
use base64::Engine as _;
use sha2::{Digest, Sha256};
use std::borrow::Cow;
use std::sync::OnceLock;

/// What every page carries: masthead, links, notice, foot.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Surround {
    /// The group's name.
    pub group: String,
    /// Title of the page.
    pub title: String,
    /// The period reported, and over what the figures run.
    pub period: String,
    /// The pages of the bulletin, relative to this one.
    pub links: Vec<PageLink>,
    /// What is withheld in this edition.
    pub small_cells: String,
    /// What made the page.
    pub made_by: String,
    /// The fixed words.
    pub words: Around,
}

impl Surround {
    /// Style sheet with the embedded typeface.
    pub fn css(&self) -> &'static str {
        static CSS: OnceLock<String> = OnceLock::new();
        CSS.get_or_init(|| format!("\n{}\n{}\n", typeface::css(), include_str!("../templates/bulletin.css")))
    }

    /// Content security policy of a page with the style sheet in it, known by its hash.
    pub fn policy(&self) -> &'static str {
        static POLICY: OnceLock<String> = OnceLock::new();
        POLICY.get_or_init(|| {
            let hash = base64::engine::general_purpose::STANDARD.encode(Sha256::digest(self.css()));
            policy(&format!("'sha256-{hash}'"))
        })
    }

    /// Content security policy of a page with the style sheet in a file beside it. A page that is opened from a disk has no self.
    pub fn policy_of_style_file(&self) -> &'static str {
        static POLICY: OnceLock<String> = OnceLock::new();
        POLICY.get_or_init(|| policy("'self' file:"))
    }
}

/// What a page may load, whatever finds its way into it: nothing but what it brings along.
fn policy(styles: &str) -> String {
    format!(
        "default-src 'none'; style-src {styles}; font-src data:; img-src data:; base-uri 'none'; form-action 'none'"
    )
}

/// A link to another page of the bulletin.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct PageLink {
    /// Its words.
    pub label: String,
    /// Relative address.
    pub href: String,
    /// Whether it is the page it stands on.
    pub is_current: bool,
}

/// A section with a heading.
#[derive(Clone, PartialEq, Debug, Template)]
#[template(path = "section.html", config = "src/report/templates/askama.toml")]
pub struct Section {
    /// Name within the page, for links.
    pub id: Cow<'static, str>,
    /// Heading.
    pub heading: String,
    /// Its content.
    pub rows: Vec<Row>,
}

impl Section {
    /// An empty section.
    pub fn new(id: impl Into<Cow<'static, str>>, heading: impl Into<String>) -> Self {
        Self { id: id.into(), heading: heading.into(), rows: Vec::new() }
    }

    /// Adds a block.
    pub fn add(&mut self, block: Block) -> &mut Self {
        self.rows.push(Row::new(block, Vec::new()));
        self
    }

    /// Adds a block with a side note.
    pub fn add_with_note(&mut self, block: Block, note: impl Into<String>) -> &mut Self {
        self.rows.push(Row::new(block, vec![note.into()]));
        self
    }

    /// Adds a paragraph.
    pub fn say(&mut self, text: impl Into<String>) -> &mut Self {
        self.add(Block::Paragraph(text.into()))
    }
}

/// A block of the column with its side notes.
#[derive(Clone, PartialEq, Debug, Template)]
#[template(path = "row.html", config = "src/report/templates/askama.toml")]
pub struct Row {
    /// What stands in the column.
    pub block: Block,
    /// What stands beside it: denominators, sources.
    pub notes: Vec<String>,
    withheld_sign: &'static str,
    withheld_word: &'static str,
    missing_word: &'static str,
}

impl Row {
    /// A block with its side notes.
    pub fn new(block: Block, notes: Vec<String>) -> Self {
        Self {
            block,
            notes,
            withheld_sign: wording::WITHHELD,
            withheld_word: wording::WITHHELD_WORD,
            missing_word: NOT_RECORDED,
        }
    }

    /// Sheets with many columns use the margin too.
    fn is_wide(&self) -> bool {
        match &self.block {
            Block::Sheet(sheet) => {
                sheet.columns.len() > 5 || sheet.columns.iter().filter(|column| column.is_text).count() > 1
            }
            _ => false,
        }
    }
}

/// What can stand in the column.
#[derive(Clone, PartialEq, Debug)]
pub enum Block {
    /// A heading under the section's.
    Heading(String),
    /// A leading sentence, set large.
    Lead(String),
    /// A leading sentence with a link to what shows it.
    LinkedLead {
        /// The sentence.
        text: String,
        /// Words of the link.
        link: &'static str,
        /// Relative address.
        href: String,
    },
    /// A finding with what to look at and a link to what shows it.
    Finding {
        /// The sentence.
        text: String,
        /// What to look at; may be empty.
        look: String,
        /// Words of the link.
        link: &'static str,
        /// Relative address.
        href: String,
        /// Whether it is set large.
        is_lead: bool,
    },
    /// A table of contents.
    Contents {
        /// Its name.
        label: &'static str,
        /// Words, address on the page, and a note that may be empty.
        items: Vec<(String, String, String)>,
    },
    /// A paragraph.
    Paragraph(String),
    /// A list.
    List(Vec<String>),
    /// A link on a line of its own.
    Link {
        /// Its words.
        text: String,
        /// Relative address.
        href: String,
    },
    /// Where a patient stands: a word, and the sentence it leads.
    Standing(Standing),
    /// A figure.
    Figure(PlacedFigure),
    /// A sheet of numbers.
    Sheet(Sheet),
}

/// Where a patient stands.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Standing {
    /// Link to the patient's page, with its words; none on that page.
    pub link: Option<(String, String)>,
    /// The word.
    pub word: &'static str,
    /// The rest of the sentence, with its punctuation.
    pub rest: String,
}

/// A figure in its place on a page.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct PlacedFigure {
    /// The figure's name.
    pub name: String,
    /// The drawing.
    pub svg: String,
    /// How to read it.
    pub caption: String,
    /// Where its PNG lies, relative to the page; empty when it has none.
    pub png_href: String,
    /// Words of the link to it.
    pub png_label: &'static str,
}

impl PlacedFigure {
    /// Places a figure on a page; `up` leads from the page to the report's folder (`""` or `"../"`).
    pub fn new(figure: &Figure, caption: impl Into<String>, up: &str) -> Self {
        Self {
            name: figure.name.clone(),
            svg: figure.svg.trim_end().to_string(),
            caption: caption.into(),
            png_href: format!("{up}figures/{}.png", figure.name),
            png_label: wording::PNG_LINK,
        }
    }

    /// Places a figure that is not written as a PNG.
    pub fn without_png(figure: &Figure, caption: impl Into<String>) -> Self {
        Self { png_href: String::new(), ..Self::new(figure, caption, "") }
    }
}

/// A sheet of numbers.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Sheet {
    /// What it shows and over whom.
    pub caption: String,
    /// Heading of the first column.
    pub corner: String,
    /// The other columns.
    pub columns: Vec<Column>,
    /// Rows.
    pub rows: Vec<SheetRow>,
}

impl Sheet {
    /// A sheet without rows; `columns` of numbers.
    pub fn new(caption: impl Into<String>, corner: &str, columns: &[&str]) -> Self {
        let columns = columns.iter().map(|heading| Column { heading: heading.to_string(), is_text: false }).collect();
        Self { caption: caption.into(), corner: corner.to_string(), columns, rows: Vec::new() }
    }

    /// The same with the named columns holding words, set to the left.
    pub fn with_words_in(mut self, headings: &[&str]) -> Self {
        for column in &mut self.columns {
            column.is_text |= headings.contains(&column.heading.as_str());
        }
        self
    }

    /// Adds a row.
    pub fn row(&mut self, heading: impl Into<String>, cells: Vec<Cell>) {
        self.rows.push(SheetRow { heading: heading.into(), cells, is_total: false });
    }

    /// Adds a row for the whole.
    pub fn total(&mut self, heading: impl Into<String>, cells: Vec<Cell>) {
        self.rows.push(SheetRow { heading: heading.into(), cells, is_total: true });
    }

    /// Whether any cell is withheld.
    pub fn withholds(&self) -> bool {
        self.rows.iter().flat_map(|row| &row.cells).any(|cell| *cell == Cell::Withheld)
    }

    /// Whether no cell holds a number.
    pub fn says_nothing(&self) -> bool {
        let holds_a_number =
            |cell: &Cell| matches!(cell, Cell::Text(text) if text.contains(|c: char| c.is_ascii_digit()));
        !self.rows.iter().flat_map(|row| &row.cells).any(holds_a_number)
    }

    fn cells_of<'s>(&'s self, row: &'s SheetRow) -> impl Iterator<Item = (&'s Cell, &'s Column)> {
        row.cells.iter().zip(&self.columns)
    }
}

/// A column of a sheet.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Column {
    /// Its heading, with the unit.
    pub heading: String,
    /// Whether it holds words rather than numbers.
    pub is_text: bool,
}

/// A row of a sheet.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct SheetRow {
    /// What it is about.
    pub heading: String,
    /// One cell a column.
    pub cells: Vec<Cell>,
    /// Whether it stands for the whole.
    pub is_total: bool,
}

/// A cell of a sheet.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Cell {
    /// A finished text.
    Text(String),
    /// Withheld because few people stand behind it.
    Withheld,
    /// There is no such number.
    Missing,
}

impl<T: Into<String>> From<T> for Cell {
    fn from(text: T) -> Self {
        Self::Text(text.into())
    }
}
