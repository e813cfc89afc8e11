//! The OpenAPI document against the server: the same paths, and every answer has exactly the
//! described fields, samples showing every one.

use std::collections::BTreeSet;

use analysis::metrics::catalogue::CATALOGUE;
use serde_json::{Map, Value};

use super::rig::{Rig, health, live, replay, swing, unarchived};
use crate::web::Statics;
use crate::web::api::{ROUTES, operations};

/// The part that is written by hand: its every field is checked against answers here.
fn document() -> Value {
    serde_json::from_str(include_str!("../openapi.json")).unwrap()
}

/// All of it, as served.
fn served() -> Value {
    serde_json::from_str(crate::web::api::document()).unwrap()
}

#[test]
fn document_and_router_have_the_same_paths() {
    let document = document();
    assert!(document["openapi"].as_str().unwrap().starts_with("3.1."));
    let described: BTreeSet<_> = document["paths"]
        .as_object()
        .unwrap()
        .keys()
        .map(String::as_str)
        .collect();
    let routed: BTreeSet<_> = ROUTES.iter().map(|(path, _)| *path).collect();
    assert_eq!(described, routed);
    for operation in operations() {
        let described = &served()["paths"][operation.path][operation.method];
        assert!(described["operationId"].is_string(), "{}", operation.path);
    }
}

#[test]
fn every_reference_of_the_served_document_leads_somewhere() {
    fn check(all: &Value, value: &Value) {
        if let Some(reference) = value["$ref"].as_str() {
            assert!(all.pointer(&reference[1..]).is_some(), "{reference}");
        }
        let inside: Vec<&Value> = match value {
            Value::Object(object) => object.values().collect(),
            Value::Array(items) => items.iter().collect(),
            _ => Vec::new(),
        };
        inside.into_iter().for_each(|v| check(all, v));
    }
    check(&served(), &served());
}

#[test]
fn every_unit_of_the_catalogue_is_listed() {
    let document = document();
    let units = &document["components"]["schemas"]["Metric"]["properties"]["unit"]["enum"];
    let listed: BTreeSet<&str> = units
        .as_array()
        .unwrap()
        .iter()
        .filter_map(Value::as_str)
        .collect();
    for family in CATALOGUE {
        assert!(listed.contains(family.unit.symbol()), "{}", family.id);
    }
}

#[test]
fn operations_have_unique_names_and_every_path_parameter() {
    let document = served();
    let mut names = BTreeSet::new();
    let methods = |item: &Value| -> Vec<Value> {
        let known = ["get", "post", "put", "delete"];
        let found = known.iter().filter_map(|m| item.get(m).cloned());
        found.collect()
    };
    let items = document["paths"].as_object().unwrap().iter();
    for (path, item, operation) in
        items.flat_map(|(path, item)| methods(item).into_iter().map(move |o| (path, item, o)))
    {
        let name = operation["operationId"].as_str().unwrap().to_owned();
        assert!(names.insert(name), "{path} twice");
        let in_path: Vec<_> = path
            .split('/')
            .filter_map(|p| p.strip_prefix('{')?.strip_suffix('}'))
            .collect();
        let of = |v: &Value| v["parameters"].as_array().cloned().unwrap_or_default();
        let parameters = [of(item), of(&operation)].concat();
        let described: Vec<_> = parameters
            .iter()
            .map(|p| follow(&document, p))
            .filter(|p| p["in"] == "path")
            .map(|p| p["name"].as_str().unwrap())
            .collect();
        assert_eq!(in_path, described, "{path}");
    }
}

#[tokio::test]
async fn answers_are_as_described() {
    let rig = Rig::start(Statics::Embedded).await;
    let mut check = Check::new(document());
    let bay_without_health = rig.get("/api/v1/bays/north").await.json();
    check.answer("/api/v1/bays/{bay}", "200", &bay_without_health);
    rig.hub.publish(health(3, 10));
    rig.hub.publish(swing("a", 1));
    rig.hub.publish(unarchived("a"));
    rig.hub.keep_replay(replay("a"));
    rig.hub.live(live(1.0));
    // The socket and the page of numbers answer in no JSON.
    let json = |path: &str| !["/ws", "/metrics"].contains(&path);
    for (template, _) in ROUTES.iter().filter(|(path, _)| json(path)) {
        let path = template.replace("{bay}", "north").replace("{id}", "a");
        let answer = rig.get(&path).await;
        assert_eq!(
            (answer.status, answer.header("content-type")),
            (200, "application/json"),
            "{path}"
        );
        check.answer(template, "200", &answer.json());
    }
    let problem = rig.get("/api/v1/bays/west").await.json();
    check.answer("/api/v1/bays/{bay}", "404", &problem);
    check.answer("/ws", "400", &rig.get("/ws").await.json());
    assert_eq!(
        check.never_seen(),
        Vec::<String>::new(),
        "described, but in no answer"
    );
    rig.stop().await;
}

