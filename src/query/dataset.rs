//! A dataset of a report as a table that SQL can ask: of a Parquet file only the columns a question needs are read.

use polars::prelude::*;
use polars_io::prelude::ParquetReader;
use std::any::Any;
use std::fs::File;
use std::path::{Path, PathBuf};

/// A Parquet file and the columns it says it has.
struct Dataset {
    path: PathBuf,
    schema: SchemaRef,
}

/// A dataset ready to be asked.
///
/// # Errors
/// The file cannot be read or is no Parquet file.
pub fn open(path: &Path) -> PolarsResult<LazyFrame> {
    let mut reader = ParquetReader::new(File::open(path)?);
    let schema = Arc::new(Schema::from_arrow_schema(reader.schema()?.as_ref()));
    let dataset = Dataset { path: path.to_path_buf(), schema: Arc::clone(&schema) };
    let args = ScanArgsAnonymous { schema: Some(schema), ..ScanArgsAnonymous::default() };
    LazyFrame::anonymous_scan(Arc::new(dataset), args)
}

impl AnonymousScan for Dataset {
    fn as_any(&self) -> &dyn Any {
        self
    }

    fn scan(&self, wanted: AnonymousScanArgs) -> PolarsResult<DataFrame> {
        let columns = wanted.with_columns.map(|names| names.iter().map(|name| name.to_string()).collect());
        let rows = wanted.n_rows.map(|rows| (0, rows));
        ParquetReader::new(File::open(&self.path)?).with_columns(columns).with_slice(rows).finish()
    }

    fn schema(&self, _: Option<usize>) -> PolarsResult<SchemaRef> {
        Ok(Arc::clone(&self.schema))
    }

    fn allows_projection_pushdown(&self) -> bool {
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use polars::sql::SQLContext;
    use polars_io::prelude::ParquetWriter;

    fn nine_rows() -> (tempfile::TempDir, PathBuf) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("x.parquet");
        let (x, y) = (Column::new("x".into(), (0..9i64).collect::<Vec<_>>()), Column::new("y".into(), vec![7i64; 9]));
        let mut frame = DataFrame::new(9, vec![x, y]).unwrap();
        ParquetWriter::new(File::create(&path).unwrap()).finish(&mut frame).unwrap();
        (folder, path)
    }

    fn asked(sql: &str) -> DataFrame {
        let (_folder, path) = nine_rows();
        let mut context = SQLContext::new();
        context.register("x", open(&path).unwrap());
        context.execute(sql).unwrap().collect().unwrap()
    }

    fn numbers(frame: &DataFrame, column: &str) -> Vec<i64> {
        let column = frame.column(column).unwrap().cast(&DataType::Int64).unwrap();
        column.i64().unwrap().into_no_null_iter().collect()
    }

    #[test]
    fn of_a_file_only_the_columns_asked_for_are_read() {
        let (_folder, path) = nine_rows();
        let schema = Arc::new(Schema::default());
        let dataset = Dataset { path, schema: Arc::clone(&schema) };
        let wanted = AnonymousScanArgs {
            n_rows: Some(4),
            with_columns: Some(["y".into()].into()),
            schema,
            output_schema: None,
            predicate: None,
        };
        let read = dataset.scan(wanted).unwrap();
        assert_eq!((read.get_column_names(), read.height()), (vec![&"y".into()], 4));
    }

    #[test]
    fn rows_are_counted_without_reading_a_column() {
        assert_eq!(numbers(&asked("SELECT COUNT(*) AS n FROM x"), "n"), [9]);
    }

    #[test]
    fn a_limit_is_counted_from_its_offset() {
        assert_eq!(numbers(&asked("SELECT x FROM x ORDER BY x LIMIT 2 OFFSET 3"), "x"), [3, 4]);
        assert_eq!(numbers(&asked("SELECT x FROM x LIMIT 2 OFFSET 3"), "x").len(), 2);
        assert_eq!(numbers(&asked("SELECT y FROM x WHERE x > 6"), "y"), [7, 7]);
    }
}
