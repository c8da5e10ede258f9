//! What could explain a difference.

use std::fmt;

use boundwalk_forwarding::{Network, Place, Stop};

use super::super::deciders::rule_name;
use super::super::party::{Endpoint, party_name};
use super::super::stop_text::stopped;
use super::judged::ResultDifference;
use super::judged::{Checked, Judgement};
use super::predict::{Expect, Prediction, Unpredictable};

/// What could explain that a row differs, the likeliest first; empty where it does not.
#[must_use]
pub fn suspects(network: &Network<'_>, checked: &Checked<'_>) -> Vec<String> {
    let (Judgement::Differs(difference), Ok(predicted)) = (&checked.judgement, &checked.predicted)
    else {
        return Vec::new();
    };
    match difference {
        ResultDifference::Arrived => got_through(network, predicted),
        ResultDifference::Refused => {
            let mut list = vec![
                "it arrived, and the receiver has no listener; or a gateway refuses where it is described to \
                 drop silently"
                    .to_owned(),
            ];
            list.extend(got_through(network, predicted));
            list
        }
        ResultDifference::Nothing => lost(network, predicted),
        ResultDifference::NoAnswer => no_way_back(network, predicted),
        ResultDifference::Answered => vec![
            "there is a way back that is not described: another route, or a rule that lets the answer pass"
                .to_owned(),
            "a gateway that is described without memory keeps state".to_owned(),
        ],
    }
}

fn got_through(network: &Network<'_>, predicted: &Prediction) -> Vec<String> {
    let mut list = Vec::new();
    match (predicted.stop, predicted.deciders.last()) {
        (Some(Stop::Denied(_)), Some(&(router, rule))) => {
            let gateway = &network.site.router(router).name.value;
            list.push(match rule {
                Some(_) => format!(
                    "{} is missing on the device, or a permitting rule stands before it there",
                    rule_name(network, router, rule)
                ),
                None => format!(
                    "{gateway} has a permitting rule that is not described, or another default"
                ),
            });
            list.push(format!(
                "there is a way round {gateway}: `boundwalk bypass` lists those that are described"
            ));
        }
        (Some(stop), _) => list.push(format!(
            "by the description it is {}; the network has a route, router or connection that is not described",
            stopped(stop)
        )),
        (None, _) => {}
    }
    list.push(
        "a port or trunk carries another VLAN than described: hold `boundwalk ports` against the switches"
            .to_owned(),
    );
    list.push("it was sent from another place, or by a device with a second connection".to_owned());
    list
}

fn lost(network: &Network<'_>, predicted: &Prediction) -> Vec<String> {
    let mut list = Vec::new();
    for &(router, rule) in &predicted.deciders {
        list.push(format!(
            "{} is missing or disabled on the device, or an earlier rule there takes the packet",
            rule_name(network, router, rule)
        ));
    }
    list.push(match predicted.place {
        Some(Place::Router(router)) => format!(
            "{} itself does not offer that service",
            network.site.router(router).name.value
        ),
        _ => "nothing listens there, or the receiver's own packet filter drops it".to_owned(),
    });
    if predicted.expect == Expect::Answered {
        list.extend(no_way_back(network, predicted));
    }
    list.push(format!(
        "wrong VLAN or PVID on a port of {}, or an unplugged cable",
        ends(network, predicted)
    ));
    list
}

fn no_way_back(network: &Network<'_>, predicted: &Prediction) -> Vec<String> {
    let mut list = vec![
        "the answer has no way back: default gateway or mask of the receiver, or a return route"
            .to_owned(),
    ];
    for &(router, rule) in &predicted.reply_rules {
        list.push(format!(
            "{}, which lets the answer pass, is missing on the device",
            rule_name(network, router, Some(rule))
        ));
    }
    list.push("the listener does not answer".to_owned());
    list
}

fn ends(network: &Network<'_>, predicted: &Prediction) -> String {
    let site = network.site;
    let from = &site.segment(predicted.send_point).name.value;
    let to = predicted.place.map(|place| match place {
        Place::Segment(segment) => party_name(site, Endpoint::Segment(segment)),
        Place::Router(router) => party_name(site, Endpoint::Device(router)),
    });
    match to {
        Some(to) => format!("{from} or {to}"),
        None => from.clone(),
    }
}

/// Why nothing can be said of a packet, with what to do, without a full stop.
pub fn unforeseen_text(why: Unpredictable) -> &'static str {
    match why {
        Unpredictable::MixedFamilies => {
            "source and destination are of two address families; write two of one"
        }
        Unpredictable::SourceNowhere => {
            "the source is an address of no device there; write the address that the sender had, and the segment on \
             which it stood"
        }
        Unpredictable::ItsOwn => {
            "the destination is the sender's own address; write the one that it sent to"
        }
        Unpredictable::OtherInterface => {
            "the described host sends to that destination from another of its interfaces; write the address that it \
             sent from"
        }
        Unpredictable::DependsOnRouter => {
            "devices there may use several routers, and what happens depends on which; give the segment a \
             `default_gateway`"
        }
        Unpredictable::DependsOnFault => {
            "several devices have one address on the way, or several routes may be used, and what happens depends on \
             which; mend that first"
        }
        Unpredictable::DependsOnRequest => {
            "the sender hears one VLAN of its gateway and is heard by another, so that it knows where to send only \
             while the gateway asks for it; set PVID and untagged VLAN of the sender's port to the same VLAN"
        }
    }
}

impl fmt::Display for Unpredictable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(unforeseen_text(*self))
    }
}

impl std::error::Error for Unpredictable {}
