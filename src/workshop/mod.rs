//! A workshop's folder, its jobs as they are worked on, and what every client of them needs: the
//! command line, a page in a browser, a test.
//!
//! In go a folder and [`Edit`]s, plain data. Out come drafts with their revisions, [`Checked`] jobs
//! with every fault at its key, plans while they get better and when they are verified. The files
//! are the state: whatever a client does stands in `job.toml` (comments and order kept), drawings,
//! plan folders and the ledger, and what another program writes there is seen. Nothing here prints,
//! looks at the clock or the environment.

mod at_bench;
mod begin_from;
mod benches;
mod by_corners;
mod by_hand;
mod checked;
mod document;
mod draft;
mod edit;
mod folder;
mod house;
mod intake;
mod job_stand;
mod kit;
mod known_cloths;
mod learnt;
mod library;
mod mould_change;
mod offcut_box;
mod offcut_photo;
mod on_table;
mod open_job;
mod outline_file;
mod plan_files;
mod planning;
mod projecting;
mod removal;
mod stock_file;
mod stock_seen;
mod takers;
mod values;

pub use at_bench::{ActTick, AtBench, BenchTick, CopyState, Ticked};
pub use begin_from::{CameAlong, begin_from};
pub use benches::{BENCHES_FILE, Bench, Colour, How, Style, TRUE_WITHIN, Yes, benches, keep_bench};
pub use by_corners::{Span, photos, trace_by_corners, untraced_photos};
pub use by_hand::FlawOn;
pub use checked::{Checked, DrawnTemplate, Note, Readings};
pub use draft::{Draft, Refused, Revision};
pub use edit::{Edit, Entry, edited};
pub use folder::{Folder, JOB_FILE, JobEntry, LEDGER_FILE, PLAN_FOLDER, free_name, write_whole};
pub use house::{HOUSE_FILE, set_units, units_of};
pub use intake::{LastPhoto, Lay, NotTaken, Taken, by_size, free_id, take, trace_again};
pub use job_stand::{JobStand, job_stand, kits_begun};
pub use kit::KITS_FOLDER;
pub use known_cloths::{known_cloths, nearest_cloth};
pub use learnt::{Learnt, PartBefore, Spread, learnt_of};
pub use library::{Change, Library};
pub use mould_change::{HandsOf, hands_of, lay_of_mould, off_mould, template_of_mould};
pub use offcut_box::{BoxWish, holds, offcut_shape, offcuts_wished};
pub use offcut_photo::{
    NotSeen, OFFCUT_PHOTOS, OffcutPicture, OffcutSeen, WarpBy, offcut_booked, offcut_picture,
    offcut_put_aside, offcut_rev, offcut_seen, take_offcut, trace_offcut_again, waiting_offcuts,
};
pub use open_job::{OpenJob, read_plan};
pub use outline_file::{OutlineData, PhotoUnder, notes_of, outline_drawing};
pub use plan_files::plan_files;
pub use planning::{News, Phase, Picture, Planning, Settings};
pub use projecting::{
    Cutting, Light, Projecting, Shown, Standing, Step, Stop as CutStop, bench_in_photo,
};
pub use removal::{Uses, is_example, uses_of};
pub use stock_file::{faults_of, read_stock};
pub use stock_seen::StockSeen;
pub use takers::Sought;
pub use values::Values;
