//! The settings that a way round rests on.

use rustc_hash::FxHashSet;

use boundwalk_forwarding::layer2::{Admitted, Far, FrameWay, NodeKind, PortId, Tagging};
use boundwalk_forwarding::{DeviceId, Network, Origin};
use boundwalk_model::{Family, Forwards, HostId, PortVlans, VlanId};

use super::needed::port_segments;
use super::setting::{PortKey, Setting};
use super::ways::{Way, begins};

/// The settings that a way rests on, in its order.
pub(super) fn settings_of(
    network: &Network<'_>,
    (from, to): (Origin, Origin),
    way: &Way,
) -> Vec<Setting> {
    let mut settings = Vec::new();
    let mut seen: FxHashSet<Setting> = FxHashSet::default();
    let mut add = |setting: Setting| {
        if seen.insert(setting) {
            settings.push(setting);
        }
    };
    if let Some(port) = way.legs.first().and_then(|leg| begins(network, leg)) {
        plugged(network, port, from).into_iter().for_each(&mut add);
        seat_settings(network, port, from)
            .into_iter()
            .for_each(&mut add);
    }
    for (number, leg) in way.legs.iter().enumerate() {
        frame_settings(network, leg).into_iter().for_each(&mut add);
        if let Some(handover) = way.handovers.get(number) {
            let plan = network.plan(Family::V4);
            match plan.device(handover.device).id {
                DeviceId::Router(router) => add(Setting::NoRules(router)),
                DeviceId::Host(host) => {
                    add(Setting::Forwards(host));
                    // Without forwarding it still answers for its address there.
                    add(Setting::Home(host, handover.egress));
                    add(Setting::Home(host, handover.ingress));
                }
            }
        }
    }
    match way.far_address {
        Some(host) => several_homes(network, host, to)
            .into_iter()
            .for_each(&mut add),
        None => plugged(network, way.end.port, to)
            .into_iter()
            .for_each(&mut add),
    }
    if way.end.interface.is_none() {
        seat_settings(network, way.end.port, to)
            .into_iter()
            .for_each(&mut add);
    }
    settings
}

/// What makes a port a place for devices of a segment: its PVID, or its membership.
fn seat_settings(network: &Network<'_>, id: PortId, at: Origin) -> Vec<Setting> {
    let site = network.site;
    let port = network.fabric.port(id);
    let vlan = match at {
        Origin::Segment(segment) => site.segment(segment).vlan.map(|vlan| vlan.value),
        Origin::Unclaimed(group) => network.fabric.unclaimed(group).vlan,
    };
    let (Tagging::Vlans(vlans), Some(key), Some(vlan)) =
        (&port.tagging, PortKey::of(site, port.name), vlan)
    else {
        return Vec::new();
    };
    match (vlans.pvid == Some(vlan), vlans.carries(vlan)) {
        (true, _) => {
            let pvid = Some(Setting::Pvid(key, vlan));
            pvid.into_iter().chain(lets_in(key, vlans, vlan)).collect()
        }
        (false, true) => vec![Setting::Member(key, vlan)],
        (false, false) => Vec::new(),
    }
}

/// What lets frames of a VLAN in at a port besides its PVID: membership where it filters on arrival, else that
/// it does not filter. `None`: it does not filter and is a member, so neither alone keeps them out.
fn lets_in(port: PortKey, vlans: &PortVlans, vlan: VlanId) -> Option<Setting> {
    match (vlans.carries(vlan), vlans.ingress_filter) {
        (_, true) => Some(Setting::Member(port, vlan)),
        (false, false) => Some(Setting::FilterOff(port)),
        (true, false) => None,
    }
}

/// The cable at a port whose host the file puts on a segment that the port is not of.
fn plugged(network: &Network<'_>, port: PortId, at: Origin) -> Option<Setting> {
    let segment = at.segment()?;
    let fabric = &network.fabric;
    let here = fabric.port(port);
    let Far::Interfaces(interfaces) = &here.far else {
        return None;
    };
    let told = interfaces
        .iter()
        .any(|&interface| fabric.interface(interface).segment == segment);
    let real = port_segments(fabric, port).contains(&segment);
    if told && !real {
        here.link.map(Setting::Plugged)
    } else {
        None
    }
}

/// The interfaces by which a host is on a segment as well as elsewhere.
fn several_homes(network: &Network<'_>, host: HostId, to: Origin) -> Vec<Setting> {
    let interfaces = network.site.host(host).interfaces.iter().enumerate();
    let (there, here): (Vec<_>, Vec<_>) =
        interfaces.partition(|(_, interface)| Some(interface.segment) == to.segment());
    there
        .into_iter()
        .chain(here)
        .map(|(at, _)| Setting::Home(host, at))
        .collect()
}

fn frame_settings(network: &Network<'_>, leg: &FrameWay) -> Vec<Setting> {
    let (site, fabric) = (network.site, &network.fabric);
    let key = |port: PortId| {
        let port = fabric.ports.get(port.0 as usize)?;
        PortKey::of(site, port.name)
    };
    let mut settings = Vec::new();
    for step in &leg.steps {
        if let NodeKind::Bridge(host) = fabric.node(step.node).kind
            && site.host(host).forwards.value == Forwards::Bridges
        {
            settings.push(Setting::Forwards(host));
        }
        let Some((vlan, admitted)) = step.vlan else {
            continue;
        };
        if let Some(port) = key(step.ingress) {
            settings.extend((admitted == Admitted::Pvid).then_some(Setting::Pvid(port, vlan)));
            settings.extend(
                port.vlans(site)
                    .and_then(|vlans| lets_in(port, vlans, vlan)),
            );
        }
        if let Some(port) = key(step.egress) {
            let untagged = port
                .vlans(site)
                .is_some_and(|vlans| vlans.untagged.contains(vlan));
            if untagged && !step.left.is_empty() {
                settings.push(Setting::Untagged(port, vlan));
            }
            settings.push(Setting::Member(port, vlan));
        }
    }
    settings
}
