//! The folder of a workshop: a sub-folder for each job, the ledger beside them. Every path that
//! comes from a client is settled here.

use crate::fault::{Fault, Faults};
use crate::file_name;
use crate::units::quoted;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

/// The job file in the folder of a job.
pub const JOB_FILE: &str = "job.toml";
/// The plan folder in the folder of a job.
pub const PLAN_FOLDER: &str = "plan";
/// The ledger in the folder of the workshop.
pub const LEDGER_FILE: &str = "stock.sqlite";

/// A folder with jobs in it.
#[derive(Clone, Debug, PartialEq)]
pub struct Folder {
    root: PathBuf,
}

/// A job that lies in the workshop.
#[derive(Clone, Debug, PartialEq)]
pub struct JobEntry {
    /// Name of its folder; empty if the job file lies in the workshop's folder itself.
    pub folder: String,
    /// Whether a plan lies beside it.
    pub planned: bool,
}

impl Folder {
    /// Opens the folder of a workshop.
    ///
    /// # Errors
    /// It is not there, or is no folder.
    pub fn open(root: &Path) -> Result<Folder, Faults> {
        let root = fs::canonicalize(root).map_err(|e| unreadable(root, &e))?;
        if !root.is_dir() {
            return Err(Fault::new(
                "this is a file where the workshop's folder should be",
                "name the folder it lies in",
            )
            .in_file(&root)
            .into());
        }
        Ok(Folder { root })
    }

    /// Where it lies.
    pub fn root(&self) -> &Path {
        &self.root
    }

    /// The ledger's file, whether it is there or not.
    pub fn ledger(&self) -> PathBuf {
        self.root.join(LEDGER_FILE)
    }

    /// The jobs in it, by name: every folder in it that holds a job file, and the workshop's folder
    /// itself if it does.
    ///
    /// # Errors
    /// The folder cannot be read.
    pub fn jobs(&self) -> Result<Vec<JobEntry>, Faults> {
        let entry = |folder: &str| {
            let dir = self.root.join(folder);
            let planned = dir.join(PLAN_FOLDER).join("plan.json").is_file();
            dir.join(JOB_FILE).is_file().then(|| JobEntry { folder: folder.into(), planned })
        };
        let mut jobs: Vec<JobEntry> = entry("").into_iter().collect();
        for found in fs::read_dir(&self.root).map_err(|e| unreadable(&self.root, &e))? {
            let found = found.map_err(|e| unreadable(&self.root, &e))?;
            // A name that is not UTF-8 cannot stand in an address; the commands take it.
            if let Some(name) = found.file_name().to_str().filter(|n| file_name::checked(n).is_ok())
            {
                jobs.extend(entry(name));
            }
        }
        jobs.sort_by(|a, b| {
            (a.folder.to_lowercase(), &a.folder).cmp(&(b.folder.to_lowercase(), &b.folder))
        });
        Ok(jobs)
    }

    /// The folder of a job of this name, which is there.
    ///
    /// # Errors
    /// There is no such job, or it is no name of one.
    pub fn job(&self, name: &str) -> Result<PathBuf, Faults> {
        let dir = if name.is_empty() {
            self.root.clone()
        } else {
            self.root.join(file_name::checked(name)?)
        };
        let real = fs::canonicalize(dir.join(JOB_FILE))
            .ok()
            .filter(|p| p.is_file() && p.starts_with(&self.root));
        match real {
            Some(_) => Ok(dir),
            None => Err(Fault::new(
                said!("there is no job {} in this workshop", quoted(name)),
                "look at the list of jobs",
            )
            .into()),
        }
    }

    /// Begins a job: a folder of this name with this job file.
    ///
    /// # Errors
    /// The name cannot be a folder's, or there is something of this name already (as a file system
    /// that ignores case sees it).
    pub fn begin(&self, name: &str, text: &str) -> Result<PathBuf, Faults> {
        let dir = self.free(name)?;
        fs::create_dir(&dir).map_err(|e| unwritable(&dir, &e))?;
        write_whole(&dir.join(JOB_FILE), text.as_bytes())?;
        Ok(dir)
    }

