//! Files into a folder: all of them, or none and the folder as it was.

use super::exit::Failure;
use std::fs;
use std::io;
use std::path::Path;
use warpwise::fault::Fault;

/// Makes `dir` if need be and puts into it what `write` puts into the folder it is given.
///
/// The files are written beside those they replace and then moved, so that a full disk leaves nothing behind.
pub fn into_folder(dir: &Path, write: impl FnOnce(&Path) -> io::Result<()>) -> Result<(), Failure> {
    if dir.exists() && !dir.is_dir() {
        let fault = Fault::new("there is a file where the folder should be", "name another folder");
        return Err(Failure::Usage(fault.in_file(dir).into()));
    }
    let new = !dir.exists();
    let written = fs::create_dir_all(dir).and_then(|()| {
        let beside = tempfile::Builder::new().prefix(".writing-").tempdir_in(dir)?;
        write(beside.path())?;
        for entry in fs::read_dir(beside.path())? {
            let entry = entry?;
            fs::rename(entry.path(), dir.join(entry.file_name()))?;
        }
        Ok(())
    });
    written.map_err(|error| {
        if new {
            // Only an empty folder goes away.
            let _ = fs::remove_dir(dir);
        }
        Failure::machine(&dir.display().to_string(), &error)
    })
}
