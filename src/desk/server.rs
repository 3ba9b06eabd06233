//! What the page asks the server, and what it is told.

use super::change::Change;
use super::commands::{self, From, typed};
use super::copy::Copy;
use super::fault::Fault;
use super::folder::{Held, Out, TO_FETCH};
use super::guard::{Guard, guard};
use super::listen::whole;
use super::state::{Desk, Side};
use super::steps::Way;
use super::words;
use crate::engrave;
use crate::instrument::Instruments;
use crate::musicxml::LARGEST_TEXT;
use axum::body::Bytes;
use axum::extract::{DefaultBodyLimit, Path, Query, State};
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Json, Router, middleware};
use serde::Deserialize;
use serde_json::{Value, json};
use std::ffi::OsString;
use std::sync::Arc;
use std::time::Duration;

/// Bytes of a question; those of a score are more.
const MOST: usize = 1 << 20;
/// Lines that are drawn at once.
const MOST_LINES: usize = 64;

type Answer = Result<Json<Value>, Fault>;
type Of = State<Arc<Desk>>;

impl IntoResponse for Fault {
    fn into_response(self) -> Response {
        let (status, stale, told) = match self {
            Fault::Stale(told) => (StatusCode::CONFLICT, true, told),
            Fault::Told(told) => (StatusCode::UNPROCESSABLE_ENTITY, false, told),
        };
        (status, Json(json!({ "fault": told, "stale": stale }))).into_response()
    }
}

/// All that a desk answers.
pub fn router(desk: Arc<Desk>, guarded: Arc<Guard>, patience: Duration) -> Router {
    let scores = post(choose).layer(DefaultBodyLimit::max(LARGEST_TEXT as usize));
    Router::new()
        .route("/", get(|| page("index.html")))
        .route("/page/{file}", get(|Path(file): Path<String>| async move { page(&file).await }))
        .route("/letters.css", get(letters))
        .route("/state", get(async |State(desk): Of| desk.state().await.map(Json)))
        .route("/pair", get(async |State(desk): Of| desk.pair().await.map(Json)))
        .route("/otherwise", get(async |State(desk): Of| desk.otherwise().await.map(Json)))
        .route("/instruments", get(instruments))
        .route("/shapes", get(shapes))
        .route("/staves/{part}", get(pieces))
        .route("/staves/{part}/{piece}", get(staves))
        .route(
            "/compass/{part}",
            get(async |State(desk): Of, Path(part): Path<usize>| desk.compass(part).await.map(Json)),
        )
        .route("/copy", get(copy))
        .route("/copy/lines", get(lines))
        .route("/copy/range", get(range))
        .route("/keys", get(keys))
        .route("/events", get(async |State(desk): Of| desk.tabs.listen()))
        .route("/change", post(change))
        .route(
            "/undo",
            post(async |State(desk): Of, Json(asked): Json<Turn>| desk.turn(asked.version, Way::Back).await.map(Json)),
        )
        .route(
            "/redo",
            post(async |State(desk): Of, Json(asked): Json<Turn>| {
                desk.turn(asked.version, Way::Forward).await.map(Json)
            }),
        )
        .route("/hand-out", post(hand_out))
        .route("/practice", post(practice))
        .route("/files/{name}", get(file))
        .route("/goodbye", post(async |State(desk): Of| desk.tabs.goodbye()))
        .layer(DefaultBodyLimit::max(MOST))
        .route("/choose/{side}", scores)
        .fallback(async || (StatusCode::NOT_FOUND, "There is nothing of this name."))
        .layer(middleware::from_fn_with_state(patience, whole))
        .layer(middleware::from_fn_with_state(guarded, guard))
        .with_state(desk)
}

/// The files of the page.
async fn page(name: &str) -> Response {
    match super::page::FILES.iter().find(|file| file.0 == name) {
        Some((_, kind, text)) => ([(header::CONTENT_TYPE, *kind)], *text).into_response(),
        None => (StatusCode::NOT_FOUND, "There is nothing of this name.").into_response(),
    }
}

