//! The shapes as a JSON Schema (draft 2020-12), so that editors can complete and check.

use serde_json::{Map, Value, json};

use super::{Kind, Shape, all_shapes};

/// The JSON Schema of a file whose outermost table has this shape.
///
/// ```
/// let schema = machine::shape::json_schema(&machine::shape::MACHINE_FILE);
/// assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema");
/// ```
#[must_use]
pub fn json_schema(root: &'static Shape) -> Value {
    let definitions: Map<String, Value> =
        all_shapes(root).into_iter().map(|shape| (shape.name.to_string(), table_schema(shape))).collect();
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": root.name,
        "description": root.about,
        "$ref": format!("#/$defs/{}", root.name),
        "$defs": definitions,
    })
}

fn table_schema(shape: &'static Shape) -> Value {
    let properties: Map<String, Value> = shape
        .keys
        .iter()
        .map(|key| {
            let mut schema = kind_schema(&key.kind);
            if let Some(object) = schema.as_object_mut() {
                object.insert("description".to_string(), json!(format!("{} Example: {}", key.about, key.example)));
            }
            (key.name.to_string(), schema)
        })
        .collect();
    let required: Vec<&str> = shape.keys.iter().filter(|key| key.required).map(|key| key.name).collect();
    json!({
        "type": "object",
        "description": shape.about,
        "properties": properties,
        "required": required,
        "additionalProperties": false,
    })
}

fn reference(shape: &Shape) -> Value {
    json!({ "$ref": format!("#/$defs/{}", shape.name) })
}

fn one_or_list(member: &Value) -> Value {
    json!({ "anyOf": [member, { "type": "array", "items": member }] })
}

fn kind_schema(kind: &'static Kind) -> Value {
    let time = json!({ "type": "string", "pattern": "^\\s*([tT]|TIME|time)#[0-9]" });
    match kind {
        Kind::Text | Kind::Effect => json!({ "type": "string" }),
        Kind::OneOf(words) => json!({ "type": "string", "enum": words }),
        Kind::Texts | Kind::Condition => one_or_list(&json!({ "type": "string" })),
        Kind::Whole => json!({ "type": "integer", "minimum": 0 }),
        Kind::Number => json!({ "type": "number" }),
        Kind::Flag => json!({ "type": "boolean" }),
        Kind::Date => json!({ "type": "string" }),
        Kind::Time => time,
        Kind::TimeOrSetting => json!({ "type": ["string", "integer"] }),
        Kind::Chance => json!({ "anyOf": [
            { "type": "string", "pattern": "^\\s*[0-9.]+\\s*(%|in\\s+[0-9.]+)?\\s*$" },
            { "type": "number", "minimum": 0, "maximum": 1 },
        ] }),
        Kind::Percent => json!({ "type": ["string", "number"] }),
        Kind::Version => json!({ "type": ["string", "number"] }),
        Kind::Table(shape) => reference(shape),
        Kind::Tables(shape) => one_or_list(&reference(shape)),
        Kind::Named(inner) => json!({ "type": "object", "additionalProperties": kind_schema(inner) }),
        Kind::List(inner) => list_schema(inner),
        Kind::TextOr(short, shape) => json!({ "anyOf": [kind_schema(short), reference(shape)] }),
        Kind::ValueOr(shape) => json!({ "anyOf": [time, { "type": "integer", "minimum": 0 }, reference(shape)] }),
        Kind::Translations => json!({ "type": "object" }),
    }
}

fn list_schema(inner: &'static Kind) -> Value {
    let member = kind_schema(inner);
    let by_name = json!({ "type": "object", "additionalProperties": member });
    match inner {
        Kind::Table(_) => json!({ "anyOf": [{ "type": "array", "items": member }, by_name] }),
        _ => one_or_list(&member),
    }
}
