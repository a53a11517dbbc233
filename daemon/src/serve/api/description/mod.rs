//! The API's description, completed: what every endpoint has in common is said once.

mod written;

use super::{Handlers, ROUTES};
use crate::serve::access::pairing::COOKIE;
use crate::serve::api_error::ErrorBody;
use crate::serve::hub::SwingExtra;
use crate::serve::hub::pose::Pose;
use crate::serve::hub::reach::Reach;
use peakorder_protocol::event::LiveEvent;
use utoipa::OpenApi;
use utoipa::openapi::path::{Operation, PathItem};
use utoipa::openapi::request_body::{RequestBody, RequestBodyBuilder};
use utoipa::openapi::schema::{ObjectBuilder, Schema, SchemaType, Type};
use utoipa::openapi::security::{ApiKey, ApiKeyValue, SecurityRequirement, SecurityScheme};
use utoipa::openapi::{
    Components, ContentBuilder, HeaderBuilder, Ref, RefOr, Required, Response, ResponseBuilder,
};
pub(in crate::serve) use written::name_schema;
pub(in crate::serve::api) use written::{NewRemark, StreamEvent, about_schema};

/// The head of the API's description.
#[derive(OpenApi)]
#[openapi(
    info(
        title = "peakorderd",
        description = "The running lesson, players, sessions. Every change needs Content-Type: application/json. \
                   Streams are server-sent events (text/event-stream): `event` is the kind, `id` the number, `data` \
                   one JSON object or list: LiveEvent, SwingExtra (swing_extra), StrapStatus (straps, a list), \
                   Doing, Remarks, Usual (usual, a list), Pose, Reach. They go on until the client or peakorderd ends."
    ),
    components(schemas(LiveEvent, SwingExtra, Pose, Reach, ErrorBody))
)]
pub(super) struct Description;

/// When an answer can come.
#[derive(Clone, Copy, PartialEq)]
enum Comes {
    Always,
    /// Where a device must be paired.
    Paired,
    /// Where the path names something.
    Named,
    /// Where something is changed.
    Change,
    /// Where a body is read.
    Body,
    /// Where the endpoint says so.
    Told,
}

/// Every answer that is an error: status, name in the description, when, what it means.
const ERRORS: [(&str, &str, Comes, &str); 15] = [
    ("400", "BadRequest", Comes::Always, "the host, a parameter or the body's JSON cannot be read"),
    ("401", "NotPaired", Comes::Paired, "the device is not paired"),
    ("403", "Forbidden", Comes::Always, "a page of another site asks, or a viewer's device may not"),
    ("404", "NotFound", Comes::Named, "nothing has that name"),
    ("405", "MethodNotAllowed", Comes::Always, "the address does not take that method"),
    ("408", "RequestTimeout", Comes::Body, "the body did not come in time"),
    ("409", "Conflict", Comes::Told, "not in the present state"),
    ("413", "PayloadTooLarge", Comes::Body, "the body is too large"),
    ("415", "UnsupportedMediaType", Comes::Change, "the change is not sent as application/json"),
    ("421", "MisdirectedRequest", Comes::Always, "the host that is named is not this computer's"),
    ("422", "Unprocessable", Comes::Body, "the body does not say what it must"),
    ("429", "TooManyRequests", Comes::Always, "too many requests from this device"),
    ("431", "HeadTooLarge", Comes::Always, "the head of the request is too large"),
    ("500", "InternalError", Comes::Always, "something failed in peakorderd or on its disk"),
    ("503", "Unavailable", Comes::Told, "something that is needed cannot be used now"),
];

/// A number as the key of a JSON object.
const NUMBER_KEY: &str = "^(0|[1-9][0-9]{0,9})$";

/// What the handlers say of themselves, and of every endpoint what all have in common.
///
/// # Panics
/// Where the routes are not those that the handlers say.
pub(super) fn complete() -> utoipa::openapi::OpenApi {
    let mut api = Description::openapi().nest("/api/v1", Handlers::openapi());
    let mut described: Vec<(String, String)> = Vec::new();
    for (path, item) in &mut api.paths.paths {
        let PathItem { get, put, post, delete, .. } = item;
        let methods = [("get", get), ("put", put), ("post", post), ("delete", delete)];
        let there = methods.into_iter().filter(|(_, operation)| operation.is_some());
        described.extend(there.map(|(method, _)| (method.to_owned(), path.clone())));
    }
    let mut routed: Vec<(String, String)> =
        ROUTES.iter().map(|(method, path)| ((*method).to_owned(), format!("/api/v1{path}"))).collect();
    described.sort();
    routed.sort();
    assert_eq!(routed, described, "a handler is described with another path than it is routed at");
    for (path, item) in &mut api.paths.paths {
        for (change, operation) in operations(item) {
            complete_operation(path, change, operation);
        }
    }
    let components = api.components.get_or_insert_with(Components::new);
    for schema in components.schemas.values_mut() {
        keys_are_text(schema);
    }
    for (_, name, _, text) in ERRORS {
        components.responses.insert(name.into(), RefOr::T(response(name, text)));
    }
    let cookie = ApiKey::Cookie(ApiKeyValue::with_description(
        COOKIE,
        "Set when a device is paired. Where peakorderd listens on a loopback address, none is needed.",
    ));
    components.security_schemes.insert(COOKIE.into(), RefOr::T(SecurityScheme::ApiKey(cookie)));
    api
}