/// The fonts that staves are measured with.
async fn letters() -> Response {
    let style = super::page::letters();
    ([(header::CONTENT_TYPE, "text/css; charset=utf-8")], style).into_response()
}

async fn instruments() -> Json<Value> {
    let all = Instruments::standard();
    Json(json!(all.iter().map(|i| &i.name).collect::<Vec<_>>()))
}

/// In how many pieces a part is drawn, or why it is not: then there is its compass.
async fn pieces(State(desk): Of, Path(part): Path<usize>) -> Answer {
    Ok(Json(match desk.pieces(part).await {
        Ok(pieces) => json!({ "pieces": pieces }),
        Err(Fault::Told(why)) => json!({ "pieces": 0, "why": why }),
        Err(fault) => return Err(fault),
    }))
}

async fn staves(State(desk): Of, Path((part, piece)): Path<(usize, usize)>) -> Answer {
    Ok(Json(json!(*desk.staves(part, piece).await?)))
}

/// Shapes and beginnings of staves that the page does not have.
#[derive(Deserialize)]
struct Known {
    shapes: usize,
    heads: usize,
}

async fn shapes(State(desk): Of, Query(Known { shapes, heads }): Query<Known>) -> Json<Value> {
    Json(desk.drawings.shapes([shapes, heads]))
}

#[derive(Deserialize)]
struct Width {
    width: u32,
}

async fn copy(State(desk): Of, Query(Width { width }): Query<Width>) -> Answer {
    Ok(Json(desk.lines(width.clamp(500, 4000)).await?))
}

#[derive(Deserialize)]
struct Keys {
    keys: String,
}

async fn lines(State(desk): Of, Query(Keys { keys }): Query<Keys>) -> Answer {
    let keys = keys.split(',').take(MOST_LINES).map(String::from).collect();
    let drawn = desk.drawings.drawn(keys).await?;
    Ok(Json(drawn.iter().map(|(key, one)| (key.clone(), json!(**one))).collect::<serde_json::Map<_, _>>().into()))
}

/// What leaves the instrument's range in the copy.
async fn range(State(desk): Of) -> Answer {
    let (_, copy, opened) = desk.copy().await?;
    let told = tokio::task::spawn_blocking(move || copy.range(&opened.parts)).await;
    Ok(Json(json!(told.map_err(|fault| fault.to_string())??)))
}

/// What a command says of the part of a copy on an instrument.
async fn on_instrument(command: &str, copy: &Copy, instrument: &str, part: usize) -> Answer {
    let mut args: Vec<OsString> = vec![command.into(), copy.path().into(), "--format=json".into()];
    args.extend([format!("--instrument={instrument}").into(), format!("--part={}", part + 1).into()]);
    let said = commands::run(args).await?;
    Ok(Json(serde_json::from_str(&said.text).map_err(|fault| fault.to_string())?))
}

#[derive(Deserialize)]
struct OnInstrument {
    instrument: String,
}

/// Every key on an instrument, the best first.
async fn keys(State(desk): Of, Query(OnInstrument { instrument }): Query<OnInstrument>) -> Answer {
    let copy = desk.plain_copy().await?;
    on_instrument("keys", &copy, &instrument, desk.wanted().await?.part).await
}

#[derive(Deserialize)]
struct Asked {
    version: u64,
    change: Change,
}

async fn change(State(desk): Of, Json(asked): Json<Asked>) -> Answer {
    Ok(Json(desk.change(asked.version, asked.change).await?))
}

#[derive(Deserialize)]
struct Turn {
    version: u64,
}

#[derive(Deserialize)]
struct Given {
    version: u64,
    name: String,
}

async fn choose(State(desk): Of, Path(side): Path<Side>, Query(given): Query<Given>, bytes: Bytes) -> Answer {
    Ok(Json(desk.choose(given.version, side, &given.name, &bytes).await?))
}

