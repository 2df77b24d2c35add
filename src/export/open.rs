//! Opening an export: plain, gzip or zstd, told apart by their first bytes, never by their name.

use crate::error::{Exit, Problem, Spot};
use std::fs::File;
use std::io::{self, BufReader, Read, Seek, SeekFrom};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

const GZIP: [u8; 2] = [0x1f, 0x8b]; // RFC 1952, 2.3.1
const ZSTD: [u8; 4] = [0x28, 0xb5, 0x2f, 0xfd]; // RFC 8878, 3.1.1
const BUFFER: usize = 1 << 18;

/// Opens an export for reading from its start, unpacking gzip and zstd.
///
/// # Errors
/// The file does not exist, is a folder, or cannot be read.
pub fn open(path: &Path, shown: &Path) -> Result<Box<dyn Read + Send>, Problem> {
    open_counted(path, shown).map(|(reader, _)| reader)
}

/// How many bytes of a file, packed as it is, have been read so far.
#[derive(Clone, Default, Debug)]
pub struct BytesRead(Arc<AtomicU64>);

impl BytesRead {
    /// The number of bytes.
    pub fn so_far(&self) -> u64 {
        self.0.load(Ordering::Relaxed)
    }
}

/// A file that counts what is read of it.
struct Counted {
    file: File,
    bytes: BytesRead,
}

impl Read for Counted {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let n = self.file.read(buffer)?;
        self.bytes.0.fetch_add(n as u64, Ordering::Relaxed);
        Ok(n)
    }
}

/// The same, with a count of the file's bytes as they are read.
///
/// # Errors
/// As [`open`].
pub fn open_counted(path: &Path, shown: &Path) -> Result<(Box<dyn Read + Send>, BytesRead), Problem> {
    let cannot = |error: io::Error| {
        let mut problem = Problem::io(shown, &error);
        problem.exit = Exit::BadInput;
        problem.hint("check `files` in group.toml and the file's permissions")
    };
    let mut file = File::open(path).map_err(cannot)?;
    if file.metadata().map_err(cannot)?.is_dir() {
        return Err(Problem::input("this is a folder, not an export").at(Spot::file(shown)));
    }
    let mut magic = [0u8; 4];
    let mut filled = 0;
    while let Some(rest) = magic.get_mut(filled..).filter(|rest| !rest.is_empty()) {
        match file.read(rest).map_err(cannot)? {
            0 => break,
            n => filled += n,
        }
    }
    file.seek(SeekFrom::Start(0)).map_err(cannot)?;
    let bytes = BytesRead::default();
    let file = Counted { file, bytes: bytes.clone() };
    let reader: Box<dyn Read + Send> = if magic.starts_with(&GZIP) {
        // MultiGzDecoder: files joined by concatenation are one file (RFC 1952, 2.2)
        Box::new(flate2::read::MultiGzDecoder::new(BufReader::with_capacity(BUFFER, file)))
    } else if magic == ZSTD {
        Box::new(zstd::stream::read::Decoder::new(file).map_err(cannot)?)
    } else {
        Box::new(file)
    };
    Ok((reader, bytes))
}

/// What a failed read means: a compressed file that was cut short, or a disk that failed.
pub fn read_problem(shown: &Path, error: &io::Error) -> Problem {
    match error.kind() {
        io::ErrorKind::UnexpectedEof | io::ErrorKind::InvalidInput | io::ErrorKind::InvalidData => {
            Problem::input("the compressed file is damaged or ends too early")
                .at(Spot::file(shown))
                .hint("copy or export the file again")
        }
        _ => Problem::io(shown, error),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write;

    #[test]
    fn bytes_are_counted_as_they_lie_on_the_disk() {
        let folder = tempfile::tempdir().unwrap();
        let text = "patient,date\n".repeat(5_000);
        let mut packed = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
        packed.write_all(text.as_bytes()).unwrap();
        for (name, bytes) in [("plain.csv", text.clone().into_bytes()), ("packed.csv", packed.finish().unwrap())] {
            let path = folder.path().join(name);
            std::fs::write(&path, &bytes).unwrap();
            let (mut reader, read) = open_counted(&path, Path::new(name)).unwrap();
            assert!(read.so_far() <= bytes.len() as u64, "{name}"); // a packed file's head is read when it is opened
            let mut found = String::new();
            reader.read_to_string(&mut found).unwrap();
            assert_eq!((found == text, read.so_far()), (true, bytes.len() as u64), "{name}");
        }
    }
}
