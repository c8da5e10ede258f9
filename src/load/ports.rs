//! Ports by name or range, and LAGs of switches, gateways and routers alike.

use rustc_hash::FxHashMap;

use boundwalk_diagnostic::{Problem, Span, Spanned};
use boundwalk_model::{Lacp, Speed};

use super::context::owned;
use super::keys::Keys;
use super::kinds;
use super::names::twice;
use super::quote::shown;
use super::reader::{Entry, Table, Words};
use super::report::ProblemReport;
use super::text::{check_name, check_port_name};

/// Most ports that one text may stand for.
const MOST_PORTS: usize = 4096;

const LACP: &Words<Lacp> = &[
    ("active", Lacp::Active),
    ("passive", Lacp::Passive),
    ("static", Lacp::Static),
];

/// A LAG before it is known what VLANs it is in.
pub(super) struct LagDraft {
    pub name: Spanned<String>,
    pub ports: Vec<Spanned<String>>,
    pub lacp: Lacp,
    pub speed: Option<Speed>,
}

/// The `lags` of a device. A port is a member of one of them at most.
pub(super) fn read_lags(
    report: &mut ProblemReport,
    table: &Table<'_>,
    keys: &'static Keys,
) -> Vec<LagDraft> {
    let mut lags = Vec::new();
    let mut members: FxHashMap<String, Span> = FxHashMap::default();
    for entry in table.entries(report, "lags") {
        check_name(report, "a LAG", entry.name);
        let Some(lag) = read_lag(report, &entry, keys) else {
            continue;
        };
        for port in &lag.ports {
            if let Some(&first) = members.get(&port.value) {
                let message = format!(
                    "the port `{}` is a member of two LAGs, or twice of one",
                    shown(&port.value)
                );
                let problem = Problem::at(&kinds::LAG_PORT_TWICE, port.span, message)
                    .note(first, "named first here");
                report.push(problem.help("take it out of one of the lists"));
            }
            members.entry(port.value.clone()).or_insert(port.span);
        }
        lags.push(lag);
    }
    for lag in &lags {
        if let Some(&first) = members.get(&lag.name.value) {
            let name = Spanned::new(lag.name.value.as_str(), lag.name.span);
            report.push(twice("port or LAG", name, first));
        }
    }
    lags
}

/// The ports that a text stands for: names, ranges of plain numbers, or several with commas between.
pub(super) fn expand(report: &mut ProblemReport, text: Spanned<&str>) -> Vec<Spanned<String>> {
    let mut ports = Vec::new();
    for part in text.value.split(',') {
        let part = Spanned::new(part.trim(), text.span);
        match numeric_range(part.value) {
            Some(_)
                if part
                    .value
                    .split('-')
                    .any(|number| number.len() > 1 && number.starts_with('0')) =>
            {
                let message = format!("the ports `{}` have leading zeros", shown(part.value));
                let problem = Problem::at(&kinds::BAD_RANGE, part.span, message);
                report
                    .push(problem.help("write plain numbers, or name each port as it is printed"));
            }
            Some((low, high)) if low > high => {
                let message = format!("the ports `{}` end before they start", shown(part.value));
                let problem = Problem::at(&kinds::REVERSED_RANGE, part.span, message);
                report.push(problem.help(format!("did you mean {high}-{low}?")));
            }
            Some((low, high)) if (high - low) as usize + ports.len() >= MOST_PORTS => {
                let message = format!("`{}` are more than {MOST_PORTS} ports", shown(text.value));
                let problem = Problem::at(&kinds::BAD_RANGE, part.span, message);
                report.push(problem.help("name the ports that the device really has"));
                break;
            }
            Some((low, high)) => {
                ports.extend((low..=high).map(|port| Spanned::new(port.to_string(), part.span)));
            }
            None if check_port_name(report, part) => ports.push(owned(part)),
            None => {}
        }
    }
    ports
}

/// `a-b` of plain numbers without leading zeros; anything else is a name, as in `left-0-1`.
fn numeric_range(text: &str) -> Option<(u32, u32)> {
    let (low, high) = text.split_once('-')?;
    let plain = |text: &str| {
        let digits = !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
        digits.then(|| text.parse().unwrap_or(u32::MAX))
    };
    Some((plain(low)?, plain(high)?))
}

fn read_lag(
    report: &mut ProblemReport,
    entry: &Entry<'_>,
    keys: &'static Keys,
) -> Option<LagDraft> {
    let table = Table::open(report, entry.value, keys)?;
    let lacp = table
        .word(report, "lacp", LACP)
        .map_or(Lacp::Static, |lacp| lacp.value);
    let texts = table.strings(report, "ports").unwrap_or_default();
    let ports = texts
        .into_iter()
        .flat_map(|text| expand(report, text))
        .collect();
    Some(LagDraft {
        name: owned(entry.name),
        ports,
        lacp,
        speed: read_speed(report, &table),
    })
}

/// The `speed` of a port or of each member of a LAG: `"100M"`, `"2.5G"`.
pub(super) fn read_speed(report: &mut ProblemReport, table: &Table<'_>) -> Option<Speed> {
    let text = table.text(report, "speed")?;
    let speed = speed(text.value);
    if speed.is_none() {
        let message = format!("`{}` is no speed", shown(text.value));
        let problem = Problem::at(&kinds::BAD_SPEED, text.span, message);
        report.push(problem.help("write it with its unit, as in \"100M\", \"1G\" or \"2.5G\""));
    }
    speed
}

/// Megabits for each second: digits, for gigabits with one decimal at most.
fn speed(text: &str) -> Option<Speed> {
    let (number, unit) = match text.strip_suffix('G') {
        Some(number) => (number, 1000),
        None => (text.strip_suffix('M')?, 1),
    };
    let (whole, tenths) = match number.split_once('.') {
        Some((whole, tenth)) if unit == 1000 && tenth.len() == 1 => (whole, tenth),
        Some(_) => return None,
        None => (number, "0"),
    };
    let digits = |text: &str| {
        (1..=4).contains(&text.len()) && text.bytes().all(|byte| byte.is_ascii_digit())
    };
    if !digits(whole) || !digits(tenths) {
        return None;
    }
    let (whole, tenths): (u32, u32) = (whole.parse().ok()?, tenths.parse().ok()?);
    let megabits = whole * unit + tenths * unit / 10;
    (megabits > 0).then_some(Speed(megabits))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(text: &str) -> Vec<String> {
        let mut report = ProblemReport::default();
        let ports = expand(&mut report, Spanned::new(text, Span::default()));
        assert!(!report.failed(), "{text}");
        ports.into_iter().map(|port| port.value).collect()
    }

    #[test]
    fn speeds_have_a_unit() {
        let read = |text| speed(text).map(|speed| (speed.0, speed.to_string()));
        assert_eq!(read("100M"), Some((100, "100M".to_owned())));
        assert_eq!(read("1G"), Some((1000, "1G".to_owned())));
        assert_eq!(read("2.5G"), Some((2500, "2.5G".to_owned())));
        for wrong in ["", "G", "0G", "1", "1.25G", "1.5M", "-1G", "1 G", "99999G"] {
            assert_eq!(read(wrong), None, "{wrong}");
        }
    }

    #[test]
    fn ports_are_names_ranges_and_lists() {
        assert_eq!(names("1-3"), ["1", "2", "3"]);
        assert_eq!(names("9,11"), ["9", "11"]);
        assert_eq!(names("1-2, uplink,1/0/3"), ["1", "2", "uplink", "1/0/3"]);
        assert_eq!(
            names("left1-8"),
            ["left1-8"],
            "only plain numbers make a range"
        );
    }
}
