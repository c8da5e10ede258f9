//! A test plan as a checklist, place by place.

use boundwalk_analysis::probes::{Probe, obligation_text, why_text};

use super::document::{Document, Mark, Rank, Tone};
use super::probes_words::{
    CAREFUL, HOW, LISTENERS, ProbesShown, RAW, command, expectation, far_end, service,
};

/// A plan: what each probe is to show, the command that sends it, and room for what became of it.
pub fn probes_document<'a>(shown: &ProbesShown<'a>) -> Document<'a> {
    let mut out = Document::new("Test plan", &shown.network.site.name);
    let title = format!("Test plan: {}.", shown.size());
    out.toned(Tone::Strong, 0, Mark::None, title);
    for text in [CAREFUL, HOW] {
        out.gap();
        out.plain(0, text);
    }
    let mut place: Option<&Probe> = None;
    for probe in &shown.plan.probes {
        heading(&mut out, shown, place, probe);
        one_probe(&mut out, shown, probe);
        place = Some(probe);
    }
    listeners(&mut out, shown);
    untouched(&mut out, shown);
    out.notes(shown.notes);
    out
}

/// Where to stand and with what, where that changes.
fn heading(out: &mut Document<'_>, shown: &ProbesShown<'_>, before: Option<&Probe>, probe: &Probe) {
    let send_point = probe.predicted.send_point;
    let moved = before.is_none_or(|before| before.predicted.send_point != send_point);
    if moved {
        out.heading(Rank::Part, format!("Stand in {}", shown.name(send_point)));
    }
    if moved || before.is_none_or(|before| before.packet.source != probe.packet.source) {
        out.labelled(2, "with ", shown.sender(probe));
    }
}

fn one_probe(out: &mut Document<'_>, shown: &ProbesShown<'_>, probe: &Probe) {
    let (packet, pinned) = (&probe.packet, probe.pinned);
    let what = format!(
        "{} to {} ({}): {}",
        service(packet, pinned),
        packet.destination,
        shown.target(probe),
        expectation(probe.predicted.expect)
    );
    out.labelled(0, &format!("{:>4}  ", probe.number), what);
    out.plain(6, shown.reason(&probe.predicted));
    let seen = far_end(probe);
    if seen != *packet {
        out.labelled(6, "arrives as ", seen.to_string());
    }
    out.command(command(packet, pinned));
    out.labelled(6, "shows: ", shown.covers(probe).join("; "));
    out.toned(Tone::Faint, 6, Mark::None, "result: ________________");
}

fn listeners(out: &mut Document<'_>, shown: &ProbesShown<'_>) {
    let list = shown.listeners();
    if list.is_empty() {
        return;
    }
    out.heading(Rank::Part, "At the far side");
    out.plain(0, ELSE_START);
    for (command, who) in list {
        out.plain(2, format!("{command}  ({who})"));
    }
    out.gap();
    functions(out, shown);
}

/// What is to be pasted into a shell at the far side.
pub(super) fn functions(out: &mut Document<'_>, shown: &ProbesShown<'_>) {
    out.code("sh", 0, LISTENERS);
    if shown.raw() {
        out.code("sh", 0, RAW);
    }
}

/// Before the list of what has to listen.
const ELSE_START: &str = "A service that runs there anyway will do. Else paste the functions below into a shell there, and start:";

pub(super) fn untouched(out: &mut Document<'_>, shown: &ProbesShown<'_>) {
    if shown.plan.untouched.is_empty() {
        return;
    }
    out.heading(Rank::Part, "Touched by no probe");
    for one in &shown.plan.untouched {
        let what = obligation_text(shown.network, one.obligation);
        out.plain(2, format!("{what}: {}", why_text(one.why)));
    }
}
