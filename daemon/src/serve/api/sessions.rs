//! Sessions, running and past.

use super::extract::{Path, Query, on_disk};
use crate::serve::access::pairing::Device;
use crate::serve::api_error::ApiError;
use crate::serve::app_state::AppState;
use crate::serve::hub::views::{EarlierSwings, LessonView};
use crate::serve::library::Library;
use crate::serve::past_lesson;
use crate::serve::viewers;
use axum::extract::State;
use axum::http::header;
use axum::response::{Html, IntoResponse as _, Response};
use axum::{Extension, Json};
use peakorder_analysis::against::Against;
use peakorder_analysis::chosen::{Chosen, Family};
use peakorder_analysis::compare::{self, Comparison, Question};
use peakorder_analysis::curves::{self, Curve, CurveChange};
use peakorder_analysis::json;
use peakorder_analysis::load::Loaded;
use peakorder_analysis::picture::{self, Layout};
use peakorder_analysis::report::Choice;
use serde::Deserialize;
use std::collections::BTreeSet;
use std::sync::Arc;

/// One session, as the lesson in the state.
#[cfg_attr(feature = "openapi", utoipa::path(get, path = "/sessions/{id}", params(("id" = String, Path, description = "session's id", min_length = 1, max_length = 255)),
    responses((status = 200, body = LessonView))))]
pub(super) async fn session(
    State(app): State<Arc<AppState>>,
    Extension(device): Extension<Device>,
    Path(id): Path<String>,
) -> Result<Json<LessonView>, ApiError> {
    if let Some(view) = app.hub.with_session(&id, |l| l.view()) {
        let hide = app.viewers.hide_names_from(device);
        return Ok(Json(if hide { viewers::without_names(view) } else { view }));
    }
    let library = Arc::clone(&app.library);
    on_disk(move || past_lesson::lesson(&library, &id)).await.map(Json)
}

/// The curves of one swing.
#[cfg_attr(feature = "openapi", utoipa::path(get, path = "/sessions/{id}/swings/{n}/curves",
    params(("id" = String, Path, description = "session's id", min_length = 1, max_length = 255), ("n" = u32, Path, description = "swing's number", minimum = 0, maximum = 4_294_967_295_u32)),
    responses((status = 200, body = past_lesson::CurvesView))))]
pub(super) async fn curves(
    State(app): State<Arc<AppState>>,
    Path((id, n)): Path<(String, u32)>,
) -> Result<Json<past_lesson::CurvesView>, ApiError> {
    let library = Arc::clone(&app.library);
    on_disk(move || past_lesson::curves(&library, &id, n)).await.map(Json)
}

/// Which swings.
#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::IntoParams))]
#[cfg_attr(feature = "openapi", into_params(parameter_in = Query))]
pub(super) struct Before {
    /// Those before this number; by default all.
    #[serde(default = "all")]
    #[cfg_attr(feature = "openapi", param(minimum = 0, maximum = 4_294_967_295_u32, required = false))]
    before: u32,
}

fn all() -> u32 {
    u32::MAX
}

/// The swings of a session, and what is known of them.
#[cfg_attr(feature = "openapi", utoipa::path(get, path = "/sessions/{id}/swings", operation_id = "earlier_swings",
    params(("id" = String, Path, description = "session's id", min_length = 1, max_length = 255), Before),
    responses((status = 200, body = EarlierSwings))))]
pub(super) async fn swings(
    State(app): State<Arc<AppState>>,
    Path(id): Path<String>,
    Query(of): Query<Before>,
) -> Result<Json<EarlierSwings>, ApiError> {
    if let Some(view) = app.hub.with_session(&id, |l| l.view()) {
        return Ok(Json(view.before(of.before)));
    }
    let library = Arc::clone(&app.library);
    let view = on_disk(move || past_lesson::lesson(&library, &id)).await?;
    Ok(Json(view.before(of.before)))
}

/// One swing against the player's own baseline, measure by measure.
#[cfg_attr(feature = "openapi", utoipa::path(get, path = "/sessions/{id}/swings/{n}/against",
    params(("id" = String, Path, description = "session's id", min_length = 1, max_length = 255), ("n" = u32, Path, description = "swing's number", minimum = 0, maximum = 4_294_967_295_u32)),
    responses((status = 200, body = Vec<Against>))))]
