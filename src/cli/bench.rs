//! `warpwise bench [FOLDER]`: the page in the browser.

use super::exit::Failure;
use super::output::print;
use super::search::interrupt;
use super::terminal::say;
use crate::bench;
use clap::Args;
use std::fs;
use std::net::IpAddr;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use warpwise::fault::Fault;
use warpwise::ledger;
use warpwise::workshop::write_whole;

/// Names the running server of a workshop in its folder.
const RUNNING: &str = ".warpwise-bench";

/// `warpwise bench`.
#[derive(Args)]
pub struct Bench {
    /// The folder of the workshop, a sub-folder a job [default: the one used last, else `warpwise`
    /// in your home folder]
    #[arg(value_name = "FOLDER")]
    folder: Option<PathBuf>,
    /// Port on this computer [default: 9137, or any that is free]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..))]
    port: Option<u16>,
    /// Let a phone or tablet in your network look and send photos: the page shows a code to scan.
    /// Nothing it sends or sees is encrypted
    #[arg(long, value_name = "ADDRESS", num_args = 0..=1, require_equals = true)]
    on_network: Option<Option<IpAddr>>,
    /// Only print the address, and do not open it
    #[arg(long)]
    no_open: bool,
}

impl Bench {
    /// Serves until Ctrl-C.
    pub fn run(self) -> Result<(), Failure> {
        let folder = match self.folder {
            Some(folder) => folder,
            None => own_folder()?,
        };
        if let Some(link) = running(&folder) {
            say("this workshop is open already:");
            print(&format!("{link}\n"))?;
            return self.no_open.then_some(()).map_or_else(|| open(&link), Ok);
        }
        let server = bench::set_up(&folder, self.port, self.on_network).map_err(Failure::Input)?;
        let folder = fs::canonicalize(&folder).unwrap_or(folder);
        let lock = Lock::take(&folder, &server.link)?;
        remember(&folder);
        say(&format!("workshop: {}", folder.display()));
        print(&format!("{}\n", server.link))?;
        say("open this address in a browser on this computer; Ctrl-C here ends it");
        if let Some(link) = &server.second_link {
            say("a second device in this network may look, tick and send photos, nothing else:");
            say(link);
            say("whoever has that address can do so too, and nothing on the way is encrypted");
        }
        if !self.no_open {
            open(&server.link)?;
        }
        let cancel = interrupt()?;
        let served =
            server.run(|| cancel.asked() > 0).map_err(|e| Failure::machine("the page", &e));
        drop(lock);
        served
    }
}

/// The file in a workshop's folder that says where its server runs; held while it does.
struct Lock {
    path: PathBuf,
    _file: fs::File,
}

impl Lock {
    fn take(folder: &Path, link: &str) -> Result<Lock, Failure> {
        let path = folder.join(RUNNING);
        let refused = |e: std::io::Error| Failure::machine(&path.display().to_string(), &e);
        let mut options = fs::OpenOptions::new();
        options.read(true).write(true).create(true).truncate(false);
        #[cfg(unix)]
        {
            use std::os::unix::fs::OpenOptionsExt;
            // The key opens the page: only for the person who started it.
            options.mode(0o600);
        }
        let file = options.open(&path).map_err(refused)?;
        if file.try_lock().is_err() {
            let fault = Fault::new(
                "this workshop is being opened by another `warpwise bench`",
                "use that one, or end it",
            )
            .in_file(&path);
            return Err(Failure::Input(fault.into()));
        }
        file.set_len(0).map_err(refused)?;
        std::io::Write::write_all(&mut &file, link.as_bytes()).map_err(refused)?;
        Ok(Lock { path, _file: file })
    }
}

impl Drop for Lock {
    fn drop(&mut self) {
        // Left behind it does no harm: nobody holds it.
        let _ = fs::remove_file(&self.path);
    }
}

/// The address of the server that runs for a folder, if one does.
fn running(folder: &Path) -> Option<String> {
    let path = folder.join(RUNNING);
    let file = fs::File::open(&path).ok()?;
    match file.try_lock() {
        Err(fs::TryLockError::WouldBlock) => {
            fs::read_to_string(&path).ok().filter(|link| link.starts_with("http://127.0.0.1:"))
        }
        _ => None,
    }
}

fn data_folder() -> Option<PathBuf> {
    Some(ledger::default_file()?.parent()?.to_path_buf())
}

/// The folder used last, else a new one in the home folder.
fn own_folder() -> Result<PathBuf, Failure> {
    let last = data_folder()
        .and_then(|dir| fs::read_to_string(dir.join("last-workshop")).ok())
        .map(|t| PathBuf::from(t.trim_end_matches('\n')));
    if let Some(last) = last.filter(|l| l.is_dir()) {
        return Ok(last);
    }
    let home = ["HOME", "USERPROFILE"]
        .iter()
        .find_map(|name| std::env::var_os(name).filter(|v| !v.is_empty()))
        .map(PathBuf::from);
    let Some(home) = home.filter(|h| h.is_absolute()) else {
        return Err(Failure::Usage(
            Fault::new(
                "no home folder is known",
                "name the workshop's folder: `warpwise bench FOLDER`",
            )
            .into(),
        ));
    };
    let folder = home.join("warpwise");
    if !folder.is_dir() {
        fs::create_dir_all(&folder)
            .map_err(|e| Failure::machine(&folder.display().to_string(), &e))?;
        say(&format!("a new workshop is begun in {}", folder.display()));
    }
    Ok(folder)
}

/// Keeps the folder for the next time; nothing hangs on it.
fn remember(folder: &Path) {
    if let (Some(dir), Some(text)) = (data_folder(), folder.to_str()) {
        let _ = fs::create_dir_all(&dir)
            .map(|()| write_whole(&dir.join("last-workshop"), format!("{text}\n").as_bytes()));
    }
}

/// Opens the browser; where that cannot be done, the address is on the terminal.
fn open(link: &str) -> Result<(), Failure> {
    let (program, before): (&str, &[&str]) = if cfg!(target_os = "macos") {
        ("open", &[])
    } else if cfg!(target_os = "windows") {
        ("rundll32", &["url.dll,FileProtocolHandler"])
    } else {
        ("xdg-open", &[])
    };
    let started = Command::new(program)
        .args(before)
        .arg(link)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn();
    if started.is_err() {
        say("no browser could be opened: copy the address into one");
    }
    Ok(())
}
