//! Any bytes as a site file: no panic, no hang, a site exactly when there is no error, places inside the text.
//!
//! Run with `cargo fuzz run load_site`, started from `src/load/starter.toml` and `policies/` as seeds.
#![no_main]

use boundwalk::diagnostic::Severity;
use boundwalk::load::load_text;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    let text = String::from_utf8_lossy(data);
    let loaded = load_text("fuzz.toml", &text);
    let failed = loaded.problems.iter().any(|problem| problem.severity() == Severity::Error);
    assert_eq!(loaded.site.is_none(), failed);
    for span in loaded.problems.iter().filter_map(|problem| problem.span) {
        assert!(text.get(span.start as usize..span.end as usize).is_some());
    }
});