pub(super) async fn against(
    State(app): State<Arc<AppState>>,
    Path((id, n)): Path<(String, u32)>,
) -> Result<Json<Vec<Against>>, ApiError> {
    if let Some(known) = app.hub.with_session(&id, |l| l.state.extra(n).map(Arc::clone)) {
        let known = known.ok_or_else(|| ApiError::unknown(format!("there is no swing {n} yet")))?;
        return Ok(Json(known.against.clone()));
    }
    let library = Arc::clone(&app.library);
    on_disk(move || past_lesson::against(&library, &id, n)).await.map(Json)
}

/// The blocks that the report compares.
#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::IntoParams))]
#[cfg_attr(feature = "openapi", into_params(parameter_in = Query))]
pub(super) struct Blocks {
    /// Before; by default the block `baseline`, or else the first.
    before: Option<String>,
    /// After; by default the last other block with swings.
    after: Option<String>,
    /// With the coach's appendix: all numbers, curves, notes of swings.
    #[serde(default)]
    appendix: bool,
}

/// The lesson as one self-contained sheet to print and take home.
#[cfg_attr(feature = "openapi", utoipa::path(get, path = "/sessions/{id}/report",
    params(("id" = String, Path, description = "session's id", min_length = 1, max_length = 255), Blocks),
    responses((status = 200, content_type = "text/html", body = String),
        (status = 422, description = "a block is compared with itself"))))]
pub(super) async fn report(
    State(app): State<Arc<AppState>>,
    Path(id): Path<String>,
    Query(blocks): Query<Blocks>,
) -> Result<Response, ApiError> {
    // The style is in the page; nothing else is loaded, and no script runs.
    const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; \
        form-action 'none'; frame-ancestors 'none'";
    let library = Arc::clone(&app.library);
    let choice = Choice { before: blocks.before, after: blocks.after, appendix: blocks.appendix };
    let page = on_disk(move || past_lesson::report(&library, &id, &choice)).await?;
    Ok(([(header::CONTENT_SECURITY_POLICY, POLICY)], Html(page)).into_response())
}

/// Two sides, each `ID:BLOCK`; `ID` alone is the whole session.
#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::IntoParams))]
#[cfg_attr(feature = "openapi", into_params(parameter_in = Query))]
pub(super) struct Sides {
    /// Before.
    a: String,
    /// After.
    b: String,
    /// Keys of the measures that it is about, with commas, each with `=SMALLEST` if need be; by default what the coach chose in the
    /// session of `b`.
    #[cfg_attr(feature = "openapi", param(schema_with = super::description::about_schema, required = false))]
    about: Option<String>,
    /// Ids of more sessions, with commas: what each has of the block of `a` belongs to before as well.
    #[cfg_attr(feature = "openapi", param(max_length = 1000))]
    also: Option<String>,
    /// Also where along the swing speed and turn of `a` and `b` differ (`curves` of the document); takes a moment.
    #[serde(default)]
    curves: bool,
    /// Also pictures (`picture` of the document), drawn for a place so many pixels wide.
    #[cfg_attr(feature = "openapi", param(minimum = 240, maximum = 2000))]
    picture: Option<u32>,
}

/// Before against after: the document `peakorder.compare/1` of `peakorder compare --json`.
#[cfg_attr(feature = "openapi", utoipa::path(get, path = "/compare", params(Sides),
    responses((status = 200, body = Object), (status = 404, description = "there is no such session or block"),
        (status = 422, description = "the sides cannot be compared"))))]
