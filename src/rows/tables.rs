//! A canonical dataset as named columns, and its Parquet file, written batch by batch.
//!
//! A dataset is described once, as a list of [`Field`]s: a name and how to get the cell of a line.
//! Columns are filled line by line from what the run already holds, a batch at a time, so that ten million visits
//! need no second copy. The same lines give the same bytes, whatever the number of threads.

use crate::error::{Problem, Spot};
use crate::outputs::create::create;
use polars::prelude::*;
use polars_io::prelude::{ParquetCompression, ParquetWriter};
use rayon::prelude::*;
use std::borrow::Cow;
use std::io::{self, BufWriter, Write};
use std::ops::Range;
use std::path::Path;
use std::sync::{Arc, OnceLock};

/// Lines in a row group: small enough for a reader to hold one, large enough to compress well.
pub const ROW_GROUP: usize = 131_072;

type Get<'a, T, V> = Box<dyn Fn(&T, usize) -> Option<V> + Send + Sync + 'a>;
type GetText<'a, T> = Box<dyn for<'t> Fn(&'t T, usize) -> Option<Cow<'t, str>> + Send + Sync + 'a>;

enum Cells<'a, T> {
    Text(GetText<'a, T>),
    Number(Get<'a, T, f64>),
    Whole(Get<'a, T, i64>),
    Flag(Get<'a, T, bool>),
    Date(Get<'a, T, i32>),
}

/// A column of a dataset made from a `T`: its name, its kind, and how to get the cell of a line.
pub struct Field<'a, T> {
    name: Cow<'a, str>,
    cells: Cells<'a, T>,
}

impl<'a, T> Field<'a, T> {
    /// Words.
    pub fn text(
        name: impl Into<Cow<'a, str>>,
        get: impl for<'t> Fn(&'t T, usize) -> Option<Cow<'t, str>> + Send + Sync + 'a,
    ) -> Self {
        Self { name: name.into(), cells: Cells::Text(Box::new(get)) }
    }

    /// Numbers; one that is not finite is left absent.
    pub fn number(name: impl Into<Cow<'a, str>>, get: impl Fn(&T, usize) -> Option<f64> + Send + Sync + 'a) -> Self {
        Self { name: name.into(), cells: Cells::Number(Box::new(get)) }
    }

    /// Whole numbers.
    pub fn whole(name: impl Into<Cow<'a, str>>, get: impl Fn(&T, usize) -> Option<i64> + Send + Sync + 'a) -> Self {
        Self { name: name.into(), cells: Cells::Whole(Box::new(get)) }
    }

    /// Yes or no.
    pub fn flag(name: impl Into<Cow<'a, str>>, get: impl Fn(&T, usize) -> Option<bool> + Send + Sync + 'a) -> Self {
        Self { name: name.into(), cells: Cells::Flag(Box::new(get)) }
    }

    /// Calendar days, as days since 1970-01-01.
    pub fn date(name: impl Into<Cow<'a, str>>, get: impl Fn(&T, usize) -> Option<i32> + Send + Sync + 'a) -> Self {
        Self { name: name.into(), cells: Cells::Date(Box::new(get)) }
    }

    /// Its name.
    pub fn name(&self) -> &str {
        &self.name
    }

    fn column(&self, source: &T, lines: Range<usize>) -> Column {
        let name: PlSmallStr = self.name.as_ref().into();
        match &self.cells {
            Cells::Text(get) => StringChunked::from_iter_options(name, lines.map(|i| get(source, i))).into_column(),
            Cells::Number(get) => {
                let finite = lines.map(|i| get(source, i).filter(|x| x.is_finite()));
                Float64Chunked::from_iter_options(name, finite).into_column()
            }
            Cells::Whole(get) => Int64Chunked::from_iter_options(name, lines.map(|i| get(source, i))).into_column(),
            Cells::Flag(get) => BooleanChunked::from_iter_options(name, lines.map(|i| get(source, i))).into_column(),
            Cells::Date(get) => {
                Int32Chunked::from_iter_options(name, lines.map(|i| get(source, i))).into_date().into_column()
            }
        }
    }
}

/// Some lines of a dataset as columns.
///
/// # Errors
/// Two columns have one name.
pub fn frame<T: Sync>(source: &T, lines: Range<usize>, fields: &[Field<'_, T>]) -> Result<DataFrame, Problem> {
    let height = lines.len();
    let columns: Vec<Column> = fields.par_iter().map(|field| field.column(source, lines.clone())).collect();
    DataFrame::new(height, columns)
        .map_err(|error| Problem::failure(error.to_string()).hint("this is a fault of the program; report it"))
}

/// Writes `lines` lines of a dataset as a Parquet file, compressed with zstd.
///
/// # Errors
/// The file cannot be written.
pub fn write_parquet<T: Sync>(path: &Path, source: &T, lines: usize, fields: &[Field<'_, T>]) -> Result<(), Problem> {
    let fault = Arc::new(OnceLock::new());
    let failed = |error: PolarsError| match fault.get() {
        Some(kind) => Problem::io(path, &io::Error::from(*kind)),
        None => Problem::failure(error.to_string()).at(Spot::file(path)).hint("report it; no output was written"),
    };
    let file = create(path).map_err(|error| Problem::io(path, &error))?;
    let file = Watched { inner: BufWriter::new(file), fault: Arc::clone(&fault) };
    let schema = frame(source, 0..0, fields)?;
    let mut writer = ParquetWriter::new(file)
        .with_compression(ParquetCompression::Zstd(None))
        .batched(schema.schema())
        .map_err(failed)?;
    for start in (0..lines).step_by(ROW_GROUP) {
        let batch = frame(source, start..lines.min(start + ROW_GROUP), fields)?;
        writer.write_batch(&batch).map_err(failed)?;
    }
    writer.finish().map_err(failed)?; // flushes
    Ok(())
}

/// Remembers why the disk refused, which the writer of Parquet tells in words of its own.
struct Watched<W> {
    inner: W,
    fault: Arc<OnceLock<io::ErrorKind>>,
}

impl<W: Write> Watched<W> {
    fn noted<T>(&self, done: io::Result<T>) -> io::Result<T> {
        done.inspect_err(|error| {
            let _ = self.fault.set(error.kind()); // the first one is told
        })
    }
}

impl<W: Write> Write for Watched<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let done = self.inner.write(bytes);
        self.noted(done)
    }

    fn flush(&mut self) -> io::Result<()> {
        let done = self.inner.flush();
        self.noted(done)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use polars_io::prelude::ParquetReader;
    use std::fs::File;

    /// Lines numbered from 0 with gaps in every column.
    fn fields<'a>() -> Vec<Field<'a, Vec<i64>>> {
        vec![
            Field::text("word", |lines: &Vec<i64>, i| (lines[i] % 3 > 0).then(|| format!("w{}", lines[i] % 7).into())),
            Field::number("number", |lines: &Vec<i64>, i| {
                Some(if lines[i] % 5 == 0 { f64::NAN } else { lines[i] as f64 / 7.0 })
            }),
            Field::whole("whole", |lines: &Vec<i64>, i| Some(lines[i]).filter(|x| x % 4 > 0)),
            Field::flag("flag", |lines: &Vec<i64>, i| Some(lines[i] % 2 == 0).filter(|_| lines[i] % 9 > 0)),
            Field::date("date", |lines: &Vec<i64>, i| Some(lines[i] as i32).filter(|x| x % 6 > 0)),
        ]
    }

    fn written(lines: i64) -> (DataFrame, Vec<u8>) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("x.parquet");
        let source: Vec<i64> = (0..lines).collect();
        write_parquet(&path, &source, source.len(), &fields()).unwrap();
        let read = ParquetReader::new(File::open(&path).unwrap()).finish().unwrap();
        (read, std::fs::read(&path).unwrap())
    }

    #[test]
    fn what_is_written_is_read_back_across_row_groups() {
        let lines = 2 * ROW_GROUP as i64 + 5;
        let (read, _) = written(lines);
        let source: Vec<i64> = (0..lines).collect();
        assert!(read.equals_missing(&frame(&source, 0..source.len(), &fields()).unwrap()));
        assert_eq!(read.height(), lines as usize);
        assert_eq!(read.column("number").unwrap().null_count(), source.iter().filter(|x| **x % 5 == 0).count());
        assert_eq!(read.column("date").unwrap().dtype(), &DataType::Date);
    }

    #[test]
    fn an_empty_dataset_still_has_its_columns() {
        let (read, _) = written(0);
        assert_eq!(read.get_column_names(), ["word", "number", "whole", "flag", "date"]);
        assert_eq!(read.height(), 0);
    }

    #[test]
    fn the_same_lines_give_the_same_bytes_on_one_thread_and_on_many() {
        let one = rayon::ThreadPoolBuilder::new().num_threads(1).build().unwrap();
        let first = one.install(|| written(ROW_GROUP as i64 + 1000).1);
        assert!(first == written(ROW_GROUP as i64 + 1000).1);
    }

    #[test]
    fn a_file_that_cannot_be_made_is_named() {
        let problem = write_parquet(Path::new("/nowhere/x.parquet"), &vec![], 0, &fields()).unwrap_err();
        assert!(problem.to_string().starts_with("/nowhere/x.parquet: "), "{problem}");
    }
}
