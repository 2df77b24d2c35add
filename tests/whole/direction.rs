//! The folders of `src` stand in the order of a visit's journey; code looks back, never ahead.

use std::fs;
use std::path::{Path, PathBuf};

/// Serve all folders; may use one another only.
const SERVE_ALL: [&str; 3] = ["error", "outputs", "units"];

/// The journey, with the program around it last.
const JOURNEY: [&str; 14] = [
    "catalogue",
    "group",
    "export",
    "rows",
    "visits",
    "episodes",
    "readings",
    "models",
    "findings",
    "report",
    "query",
    "sample",
    "cli",
    "main",
];

/// A crate of its own: the compiler keeps it from seeing ours.
const OWN_CRATE: &str = "stats";

/// How far along the journey a module stands; 0 serves all.
fn stage(module: &str) -> Option<usize> {
    if SERVE_ALL.contains(&module) {
        return Some(0);
    }
    JOURNEY.iter().position(|name| *name == module).map(|at| at + 1)
}

/// Rust files below a folder with their path in it, sorted.
fn rust_files(folder: &Path) -> Vec<PathBuf> {
    let mut files = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            files.extend(rust_files(&path));
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            files.push(path);
        }
    }
    files.sort();
    files
}

/// The text without its `//` comments, so that a link in the documentation is no use.
fn without_comments(text: &str) -> String {
    text.lines().map(|line| line.split("//").next().unwrap_or("")).collect::<Vec<_>>().join("\n")
}

fn is_word(c: char) -> bool {
    c.is_alphanumeric() || c == '_'
}

/// The first names of a path or of a group of paths: `a::b` gives a; `{a::b, c::{d, e}}` gives a and c.
fn first_names(rest: &str) -> Vec<String> {
    let rest = rest.trim_start();
    let Some(group) = rest.strip_prefix('{') else {
        return vec![rest.chars().take_while(|c| is_word(*c)).collect()];
    };
    let (mut names, mut depth, mut name, mut in_name) = (Vec::new(), 1, String::new(), true);
    for c in group.chars() {
        match c {
            '{' => depth += 1,
            '}' => depth -= 1,
            _ => {}
        }
        if depth == 0 || (depth == 1 && c == ',') {
            names.push(std::mem::take(&mut name));
            in_name = true;
        } else if depth == 1 && in_name && is_word(c) {
            name.push(c);
        } else if !c.is_whitespace() {
            in_name = false;
        }
        if depth == 0 {
            break;
        }
    }
    names.retain(|name| !name.is_empty());
    names
}

/// Modules of the crate's top level that a text uses: by `crate::`, by the library's name (as the binary does),
/// or by a climb of two or more `super::` that ends at a module of the journey.
fn uses(text: &str) -> Vec<(usize, String)> {
    let text = without_comments(text);
    let mut found = Vec::new();
    for root in ["crate::", "mendcurve::", "super::super::"] {
        for (at, _) in text.match_indices(root) {
            let before = text[..at].chars().next_back();
            if before.is_some_and(|c| is_word(c) || (c == ':' && root != "super::super::")) {
                continue;
            }
            let mut rest = &text[at + root.len()..];
            while let Some(further) = rest.strip_prefix("super::") {
                rest = further;
            }
            let line = text[..at].matches('\n').count() + 1;
            found.extend(first_names(rest).into_iter().filter(|name| stage(name).is_some()).map(|name| (line, name)));
        }
    }
    found.sort();
    found.dedup();
    found
}

/// What looks ahead in a file of a module, as `line: module -> module`.
fn steps_ahead(module: &str, text: &str) -> Vec<String> {
    let from = stage(module).unwrap();
    uses(text)
        .into_iter()
        .filter(|(_, to)| stage(to).unwrap() > from)
        .map(|(line, to)| format!("{line}: {module} -> {to}"))
        .collect()
}

fn source() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src")
}

/// Files of the program with the top-level module each belongs to.
fn files_by_module() -> Vec<(String, PathBuf)> {
    let source = source();
    let module = |path: &Path| {
        let first = path.strip_prefix(&source).unwrap().components().next().unwrap();
        Path::new(first.as_os_str()).file_stem().unwrap().to_str().unwrap().to_owned()
    };
    let files = rust_files(&source).into_iter().map(|path| (module(&path), path));
    files.filter(|(module, _)| module != OWN_CRATE && module != "lib").collect()
}

#[test]
fn no_folder_uses_one_that_comes_after_it() {
    let files = files_by_module();
    assert!(files.len() > 20, "only {} files found", files.len());
    let mut wrong = Vec::new();
    for (module, path) in &files {
        let name = path.strip_prefix(source()).unwrap().display().to_string();
        if stage(module).is_none() {
            wrong.push(format!("src/{name}: not in the order of folders: add it to JOURNEY"));
            continue;
        }
        let steps = steps_ahead(module, &fs::read_to_string(path).unwrap());
        wrong.extend(steps.into_iter().map(|step| format!("src/{name}:{step}")));
    }
    assert!(wrong.is_empty(), "code looks ahead:\n{}", wrong.join("\n"));
}

#[test]
fn only_tables_and_queries_see_the_column_engine() {
    let wrong: Vec<_> = files_by_module()
        .into_iter()
        .filter(|(_, path)| {
            !path.ends_with("tables.rs") && !path.ends_with("query.rs") && !path.ends_with("query/dataset.rs")
        })
        .filter(|(_, path)| without_comments(&fs::read_to_string(path).unwrap()).contains("polars::"))
        .map(|(_, path)| path.display().to_string())
        .collect();
    assert!(wrong.is_empty(), "polars outside tables.rs and the questions: {wrong:?}");
}

#[test]
fn a_step_ahead_is_found_however_the_path_is_written() {
    for text in [
        "use crate::report::publish;",
        "use crate::{\n    error::Problem,\n    report::{publish, pages},\n};",
        "use crate::{error, report};",
        "fn f() -> crate::report::X { todo!() }",
        "use super::super::report::X;",
        "use super::super::super::report::X;",
        "use mendcurve::report::X;",
    ] {
        assert_eq!(steps_ahead("rows", text).len(), 1, "{text}");
    }
}

#[test]
fn a_step_back_a_comment_and_a_look_at_a_neighbour_are_allowed() {
    for text in [
        "use crate::{error::Problem, export::place::Place, units};",
        "/// See [`crate::report`].\nfn f() {} // like crate::report",
        "use super::report; use super::super::names;",
        "use crate::rows::row::Row;",
        "use mycrate::report;",
        "use crate::{export::{report, rows}, units};",
    ] {
        assert_eq!(steps_ahead("rows", text), Vec::<String>::new(), "{text}");
    }
    assert_eq!(steps_ahead("units", "use crate::rows::row::Row;").len(), 1);
}
