//! What an object of this command begins with.

use serde_json::{Value, json};

/// The version of an object's shape. The first of these were the words by their names.
fn version(what: &str) -> u32 {
    match what {
        "status" => 3,
        "hello" | "plan" => 2,
        _ => 1,
    }
}

/// An object of this command: what it is, its version, and what it says.
pub(super) fn shape(what: &str, says: Value) -> Value {
    let mut object = json!({"format": format!("slackside-box-{what}"), "format_version": version(what)});
    if let (Value::Object(object), Value::Object(says)) = (&mut object, says) {
        object.extend(says);
    }
    object
}
