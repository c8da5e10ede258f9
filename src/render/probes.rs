//! A test plan as a checklist, place by place.

use std::fmt::Write;

use boundwalk_analysis::probes::{Probe, obligation_text, why_text};

use super::matrix::TextStyle;
use super::probes_words::{CAREFUL, HOW, LISTENERS, ProbesShown, RAW, command, far_end, service};
use super::text::{labelled, width, wrapped};

/// A plan on a terminal: what each probe is to show, the command that sends it, and room for what became of it.
pub fn probes_text(shown: &ProbesShown<'_>, paint: TextStyle) -> String {
    let mut out = String::new();
    for line in wrapped(&format!("Test plan: {}.", shown.size()), paint.columns) {
        let _ = writeln!(out, "{}", paint.strong(&line));
    }
    for text in [CAREFUL, HOW] {
        let _ = writeln!(out, "\n{}", wrapped(text, paint.columns).join("\n"));
    }
    let mut place: Option<&Probe> = None;
    for probe in &shown.plan.probes {
        heading(&mut out, shown, place, probe, paint);
        one_probe(&mut out, shown, probe, paint);
        place = Some(probe);
    }
    listeners(&mut out, shown, paint);
    untouched(&mut out, shown, paint);
    out
}

/// Where to stand and with what, where that changes.
fn heading(
    out: &mut String,
    shown: &ProbesShown<'_>,
    before: Option<&Probe>,
    probe: &Probe,
    paint: TextStyle,
) {
    let send_point = probe.predicted.send_point;
    let moved = before.is_none_or(|before| before.predicted.send_point != send_point);
    if moved {
        let place = super::text::escape_control(shown.name(send_point));
        let _ = writeln!(out, "\n{}", paint.strong(&format!("Stand in {place}")));
    }
    if moved || before.is_none_or(|before| before.packet.source != probe.packet.source) {
        labelled(out, paint.columns, 2, "with ", &shown.sender(probe));
    }
}

fn one_probe(out: &mut String, shown: &ProbesShown<'_>, probe: &Probe, paint: TextStyle) {
    let (packet, pinned) = (&probe.packet, probe.pinned);
    let what = format!(
        "{} to {} ({}): {}",
        service(packet, pinned),
        packet.destination,
        shown.target(probe),
        super::probes_words::expectation(probe.predicted.expect)
    );
    let number = format!("{:>4}  ", probe.number);
    labelled(out, paint.columns, 0, &number, &what);
    labelled(out, paint.columns, 6, "", &shown.reason(&probe.predicted));
    let seen = far_end(probe);
    if seen != *packet {
        labelled(out, paint.columns, 6, "arrives as ", &seen.to_string());
    }
    put_command(out, &command(packet, pinned), paint);
    labelled(
        out,
        paint.columns,
        6,
        "shows: ",
        &shown.covers(probe).join("; "),
    );
    let _ = writeln!(out, "      {}", paint.faint("result: ________________"));
}

/// A command, continued on the next line where it is too long for one.
fn put_command(out: &mut String, command: &str, paint: TextStyle) {
    let room = paint.columns.saturating_sub(10);
    let parts = match width(command) > room {
        true => wrapped(command, room.saturating_sub(2)),
        false => vec![command.to_owned()],
    };
    for (number, part) in parts.iter().enumerate() {
        let lead = if number == 0 { "$ " } else { "  " };
        let end = if number + 1 < parts.len() { " \\" } else { "" };
        let _ = writeln!(out, "      {lead}{part}{end}");
    }
}

fn listeners(out: &mut String, shown: &ProbesShown<'_>, paint: TextStyle) {
    let list = shown.listeners();
    if list.is_empty() {
        return;
    }
    let _ = writeln!(out, "\n{}", paint.strong("At the far side"));
    let told = "A service that runs there anyway will do. Else paste the functions below into a shell there, and \
                start:";
    let _ = writeln!(out, "{}", wrapped(told, paint.columns).join("\n"));
    for (command, who) in list {
        labelled(out, paint.columns, 2, "", &format!("{command}  ({who})"));
    }
    let _ = write!(out, "\n{LISTENERS}");
    if shown.raw() {
        out.push_str(RAW);
    }
}

fn untouched(out: &mut String, shown: &ProbesShown<'_>, paint: TextStyle) {
    if shown.plan.untouched.is_empty() {
        return;
    }
    let _ = writeln!(out, "\n{}", paint.strong("Touched by no probe"));
    for one in &shown.plan.untouched {
        let what = obligation_text(shown.network, one.obligation);
        let text = format!("{what}: {}", why_text(one.why));
        labelled(out, paint.columns, 2, "", &text);
    }
}
