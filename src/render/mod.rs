//! Floor 6: what answers look like. One file a format; each escapes everything and decides nothing.

mod bypass;
mod csv;
mod flows;
mod frames;
mod isolation;
mod json;
mod json_path;
mod key;
mod markdown;
mod matrix;
mod path;
mod problems;
mod shape;
mod text;
mod words;

pub use bypass::{bypass_json, bypass_text};
pub use csv::matrix_csv;
pub use flows::flows_text;
pub use frames::{node_name, socket_name, tags_text};
pub use isolation::{Isolated, isolation_json, isolation_text};
pub use json::{matrix_json, problems_json, review_json};
pub use json_path::path_json;
pub use key::{Key, Sign};
pub use markdown::{matrix_markdown, review_markdown};
pub use matrix::{Paint, matrix_text};
pub use path::path_text;
pub use problems::{problem_summary, problem_text};
pub use shape::{Pair, PairFlows, Selection, Sheet, Side};
pub use text::{clean, fit, width, wrapped};
