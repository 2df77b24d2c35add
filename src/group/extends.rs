//! `extends`: a mapping built on another one.
//!
//! Tables merge key by key and the extending file wins; anything else, lists included, is
//! replaced whole. Every key and value keeps the place of the file that holds it.

use super::document::{self, Entry, Node, Table, Value};
use super::inside::Inside;
use crate::error::Problem;
use std::path::{Path, PathBuf};

/// More steps than this is taken for a mistake.
const LONGEST_CHAIN: usize = 16;

/// Reads a mapping file together with all it extends; `extends` itself is gone from the result.
pub(super) fn read_with_parents(path: &Path, inside: &Inside) -> Result<Table, Problem> {
    with_parents(path, document::read(path)?, inside)
}

/// Merges a mapping that is already parsed with all it extends.
pub(super) fn with_parents(path: &Path, table: Table, inside: &Inside) -> Result<Table, Problem> {
    let mut chain = vec![path.to_path_buf()];
    let mut layers = vec![table];
    while let (Some(child), Some(layer)) = (chain.last(), layers.last_mut()) {
        let Some(position) = layer.entries.iter().position(|entry| entry.key == "extends") else { break };
        let extends = layer.entries.remove(position).node;
        let from = child.parent().unwrap_or(Path::new(""));
        let name = extends.filled_text("extends")?;
        inside.check_written(&extends, "extends", from, name)?;
        let parent = from.join(name);
        inside.check_found(&extends, "extends", &parent)?;
        if chain.iter().any(|earlier| same_file(earlier, &parent)) {
            chain.push(parent);
            return Err(extends
                .problem(format!("mappings extend each other in a circle: {}", written(&chain)))
                .hint("take `extends` out of one of them"));
        }
        if chain.len() >= LONGEST_CHAIN {
            return Err(extends
                .problem(format!("more than {LONGEST_CHAIN} mappings extend one another: {}", written(&chain)))
                .hint("extend fewer files"));
        }
        if !parent.exists() {
            return Err(extends
                .problem(format!("`extends` names {}, and there is no such file", parent.display()))
                .hint("the path is read from the folder of this file"));
        }
        layers.push(document::read(&parent)?);
        chain.push(parent);
    }
    let merged = layers.into_iter().rev().reduce(merge);
    merged.ok_or_else(|| Problem::input("the mapping is empty").hint("write [columns] with at least patient and date"))
}

fn same_file(a: &Path, b: &Path) -> bool {
    a == b || matches!((a.canonicalize(), b.canonicalize()), (Ok(a), Ok(b)) if a == b)
}

fn written(chain: &[PathBuf]) -> String {
    chain.iter().map(|path| path.display().to_string()).collect::<Vec<_>>().join(" -> ")
}

/// `child` laid over `parent`.
fn merge(parent: Table, child: Table) -> Table {
    let mut entries = parent.entries;
    for Entry { key, key_spot, node } in child.entries {
        match entries.iter().position(|entry| entry.key == key) {
            None => entries.push(Entry { key, key_spot, node }),
            Some(position) => {
                let below = entries.remove(position).node;
                entries.insert(position, Entry { key, key_spot, node: lay_over(below, node) });
            }
        }
    }
    Table { entries, spot: child.spot }
}

