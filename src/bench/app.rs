//! The server's state: the workshop's folder and the jobs that are open.

use super::door::Door;
use super::guard::Guard;
use super::words::Words;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use std::collections::HashMap;
use std::pin::Pin;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use warpwise::fault::{Fault, Faults};
use warpwise::ledger::Moment;
use warpwise::stock::Snapshot;
use warpwise::units::System;
use warpwise::workshop::{Folder, LastPhoto, Library, OpenJob, Projecting, StockSeen, units_of};

/// What stands for the job in the workshop's own folder in an address.
pub const ROOT_JOB: &str = "~";

/// What every request works with.
#[derive(Debug)]
pub struct App {
    /// The workshop.
    pub folder: Folder,
    /// Who may ask.
    pub guard: Arc<Guard>,
    /// The door for second devices, where one was asked for.
    pub door: Option<Door>,
    /// For hints.
    pub last_photo: LastPhoto,
    /// What the projector over the bench throws.
    pub projecting: Mutex<Projecting>,
    /// The workshop's cloths, once they were looked at.
    library: Mutex<Option<Library>>,
    jobs: Mutex<HashMap<String, Arc<Mutex<OpenJob>>>>,
    stock: Arc<StockSeen>,
}

/// Through which door a request came: what a second device may not change is refused by having no
/// way to it (`router_to_look`).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Device {
    /// This computer's own.
    First,
    /// That of second devices.
    Second,
}

impl App {
    /// A server's state with no job open.
    pub fn new(folder: Folder, guard: Arc<Guard>, door: Option<Door>) -> App {
        let projecting = Mutex::new(Projecting::new(folder.root()));
        let (last_photo, library, jobs) =
            (LastPhoto::default(), Mutex::default(), Mutex::default());
        let stock = Arc::default();
        App { folder, guard, door, last_photo, projecting, library, jobs, stock }
    }

    /// The job of this name in an address, opened if it is not.
    ///
    /// # Errors
    /// There is no such job.
    pub fn job(&self, name: &str) -> Result<Arc<Mutex<OpenJob>>, Faults> {
        let dir = self.folder.job(if name == ROOT_JOB { "" } else { name })?;
        let mut jobs = self.jobs.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(open) = jobs.get(name) {
            return Ok(Arc::clone(open));
        }
        let mut job = OpenJob::open(&dir)?;
        let folder = if name == ROOT_JOB { "" } else { name };
        job.place = Some((self.folder.clone(), folder.to_string()));
        job.stock_seen = Arc::clone(&self.stock);
        let open = Arc::new(Mutex::new(job));
        jobs.insert(name.to_string(), Arc::clone(&open));
        Ok(open)
    }
}

impl App {
    /// Works on the workshop's cloths as they are on the disk.
    ///
    /// # Errors
    /// Their file cannot be read.
    pub fn with_library<T>(&self, work: impl FnOnce(&mut Library) -> T) -> Result<T, Faults> {
        let mut library = locked(&self.library);
        let open = match &mut *library {
            Some(open) => {
                open.draft.refresh()?;
                open
            }
            none => none.insert(Library::open(&self.folder)?),
        };
        Ok(work(open))
    }

    /// The stock as the ledger has it; none before there is a ledger.
    ///
    /// # Errors
    /// It cannot be read.
    pub fn stock(&self) -> Result<Option<Arc<Snapshot>>, Faults> {
        let file = self.folder.ledger();
        file.exists().then(|| self.stock.read(&file, &Moment::now())).transpose()
    }

    /// The stock, where there must be one.
    ///
    /// # Errors
    /// It cannot be read, or there is none yet.
    pub fn stock_there(&self, words: &Words) -> Result<Arc<Snapshot>, Faults> {
        let none = || Fault::new(words.t("stock.empty"), words.t("stock.add_offcut")).into();
        self.stock()?.ok_or_else(none)
    }

    /// The workshop's units; what is wrong with its file is said on the first page.
    pub fn units(&self) -> System {
        units_of(self.folder.root()).unwrap_or_default()
    }
}

/// A lock that a defect elsewhere does not close for good: what it guards is written in one step.
pub fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Runs work that waits for files or reckons, beside the requests.
pub fn beside(work: impl FnOnce() -> Response + Send + 'static) -> Beside {
    // Boxed: each kind of task is built with a copy of the machinery of tasks.
    Box::pin(done(Box::new(work)))
}

/// What [`beside`] waits for.
pub type Beside = Pin<Box<dyn Future<Output = Response> + Send>>;

async fn done(work: Box<dyn FnOnce() -> Response + Send>) -> Response {
    let done = tokio::task::spawn_blocking(work).await;
    done.unwrap_or_else(|_| {
        (StatusCode::INTERNAL_SERVER_ERROR, "a defect of this program; nothing was changed\n")
            .into_response()
    })
}
