//! The page: a server for this computer's browser through which the whole job is done. A thin
//! client of `workshop`: it words, draws and forwards; no rule of the trade stands here.

mod app;
mod assets;
mod begun;
mod box_page;
mod buttons;
mod by_hand;
mod cloth_into_library;
mod connections;
mod corners;
mod cut_page;
mod door;
mod editor;
mod fields;
mod form;
mod frame;
mod guard;
mod home;
mod intake;
mod item_age;
mod item_page;
mod job_cloths;
mod job_page;
mod lay_page;
mod learnt;
mod library_page;
mod mould_choice;
mod moulds;
mod new_cloth;
mod offcut_photos;
mod pictures;
mod plan_page;
mod planning;
mod plies;
mod projector;
mod second;
mod sections;
mod sent_photo;
mod sheets_page;
mod stock_page;
mod takers_page;
mod throwing;
mod ticks;
mod visit;
mod waiting_offcuts;
mod wall_clock;
mod words;

use app::{App, Device};
use axum::extract::{DefaultBodyLimit, Extension};
use axum::http::StatusCode;
use axum::middleware::{from_fn, from_fn_with_state};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Router, extract::Request, middleware::Next};
use connections::Counted;
use door::PORT;
use guard::{Guard, guarded};
use std::net::{IpAddr, Ipv4Addr, SocketAddr, TcpListener};
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;
use visit::Visit;
use warpwise::fault::Fault;
use warpwise::fault::Faults;
use warpwise::workshop::Folder;

/// Largest form, bytes; files come by [`intake`], which has a limit of its own.
const LARGEST_FORM: usize = 1 << 20;

/// A request that is not whole after this time is given up.
const SLOWEST: Duration = Duration::from_secs(120);

/// A server that was set up and does not run yet.
pub struct Server {
    listener: TcpListener,
    /// Where second devices come in.
    second: Option<TcpListener>,
    app: Arc<App>,
    /// The address to open, with its key.
    pub link: String,
    /// The address for second devices, with its key.
    pub second_link: Option<String>,
}

/// Sets a server up for a workshop's folder, on a port of the loopback address: the one asked for,
/// else the usual one, else any that is free. With `on_network` a second device is let in to look
/// and send photos, at that address or the one this computer has in its network.
///
/// # Errors
/// The folder is none, or no port can be had.
pub fn set_up(
    root: &Path,
    port: Option<u16>,
    on_network: Option<Option<IpAddr>>,
) -> Result<Server, Faults> {
    let folder = Folder::open(root)?;
    let bind = |port: u16| TcpListener::bind(SocketAddr::from((Ipv4Addr::LOCALHOST, port)));
    let listener = match port {
        Some(port) => bind(port).map_err(|e| {
            Fault::new(
                said!("port {port} cannot be had: {e}"),
                "leave out --port, or name a free one",
            )
        })?,
        None => bind(PORT).or_else(|_| bind(0)).map_err(|e| {
            Fault::new(said!("no port can be had: {e}"), "check the network settings")
        })?,
    };
    let trouble =
        |e: std::io::Error| Fault::new(said!("the page cannot be set up: {e}"), "try again");
    listener.set_nonblocking(true).map_err(trouble)?;
    let port = listener.local_addr().map_err(trouble)?.port();
    let guard = Arc::new(Guard::new(port).map_err(trouble)?);
    let link = format!("http://127.0.0.1:{port}/?key={}", guard.key());
    let (second, door) = on_network.map(door::open).transpose()?.unzip();
    let second_link = door.as_ref().map(|door| door.link.clone());
    let app = Arc::new(App::new(folder, guard, door));
    Ok(Server { listener, second, app, link, second_link })
}

impl Server {
    /// Serves until `stop` says so; plans that are being made then are not written.
    ///
    /// # Errors
    /// The machine's.
    pub fn run(self, stop: impl Fn() -> bool + Send + 'static) -> std::io::Result<()> {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
        runtime.block_on(async move {
            let listener = Counted::new(tokio::net::TcpListener::from_std(self.listener)?);
            let (app, second) = (Arc::clone(&self.app), self.second);
            // A long ledger is read while the browser starts; what is wrong is said on the page.
            let early = Arc::clone(&self.app);
            tokio::task::spawn_blocking(move || drop(early.stock()));
            let router = router(self.app);
            let looking = async move {
                match second {
                    Some(listener) => {
                        let listener = tokio::net::TcpListener::from_std(listener)?;
                        axum::serve(Counted::new(listener), router_to_look(app)).await
                    }
                    None => std::future::pending().await,
                }
            };
            let stopped = async move {
                while !stop() {
                    tokio::time::sleep(Duration::from_millis(50)).await;
                }
            };
            tokio::select! {
                served = axum::serve(listener, router) => served,
                served = looking => served,
                () = stopped => Ok(()),
            }
        })
    }
}