fn lay_over(below: Node, above: Node) -> Node {
    let spot = above.spot;
    match (below.value, above.value) {
        (Value::Table(below), Value::Table(above)) => Node { value: Value::Table(merge(below, above)), spot },
        (_, value) => Node { value, spot },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn folder(files: &[(&str, &str)]) -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        for (name, text) in files {
            let path = folder.path().join(name);
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(path, text).unwrap();
        }
        folder
    }

    fn complaint(folder: &tempfile::TempDir, name: &str) -> String {
        let message =
            read_with_parents(&folder.path().join(name), &Inside::folder(folder.path())).unwrap_err().to_string();
        message.replace(&format!("{}/", folder.path().display()), "")
    }

    #[test]
    fn tables_merge_key_by_key_and_each_key_keeps_its_file() {
        let folder = folder(&[
            (
                "shared.toml",
                "[file]\ndelimiter = ';'\nmissing = ['NA', '-']\n[columns]\npatient = 'Pat'\nrest = { column = 'R', unit = 's' }\n",
            ),
            (
                "site.toml",
                "extends = 'shared.toml'\n[file]\nmissing = ['999']\n[columns]\nrest = { unit = 'min' }\ndate = 'D'\n",
            ),
        ]);
        let merged = read_with_parents(&folder.path().join("site.toml"), &Inside::anywhere()).unwrap();
        let place = |section: &str, key: &str| {
            let entry = merged.get(section).unwrap().table(section).unwrap().entry(key).unwrap();
            (entry.key_spot.file.file_name().unwrap().to_str().unwrap().to_owned(), entry.key_spot.line)
        };
        assert_eq!(place("file", "delimiter"), ("shared.toml".into(), Some(2)));
        assert_eq!(place("file", "missing"), ("site.toml".into(), Some(3)));
        assert_eq!(place("columns", "patient"), ("shared.toml".into(), Some(5)));
        assert_eq!(place("columns", "date"), ("site.toml".into(), Some(6)));
        let missing = merged.get("file").unwrap().table("file").unwrap().get("missing").unwrap();
        assert_eq!(missing.cells("missing").unwrap(), ["999"], "lists are replaced, not joined");
        let rest = merged.get("columns").unwrap().table("columns").unwrap().get("rest").unwrap();
        let rest = rest.table("rest").unwrap();
        assert_eq!(rest.get("column").unwrap().text("column").unwrap(), "R");
        assert_eq!(rest.get("unit").unwrap().text("unit").unwrap(), "min");
        assert!(merged.get("extends").is_none());
    }

    #[test]
    fn a_circle_is_named_with_its_chain_at_the_key_that_closes_it() {
        let folder = folder(&[
            ("a.toml", "extends = 'b.toml'\n"),
            ("b.toml", "\nextends = 'sub/c.toml'\n"),
            ("sub/c.toml", "extends = '../a.toml'\n"),
        ]);
        assert_eq!(
            complaint(&folder, "a.toml"),
            "sub/c.toml:1:11: mappings extend each other in a circle: a.toml -> b.toml -> sub/c.toml -> sub/../a.toml\n  \
             what to do: take `extends` out of one of them"
        );
        let alone = self::folder(&[("a.toml", "extends = 'a.toml'\n")]);
        assert!(complaint(&alone, "a.toml").contains("in a circle: a.toml -> a.toml"));
    }

    #[test]
    fn a_missing_parent_is_reported_where_it_is_named() {
        let folder = folder(&[("a.toml", "\nextends = \"shared.toml\"\n")]);
        assert_eq!(
            complaint(&folder, "a.toml"),
            "a.toml:2:11: `extends` names shared.toml, and there is no such file\n  \
             what to do: the path is read from the folder of this file"
        );
    }

    #[test]
    fn a_mapping_outside_the_folder_is_refused_where_it_is_named() {
        let outside = folder(&[("shared.toml", "[file]\n")]);
        let climbing = "extends = '../../shared.toml'\n";
        let absolute = format!("\nextends = '{}'\n", outside.path().join("shared.toml").display());
        let folder = folder(&[
            ("sub/a.toml", climbing),
            ("b.toml", &absolute),
            ("sub/c.toml", "extends = '../d.toml'\n"),
            ("d.toml", "extends = 'link.toml'\n"),
        ]);
        let remedy = "\n  what to do: put the file into the group folder, or write allow_outside = true in group.toml";
        assert_eq!(
            complaint(&folder, "sub/a.toml"),
            format!("sub/a.toml:1:11: `extends` leads out of the group folder{remedy}")
        );
        assert_eq!(
            complaint(&folder, "b.toml"),
            format!("b.toml:2:11: `extends` leads out of the group folder{remedy}")
        );
        let anywhere = |name: &str| read_with_parents(&folder.path().join(name), &Inside::anywhere());
        assert!(anywhere("b.toml").is_ok());
        #[cfg(unix)]
        {
            std::os::unix::fs::symlink(outside.path().join("shared.toml"), folder.path().join("link.toml")).unwrap();
            let what = "`extends` names link.toml, and a link leads from there out of the group folder";
            let message = complaint(&folder, "sub/c.toml").replace("sub/../", "");
            assert_eq!(message, format!("d.toml:1:11: {what}{remedy}"));
            assert!(anywhere("sub/c.toml").is_ok());
        }
    }

    #[test]
    fn an_endless_ladder_of_parents_is_refused() {
        let names: Vec<String> = (0..20).map(|i| format!("m{i}.toml")).collect();
        let texts: Vec<String> = (1..=20).map(|i| format!("extends = 'm{i}.toml'\n")).collect();
        let files: Vec<(&str, &str)> = names.iter().map(String::as_str).zip(texts.iter().map(String::as_str)).collect();
        let message = complaint(&folder(&files), "m0.toml");
        assert!(message.starts_with("m15.toml:1:11: more than 16 mappings extend one another"), "{message}");
    }
}
