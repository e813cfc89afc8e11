//! The OpenAPI document: what is written by hand about the live bay (`openapi.json`), and the rest from the
//! table of operations with the schemas of their types.

use std::sync::OnceLock;

use axum::routing::MethodRouter;
use schemars::generate::SchemaSettings;
use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde_json::{Map, Value, json};

use crate::web::server::Shared;

/// What is written by hand.
const WRITTEN: &str = include_str!("../openapi.json");

/// Puts a type's schema into the document and refers to it.
pub(super) type Shape = fn(&mut SchemaGenerator) -> Schema;

/// One operation of the API.
#[derive(Clone, Copy)]
pub(in crate::web) struct Operation {
    /// `get`, `post`, `put` or `delete`.
    pub(in crate::web) method: &'static str,
    pub(in crate::web) path: &'static str,
    /// What answers.
    pub(in crate::web) made: fn() -> MethodRouter<Shared>,
    pub(super) id: &'static str,
    pub(super) summary: &'static str,
    /// Parameters of the query with what they do.
    pub(super) query: &'static [(&'static str, &'static str)],
    /// The body that is sent.
    pub(super) body: Option<Shape>,
    /// Whether the body is a file's bytes instead.
    pub(super) file: bool,
    /// The body of the answer.
    pub(super) answer: Shape,
}

/// The shape of a type.
pub(super) fn shape<T: JsonSchema>(generator: &mut SchemaGenerator) -> Schema {
    generator.subschema_for::<T>()
}

/// The document, made once.
pub(in crate::web) fn document(operations: impl Iterator<Item = Operation>) -> &'static str {
    static MADE: OnceLock<String> = OnceLock::new();
    MADE.get_or_init(|| written_out(operations).to_string())
}

fn written_out(operations: impl Iterator<Item = Operation>) -> Value {
    // Our own file: a test reads it.
    let mut document: Value = serde_json::from_str(WRITTEN).unwrap_or_default();
    let settings = SchemaSettings::draft2020_12().with(|s| {
        s.definitions_path = "/components/schemas".into();
    });
    let mut generator = settings.into_generator();
    for operation in operations {
        let described = describe(&operation, &mut generator);
        document["paths"][operation.path][operation.method] = described;
    }
    let known = document["components"]["schemas"].as_object_mut();
    if let Some(known) = known {
        for (name, schema) in generator.take_definitions(true) {
            // What is written by hand says more.
            known.entry(name).or_insert(schema);
        }
    }
    document
}

fn describe(operation: &Operation, generator: &mut SchemaGenerator) -> Value {
    let in_path = operation.path.split('/').filter_map(|part| {
        let name = part.strip_prefix('{')?.strip_suffix('}')?;
        Some(
            json!({ "name": name, "in": "path", "required": true, "schema": { "type": "string" } }),
        )
    });
    let in_query = operation.query.iter().map(|(name, words)| {
        json!({ "name": name, "in": "query", "description": words, "schema": { "type": "string" } })
    });
    let answer = (operation.answer)(generator);
    let mut described = Map::from_iter([
        ("operationId".into(), operation.id.into()),
        ("summary".into(), operation.summary.into()),
        ("parameters".into(), in_path.chain(in_query).collect()),
        (
            "responses".into(),
            json!({
                "200": { "description": "Done", "content": { "application/json": { "schema": answer } } },
                "default": { "$ref": "#/components/responses/Problem" },
            }),
        ),
    ]);
    if let Some(body) = operation.body {
        let body = json!({ "required": true, "content": { "application/json": { "schema": body(generator) } } });
        described.insert("requestBody".into(), body);
    }
    if operation.file {
        let bytes = json!({ "type": "string", "format": "binary" });
        let body = json!({ "required": true, "content": { "application/octet-stream": { "schema": bytes } } });
        described.insert("requestBody".into(), body);
    }
    Value::Object(described)
}