fn router(app: Arc<App>) -> Router {
    let guard = Arc::clone(&app.guard);
    Router::new()
        .route("/", get(home::show))
        .route("/jobs", post(home::begin))
        .route("/language", get(home::language_chosen))
        .route("/units", post(home::units_chosen))
        .route("/card", get(home::card))
        .route("/asset/{*name}", get(assets::show))
        .route("/job/{job}/{step}", get(job_page::show))
        .route("/cloths", get(library_page::show))
        .route("/cloths/edit", post(library_page::edit))
        .route("/cloths/undo", post(library_page::undo))
        .route("/cloths/redo", post(library_page::redo))
        .route("/cloths/sheet/{id}", get(library_page::sheet))
        .route("/job/{job}/cloth-into-library", post(cloth_into_library::into_library))
        .route("/job/{job}/mould", post(mould_choice::chosen))
        .route("/job/{job}/mould-photo/{index}", get(moulds::photo))
        .route("/job/{job}/edit", post(job_page::edit))
        .route("/job/{job}/lay-as", post(job_page::lay_as))
        .route("/job/{job}/undo", post(job_page::undo))
        .route("/job/{job}/redo", post(job_page::redo))
        .route("/job/{job}/shape", post(intake::shape))
        .route("/job/{job}/kept/{file}", get(intake::kept))
        .route("/job/{job}/watch", get(job_page::watch))
        .route("/job/{job}/bench/state", get(ticks::state))
        .route("/job/{job}/bench/tick", post(ticks::tick))
        .route("/job/{job}/bench/recut", post(ticks::recut))
        .route("/job/{job}/lay/step/{sheet}/{step}", get(lay_page::pictures))
        .route("/job/{job}/lay/record", post(lay_page::record))
        .route("/job/{job}/kit/{file}", get(lay_page::file))
        .route("/job/{job}/plan/begin", post(planning::begin))
        .route("/job/{job}/plan/stop", post(planning::stop))
        .route("/job/{job}/plan/back", post(planning::back))
        .route("/job/{job}/plan/live", get(plan_page::live))
        .route("/job/{job}/plan/file/{*file}", get(plan_page::file))
        .route("/job/{job}/by-hand", get(by_hand::show))
        .route("/job/{job}/by-hand/table", get(by_hand::table))
        .route("/job/{job}/by-hand/judge", post(by_hand::judge))
        .route("/job/{job}/by-hand/nearest", post(by_hand::nearest))
        .route("/job/{job}/by-hand/lay", post(by_hand::lay))
        .route("/job/{job}/by-hand/pin", post(by_hand::pin))
        .route("/job/{job}/by-hand/back", post(by_hand::back))
        .route("/job/{job}/by-hand/around", post(by_hand::around))
        .route("/job/{job}/pages", get(sheets_page::pages))
        .route("/job/{job}/print/{what}", get(sheets_page::print))
        .route("/job/{job}/look/{what}", get(sheets_page::look))
        .route("/job/{job}/page/{what}", get(sheets_page::page_picture))
        .route("/job/{job}/printed-true", post(sheets_page::printed_true))
        .route("/job/{job}/book", post(stock_page::book))
        .route("/job/{job}/outline/{index}", get(editor::show).post(editor::save))
        .route("/job/{job}/photo/{index}", get(editor::photo))
        .route("/job/{job}/untraced", get(corners::list))
        .route("/job/{job}/corners/{photo}", get(corners::show).post(corners::trace))
        .route("/job/{job}/corners/{photo}/photo", get(corners::photo))
        .route("/job/{job}/project", get(throwing::show).post(throwing::begin))
        .route("/job/{job}/project/now", get(throwing::cutting_now))
        .route("/projector", get(projector::show))
        .route("/projector/bench", post(projector::choose))
        .route("/projector/show", post(projector::show_what))
        .route("/projector/keep", post(projector::keep))
        .route("/projector/lengths", post(projector::lengths))
        .route("/projector/forget", post(projector::forget))
        .route("/projector/answer", post(projector::answer))
        .route("/projector/style", post(projector::styled))
        .route("/projector/throw", get(throwing::throw))
        .route("/projector/light", get(throwing::light))
        .route("/projector/watch", get(throwing::watch))
        .route("/projector/marks", post(throwing::dragged))
        .route("/projector/step", post(throwing::step))
        .route("/stock", get(stock_page::show))
        .route("/stock/add", post(stock_page::add))
        .route("/stock/find", get(box_page::find))
        .route("/stock/scan", get(item_page::scan))
        .route("/stock/label", get(item_page::label))
        .route("/stock/item/{id}", get(item_page::show))
        .route("/stock/gone", post(item_page::gone))
        .route("/stock/photo/{name}", get(offcut_photos::show))
        .route("/stock/photo/{name}/{which}", get(offcut_photos::picture))
        .route("/stock/photo/{name}/again", post(offcut_photos::again))
        .route("/stock/photo/{name}/book", post(offcut_photos::book))
        .route("/stock/photo/{name}/aside", post(offcut_photos::aside))
        .route("/job/{job}/takers", get(takers_page::show))
        .route("/stock/move", post(stock_page::move_items))
        .route("/stock/remove", post(stock_page::remove))
        .route("/stock/flaw", post(stock_page::remove_flaw))
        .route("/stock/undo", post(stock_page::undo))
        .route("/stock/labels", get(stock_page::labels))
        .layer(DefaultBodyLimit::max(LARGEST_FORM))
        .route(
            "/projector/photo",
            post(projector::photo).layer(DefaultBodyLimit::max(intake::LARGEST_FILE)),
        )
        .route(
            "/cloths/sheet",
            post(library_page::take_sheet).layer(DefaultBodyLimit::max(intake::LARGEST_FILE)),
        )
        .route(
            "/stock/take",
            post(offcut_photos::take).layer(DefaultBodyLimit::max(intake::LARGEST_FILE)),
        )
        .route(
            "/job/{job}/take",
            post(intake::take).layer(DefaultBodyLimit::max(intake::LARGEST_FILE)),
        )
        .route(
            "/job/{job}/lay/photo",
            post(lay_page::photo).layer(DefaultBodyLimit::max(intake::LARGEST_FILE)),
        )
        .fallback(nothing_here)
        .layer(Extension(Device::First))
        .layer(from_fn(in_time))
        .layer(from_fn_with_state(guard, guarded))
        .with_state(app)
}

