//! What every command that writes a folder or file needs: a closed folder to write in, files that nobody else can read where they
//! are of patients, and a marker that tells the program's own files from those of others.

pub mod create;
#[cfg(test)]
pub(crate) mod fault;
pub mod marker;
pub mod work_folder;
