//! Opening an export: plain, gzip or zstd, told apart by their first bytes, never by their name.

use crate::error::{Exit, Problem, Spot};
use crate::group::settings::DEFAULT_UNPACKED_LIMIT;
use std::fs::File;
use std::io::{self, BufReader, Read, Seek, SeekFrom};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

const GZIP: [u8; 2] = [0x1f, 0x8b]; // RFC 1952, 2.3.1
const ZSTD: [u8; 4] = [0x28, 0xb5, 0x2f, 0xfd]; // RFC 8878, 3.1.1
const BUFFER: usize = 1 << 18;

/// The most bytes that a compressed file may unpack to where no group says otherwise.
const MOST_UNPACKED: u64 = DEFAULT_UNPACKED_LIMIT;

/// Opens an export for reading from its start, unpacking gzip and zstd.
///
/// # Errors
/// The file does not exist, is a folder, or cannot be read.
pub fn open(path: &Path, shown: &Path) -> Result<Box<dyn Read + Send>, Problem> {
    open_counted(path, shown, MOST_UNPACKED).map(|(reader, _)| reader)
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

/// What a compressed file unpacks to, up to a limit: a few kilobytes can hold terabytes of nothing.
struct Unpacked<R> {
    packed: R,
    left: u64,
    most: u64,
}

impl<R: Read> Read for Unpacked<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let n = self.packed.read(buffer)?;
        match self.left.checked_sub(n as u64) {
            Some(left) => self.left = left,
            None => return Err(io::Error::other(TooLarge { most: self.most })),
        }
        Ok(n)
    }
}

/// A compressed file unpacks to more than is allowed.
#[derive(Debug)]
struct TooLarge {
    most: u64,
}

impl std::fmt::Display for TooLarge {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "the compressed file holds more than {} GB of text", self.most as f64 / 1e9)
    }
}

impl std::error::Error for TooLarge {}

/// The same, with a count of the file's bytes as they are read. `most`: bytes that a compressed file may unpack to.
///
/// # Errors
/// As [`open`].
pub fn open_counted(path: &Path, shown: &Path, most: u64) -> Result<(Box<dyn Read + Send>, BytesRead), Problem> {
    let cannot = |error: io::Error| {
        let mut problem = Problem::io(shown, &error);
        problem.exit = Exit::BadInput;
        problem.hint("check `files` in group.toml and the file's permissions")
    };
    let mut file = File::open(path).map_err(cannot)?;
    if file.metadata().map_err(cannot)?.is_dir() {
        return Err(Problem::input("this is a folder, not an export")
            .at(Spot::file(shown))
            .hint("name the files in it, such as \"exports/*.csv\""));
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
        let packed = flate2::read::MultiGzDecoder::new(BufReader::with_capacity(BUFFER, file));
        Box::new(Unpacked { packed, left: most, most })
    } else if magic == ZSTD {
        let packed = zstd::stream::read::Decoder::new(file).map_err(cannot)?;
        Box::new(Unpacked { packed, left: most, most })
    } else {
        Box::new(file)
    };
    Ok((reader, bytes))
}

/// What a failed read means: a compressed file that is damaged or too large, or a disk that failed.
pub fn read_problem(shown: &Path, error: &io::Error) -> Problem {
    if let Some(too_large) = error.get_ref().and_then(|inner| inner.downcast_ref::<TooLarge>()) {
        return Problem::input(too_large.to_string())
            .at(Spot::file(shown))
            .hint("check what it holds; if it is right, set unpacked_limit_gb in group.toml, or split the export");
    }
    // the system's own errors have a number; what has none is an unpacker's complaint
    match error.raw_os_error() {
        None => Problem::input("the compressed file is damaged or ends too early")
            .at(Spot::file(shown))
            .hint("copy or export the file again"),
        Some(_) => Problem::io(shown, error).hint("check the disk or the network drive that holds it, and run again"),
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
            let (mut reader, read) = open_counted(&path, Path::new(name), MOST_UNPACKED).unwrap();
            assert!(read.so_far() <= bytes.len() as u64, "{name}"); // a packed file's head is read when it is opened
            let mut found = String::new();
            reader.read_to_string(&mut found).unwrap();
            assert_eq!((found == text, read.so_far()), (true, bytes.len() as u64), "{name}");
        }
    }

    /// Gzip and zstd of a text.
    fn packed(text: &[u8]) -> [(&'static str, Vec<u8>); 2] {
        let mut gzip = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
        gzip.write_all(text).unwrap();
        let mut zstd = zstd::stream::write::Encoder::new(Vec::new(), 3).unwrap();
        zstd.include_checksum(true).unwrap();
        zstd.write_all(text).unwrap();
        [("a.csv.gz", gzip.finish().unwrap()), ("a.csv.zst", zstd.finish().unwrap())]
    }

    fn read_all(name: &str, bytes: &[u8], most: u64) -> Result<usize, Problem> {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(name);
        std::fs::write(&path, bytes).unwrap();
        let (mut reader, _) = open_counted(&path, Path::new(name), most)?;
        let mut found = Vec::new();
        reader.read_to_end(&mut found).map_err(|error| read_problem(Path::new(name), &error))
    }

    #[test]
    fn a_damaged_or_cut_compressed_file_is_bad_input_whatever_packed_it() {
        let text: Vec<u8> = (0..60_000u32).flat_map(|i| (i.wrapping_mul(2_654_435_761)).to_le_bytes()).collect();
        for (name, bytes) in packed(&text) {
            assert_eq!(read_all(name, &bytes, MOST_UNPACKED), Ok(text.len()));
            let mut damaged = bytes.clone();
            let middle = bytes.len() / 2;
            damaged[middle..middle + 8].iter_mut().for_each(|byte| *byte ^= 0x5a);
            for broken in [&damaged, &bytes[..middle].to_vec(), &[&bytes[..], b"tail"].concat()] {
                let problem = read_all(name, broken, MOST_UNPACKED).unwrap_err();
                assert_eq!(problem.exit, Exit::BadInput, "{problem}");
                assert!(problem.what.contains("damaged or ends too early") && problem.remedy.is_some(), "{problem}");
            }
        }
    }

    #[test]
    fn a_compressed_file_may_unpack_to_the_limit_and_no_further() {
        for (name, bytes) in packed(&vec![b'\n'; 3_000_000]) {
            assert_eq!(read_all(name, &bytes, 3_000_000), Ok(3_000_000));
            let problem = read_all(name, &bytes, 2_999_999).unwrap_err();
            assert_eq!(problem.exit, Exit::BadInput);
            assert!(problem.what.ends_with("more than 0.002999999 GB of text"), "{problem}");
            assert!(problem.remedy.is_some_and(|remedy| remedy.contains("unpacked_limit_gb")));
        }
    }
}
