//! Files read and written by the commands: read with a limit, written whole.

use super::exit::Failure;
use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use warpwise::fault::{Fault, Faults, Said};
use warpwise::manifest::{self, Manifest};
use warpwise::plan::LARGEST_FILE;
use warpwise::workshop::write_whole;

/// Reads a plan's text: an ordinary file in UTF-8, not larger than a plan may be.
pub fn read_plan(path: &Path) -> Result<String, Failure> {
    const REMEDY: &str = "name a plan.json that warpwise wrote, or its folder";
    let fault = |what: Said| Failure::Input(Fault::new(what, REMEDY).in_file(path).into());
    let about = fs::metadata(path).map_err(|e| match e.kind() {
        io::ErrorKind::NotFound => fault("there is no such file".into()),
        _ => fault(said!("the file cannot be read: {e}")),
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
    read.map_err(|e| fault(said!("the file cannot be read: {e}")))?;
    if bytes.len() as u64 > LARGEST_FILE {
        return Err(fault(said!("the file has more than {} MB", LARGEST_FILE >> 20)));
    }
    String::from_utf8(bytes).map_err(|_| fault("this is not text in UTF-8".into()))
}

/// Writes `files` (names in `dir`) into a folder that may hold other things, and lists them there:
/// only what the list has and nobody changed is replaced. They are written in full beside their
/// places first: a full disk leaves what was there, and no file is ever there by half.
pub fn write_into(dir: &Path, files: &[(PathBuf, Vec<u8>)]) -> Result<(), Failure> {
    write_and_remove(dir, files, &|_| false).map(|_| ())
}

/// The same; besides, files of an earlier run for which `is_old` says so are removed, if they are
/// unchanged. Those that someone changed stay, and come back by name.
pub fn write_and_remove(
    dir: &Path,
    files: &[(PathBuf, Vec<u8>)],
    is_old: &dyn Fn(&str) -> bool,
) -> Result<Vec<String>, Failure> {
    let refused = |path: &Path, e: io::Error| Failure::machine(&path.display().to_string(), &e);
    let mut list = Manifest::read(dir);
    ready(dir, files, &list)?;
    // The list goes before the files: what a kill leaves is listed, old or new.
    let named: Vec<(String, &Vec<u8>)> =
        files.iter().map(|(name, bytes)| (name.to_string_lossy().into_owned(), bytes)).collect();
    named.iter().for_each(|(name, bytes)| list.note(name, bytes));
    write_file(&dir.join(manifest::NAME), &list.to_json())?;
    put_in_place(dir, files)?;
    named.iter().for_each(|(name, bytes)| list.settle(name, bytes));
    let old: Vec<String> = list
        .names()
        .filter(|n| is_old(n) && !named.iter().any(|(name, _)| name == n))
        .map(String::from)
        .collect();
    let mut changed = Vec::new();
    for name in old {
        let path = dir.join(&name);
        if list.owns(dir, &name) {
            fs::remove_file(&path).map_err(|e| refused(&path, e))?;
        } else if path.symlink_metadata().is_ok() {
            changed.push(name.clone());
        }
        list.forget(&name);
    }
    write_file(&dir.join(manifest::NAME), &list.to_json())?;
    Ok(changed)
}

/// Writes files that belong to the user from now on: none that is there with another content is
/// touched.
pub fn write_fresh(dir: &Path, files: &[(PathBuf, Vec<u8>)]) -> Result<(), Failure> {
    ready(dir, files, &Manifest::default())?;
    put_in_place(dir, files)
}

/// Makes the folder, if no file stands in the way.
fn ready(dir: &Path, files: &[(PathBuf, Vec<u8>)], list: &Manifest) -> Result<(), Failure> {
    if dir.exists() && !dir.is_dir() {
        let fault = Fault::new("there is a file where the folder should be", "name another folder");
        return Err(Failure::Usage(fault.in_file(dir).into()));
    }
    let in_the_way =
        files.iter().filter(|(name, bytes)| !list.may_write(dir, &name.to_string_lossy(), bytes));
    let faults: Vec<Fault> =
        in_the_way.map(|(name, _)| manifest::in_the_way(&dir.join(name))).collect();
    Faults(faults).into_result(()).map_err(Failure::Usage)?;
    fs::create_dir_all(dir).map_err(|e| Failure::machine(&dir.display().to_string(), &e))
}

fn put_in_place(dir: &Path, files: &[(PathBuf, Vec<u8>)]) -> Result<(), Failure> {
    let refused = |path: &Path, e: io::Error| Failure::machine(&path.display().to_string(), &e);
    let staging = tempfile::Builder::new()
        .prefix(".writing-")
        .tempdir_in(dir)
        .map_err(|e| refused(dir, e))?;
    for (name, bytes) in files {
        let path = staging.path().join(name);
        let write = File::create_new(&path)
            .and_then(|mut file| file.write_all(bytes).and_then(|()| file.sync_all()));
        write.map_err(|e| refused(&dir.join(name), e))?;
    }
    for (name, _) in files {
        let path = dir.join(name);
        fs::rename(staging.path().join(name), &path).map_err(|e| refused(&path, e))?;
    }
    Ok(())
}

/// Tries whether files could be written into a folder, and leaves nothing behind but the folder.
pub fn can_write_into(dir: &Path) -> Result<(), Failure> {
    ready(dir, &[], &Manifest::default())?;
    can_write(&dir.join("x"))
}

/// Writes one file, whole or not at all.
pub fn write_file(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    write_whole(path, bytes).map_err(Failure::Machine)
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