    /// The folder that a new job of this name would have.
    ///
    /// # Errors
    /// As [`begin`](Self::begin).
    pub(super) fn free(&self, name: &str) -> Result<PathBuf, Faults> {
        let name = file_name::checked(name)?;
        let taken = fs::read_dir(&self.root)
            .map_err(|e| unreadable(&self.root, &e))?
            .filter_map(|e| e.ok()?.file_name().into_string().ok())
            .any(|n| n.to_lowercase() == name.to_lowercase());
        if taken {
            return Err(Fault::new(
                said!("there is something called {} in the workshop already", quoted(name)),
                "take another name",
            )
            .into());
        }
        Ok(self.root.join(name))
    }
}

/// A free name in a folder: `name`, or with a number before its ending.
pub fn free_name(dir: &Path, name: &str) -> String {
    let (stem, ending) =
        name.rsplit_once('.').map_or((name, String::new()), |(s, e)| (s, format!(".{e}")));
    let numbered = |n: usize| {
        if n == 1 { name.to_string() } else { format!("{stem}-{n}{ending}") }
    };
    (1..)
        .map(numbered)
        .find(|n| dir.join(n).symlink_metadata().is_err())
        .unwrap_or_else(|| name.to_string())
}

/// Writes one file, whole or not at all, and forces it to the disk.
///
/// # Errors
/// The machine's: space, permission.
pub fn write_whole(path: &Path, bytes: &[u8]) -> Result<(), Faults> {
    use std::io::Write;
    let folder = path.parent().filter(|f| !f.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut builder = tempfile::Builder::new();
    builder.prefix(".writing-");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let mode = fs::metadata(path).map_or(0o666, |m| m.permissions().mode());
        builder.permissions(fs::Permissions::from_mode(mode));
    }
    let mut file = builder.tempfile_in(folder).map_err(|e| unwritable(path, &e))?;
    file.write_all(bytes)
        .and_then(|()| file.as_file().sync_all())
        .map_err(|e| unwritable(path, &e))?;
    file.persist(path).map_err(|e| unwritable(path, &e.error))?;
    #[cfg(unix)]
    fs::File::open(folder).and_then(|dir| dir.sync_all()).map_err(|e| unwritable(folder, &e))?;
    Ok(())
}

fn unreadable(path: &Path, error: &io::Error) -> Faults {
    Fault::new(said!("it cannot be read: {error}"), "check that it is there, and its permissions")
        .in_file(path)
        .into()
}

pub(super) fn unwritable(path: &Path, error: &io::Error) -> Faults {
    Fault::new(
        said!("it cannot be written: {error}"),
        "check space and permissions; nothing that was there has changed",
    )
    .in_file(path)
    .into()
}

/// When a file was written and how long it is.
pub(super) fn about(path: &Path) -> Option<(SystemTime, u64)> {
    let about = std::fs::metadata(path).ok()?;
    Some((about.modified().ok()?, about.len()))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn a_job_is_begun_once_whatever_the_case_and_listed() {
        let home = tempfile::tempdir().unwrap();
        let folder = Folder::open(home.path()).unwrap();
        folder.begin("Seat", "[job]\n").unwrap();
        assert!(folder.begin("seat", "").is_err());
        fs::create_dir(home.path().join("notes")).unwrap();
        fs::create_dir(home.path().join("a rudder")).unwrap();
        fs::write(home.path().join("a rudder/job.toml"), "").unwrap();
        let names: Vec<String> = folder.jobs().unwrap().into_iter().map(|j| j.folder).collect();
        assert_eq!(names, ["a rudder", "Seat"]);
        assert!(folder.job("Seat").is_ok());
        for none in ["notes", "nothing", "../x", "", "Seat/.."] {
            assert!(folder.job(none).is_err(), "{none}");
        }
    }

    #[cfg(unix)]
    #[test]
    fn a_link_to_a_job_outside_is_not_of_this_workshop() {
        let (home, other) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        fs::write(other.path().join("job.toml"), "").unwrap();
        std::os::unix::fs::symlink(other.path(), home.path().join("linked")).unwrap();
        assert!(Folder::open(home.path()).unwrap().job("linked").is_err());
    }

    #[test]
    fn a_file_that_is_there_is_not_taken_for_a_free_name() {
        let home = tempfile::tempdir().unwrap();
        fs::write(home.path().join("seat.svg"), "").unwrap();
        assert_eq!(free_name(home.path(), "seat.svg"), "seat-2.svg");
        assert_eq!(free_name(home.path(), "hip"), "hip");
    }
}