#[test]
fn the_check_itself_finds_what_is_wrong() {
    let problem = |change: fn(&mut Value)| {
        let mut value = serde_json::json!({
            "type": "about:blank", "title": "Not Found", "status": 404, "code": "bay.not_found", "detail": "x"
        });
        change(&mut value);
        std::panic::catch_unwind(|| Check::new(document()).answer("/ws", "400", &value)).is_ok()
    };
    assert!(problem(|_| {}));
    assert!(
        !problem(|p| p["extra"] = 1.into()),
        "a field that is not described"
    );
    assert!(
        !problem(|p| drop(p.as_object_mut().unwrap().remove("code"))),
        "a field that is missing"
    );
    assert!(!problem(|p| p["status"] = "404".into()), "another type");
    assert!(!problem(|p| p["type"] = "other".into()), "another constant");
}

/// The schema that a `$ref` stands for, or the value itself.
fn follow<'a>(document: &'a Value, schema: &'a Value) -> &'a Value {
    match schema["$ref"].as_str() {
        Some(reference) => document
            .pointer(reference.strip_prefix('#').unwrap())
            .expect(reference),
        None => schema,
    }
}

/// Checks values against schemas, strictly: what is not described is wrong too. Knows the words of
/// JSON Schema that our document uses.
struct Check {
    document: Value,
    /// Properties that some value had, as `schema/property`.
    seen: BTreeSet<String>,
}

impl Check {
    fn new(document: Value) -> Self {
        Self {
            document,
            seen: BTreeSet::new(),
        }
    }

    fn answer(&mut self, path: &str, status: &str, value: &Value) {
        let document = self.document.clone();
        let response = follow(
            &document,
            &document["paths"][path]["get"]["responses"][status],
        );
        let content = response["content"]
            .as_object()
            .unwrap_or_else(|| panic!("{path} {status}"));
        let schema = &content.values().next().unwrap()["schema"];
        self.value(schema, value, path)
            .unwrap_or_else(|why| panic!("{why}"));
    }

    fn value(&mut self, schema: &Value, value: &Value, at: &str) -> Result<(), String> {
        let document = self.document.clone();
        let name = schema["$ref"]
            .as_str()
            .map_or(at, |r| r.rsplit('/').next().unwrap())
            .to_owned();
        let schema = follow(&document, schema);
        if let Some(options) = schema["anyOf"].as_array() {
            let fits = options
                .iter()
                .any(|option| self.value(option, value, at).is_ok());
            return fits
                .then_some(())
                .ok_or(format!("{at}: {value} fits nothing"));
        }
        let constant = schema.get("const").is_none_or(|c| c == value);
        let listed = schema["enum"].as_array().is_none_or(|e| e.contains(value));
        if !constant || !listed || !typed(schema, value) {
            return Err(format!("{at}: {value} is not as in {schema}"));
        }
        if let (Some(items), Some(list)) = (schema.get("items"), value.as_array()) {
            return list
                .iter()
                .try_for_each(|item| self.value(items, item, &format!("{name}[]")));
        }
        value
            .as_object()
            .map_or(Ok(()), |object| self.object(schema, object, &name))
    }

    fn object(
        &mut self,
        schema: &Value,
        object: &Map<String, Value>,
        name: &str,
    ) -> Result<(), String> {
        if let Some(each) = schema.get("additionalProperties") {
            return object
                .iter()
                .try_for_each(|(key, value)| self.value(each, value, &format!("{name}/{key}")));
        }
        let Some(properties) = schema["properties"].as_object() else {
            return Ok(());
        };
        let required = schema["required"].as_array().cloned().unwrap_or_default();
        if let Some(missing) = required
            .iter()
            .find(|r| !object.contains_key(r.as_str().unwrap()))
        {
            return Err(format!("{name}: {missing} is missing"));
        }
        for (key, value) in object {
            let schema = properties
                .get(key)
                .ok_or(format!("{name}: {key} is not described"))?;
            self.seen.insert(format!("{name}/{key}"));
            self.value(schema, value, &format!("{name}/{key}"))?;
        }
        Ok(())
    }

    /// Properties of the named schemas that no value had.
    fn never_seen(&self) -> Vec<String> {
        let schemas = self.document["components"]["schemas"].as_object().unwrap();
        let properties = |(name, schema): (&String, &Value)| {
            let keys: Vec<_> = schema["properties"]
                .as_object()
                .into_iter()
                .flat_map(Map::keys)
                .cloned()
                .collect();
            keys.into_iter()
                .map(|key| format!("{name}/{key}"))
                .collect::<Vec<_>>()
        };
        schemas
            .iter()
            .flat_map(properties)
            .filter(|p| !self.seen.contains(p))
            .collect()
    }
}

/// Whether a value has one of the schema's types; a whole number is an integer and a number.
fn typed(schema: &Value, value: &Value) -> bool {
    let is = |name: &Value| match name.as_str().unwrap() {
        "null" => value.is_null(),
        "integer" => value.is_i64() || value.is_u64(),
        "number" => value.is_number(),
        "boolean" => value.is_boolean(),
        "string" => value.is_string(),
        "array" => value.is_array(),
        "object" => value.is_object(),
        unknown => panic!("type {unknown} is new to this test"),
    };
    match &schema["type"] {
        Value::Null => true,
        Value::Array(several) => several.iter().any(is),
        one => is(one),
    }
}
