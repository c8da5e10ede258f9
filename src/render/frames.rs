//! Ways of frames in words: which port, which VLAN, which tags.

use boundwalk_analysis::{Handover, Way, interface_name, vlan_name};
use boundwalk_forwarding::layer2::{
    Admitted, Frame, FrameStep, FrameWay, InterfaceOf, NodeId, NodeKind, PortId, PortName, Refused,
    Start, Taken,
};
use boundwalk_forwarding::{DeviceId, Network};
use boundwalk_model::{Family, SegmentId, Site, SwitchId};

/// `core:25`; of what the file does not describe, what it stands for.
pub fn port_name_of(network: &Network<'_>, id: PortId) -> String {
    let (site, fabric) = (network.site, &network.fabric);
    let Some(port_id) = fabric.ports.get(id.0 as usize) else {
        return String::new();
    };
    match port_id.name {
        PortName::Unnamed => node_name(network, port_id.node),
        name => port_name(site, name),
    }
}

/// `core:25`, by what it is in the site.
pub(super) fn port_name(site: &Site, name: PortName) -> String {
    let of_switch =
        |switch: SwitchId, name: &str| format!("{}:{name}", site.switches[switch.0].name.value);
    match name {
        PortName::Port(switch, port) => {
            of_switch(switch, &site.switches[switch.0].ports[port].name.value)
        }
        PortName::Lag(switch, lag) => {
            of_switch(switch, &site.switches[switch.0].lags[lag].name.value)
        }
        PortName::Interface(host, at) => interface_name(site, InterfaceOf::Host(host, at)),
        PortName::Unnamed => String::new(),
    }
}

/// The name of what passes frames.
pub fn node_name(network: &Network<'_>, id: NodeId) -> String {
    let site = network.site;
    match network.fabric.node(id).kind {
        NodeKind::Aware(switch) | NodeKind::Unaware(switch) => {
            site.switches[switch.0].name.value.clone()
        }
        NodeKind::Bridge(host) => site.host(host).name.value.clone(),
        NodeKind::Neighbours(link) => {
            format!("the cable {}", boundwalk_analysis::link_name(site, link))
        }
        NodeKind::Assumed(segment) => {
            let name = &site.segment(segment).name.value;
            format!("{name} (no cable described)")
        }
    }
}

/// `untagged`, `tag 10`, `tags 30 and below it 90`.
pub fn tags_text(tags: &[u16]) -> String {
    match tags {
        [] => "untagged".to_owned(),
        [0] => "priority-tagged".to_owned(),
        [0, below] => format!("a priority tag and below it tag {below}"),
        [tag] => format!("tag {tag}"),
        [outer, below @ ..] => {
            let below: Vec<String> = below.iter().map(u16::to_string).collect();
            format!("tag {outer} and below it {}", below.join(", "))
        }
    }
}

/// A frame of which the sender may choose more tags.
pub(super) fn frame_text(frame: Frame) -> String {
    tags_text(frame.tags())
}

/// Why a port drops a frame.
pub(super) fn refused_text(why: Refused) -> &'static str {
    match why {
        Refused::UntaggedNotAccepted => "it takes tagged frames only",
        Refused::TaggedNotAccepted => "it takes untagged frames only",
        Refused::NoPvid => "untagged frames have no VLAN there",
        Refused::NotMember => "it is not in that VLAN, and filters on arrival",
    }
}

/// A way of a frame, a line for its sender, each switch, and its taker.
pub(super) fn frame_lines(
    network: &Network<'_>,
    way: &FrameWay,
    end: Option<&Taken>,
) -> Vec<String> {
    let mut lines = vec![start_text(network, way)];
    lines.extend(way.steps.iter().map(|step| step_text(network, step)));
    lines.extend(end.map(|end| end_text(network, way, end)));
    lines
}

/// The same for a way of which only the interface at its end is known.
pub(super) fn frame_lines_to_interface(network: &Network<'_>, way: &FrameWay) -> Vec<String> {
    let mut lines = frame_lines(network, way, None);
    lines.extend(way.interface.map(|interface| {
        let of = network.fabric.interface(interface).of;
        format!("{} takes it", interface_name(network.site, of))
    }));
    lines
}

/// Whether nothing of a way is described.
pub(super) fn assumed(network: &Network<'_>, way: &FrameWay) -> bool {
    let mut steps = way.steps.iter();
    steps.all(|step| matches!(network.fabric.node(step.node).kind, NodeKind::Assumed(_)))
}