/// Writes all that is handed out, by the command that is told.
async fn hand_out(State(desk): Of, Json(asked): Json<Turn>) -> Answer {
    let wanted = desk.wanted_as_shown(asked.version).await?;
    let Some([edition, source]) = wanted.settings.files() else {
        return Err("choose an edition and a source first".into());
    };
    if wanted.marks.is_some()
        && let Some(told) = words::without_place(&desk.copy().await?.1.lost())
    {
        return Err(told.into());
    }
    let there = |held: Held, text: &Option<String>| text.as_ref().map(|_| desk.folder.file(held.file()));
    let from = From {
        edition,
        source,
        decisions: there(Held::Decisions, &wanted.decisions),
        marks: there(Held::Marks, &wanted.marks),
    };
    let file = |out: Out| desk.folder.file(out.file());
    let option = |name: &str, out: Out| format!("--{name}={}", file(out).display());
    let mut options = [wanted.settings.lines.options(), wanted.settings.player.options()].concat();
    options.push(option("notes", Out::Notes));
    if engrave::IS_BUILT_IN {
        options.push(option("pdf", Out::Pages));
        options.extend(wanted.settings.pages.options());
    }
    let args = from.clean(&file(Out::Copy), &options);
    let command = typed(&args);
    let said = commands::run([args, vec!["--format=json".into()]].concat()).await?;
    let told: Value = serde_json::from_str(&said.text).map_err(|fault| fault.to_string())?;
    let files: Vec<&str> = TO_FETCH.iter().map(|file| file.0).filter(|name| desk.folder.file(name).is_file()).collect();
    Ok(Json(json!({ "told": told, "remarks": said.remarks, "command": command, "files": files })))
}

/// Writes a practice sheet of the copy that was handed out.
async fn practice(State(desk): Of, Json(asked): Json<Turn>) -> Answer {
    let wanted = desk.wanted_as_shown(asked.version).await?;
    let file = |out: Out| desk.folder.file(out.file());
    let copy = file(Out::Copy);
    if !copy.is_file() {
        return Err("write the files first; the practice sheet is made of the clean part".into());
    }
    let player = &wanted.settings.player;
    let mut args: Vec<OsString> = vec!["exercises".into(), copy.into(), "-o".into(), file(Out::Practice).into()];
    args.push(format!("--part={}", wanted.part + 1).into());
    let instrument = player.written_for.as_ref().or(player.instrument.as_ref());
    args.extend(instrument.map(|name| format!("--instrument={name}").into()));
    if engrave::IS_BUILT_IN {
        args.push(format!("--pdf={}", file(Out::PracticePages).display()).into());
        args.extend(wanted.settings.pages.paper.iter().map(|paper| format!("--paper={paper}").into()));
    }
    let command = typed(&args);
    let said = commands::run([args, vec!["--format=json".into()]].concat()).await?;
    let told: Value = serde_json::from_str(&said.text).map_err(|fault| fault.to_string())?;
    let written = told["stretches"].as_array().is_some_and(|stretches| !stretches.is_empty());
    let all = [Out::PracticePages, Out::Practice].map(Out::file);
    let files: Vec<&str> = all.into_iter().filter(|name| written && desk.folder.file(name).is_file()).collect();
    Ok(Json(json!({ "told": told, "remarks": said.remarks, "command": command, "files": files })))
}

/// A file of the folder, of those that are handed out.
async fn file(State(desk): Of, Path(name): Path<String>) -> Response {
    let Some((name, kind)) = TO_FETCH.iter().find(|file| file.0 == name) else {
        return (StatusCode::NOT_FOUND, "There is nothing of this name.").into_response();
    };
    match tokio::fs::read(desk.folder.file(name)).await {
        Ok(bytes) => {
            let saved = format!("attachment; filename=\"{name}\"");
            ([(header::CONTENT_TYPE, *kind), (header::CONTENT_DISPOSITION, saved.as_str())], bytes).into_response()
        }
        Err(_) => (StatusCode::NOT_FOUND, "This has not been written yet.").into_response(),
    }
}
