//! The workshop's cloths: the file that its jobs take them from, edited as a job is, and cloths that
//! go from a job into it and back.

use super::checked::{Checked, entry_of, note};
use super::draft::{Draft, Refused, Revision};
use super::edit::{Edit, edited};
use super::folder::{Folder, free_name, unwritable, write_whole};
use super::values::Values;
use crate::fault::{Fault, Faults};
use crate::file_name;
use crate::job::{LIBRARY_FILE, LIBRARY_HEAD, LibraryCloth, check_library, library_of, of_roll};
use crate::units::quoted;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use toml_edit::{ArrayOfTables, DocumentMut, Item, Table, value};

/// The folder of data sheets in the workshop's.
const SHEETS: &str = "data-sheets";

/// The library while it is worked on.
#[derive(Clone, Debug)]
pub struct Library {
    /// The file and its past.
    pub draft: Draft,
    folder: Folder,
}

/// A change of the library.
#[derive(Clone, Debug, PartialEq)]
pub enum Change {
    /// An edit.
    Edit(Edit),
    /// The last step is taken back.
    Undo,
    /// The step that was taken back last is done again.
    Redo,
}

impl Library {
    /// Opens the library of a workshop; an empty one if there is none.
    ///
    /// # Errors
    /// Its file cannot be read.
    pub fn open(folder: &Folder) -> Result<Library, Faults> {
        let draft = Draft::of(folder.root().join(LIBRARY_FILE), Some(LIBRARY_HEAD))?;
        Ok(Library { draft, folder: folder.clone() })
    }

    /// Opens the library that a job reads: its own beside it, else the workshop's.
    ///
    /// # Errors
    /// Its file cannot be read.
    pub fn of_job(folder: &Folder, job: &Draft) -> Result<Library, Faults> {
        match library_read(job) {
            Some(file) => Ok(Library { draft: Draft::of(file, None)?, folder: folder.clone() }),
            None => Library::open(folder),
        }
    }

    /// Its values and every fault at its key.
    pub fn checked(&self) -> (Checked, Vec<LibraryCloth>) {
        let (text, file) = (self.draft.text(), self.draft.file());
        let values = Values::of(text);
        let (cloths, faults, warnings) = check_library(text, file);
        let faults = faults.0.into_iter().map(|f| note(f, false, text, file, &values));
        let warnings = warnings.into_iter().map(|f| note(f, true, text, file, &values));
        let notes = faults.chain(warnings).collect();
        (Checked { values, notes, ..Checked::default() }, cloths)
    }

    /// Makes a change of the library as the client saw it.
    ///
    /// # Errors
    /// [`Refused`], also where a cloth would go, or get another id, that jobs take; then nothing is
    /// changed.
    pub fn change(&mut self, change: &Change, seen: &Revision) -> Result<(), Refused> {
        self.draft.fresh(seen)?;
        let [before, after] = self.draft.beside().map(|text| text.map(String::from));
        let then = match change {
            Change::Edit(edit) => Some(edited(self.draft.text(), edit)?),
            Change::Undo => before,
            Change::Redo => after,
        };
        if let Some(then) = &then {
            self.none_is_missed(then)?;
        }
        match change {
            Change::Edit(edit) => self.draft.edit(edit, seen),
            Change::Undo => self.draft.undo(seen),
            Change::Redo => self.draft.redo(seen),
        }
    }

    /// Refuses a text that lacks a cloth which is there now and which jobs take.
    fn none_is_missed(&self, then: &str) -> Result<(), Faults> {
        let (now, then) = (ids(self.draft.text()), ids(then));
        let lost: Vec<&String> = now.difference(&then).collect();
        if lost.is_empty() {
            return Ok(());
        }
        let (users, unread) = users(&self.folder)?;
        let mut faults = Faults::new();
        for id in lost {
            if let Some(jobs) = users.get(id) {
                let what = said!("{} is taken by {}", quoted(id), jobs.join(", "));
                let remedy = "nothing was changed: write its values into those jobs first, or give them another cloth";
                faults.push(Fault::new(what, remedy));
            } else if !unread.is_empty() {
                let what =
                    said!("whether {} take {} cannot be seen", unread.join(", "), quoted(id));
                faults.push(Fault::new(what, "nothing was changed: mend those job files first"));
            }
        }
        faults.into_result(())
    }

    /// The jobs that take each cloth, by its id.
    ///
    /// # Errors
    /// The workshop's folder cannot be read.
    pub fn users(&self) -> Result<BTreeMap<String, Vec<String>>, Faults> {
        Ok(users(&self.folder)?.0)
    }

