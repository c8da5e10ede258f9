//! Baselines as files: a line for each thing that was found, so that two of them can be compared line by line.

use std::collections::BTreeMap;
use std::fmt;

use serde::{Deserialize, Serialize};

use boundwalk_checks::{Baseline, Fingerprint, KnownFinding};
use boundwalk_diagnostic::{Magnitude, Span128};

/// What the document calls itself, and the newest version that is read.
const DOCUMENT: &str = "boundwalk-baseline";
const VERSION: u64 = 2;
/// What older ones lack: how much each finding was about.
const UNMEASURED: u64 = 1;

/// Why a text is no baseline.
#[derive(Debug)]
#[non_exhaustive]
pub enum BaselineError {
    /// It is not the JSON that it should be; what the parser says.
    Json(serde_json::Error),
    /// It calls itself something else.
    Document(String),
    /// It is of a version that is not known.
    Version(u64),
    /// The fingerprint of an entry, counted from 1, is none.
    Fingerprint(usize),
    /// What was measured of an entry, counted from 1, can't be read.
    Measured(usize),
}

impl fmt::Display for BaselineError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Json(error) => write!(f, "it is no baseline: {error}"),
            Self::Document(name) => {
                write!(f, "it is no baseline but calls itself `{name}`")
            }
            Self::Version(version) => write!(
                f,
                "it has version {version} of the format, this program reads version {VERSION}"
            ),
            Self::Fingerprint(number) => {
                write!(
                    f,
                    "entry {number} has no fingerprint of 32 hexadecimal digits"
                )
            }
            Self::Measured(number) => {
                write!(f, "what was measured of entry {number} can't be read")
            }
        }
    }
}

impl std::error::Error for BaselineError {}

#[derive(Serialize)]
struct Entry<'a> {
    check: &'a str,
    fingerprint: String,
    subject: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    measured: Option<Measured>,
}

/// How much a finding is about. Numbers are text: addresses of IPv6 are longer than what JSON programs keep.
#[derive(Serialize, Deserialize)]
struct Measured {
    things: Vec<String>,
    sets: BTreeMap<String, Vec<String>>,
}

impl Measured {
    fn of(measure: &Magnitude) -> Self {
        let text = |numbers: &Vec<Span128>| {
            numbers
                .iter()
                .map(|(low, high)| format!("{low}-{high}"))
                .collect()
        };
        let sets = measure.sets.iter();
        Self {
            things: measure.things.iter().cloned().collect(),
            sets: sets
                .map(|(name, numbers)| (name.clone(), text(numbers)))
                .collect(),
        }
    }

    fn read(self) -> Option<Magnitude> {
        let mut measure = Magnitude::default();
        self.things.into_iter().for_each(|thing| measure.add(thing));
        for (name, parts) in self.sets {
            let numbers = parts.iter().map(|part| {
                let (low, high) = part.split_once('-')?;
                Some((low.parse().ok()?, high.parse().ok()?))
            });
            let numbers: Option<Vec<Span128>> = numbers.collect();
            measure.extend(name, numbers?);
        }
        Some(measure)
    }
}

/// The text of a baseline: JSON with an entry on each line, in a fixed order.
pub fn baseline_json(baseline: &Baseline) -> String {
    let entries = baseline.known.iter().map(|known| Entry {
        check: &known.check,
        fingerprint: known.fingerprint.to_string(),
        subject: &known.subject,
        measured: known.measured.as_ref().map(Measured::of),
    });
    // Strings always have a JSON form.
    let lines: Vec<String> = entries
        .map(|entry| serde_json::to_string(&entry).unwrap_or_default())
        .map(|line| format!("\n{line}"))
        .collect();
    let lines = lines.join(",");
    format!("{{\"document\":\"{DOCUMENT}\",\"version\":{VERSION},\"findings\":[{lines}\n]}}\n")
}

#[derive(Deserialize)]
struct Read {
    document: String,
    version: u64,
    findings: Vec<ReadEntry>,
}

#[derive(Deserialize)]
struct ReadEntry {
    check: String,
    fingerprint: String,
    subject: String,
    measured: Option<Measured>,
}

/// A baseline from its text. Further keys, as later versions may have them, are passed over; of version 1 nothing is
/// measured.
///
/// # Errors
/// Says why the text is no baseline.
pub fn read_baseline(text: &str) -> Result<Baseline, BaselineError> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let read: Read = serde_json::from_str(text).map_err(BaselineError::Json)?;
    if read.document != DOCUMENT {
        return Err(BaselineError::Document(read.document));
    }
    if ![UNMEASURED, VERSION].contains(&read.version) {
        return Err(BaselineError::Version(read.version));
    }
    let known = read
        .findings
        .into_iter()
        .enumerate()
        .map(|(number, entry)| {
            let fingerprint = Fingerprint::read(&entry.fingerprint);
            Ok(KnownFinding {
                check: entry.check,
                subject: entry.subject,
                fingerprint: fingerprint.ok_or(BaselineError::Fingerprint(number + 1))?,
                measured: match entry.measured {
                    Some(measured) => {
                        Some(measured.read().ok_or(BaselineError::Measured(number + 1))?)
                    }
                    None => None,
                },
            })
        });
    Ok(Baseline {
        known: known.collect::<Result<_, _>>()?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn baseline() -> Baseline {
        let known = ["edge \"a \\\"b\\\"\"", "core:1"].map(|subject| KnownFinding {
            check: "rule-dead".to_owned(),
            subject: subject.to_owned(),
            fingerprint: Fingerprint::new("rule-dead", &[subject], 0),
            measured: (subject == "core:1").then(|| {
                let mut measure = Magnitude::default();
                measure.add("to servers");
                measure.extend("ports", [(0, u128::MAX)]);
                measure
            }),
        });
        Baseline {
            known: known.to_vec(),
        }
    }

    #[test]
    fn what_is_written_is_read_back_and_has_a_line_for_each() {
        for one in [baseline(), Baseline::default()] {
            let text = baseline_json(&one);
            assert_eq!(text.lines().count(), one.known.len() + 2);
            assert_eq!(read_baseline(&text).expect("our own"), one);
        }
    }

    #[test]
    fn other_texts_are_refused_with_the_reason() {
        let text = baseline_json(&baseline());
        let refused = |text: &str| read_baseline(text).expect_err("no baseline").to_string();
        assert!(refused("").contains("line 1 column 0"), "{}", refused(""));
        assert!(refused("[]").contains("no baseline"), "{}", refused("[]"));
        let other = text.replace(DOCUMENT, "boundwalk-review");
        assert!(refused(&other).contains("`boundwalk-review`"));
        let newer = text.replace("\"version\":2", "\"version\":3");
        assert!(refused(&newer).contains("version 3"));
        let odd = text.replace("\"0-", "\"x-");
        assert!(refused(&odd).contains("entry 2"));
        let mark = baseline().known[1].fingerprint.to_string();
        assert!(refused(&text.replace(&mark, "none")).contains("entry 2"));
    }
}