/// Who sends it and how.
fn start_text(network: &Network<'_>, way: &FrameWay) -> String {
    let tags = match &way.sent[..] {
        [] => "untagged".to_owned(),
        tags => format!("with {}", tags_text(tags)),
    };
    match way.start {
        Start::AttachPoint(port_id, _) => {
            format!(
                "a device at {} sends a frame {tags}",
                port_name_of(network, port_id)
            )
        }
        Start::WiredInterface(interface) => {
            let of = network.fabric.interface(interface).of;
            format!("{} sends a frame {tags}", interface_name(network.site, of))
        }
        Start::Inside(node, ..) => format!("a frame inside {}", node_name(network, node)),
    }
}

/// What a switch does with it.
fn step_text(network: &Network<'_>, step: &FrameStep) -> String {
    let name = node_name(network, step.node);
    let port = |port_id: PortId| short_port(network, port_id);
    let into = match step.vlan {
        Some((vlan, why)) => {
            let why = match why {
                Admitted::Pvid => "its PVID",
                Admitted::Member => "the tag",
                Admitted::Unfiltered => "the tag, unfiltered though the port is not in it",
            };
            format!(", {} by {why}", vlan_name(network.site, vlan))
        }
        None => String::new(),
    };
    let passes = match network.fabric.node(step.node).kind {
        NodeKind::Unaware(_) => ": passes tags unchanged",
        NodeKind::Bridge(_) => ": the host bridges",
        NodeKind::Assumed(_) => ": layer 2 assumed clean",
        NodeKind::Neighbours(_) | NodeKind::Aware(_) => "",
    };
    if matches!(
        network.fabric.node(step.node).kind,
        NodeKind::Neighbours(_) | NodeKind::Assumed(_)
    ) {
        return format!("{name}{passes}");
    }
    format!(
        "{name}{passes}: in by {} ({}){into}; out by {} ({})",
        port(step.ingress),
        tags_text(&step.arrived),
        port(step.egress),
        tags_text(&step.left)
    )
}

/// The name of a port without that of its switch.
pub(super) fn short_port(network: &Network<'_>, port_id: PortId) -> String {
    let name = port_name_of(network, port_id);
    match name.split_once(':') {
        Some((_, port)) => port.to_owned(),
        None => name,
    }
}

/// Who takes it.
fn end_text(network: &Network<'_>, way: &FrameWay, end: &Taken) -> String {
    match way.interface {
        Some(interface) => {
            let interface = network.fabric.interface(interface);
            let segment = &network.site.segment(interface.segment).name.value;
            format!(
                "{} takes it ({segment})",
                interface_name(network.site, interface.of)
            )
        }
        None => format!(
            "whatever is plugged in at {} takes it",
            port_name_of(network, end.port)
        ),
    }
}

/// A whole way round, line by line.
pub(super) fn way_lines(network: &Network<'_>, way: &Way) -> Vec<String> {
    let mut lines = Vec::new();
    for (number, leg) in way.legs.iter().enumerate() {
        let last = number + 1 == way.legs.len();
        lines.extend(frame_lines(network, leg, last.then_some(&way.end)));
        if let Some(handover) = way.handovers.get(number) {
            lines.push(handover_text(network, handover));
        }
    }
    lines.extend(way.far_address.map(|host| {
        let host = &network.site.host(host).name.value;
        format!("{host} answers there for the address of its other interface as well")
    }));
    lines
}

fn handover_text(network: &Network<'_>, handover: &Handover) -> String {
    let plan = network.plan(Family::V4);
    let site = network.site;
    let (name, of): (&str, &dyn Fn(usize) -> InterfaceOf) = match plan.device(handover.device).id {
        DeviceId::Router(router) => (&site.router(router).name.value, &move |at| {
            InterfaceOf::Router(router, at)
        }),
        DeviceId::Host(host) => (&site.host(host).name.value, &move |at| {
            InterfaceOf::Host(host, at)
        }),
    };
    format!(
        "{name} takes it by {} and routes it on by {}, without rules",
        interface_name(site, of(handover.ingress)),
        interface_name(site, of(handover.egress))
    )
}

/// The name of a segment.
pub(super) fn segment_name(site: &Site, segment: SegmentId) -> &str {
    &site.segment(segment).name.value
}
