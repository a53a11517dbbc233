//! Schemas that a type's shape does not give.

use crate::serve::api::lesson::{self, DETAIL_LIMIT, MarkNow};
use crate::serve::library::players::NAME_LIMIT;
use crate::serve::remarks::TargetRequest;
use peakorder_analysis::measure::Measure;
use peakorder_protocol::log::MarkKind;
use peakorder_protocol::mobility::Posture;
use peakorder_protocol::remark::{CHOSEN_LIMIT, LABEL_LIMIT, LABELS_LIMIT, TEXT_LIMIT};
use serde_json::json;
use utoipa::openapi::{RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

/// A remark to add, as the description has it; the endpoint reads it as [`What`](peakorder_protocol::remark::What).
pub(in crate::serve::api) struct NewRemark;

impl PartialSchema for NewRemark {
    fn schema() -> RefOr<Schema> {
        let what = |word: &str| json!({ "type": "string", "enum": [word] });
        let number = json!({ "type": "integer", "minimum": 1, "maximum": u32::MAX });
        let text = json!({ "type": "string", "maxLength": TEXT_LIMIT });
        let keys: Vec<String> = Measure::ALL.into_iter().map(Measure::key).collect();
        schema(json!({
            "description": "A remark to add.",
            "oneOf": [
                {
                    "type": "object", "required": ["what", "swing", "labels"],
                    "description": "What the ball did. Replaces the swing's earlier labels; an empty list removes them.",
                    "properties": {
                        "what": what("outcome"),
                        "swing": number,
                        "labels": {
                            "type": "array", "maxItems": LABELS_LIMIT,
                            "items": { "type": "string", "maxLength": LABEL_LIMIT },
                        },
                    },
                },
                {
                    "type": "object", "required": ["what", "swing", "text"],
                    "description": "A note of a swing: replaces its earlier note, an empty text removes it.",
                    "properties": { "what": what("note"), "swing": number, "text": text },
                },
                {
                    "type": "object", "required": ["what", "text"],
                    "description": "A note of the lesson: added to the others.",
                    "properties": {
                        "what": what("note"),
                        "swing": { "type": "null" },
                        "text": { "type": "string", "minLength": 1, "maxLength": TEXT_LIMIT, "pattern": "\\S" },
                    },
                },
                {
                    "type": "object", "required": ["what", "swing", "excluded"],
                    "description": "Leaves a swing out of every summary, or takes it in again. Its files stay.",
                    "properties": {
                        "what": what("exclude"),
                        "swing": number,
                        "excluded": { "type": "boolean" },
                        "reason": text,
                    },
                },
                {
                    "type": "object", "required": ["what", "block", "every_swing"],
                    "description": "Every swing of a block hits a ball: then those count of which the straps could not tell.",
                    "properties": {
                        "what": what("balls"),
                        "block": text,
                        "every_swing": { "type": "boolean", "enum": [true] },
                        "without_ball": { "type": "boolean", "enum": [false] },
                    },
                },
                {
                    "type": "object", "required": ["what", "block", "every_swing"],
                    "description": "A block is without a ball: then its swings without a strike count, and no others. Or, of neither, nothing is said.",
                    "properties": {
                        "what": what("balls"),
                        "block": text,
                        "every_swing": { "type": "boolean", "enum": [false] },
                        "without_ball": { "type": "boolean" },
                    },
                },
                {
                    "type": "object", "required": ["what", "block", "name"],
                    "description": "Gives a block another name; its swings and what is said of it go with it.",
                    "properties": {
                        "what": what("rename"),
                        "block": text,
                        "name": {
                            "type": "string", "minLength": 1, "maxLength": LABEL_LIMIT,
                            "pattern": r"^[^\u0000-\u001f\u007f-\u009f]*[^\s\u0000-\u001f\u007f-\u009f][^\u0000-\u001f\u007f-\u009f]*$",
                        },
                    },
                },
                {
                    "type": "object", "required": ["what", "swing"],
                    "description": "Whether one swing hit a ball, whatever the straps felt; null takes that away.",
                    "properties": {
                        "what": what("ball"),
                        "swing": number,
                        "struck": { "type": ["boolean", "null"] },
                    },
                },
                {
                    "type": "object", "required": ["what", "measures"],
                    "description": "What the lesson is about, from now on; an empty list ends it. These numbers get the verdicts.",
                    "properties": {
                        "what": what("chosen"),
                        "measures": {
                            "type": "array", "maxItems": CHOSEN_LIMIT,
                            "items": {
                                "type": "object", "required": ["measure"],
                                "properties": {
                                    "measure": { "type": "string", "enum": keys, "description": "See /measures; one that stands there twice counts once, as at first." },
                                    "matters": {
                                        "type": ["number", "null"], "exclusiveMinimum": 0,
                                        "description": "Smallest change that matters, in the measure's unit.",
                                    },
                                },
                            },
                        },
                    },
                },
                {
                    "type": "object", "required": ["what", "text"],
                    "description": "What the player is to practise until the next lesson: replaces the text before, an empty one removes it.",
                    "properties": { "what": what("practise"), "text": text },
                },
                {
                    "type": "object", "required": ["what", "id"],
                    "description": "Takes back the remark of that id. It cannot itself be taken back.",
                    "properties": { "what": what("undo"), "id": { "type": "integer", "minimum": 0, "maximum": u32::MAX } },
                },
            ],
        }))
    }
}

impl ToSchema for NewRemark {}

/// One event of a stream, as the description has it.
pub(in crate::serve::api) struct StreamEvent;

impl PartialSchema for StreamEvent {
    fn schema() -> RefOr<Schema> {
        schema(json!({
            "type": "object",
            "description": "One event; the stream is a sequence of them.",
            "required": ["event", "data"],
            "properties": {
                "event": { "type": "string", "description": "What it tells." },
                "id": { "type": "string", "pattern": "^[0-9]+$", "description": "Its number." },
                "data": {
                    "type": "string", "contentMediaType": "application/json",
                    "description": "One JSON object or list.",
                },
            },
        }))
    }
}

impl ToSchema for StreamEvent {}

impl PartialSchema for MarkNow {
    fn schema() -> RefOr<Schema> {
        let mark = |kinds: &[MarkKind]| json!({ "type": "string", "enum": kinds.iter().map(|k| k.as_str()).collect::<Vec<_>>() });
        let others: Vec<MarkKind> = MarkKind::ALL
            .into_iter()
            .filter(|k| !matches!(k, MarkKind::Block | MarkKind::Drill | MarkKind::TurnStart))
            .collect();
        schema(json!({
            "description": "A mark at the present moment.",
            "oneOf": [
                {
                    "type": "object", "required": ["mark"],
                    "description": "A guided movement begins or ends, the straps were put on again, or a note.",
                    "properties": {
                        "mark": mark(&others),
                        "detail": { "type": "string", "maxLength": DETAIL_LIMIT, "description": "A note's text." },
                    },
                },
                {
                    "type": "object", "required": ["mark", "detail"],
                    "description": "A block of swings, or of a drill's repetitions without a ball, begins: its label.",
                    "properties": { "mark": mark(&[MarkKind::Block, MarkKind::Drill]), "detail": line(lesson::LABEL_LIMIT) },
                },
                {
                    "type": "object", "required": ["mark", "detail"],
                    "description": "A mobility turn begins: how the player turns.",
                    "properties": {
                        "mark": mark(&[MarkKind::TurnStart]),
                        "detail": { "type": "string", "enum": Posture::ALL.map(Posture::key) },
                    },
                },
            ],
        }))
    }
}

impl ToSchema for MarkNow {}

impl PartialSchema for TargetRequest {
    fn schema() -> RefOr<Schema> {
        let measures: Vec<String> =
            Measure::ALL.into_iter().filter(|m| !m.means_only()).map(Measure::key).collect();
        // Either a change or a value; the other is absent or null.
        let with = |given: &str, other: &str, about: &str| {
            json!({
                "type": "object",
                "required": ["measure", given],
                "description": about,
                "properties": {
                    "measure": { "type": "string", "enum": measures, "description": "See /measures." },
                    given: { "type": "number", "description": "In the measure's unit." },
                    other: { "type": "null" },
                    "at_most": { "type": "boolean", "description": "With a value: at most this much instead of at least." },
                    "block": { "type": "string", "description": "The block it is for; empty = every block from now on." },
                    "margin": {
                        "type": ["number", "null"], "minimum": 0,
                        "description": "Short by no more than this is nearly; in the measure's unit.",
                    },
                },
            })
        };
        schema(json!({
            "description": "One number for a drill.",
            "oneOf": [
                with("change", "value", "A difference from the baseline in the person's sense: + is more."),
                with("value", "change", "A fixed value; for turns at the top its size."),
            ],
        }))
    }
}

impl ToSchema for TargetRequest {}

/// A player's name.
pub(in crate::serve) fn name_schema() -> RefOr<Schema> {
    schema(line(NAME_LIMIT))
}

/// Keys of measures with commas, each with the smallest change that matters if need be; may be empty.
pub(in crate::serve::api) fn about_schema() -> RefOr<Schema> {
    let keys = Measure::ALL.map(Measure::key).join("|");
    let one = format!("(?:{keys})(?:=[1-9][0-9]{{0,3}}(?:\\.[0-9]{{1,3}})?)?");
    schema(
        serde_json::json!({ "type": "string", "maxLength": 1000, "pattern": format!("^(?:{one}(?:,{one})*)?$") }),
    )
}

/// A schema that a type's shape does not give.
fn schema(json: serde_json::Value) -> RefOr<Schema> {
    serde_json::from_value(json).expect("a schema written in this program is one")
}

/// One line that is not blank, of at most `limit` characters.
fn line(limit: usize) -> serde_json::Value {
    json!({
        "type": "string",
        "minLength": 1,
        "maxLength": limit,
        "pattern": "^[^\\u0000-\\u001f\\u007f-\\u009f]*[^\\s\\u0000-\\u001f\\u007f-\\u009f][^\\u0000-\\u001f\\u007f-\\u009f]*$",
    })
}
