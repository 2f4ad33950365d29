//! Generates a JSON Schema (draft 2020-12) from the tables in [`super::shape`], so that editors can complete and validate the files.

use super::shape::{LONGEST_EXPRESSION, LONGEST_TEXT, Object, Shape, TextFor};
use serde_json::{Map, Value, json};

/// The schema of a file that consists of one `object`.
pub fn schema(title: &str, object: &'static Object) -> Value {
    let mut definitions = Map::new();
    let mut whole = object_schema(object, &mut definitions);
    let head = whole.as_object_mut();
    if let Some(head) = head {
        head.insert("$schema".to_owned(), json!("https://json-schema.org/draft/2020-12/schema"));
        head.insert("title".to_owned(), json!(title));
        head.insert("$defs".to_owned(), Value::Object(definitions));
    }
    whole
}

fn object_schema(object: &Object, definitions: &mut Map<String, Value>) -> Value {
    let mut properties = Map::new();
    for field in object.fields {
        let mut of = shape_schema(&field.shape, definitions);
        if let Some(of) = of.as_object_mut() {
            of.insert("description".to_owned(), json!(field.about));
        }
        properties.insert(field.name.to_owned(), of);
    }
    let required: Vec<&str> = object.fields.iter().filter(|f| f.needed).map(|f| f.name).collect();
    json!({"type": "object", "additionalProperties": false, "required": required, "properties": properties})
}

fn shape_schema(shape: &Shape, definitions: &mut Map<String, Value>) -> Value {
    match shape {
        Shape::Text(TextFor::Id) => json!({"type": "string", "pattern": "^[a-z][a-z0-9_-]*$"}),
        Shape::Text(TextFor::Expression) => {
            json!({"type": ["string", "number"], "minLength": 1, "maxLength": LONGEST_EXPRESSION})
        }
        Shape::Text(_) => json!({"type": "string", "minLength": 1, "maxLength": LONGEST_TEXT}),
        Shape::Number(least, most) => {
            let mut number = json!({"type": "number", "minimum": least});
            if let Some(number) = number.as_object_mut().filter(|_| *most < f64::MAX) {
                number.insert("maximum".to_owned(), json!(most));
            }
            number
        }
        Shape::Whole(least, most) => json!({"type": "integer", "minimum": least, "maximum": most}),
        Shape::Truth => json!({"type": "boolean"}),
        Shape::OneOf(_, names) => json!({"enum": names()}),
        Shape::List(least, most, item) => {
            let mut list = json!({"type": "array", "minItems": least, "items": shape_schema(item, definitions)});
            if let Some(list) = list.as_object_mut().filter(|_| *most < usize::MAX) {
                list.insert("maxItems".to_owned(), json!(most));
            }
            list
        }
        Shape::Dict(least, keys, value) => {
            let mut dict = json!({"type": "object", "minProperties": least});
            if let Some(dict) = dict.as_object_mut() {
                if *keys == TextFor::Id {
                    dict.insert("propertyNames".to_owned(), shape_schema(&Shape::Text(TextFor::Id), definitions));
                }
                dict.insert("additionalProperties".to_owned(), shape_schema(value, definitions));
            }
            dict
        }
        Shape::Object(object) => object_schema(object, definitions),
        Shape::Tagged(_, kinds) => {
            let all: Vec<Value> = kinds.iter().map(|(_, object)| object_schema(object, definitions)).collect();
            json!({"oneOf": all})
        }
        Shape::ByKind(shapes) => {
            let all: Vec<Value> = shapes.iter().map(|shape| shape_schema(shape, definitions)).collect();
            json!({"anyOf": all})
        }
        Shape::Ref(name, shape) => {
            if !definitions.contains_key(*name) {
                definitions.insert((*name).to_owned(), Value::Null);
                let definition = shape_schema(shape, definitions);
                definitions.insert((*name).to_owned(), definition);
            }
            json!({"$ref": format!("#/$defs/{name}")})
        }
    }
}
