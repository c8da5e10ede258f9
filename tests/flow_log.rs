//! Are logs of flows read as they are written, whatever their form, and is every line accounted for?

#[path = "flow_log/connections.rs"]
mod connections;
#[path = "flow_log/csv.rs"]
mod csv;
#[path = "flow_log/demo.rs"]
mod demo;
#[path = "flow_log/direction.rs"]
mod direction;
#[path = "flow_log/json.rs"]
mod json;
#[path = "flow_log/laws.rs"]
mod laws;
#[path = "flow_log/malformed.rs"]
mod malformed;
#[path = "flow_log/many.rs"]
mod many;
#[path = "flow_log/published.rs"]
mod published;
#[path = "support/random.rs"]
#[allow(dead_code)]
mod random;
#[path = "flow_log/support.rs"]
mod support;
#[path = "flow_log/three_forms.rs"]
mod three_forms;