    /// Takes a cloth of a job into the library; the job then takes it from there. What is of its
    /// roll stays in the job. One that the library has with the same values is taken from there.
    ///
    /// # Errors
    /// [`Refused`]: the job has changed, the cloth is from the library already, the library has
    /// another of this id, or the job reads another library; then nothing is changed. If the job
    /// cannot be written, the library has the cloth, and the same again goes on from there.
    pub fn take_in(
        &mut self,
        job: &mut Draft,
        index: usize,
        seen: &Revision,
    ) -> Result<(), Refused> {
        job.fresh(seen)?;
        self.draft.refresh()?;
        if let Some(other) = library_read(job).filter(|f| !is_same(f, self.draft.file())) {
            let what = said!("the job takes its cloths from {}", other.display());
            let remedy =
                "write the cloth in there, or take that file away: then the workshop's counts";
            return Err(Fault::new(what, remedy).into());
        }
        let gone = || Fault::new("the job has no such cloth any more", "look at it as it is now");
        let mut doc = parsed(job.text(), "the job")?;
        let own = match doc.get_mut("cloth") {
            Some(Item::ArrayOfTables(all)) => all.get_mut(index),
            Some(Item::Table(one)) if index == 0 => Some(one),
            _ => None,
        };
        let own = own.ok_or_else(gone)?;
        let id = own.get("id").and_then(Item::as_str).ok_or_else(gone)?.to_string();
        if own.contains_key("library") {
            let what = said!("{} is from the library already", quoted(&id));
            return Err(Fault::new(what, "change it there").into());
        }
        let mut library = parsed(self.draft.text(), "the cloth library")?;
        let mut taken = Table::new();
        taken.decor_mut().set_prefix("\n");
        let keys: Vec<String> = own.iter().map(|(key, _)| key.to_string()).collect();
        for key in keys.iter().filter(|key| !of_roll(key)) {
            let Some((key, item)) = own.get_key_value(key) else { continue };
            taken.insert_formatted(key, without_place(item));
        }
        keys.iter().filter(|key| !of_roll(key) && *key != "id").for_each(|key| {
            own.remove(key);
        });
        own.insert("library", value(id.as_str()));
        let is_held = ids(self.draft.text()).contains(&id);
        match library.entry("cloth").or_insert(Item::ArrayOfTables(ArrayOfTables::new())) {
            Item::ArrayOfTables(all) if is_held => {
                let mut held =
                    all.iter().filter(|t| t.get("id").and_then(Item::as_str) == Some(&id));
                let is_it = held.next().is_some_and(|held| plain(held) == plain(&taken));
                if !is_it || held.next().is_some() {
                    let what = said!("the library has another cloth {}", quoted(&id));
                    let remedy =
                        "give the job's cloth another id, or take the library's in its place";
                    return Err(Fault::new(what, remedy).into());
                }
            }
            Item::ArrayOfTables(all) => all.push(taken),
            _ => {
                let what = "[cloth] has single brackets in the cloth library";
                return Err(Fault::new(what, "write [[cloth]] there").into());
            }
        }
        // The library first: a cloth that no job takes does no harm, and if the job cannot be
        // written it is known when the same comes again.
        self.draft.write(library.to_string())?;
        job.write(doc.to_string())
    }

    /// The edit that writes the library's values into a job's cloth in place of the reference;
    /// none if it refers to nothing that is there, or not to one alone. It must be the library
    /// that the job reads: [`Library::of_job`].
    pub fn own_values(&self, job: &Values, index: usize) -> Option<Edit> {
        let at = format!("cloth.{index}");
        let id = job.get(&format!("{at}.library"))?;
        let library: toml::Table = self.draft.text().parse().ok()?;
        let mut cloths = library.get("cloth")?.as_array()?.iter().filter_map(toml::Value::as_table);
        let is_it = |c: &&toml::Table| c.get("id").and_then(toml::Value::as_str) == Some(id);
        let cloth = cloths.find(is_it)?;
        if cloths.any(|c| is_it(&c)) {
            return None;
        }
        let own_price = ["price_per_metre", "price_per_square_metre"]
            .iter()
            .any(|key| job.has(&format!("{at}.{key}")));
        let mut edits = vec![Edit::Clear { at: format!("{at}.library") }];
        for (key, value) in cloth {
            let is_own =
                job.has(&format!("{at}.{key}")) || (own_price && key.starts_with("price_per"));
            if is_own || ["id", "data_sheet", "note"].contains(&key.as_str()) {
                continue;
            }
            match value {
                toml::Value::Array(all) if all.iter().all(toml::Value::is_table) => {
                    for one in all.iter().filter_map(toml::Value::as_table) {
                        let keys = one.iter().map(|(k, v)| Some((k.clone(), entry_of(v.clone())?)));
                        let section = format!("{at}.{key}");
                        edits.push(Edit::Add { section, keys: keys.collect::<Option<_>>()? });
                    }
                }
                plain => edits
                    .push(Edit::Set { at: format!("{at}.{key}"), to: entry_of(plain.clone())? }),
            }
        }
        Some(Edit::All(edits))
    }

