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

/// The export files of a run, as paths relative to the group folder, in reading order.
#[derive(Clone, Default, Debug)]
pub struct Files(Vec<String>);

impl Files {
    /// Adds a file; `None` when there are more than 65,535.
    pub fn add(&mut self, path: String) -> Option<FileId> {
        let id = u16::try_from(self.0.len()).ok().map(FileId)?;
        self.0.push(path);
        Some(id)
    }

    /// The path of a file, relative to the group folder.
    pub fn path(&self, id: FileId) -> &str {
        self.0.get(usize::from(id.0)).map_or("", String::as_str)
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
        self.0.iter().enumerate().map(|(i, path)| (FileId(i as u16), path.as_str()))
    }
}
