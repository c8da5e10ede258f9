//! Test results as JUnit XML, which many servers read. The format has no standard: this is what is common to its
//! readers (`tests/data/junit-10.md` says which schema a test holds it to).

use std::io;

use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesText, Event};

use super::text::escape_control;

/// How a case ended.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum JunitOutcome {
    /// As it should be.
    Held,
    /// Not as it should be.
    Failed {
        /// One line.
        message: String,
        /// All of it, line by line.
        text: String,
    },
    /// Not judged.
    Skipped {
        /// Why.
        message: String,
    },
}

/// One thing that was asked.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct JunitCase {
    /// What sort of thing, in words with points between.
    pub class: String,
    /// Its name.
    pub name: String,
    /// How it ended.
    pub outcome: JunitOutcome,
}

/// Cases under a name.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct JunitSuite {
    /// What the cases have in common.
    pub name: String,
    /// The cases, in order.
    pub cases: Vec<JunitCase>,
}

/// Expectations as a suite: the name of each and how it ended.
pub fn expectation_suite(expectations: &[(String, JunitOutcome)]) -> JunitSuite {
    let cases = expectations.iter().map(|(name, outcome)| JunitCase {
        class: "boundwalk.expectations".to_owned(),
        name: name.clone(),
        outcome: outcome.clone(),
    });
    JunitSuite {
        name: "expectations".to_owned(),
        cases: cases.collect(),
    }
}

/// How many cases there are, failed and were skipped.
#[derive(Clone, Copy, Default)]
struct Tally {
    tests: usize,
    failures: usize,
    skipped: usize,
}

impl Tally {
    fn of<'c>(cases: impl Iterator<Item = &'c JunitCase>) -> Self {
        cases.fold(Self::default(), |sum, case| Self {
            tests: sum.tests + 1,
            failures: sum.failures
                + usize::from(matches!(case.outcome, JunitOutcome::Failed { .. })),
            skipped: sum.skipped
                + usize::from(matches!(case.outcome, JunitOutcome::Skipped { .. })),
        })
    }
}

/// Suites as an XML document. It holds no time, no name of a machine and no path but those in its texts.
pub fn junit_xml(name: &str, suites: &[JunitSuite]) -> String {
    let mut writer = Writer::new_with_indent(Vec::new(), b' ', 2);
    document(&mut writer, name, suites).expect("memory takes all that is written to it");
    let mut text = String::from_utf8_lossy(&writer.into_inner()).into_owned();
    text.push('\n');
    text
}

type Xml = Writer<Vec<u8>>;

fn document(writer: &mut Xml, name: &str, suites: &[JunitSuite]) -> io::Result<()> {
    writer.write_event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)))?;
    let tally = Tally::of(suites.iter().flat_map(|suite| &suite.cases));
    let (tests, failures) = (tally.tests.to_string(), tally.failures.to_string());
    let element = writer.create_element("testsuites").with_attributes([
        ("name", harmless(name).as_str()),
        ("tests", &tests),
        ("failures", &failures),
        ("errors", "0"),
    ]);
    element.write_inner_content(|writer| {
        for suite in suites {
            write_suite(writer, suite)?;
        }
        Ok(())
    })?;
    Ok(())
}

fn write_suite(writer: &mut Xml, suite: &JunitSuite) -> io::Result<()> {
    let tally = Tally::of(suite.cases.iter());
    let (tests, failures) = (tally.tests.to_string(), tally.failures.to_string());
    let skipped = tally.skipped.to_string();
    let element = writer.create_element("testsuite").with_attributes([
        ("name", harmless(&suite.name).as_str()),
        ("tests", &tests),
        ("failures", &failures),
        ("errors", "0"),
        ("skipped", &skipped),
    ]);
    element.write_inner_content(|writer| {
        for case in &suite.cases {
            write_case(writer, case)?;
        }
        Ok(())
    })?;
    Ok(())
}

fn write_case(writer: &mut Xml, case: &JunitCase) -> io::Result<()> {
    let (class, name) = (harmless(&case.class), harmless(&case.name));
    let element = writer
        .create_element("testcase")
        .with_attributes([("classname", class.as_str()), ("name", name.as_str())]);
    match &case.outcome {
        JunitOutcome::Held => element.write_empty()?,
        JunitOutcome::Failed { message, text } => element.write_inner_content(|writer| {
            let message = harmless(message);
            let text = text
                .split('\n')
                .map(harmless)
                .collect::<Vec<_>>()
                .join("\n");
            writer
                .create_element("failure")
                .with_attributes([("type", "found"), ("message", message.as_str())])
                .write_text_content(BytesText::new(&text))?;
            Ok(())
        })?,
        JunitOutcome::Skipped { message } => element.write_inner_content(|writer| {
            let message = harmless(message);
            writer
                .create_element("skipped")
                .with_attribute(("message", message.as_str()))
                .write_empty()?;
            Ok(())
        })?,
    };
    Ok(())
}

/// A text of characters that XML 1.0 (section 2.2) can hold: the others, and what could disturb a reader, are
/// spelled out as `\u{..}`.
fn harmless(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for character in escape_control(text).chars() {
        match character {
            '\u{fffe}' | '\u{ffff}' => out.extend(character.escape_unicode()),
            other => out.push(other),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hostile_texts_stay_texts() {
        let text = "<script>alert(\"1\")</script>\u{1b}[31m\u{0}\u{ffff}]]>";
        let suite = expectation_suite(&[(
            text.to_owned(),
            JunitOutcome::Failed {
                message: text.to_owned(),
                text: format!("{text}\nsecond line"),
            },
        )]);
        let xml = junit_xml(text, &[suite]);
        assert!(!xml.contains("<script>"), "{xml}");
        assert!(xml.contains("\\u{1b}[31m\\u{0}\\u{ffff}]]&gt;"), "{xml}");
        let wild = |c: char| c.is_control() && c != '\n';
        assert!(!xml.contains(wild), "{xml:?}");
        assert!(xml.contains("\nsecond line</failure>"), "{xml}");
    }
}
