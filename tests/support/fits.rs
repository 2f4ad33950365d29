//! A small JSON Schema validator for the published schemas.

use serde_json::Value;

/// Checks `value` against `schema`, for the part of JSON Schema (2020-12) that the published schema uses: `$ref`, `anyOf`, `const`, `type`,
/// `required`, `properties`, `items`, `minimum`. A key that the schema does not name is an error here, which keeps the schema complete.
pub fn fits(value: &Value, schema: &Value, root: &Value, at: &str, faults: &mut Vec<String>) {
    if let Some(name) = schema["$ref"].as_str() {
        return fits(value, root.pointer(name.trim_start_matches('#')).unwrap(), root, at, faults);
    }
    if let Some(any) = schema["anyOf"].as_array() {
        let one = any.iter().any(|of| {
            let mut found = Vec::new();
            fits(value, of, root, at, &mut found);
            found.is_empty()
        });
        if !one {
            faults.push(format!("{at}: {value} fits none"));
        }
        return;
    }
    if let Some(exact) = schema.get("const") {
        if exact != value {
            faults.push(format!("{at}: {value} is not {exact}"));
        }
        return;
    }
    let right = match schema["type"].as_str().unwrap_or_else(|| panic!("{at}: the schema has no type")) {
        "object" => value.is_object(),
        "array" => value.is_array(),
        "string" => value.is_string(),
        "boolean" => value.is_boolean(),
        "null" => value.is_null(),
        "number" => value.is_number(),
        "integer" => value.as_u64().is_some(),
        other => panic!("{at}: {other}"),
    };
    if !right {
        faults.push(format!("{at}: {value} is no {}", schema["type"]));
    }
    for item in value.as_array().into_iter().flatten() {
        fits(item, &schema["items"], root, &format!("{at}[]"), faults);
    }
    for name in schema["required"].as_array().into_iter().flatten().filter_map(Value::as_str) {
        if value.get(name).is_none() {
            faults.push(format!("{at}: {name} is missing"));
        }
    }
    for (name, field) in value.as_object().into_iter().flatten() {
        match schema["properties"].get(name) {
            Some(of) => fits(field, of, root, &format!("{at}.{name}"), faults),
            None => faults.push(format!("{at}: the schema does not know {name}")),
        }
    }
}
