//! Where something stands in an export: file and line.

/// One export file of the run, by position in [`Files`].
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct FileId(pub u16);

/// File and line of a record. The line is where the record begins, counted from 1.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Place {
    /// The file.
    pub file: FileId,
    /// The line the record begins on, from 1.
    pub line: u32,
}

/// The export files of a run in reading order.
#[derive(Clone, Default, Debug)]
pub struct Files(Vec<ExportFile>);

#[derive(Clone, Debug)]
struct ExportFile {
    path: String,
    label: String,
}

impl Files {
    /// Adds a file by its path relative to the group folder, and its label; `None` when there are more than 65,535.
    pub fn add(&mut self, path: String, label: String) -> Option<FileId> {
        let id = u16::try_from(self.0.len()).ok().map(FileId)?;
        self.0.push(ExportFile { path, label });
        Some(id)
    }

    /// The path of a file, relative to the group folder. A file may be named after a person: what circulates says
    /// [`Self::label`].
    pub fn path(&self, id: FileId) -> &str {
        self.0.get(usize::from(id.0)).map_or("", |file| &file.path)
    }

    /// The place of a file in `group.toml`, in words.
    pub fn label(&self, id: FileId) -> &str {
        self.0.get(usize::from(id.0)).map_or("", |file| &file.label)
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        self.0.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// All files with their numbers.
    pub fn iter(&self) -> impl Iterator<Item = (FileId, &str)> {
        self.0.iter().enumerate().map(|(i, file)| (FileId(i as u16), file.path.as_str()))
    }
}

/// The place of a file in `group.toml`: `export 3, file 2 (Alderwick)`, counted from 1 in the order of the settings, and of
/// the names of the files that one export stands for.
pub fn label(export: usize, file: Option<usize>, site: Option<&str>) -> String {
    let file = file.map_or(String::new(), |file| format!(", file {file}"));
    let site = site.map_or(String::new(), |site| format!(" ({site})"));
    format!("export {export}{file}{site}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_called_by_its_place_and_not_by_its_name() {
        assert_eq!(label(3, Some(2), Some("Alderwick")), "export 3, file 2 (Alderwick)");
        assert_eq!(label(1, None, None), "export 1");
        let mut files = Files::default();
        let id = files.add("exports/quillfeather.csv".into(), label(1, None, None)).unwrap();
        assert_eq!((files.path(id), files.label(id)), ("exports/quillfeather.csv", "export 1"));
    }
}