/// What a second device may reach: it looks, ticks what is cut and laid and which offcut or roll is
/// used up or thrown away, and sends photos. What it calls spoiled is planned again, as it is for
/// anyone.
fn router_to_look(app: Arc<App>) -> Router {
    let guard = app.door.as_ref().map_or_else(|| Arc::clone(&app.guard), |d| Arc::clone(&d.guard));
    Router::new()
        .route("/", get(second::home))
        .route("/stock", get(second::stock))
        .route("/cloths", get(library_page::look))
        .route("/cloths/sheet/{id}", get(library_page::sheet))
        .route("/stock/find", get(box_page::find))
        .route("/stock/scan", get(item_page::scan))
        .route("/stock/label", get(item_page::label))
        .route("/stock/item/{id}", get(item_page::show))
        .route("/stock/gone", post(item_page::gone))
        .route("/stock/photo/{name}", get(offcut_photos::show))
        .route("/stock/photo/{name}/{which}", get(offcut_photos::picture))
        .route("/stock/photo/{name}/again", post(offcut_photos::again))
        .route("/job/{job}/takers", get(takers_page::show))
        .route("/language", get(home::language_chosen))
        .route("/asset/{*name}", get(assets::show))
        .route("/job/{job}/all", get(second::job))
        .route("/job/{job}/cut", get(second::cut))
        .route("/job/{job}/lay", get(second::lay))
        .route("/job/{job}/bench/state", get(ticks::state))
        .route("/job/{job}/bench/tick", post(second::tick))
        .route("/job/{job}/bench/recut", post(ticks::recut))
        .route("/job/{job}/lay/step/{sheet}/{step}", get(lay_page::pictures))
        .route("/job/{job}/kit/{file}", get(lay_page::file))
        .route("/job/{job}/plan/file/{*file}", get(plan_page::file))
        .route("/job/{job}/print/{what}", get(sheets_page::print))
        .route("/job/{job}/look/{what}", get(sheets_page::look))
        .route("/job/{job}/page/{what}", get(sheets_page::page_picture))
        .layer(DefaultBodyLimit::max(LARGEST_FORM))
        .route(
            "/job/{job}/take",
            post(second::take).layer(DefaultBodyLimit::max(intake::LARGEST_FILE)),
        )
        .route(
            "/job/{job}/lay/photo",
            post(second::photo).layer(DefaultBodyLimit::max(intake::LARGEST_FILE)),
        )
        .route(
            "/stock/take",
            post(offcut_photos::take).layer(DefaultBodyLimit::max(intake::LARGEST_FILE)),
        )
        .fallback(second::not_here)
        .method_not_allowed_fallback(second::not_here)
        .layer(Extension(Device::Second))
        .layer(from_fn(in_time))
        .layer(from_fn_with_state(guard, guarded))
        .with_state(app)
}

/// Gives a request up that never becomes whole. Answers that go on, such as what a page watches,
/// begin at once and are not bound by it.
async fn in_time(request: Request, next: Next) -> Response {
    match tokio::time::timeout(SLOWEST, next.run(request)).await {
        Ok(response) => response,
        Err(_) => (StatusCode::REQUEST_TIMEOUT, "the request took too long\n").into_response(),
    }
}

async fn nothing_here(Visit { app: _, words, .. }: Visit) -> Response {
    let fault = Fault::new(words.t("refused.nothing"), words.t("refused.look"));
    frame::refused(&words, StatusCode::NOT_FOUND, &fault.into())
}