/// The operations at a path, and whether they change something.
fn operations(item: &mut PathItem) -> impl Iterator<Item = (bool, &mut Operation)> {
    let PathItem { get, put, post, delete, .. } = item;
    let changes = [put, post, delete].into_iter().flatten().map(|o| (true, o));
    get.iter_mut().map(|o| (false, o)).chain(changes)
}

fn complete_operation(path: &str, change: bool, operation: &mut Operation) {
    let pairs = path.ends_with("/pair");
    let summary = operation.summary.clone().unwrap_or_default();
    let answers = &mut operation.responses.responses;
    for answer in answers.values_mut() {
        if let RefOr::T(answer) = answer
            && answer.description.is_empty()
        {
            answer.description.clone_from(&summary);
        }
    }
    let reads_body = operation.request_body.is_some();
    if change && !reads_body {
        operation.request_body = Some(RefOr::T(unread_body()));
    }
    for (status, name, comes, _) in ERRORS {
        let told = answers.get(status).map(|answer| match answer {
            RefOr::T(answer) => answer.description.clone(),
            RefOr::Ref(answer) => answer.description.clone(),
        });
        let can_come = match comes {
            Comes::Always => true,
            Comes::Paired => !pairs,
            Comes::Named => path.contains('{'),
            Comes::Change => change,
            Comes::Body => reads_body,
            Comes::Told => false,
        };
        if !can_come && told.is_none() {
            continue;
        }
        let mut shared = Ref::new(format!("#/components/responses/{name}"));
        shared.description = told.filter(|text| *text != summary).unwrap_or_default();
        answers.insert(status.into(), RefOr::Ref(shared));
    }
    if !pairs {
        let paired = SecurityRequirement::new::<_, [&str; 0], &str>(COOKIE, []);
        operation.security = Some(vec![paired, SecurityRequirement::default()]);
    }
}

/// The body of a change that needs none.
fn unread_body() -> RequestBody {
    let anything = ObjectBuilder::new().schema_type(SchemaType::AnyValue).build();
    RequestBodyBuilder::new()
        .description(Some(
            "Not read. A change without Content-Type: application/json is refused, because a page of another site \
             could send it.",
        ))
        .content("application/json", ContentBuilder::new().schema(Some(anything)).build())
        .required(Some(Required::True))
        .build()
}

/// The answer of that name.
fn response(name: &str, text: &str) -> Response {
    let mut response = ResponseBuilder::new().description(text);
    // A head that is too large is refused before the API sees it, without a body.
    if name != "HeadTooLarge" {
        let body = ContentBuilder::new().schema(Some(Ref::from_schema_name("ErrorBody"))).build();
        response = response.content("application/json", body);
    }
    let header = match name {
        "TooManyRequests" => Some((
            "Retry-After",
            "seconds until the next is answered",
            ObjectBuilder::new().schema_type(SchemaType::new(Type::Integer)).minimum(Some(1)).build(),
        )),
        "MethodNotAllowed" => Some((
            "Allow",
            "the methods that the address takes",
            ObjectBuilder::new().schema_type(SchemaType::new(Type::String)).build(),
        )),
        _ => None,
    };
    if let Some((key, about, schema)) = header {
        response =
            response.header(key, HeaderBuilder::new().schema(Some(schema)).description(Some(about)).build());
    }
    response.build()
}

/// The keys of a JSON object are text, also where they are numbers here.
fn keys_are_text(schema: &mut RefOr<Schema>) {
    let RefOr::T(Schema::Object(object)) = schema else { return };
    if let Some(keys) = &mut object.property_names
        && matches!(&**keys, Schema::Object(key) if key.schema_type == SchemaType::new(Type::Integer))
    {
        **keys = Schema::Object(
            ObjectBuilder::new().schema_type(SchemaType::new(Type::String)).pattern(Some(NUMBER_KEY)).build(),
        );
    }
    object.properties.values_mut().for_each(keys_are_text);
}
