//! Following one packet through the demo site.

use crate::run::{Ran, about, demo, site, two_segments};

fn path(rest: &str) -> Ran {
    demo("path", rest)
}

fn says(ran: &Ran, code: i32, texts: &[&str]) {
    assert_eq!(ran.code, code, "{ran:?}");
    // As read, not as broken into lines.
    let words: Vec<&str> = ran.out.split_whitespace().collect();
    let read = words.join(" ");
    for text in texts {
        assert!(read.contains(text), "{text}: {}", ran.out);
    }
}

#[test]
fn a_permitted_packet_is_delivered_by_a_rule_and_answered() {
    let ran = path("brewmaster-laptop hmi recipe-transfer --ipv4");
    says(
        &ran,
        0,
        &[
            "tcp 10.44.10.31:49152 -> 10.44.60.30:21",
            "sent by host brewmaster-laptop",
            "permit by rule 30 \"brewmaster loads recipes\" (policies/kettle-lane/site.toml:",
            "=> delivered on segment brewhouse",
            "<- the reply comes back",
        ],
    );
}

#[test]
fn a_denied_packet_stops_at_a_rule_or_at_the_default() {
    let ran = path("guest 10.44.10.20 ssh");
    says(
        &ran,
        1,
        &[
            "reject by rule 10 \"guests stay out of the house\"",
            "x stops at edge: the rules do not permit it",
        ],
    );
    assert!(!ran.out.contains("reply"), "{}", ran.out);
    let (_folder, file) = site(two_segments("default = \"reject\""));
    let ran = about(&file, "path", "cellar books https");
    says(
        &ran,
        1,
        &[
            "reject by default (",
            "1 before does not match (--rules shows it)",
        ],
    );
}

#[test]
fn rules_are_listed_with_what_keeps_them_from_matching() {
    let ran = path("guest 10.44.10.20 ssh --rules");
    says(
        &ran,
        1,
        &[
            "1 \"unique local sources stay inside\": ",
            "4 \"neighbours of the gateway\": other family",
            "5 \"addresses by DHCP\": other `to`",
        ],
    );
    assert_eq!(ran.out.matches("rule          ").count(), 9);
}

#[test]
fn translations_are_told_and_what_arrives() {
    let ran = path("198.51.100.9 203.0.113.3 https");
    says(
        &ran,
        0,
        &[
            "now 10.44.40.10:8443, by \"shop\"",
            "permit by rule 37 \"the shop\"",
            "delivered on segment published, as tcp 198.51.100.9:49152 -> 10.44.40.10:8443",
        ],
    );
    let ran = path("files 198.51.100.9 https");
    says(
        &ran,
        0,
        &[
            "now 203.0.113.2, by \"out\"",
            "handed out to internet, as tcp 203.0.113.2:49152",
        ],
    );
}

#[test]
fn a_reply_that_is_lost_is_told_with_the_place() {
    let (_folder, file) = site(two_segments("default = \"deny\"\nstateful = false"));
    let ran = about(&file, "path", "books cellar https");
    says(
        &ran,
        0,
        &[
            "the reply does not come back: one-way",
            "stateless: stopped by the default",
        ],
    );
}

#[test]
fn a_forged_source_is_refused_where_sources_are_checked_and_passes_where_not() {
    let ran = path("10.44.30.10 10.44.10.20 tcp/9100 --from guest");
    says(
        &ran,
        1,
        &[
            "sent by a hostile device on segment guest",
            "the source check refuses it",
        ],
    );
    // The cameras' interface has no source check.
    let ran = path("10.44.30.40 10.44.60.30 tcp/502 --from cameras");
    says(
        &ran,
        0,
        &[
            "hostile device on segment cameras",
            "permit by rule 44 \"IT reaches everything\"",
        ],
    );
}

#[test]
fn senders_and_targets_go_by_name_or_address() {
    for (rest, packet) in [
        (
            "office nameserver domain --ipv4",
            "tcp 10.44.10.2:49152 -> 10.44.30.2:53",
        ),
        (
            "office nameserver udp/53 --ipv4",
            "udp 10.44.10.2:49152 -> 10.44.30.2:53",
        ),
        ("office nameserver dns --ipv6", "-> [fd44:0:0:30::2]:53"),
        ("office edge icmp/8", "icmp/8/0 10.44.10.2 -> "),
        (
            "office 10.44.30.2 udp/123 --source-port 123",
            "udp 10.44.10.2:123 -> 10.44.30.2:123",
        ),
        ("segment:office host:nameserver dns", "10.44.30.2:53"),
        (
            "jump coldstore protocol/47",
            "gre 10.44.30.40 -> 10.44.80.2",
        ),
    ] {
        says(&path(rest), 0, &[packet]);
    }
}

#[test]
fn within_a_segment_no_gateway_stands_between() {
    let ran = path("office-manager-desk printer tcp/9100");
    says(&ran, 0, &["delivered on office itself: no gateway between"]);
    // Two devices of one segment, not one that talks to itself.
    let ran = path("office office https --ipv4");
    says(&ran, 0, &["tcp 10.44.10.2:49152 -> 10.44.10.3:443"]);
}

#[test]
fn what_can_not_be_followed_is_refused_with_a_hint() {
    for (rest, why) in [
        ("ofice printer https", "did you mean `office`?"),
        ("office pritner https", "did you mean `printer`?"),
        (
            "office nobody-of-that-name https",
            "no address, host, segment or gateway",
        ),
        ("office printer htps", "did you mean `https`?"),
        ("office printer tcp/70000", "70000"),
        ("office printer https --from gest", "did you mean `guest`?"),
        ("office printer https --ipv6", "no address family in common"),
        (
            "10.44.10.7 fd44:0:0:30::2 https",
            "no address family in common",
        ),
        ("172.20.1.1 printer https", "belongs to no segment"),
        (
            "business printer https",
            "is a zone; name one of its segments: office, servers, cameras",
        ),
        ("edge printer https", "not modelled"),
        ("10.44.10.1 printer https", "not modelled"),
    ] {
        let ran = path(rest);
        assert_eq!(ran.code, 2, "{rest}: {ran:?}");
        assert!(
            ran.err.contains(why) && ran.out.is_empty(),
            "{rest}: {ran:?}"
        );
    }
}