pub(super) async fn compare(
    State(app): State<Arc<AppState>>,
    Query(sides): Query<Sides>,
) -> Result<Json<json::Compare>, ApiError> {
    let library = Arc::clone(&app.library);
    on_disk(move || -> Result<_, ApiError> {
        let before = side(&library, &sides.a)?;
        let after = side(&library, &sides.b)?;
        let family = match sides.about.as_deref().filter(|a| !a.is_empty()) {
            None => Family::of_remarks(&after.remarks),
            Some(keys) => chosen(keys)?,
        };
        let block = sides.a.split_once(':').map(|(_, block)| block);
        let ids = sides.also.iter().flat_map(|a| a.split(',')).filter(|a| !a.is_empty());
        let names: Vec<String> =
            ids.map(|id| block.map_or_else(|| id.to_owned(), |b| format!("{id}:{b}"))).collect();
        let also: Vec<Loaded> = names.iter().map(|n| side(&library, n)).collect::<Result<_, _>>()?;
        let mut worn_anew = Vec::new();
        let mut whole = None;
        let folder = |text: &str| text.split_once(':').map_or(text, |(id, _)| id).to_owned();
        let ids: BTreeSet<String> =
            [&sides.a, &sides.b].into_iter().chain(&names).map(|n| folder(n)).collect();
        for id in ids {
            let session = library.load(&id, None)?;
            worn_anew.extend(session.worn_anew());
            if id == folder(&sides.b) {
                whole = Some(session);
            }
        }
        let question = Question {
            before: &before,
            also_before: &also,
            after: &after,
            worn_anew: &worn_anew,
            family: &family,
        };
        let mut compared = compare::answer(question).map_err(|e| ApiError::bad(e.to_string()))?;
        let curves = sides.curves.then(|| curves_of(&before, &after, &compared)).transpose()?;
        let of = |whole| picture::Sides { before: &before, also_before: &also, after: &after, whole };
        let picture = sides.picture.zip(whole.as_ref()).and_then(|(width, whole)| {
            picture::picture(&compared, of(whole), Layout::Screen(f64::from(width.clamp(240, 2000))))
        });
        for (side, name) in compared.also_before.iter_mut().zip(names) {
            side.name = name;
        }
        // The sides are named as in the request, so that no folder of this computer is told.
        compared.before.name = sides.a;
        compared.after.name = sides.b;
        Ok(json::Compare::with(&compared, curves.as_ref(), picture.as_ref()))
    })
    .await
    .map(Json)
}

/// Whose months.
#[derive(Debug, Deserialize)]
#[cfg_attr(feature = "openapi", derive(utoipa::IntoParams))]
#[cfg_attr(feature = "openapi", into_params(parameter_in = Query))]
pub(super) struct OfMonths {
    /// Id of the player; of sessions without one the player's name.
    player: String,
    /// Keys of the measures, with commas; by default what the coach chose last.
    #[cfg_attr(feature = "openapi", param(schema_with = super::description::about_schema, required = false))]
    about: Option<String>,
    /// The block that the trend follows.
    #[serde(default = "baseline")]
    block: String,
    /// The pictures are drawn so many pixels wide.
    #[serde(default = "usual_width")]
    #[cfg_attr(feature = "openapi", param(minimum = 240, maximum = 2000))]
    width: u32,
}

fn baseline() -> String {
    past_lesson::BASELINE.into()
}

const fn usual_width() -> u32 {
    760
}

/// A player's lessons over months: where each began and ended, what was left the next time, and the trend of what the player
/// brought, as in `peakorder kept` and `peakorder trend`, with pictures: the document `peakorder.months/1`.
#[cfg_attr(feature = "openapi", utoipa::path(get, path = "/months", params(OfMonths),
    responses((status = 200, body = Object), (status = 404, description = "the player has no session"),
        (status = 409, description = "no measure is named, and none was chosen"))))]
pub(super) async fn months(
    State(app): State<Arc<AppState>>,
    Query(of): Query<OfMonths>,
) -> Result<Json<json::Months>, ApiError> {
    let library = Arc::clone(&app.library);
    on_disk(move || -> Result<_, ApiError> {
        past_lesson::has_sessions(&library, &of.player)?;
        let about = of.about.as_deref().filter(|a| !a.is_empty()).map(chosen).transpose()?;
        let (kept, trend) = past_lesson::months(&library, &of.player, &of.block, about)?;
        let width = f64::from(of.width.clamp(240, 2000));
        Ok(json::Months::of(&kept, &trend, (width, 260.0)))
    })
    .await
    .map(Json)
}

/// Measures by their keys, with commas.
fn chosen(keys: &str) -> Result<Family, ApiError> {
    let chosen: Result<Vec<Chosen>, _> = keys.split(',').map(str::parse).collect();
    Ok(Family::Chosen(chosen.map_err(|e| ApiError::bad(e.to_string()))?))
}

/// The curves of the swings that the comparison rests on.
fn curves_of(before: &Loaded, after: &Loaded, compared: &Comparison) -> Result<CurveChange, ApiError> {
    let side = |loaded: &Loaded, side: &compare::Side| curves::load(loaded, &side.summary.used, &Curve::ALL);
    let same_session = compared.before.session == compared.after.session;
    curves::compare(&side(before, &compared.before), &side(after, &compared.after), same_session)
        .map_err(|e| ApiError::bad(format!("curves not compared: {e}")))
}

/// Splits `ID:BLOCK`; ids have no colon.
fn side(library: &Library, text: &str) -> Result<Loaded, ApiError> {
    let (id, block) = text.split_once(':').map_or((text, None), |(id, block)| (id, Some(block)));
    Ok(library.load(id, block)?)
}
