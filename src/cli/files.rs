//! Files read and written by the commands: read with a limit, written whole.

use super::exit::Failure;
use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use warpwise::fault::Fault;
use warpwise::plan::LARGEST_FILE;

/// Reads a plan's text: an ordinary file in UTF-8, not larger than a plan may be.
pub fn read_plan(path: &Path) -> Result<String, Failure> {
    const REMEDY: &str = "name a plan.json that warpwise wrote, or its folder";
    let fault = |what: String| Failure::Input(Fault::new(what, REMEDY).in_file(path).into());
    let about = fs::metadata(path).map_err(|e| match e.kind() {
        io::ErrorKind::NotFound => fault("there is no such file".into()),
        _ => fault(format!("the file cannot be read: {e}")),
    })?;
    if about.is_dir() {
        return Err(fault("this is a folder where a plan should be".into()));
    }
    if !about.is_file() {
        return Err(fault("this is not an ordinary file".into()));
    }
    let mut bytes = Vec::new();
    // One byte over the limit tells a file that is too large.
    let read = File::open(path).and_then(|f| f.take(LARGEST_FILE + 1).read_to_end(&mut bytes));
    read.map_err(|e| fault(format!("the file cannot be read: {e}")))?;
    if bytes.len() as u64 > LARGEST_FILE {
        return Err(fault(format!("the file has more than {} MB", LARGEST_FILE >> 20)));
    }
    String::from_utf8(bytes).map_err(|_| fault("this is not text in UTF-8".into()))
}

/// Writes `files` (names in `dir`) into a folder that may hold other things. They are written in full beside their places first:
/// a full disk leaves what was there, and no file is ever there by half.
pub fn write_into(dir: &Path, files: &[(PathBuf, Vec<u8>)]) -> Result<(), Failure> {
    let refused = |path: &Path, e: io::Error| Failure::machine(&path.display().to_string(), &e);
    if dir.exists() && !dir.is_dir() {
        let fault = Fault::new("there is a file where the folder should be", "name another folder");
        return Err(Failure::Usage(fault.in_file(dir).into()));
    }
    fs::create_dir_all(dir).map_err(|e| refused(dir, e))?;
    let staging = tempfile::Builder::new().prefix(".writing-").tempdir_in(dir).map_err(|e| refused(dir, e))?;
    for (name, bytes) in files {
        let path = staging.path().join(name);
        let write = File::create_new(&path).and_then(|mut file| file.write_all(bytes).and_then(|()| file.sync_all()));
        write.map_err(|e| refused(&dir.join(name), e))?;
    }
    for (name, _) in files {
        let path = dir.join(name);
        fs::rename(staging.path().join(name), &path).map_err(|e| refused(&path, e))?;
    }
    Ok(())
}

/// Removes the sheets of an earlier run from a folder: files with this ending, not among `kept`, whose name begins with a number as
/// sheets' names do and whose beginning says that this tool wrote them.
pub fn remove_old_sheets(dir: &Path, ending: &str, kept: &[String]) -> Result<(), Failure> {
    let refused = |path: &Path, e: io::Error| Failure::machine(&path.display().to_string(), &e);
    for entry in fs::read_dir(dir).map_err(|e| refused(dir, e))? {
        let path = entry.map_err(|e| refused(dir, e))?.path();
        let Some(name) = path.file_name().and_then(|n| n.to_str()).map(String::from) else { continue };
        let numbered = name.split_once('-').is_some_and(|(n, _)| n.len() >= 2 && n.bytes().all(|b| b.is_ascii_digit()));
        if !numbered || !name.ends_with(ending) || kept.contains(&name) || !path.is_file() {
            continue;
        }
        let mut start = Vec::new();
        File::open(&path).and_then(|f| f.take(4096).read_to_end(&mut start)).map_err(|e| refused(&path, e))?;
        let start = String::from_utf8_lossy(&start);
        if start.contains("Cut sheet: ") || start.contains("warpwise") {
            fs::remove_file(&path).map_err(|e| refused(&path, e))?;
        }
    }
    Ok(())
}

/// Writes one file, whole or not at all.
pub fn write_file(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let refused = |e: io::Error| Failure::machine(&path.display().to_string(), &e);
    let folder = path.parent().filter(|f| !f.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut file = beside(folder).map_err(refused)?;
    if let Ok(there) = std::fs::metadata(path) {
        file.as_file().set_permissions(there.permissions()).map_err(refused)?;
    }
    file.write_all(bytes).and_then(|()| file.as_file().sync_all()).map_err(refused)?;
    file.persist(path).map_err(|e| refused(e.error))?;
    Ok(())
}

/// Tries whether a file could be written, and leaves nothing behind.
pub fn can_write(path: &Path) -> Result<(), Failure> {
    let folder = path.parent().filter(|f| !f.as_os_str().is_empty()).unwrap_or(Path::new("."));
    beside(folder).map(|_| ()).map_err(|e| Failure::machine(&path.display().to_string(), &e))
}

/// An unfinished file, with the rights that new files get in this place.
fn beside(folder: &Path) -> io::Result<tempfile::NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(".writing-");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        // The user's mask takes its part away.
        builder.permissions(std::fs::Permissions::from_mode(0o666));
    }
    builder.tempfile_in(folder)
}