    /// Keeps the data sheet of a cloth in the workshop's folder, by what it is: PDF, JPEG or PNG.
    ///
    /// # Errors
    /// [`Refused`], also if it is none of these; then no cloth names it.
    pub fn keep_sheet(
        &mut self,
        index: usize,
        bytes: &[u8],
        seen: &Revision,
    ) -> Result<(), Refused> {
        self.draft.fresh(seen)?;
        let ending = sheet_kind(bytes).ok_or_else(|| {
            Fault::new("this is no data sheet that a browser can show", "take a PDF, JPEG or PNG")
        })?;
        let values = Values::of(self.draft.text());
        if index >= values.count("cloth") {
            return Err(Fault::new("the library has no such cloth any more", "look at it").into());
        }
        let id = values.get(&format!("cloth.{index}.id")).unwrap_or_default();
        let dir = self.folder.root().join(SHEETS);
        std::fs::create_dir_all(&dir).map_err(|e| unwritable(&dir, &e))?;
        let name = free_name(&dir, &format!("{}.{ending}", file_name::made_of(id)));
        write_whole(&dir.join(&name), bytes)?;
        let to = format!("{SHEETS}/{name}");
        let edit = Edit::Set { at: format!("cloth.{index}.data_sheet"), to: to.as_str().into() };
        let done = self.draft.edit(&edit, seen);
        if done.is_err() {
            let _ = std::fs::remove_file(dir.join(name));
        }
        done
    }

    /// The data sheet of a cloth: its ending and its bytes.
    pub fn sheet(&self, id: &str) -> Option<(&'static str, Vec<u8>)> {
        let (cloths, _, _) = check_library(self.draft.text(), self.draft.file());
        let file = cloths.into_iter().find(|c| c.id == id)?.data_sheet?;
        let path = std::fs::canonicalize(self.folder.root().join(file)).ok()?;
        let bytes = path.starts_with(self.folder.root()).then(|| std::fs::read(path).ok())??;
        Some((sheet_kind(&bytes)?, bytes))
    }
}

/// What a data sheet is, by its first bytes.
fn sheet_kind(bytes: &[u8]) -> Option<&'static str> {
    match bytes {
        [b'%', b'P', b'D', b'F', b'-', ..] => Some("pdf"),
        [0xff, 0xd8, 0xff, ..] => Some("jpg"),
        [0x89, b'P', b'N', b'G', ..] => Some("png"),
        _ => None,
    }
}

fn parsed(text: &str, of: &str) -> Result<DocumentMut, Fault> {
    text.parse().map_err(|e: toml_edit::TomlError| {
        let what = said!("{of} breaks the rules of TOML: {}", e.message().replace('\n', ", "));
        Fault::new(what, "mend it first")
    })
}

/// An item that forgets where in its file it stood.
fn without_place(item: &Item) -> Item {
    match item {
        Item::ArrayOfTables(all) => {
            let mut out = ArrayOfTables::new();
            for table in all {
                let mut new = Table::new();
                new.decor_mut().clone_from(table.decor());
                table.get_values().into_iter().for_each(|(path, v)| {
                    if let [key] = path[..] {
                        new.insert_formatted(key, Item::Value(v.clone()));
                    }
                });
                out.push(new);
            }
            Item::ArrayOfTables(out)
        }
        other => other.clone(),
    }
}

/// The library that a job reads, if there is one.
fn library_read(job: &Draft) -> Option<PathBuf> {
    library_of(job.file()).into_iter().find(|file| file.symlink_metadata().is_ok())
}

fn is_same(a: &Path, b: &Path) -> bool {
    let real = |file: &Path| std::fs::canonicalize(file).unwrap_or_else(|_| file.to_path_buf());
    real(a) == real(b)
}

/// What jobs take of a cloth, however it is written down.
fn plain(cloth: &Table) -> Option<toml::Table> {
    let mut cloth: toml::Table = DocumentMut::from(cloth.clone()).to_string().parse().ok()?;
    cloth.retain(|key, _| !["data_sheet", "note"].contains(&key));
    Some(cloth)
}

/// The ids of the cloths in a library or a job.
pub(super) fn ids(text: &str) -> BTreeSet<String> {
    let values = Values::of(text);
    let id = |i| values.get(&format!("cloth.{i}.id")).map(String::from);
    (0..values.count("cloth")).filter_map(id).collect()
}

/// The jobs that take each cloth of the library, and those whose file does not say.
type Users = (BTreeMap<String, Vec<String>>, Vec<String>);

fn users(folder: &Folder) -> Result<Users, Faults> {
    let (mut users, mut unread) = (BTreeMap::<String, Vec<String>>::new(), Vec::new());
    let ours = folder.root().join(LIBRARY_FILE);
    for entry in folder.jobs()? {
        let name = if entry.folder.is_empty() { "the workshop's own job" } else { &entry.folder };
        let file = folder.root().join(&entry.folder).join(super::folder::JOB_FILE);
        let Ok(text) = std::fs::read_to_string(&file) else {
            unread.push(name.to_string());
            continue;
        };
        // Most jobs say nothing of it, and one with a library of its own takes from that.
        let own = library_of(&file).into_iter().find(|f| f.symlink_metadata().is_ok());
        if !text.contains("library") || own.is_some_and(|own| !is_same(&own, &ours)) {
            continue;
        }
        let values = Values::of(&text);
        for i in 0..values.count("cloth") {
            if let Some(id) = values.get(&format!("cloth.{i}.library")) {
                let jobs = users.entry(id.to_string()).or_default();
                if jobs.last().is_none_or(|last| last != name) {
                    jobs.push(name.to_string());
                }
            }
        }
    }
    Ok((users, unread))
}
