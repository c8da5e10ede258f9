//! What the readers of bodies share: the report, the names, and the site as far as it is read.

use std::net::IpAddr;

use rustc_hash::FxHashMap;

use boundwalk_diagnostic::{Problem, Span, Spanned};
use boundwalk_model::{AddressSet, HostId, RouterId, SegmentId, Site, SwitchId, VlanId, ZoneId};

use super::kinds;
use super::names::NameTable;
use super::prefix_index::PrefixIndex;
use super::report::ProblemReport;

/// Stands for a zone that could not be resolved. The error that says so keeps the site from getting out.
pub(super) const NO_ZONE: ZoneId = ZoneId(usize::MAX);
/// Stands for a segment that could not be resolved.
pub(super) const NO_SEGMENT: SegmentId = SegmentId(usize::MAX);

/// Parts of opened groups that one input may come to, counted with repetition. A site far past every real
/// one stays below; a few lines of groups of groups could otherwise fill any memory.
const MOST_PARTS: usize = 20_000_000;

/// Ports that all switches of one input may have; ranges make many out of few characters.
const MOST_PORTS: usize = 250_000;

/// A device by its name.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub(super) enum Device {
    Router(RouterId),
    Host(HostId),
    Switch(SwitchId),
}

/// An address group: what it comes to and whether anything uses it.
#[derive(Clone, Default)]
pub(super) struct GroupState {
    /// Opened; `None` where it is broken (and reported) or not yet opened.
    pub set: Option<AddressSet>,
    pub used: bool,
}

/// A service of the site's own.
#[derive(Clone, Default)]
pub(super) struct ServiceState {
    /// Opened; `None` where it is broken (and reported) or not yet opened.
    pub services: Option<Vec<boundwalk_model::Service>>,
    pub used: bool,
}

/// Names and what is read so far. `site` may hold numbers out of range ([`NO_ZONE`], [`NO_SEGMENT`]) as long
/// as the report holds the error that caused them.
pub(super) struct Context<'a> {
    pub report: ProblemReport,
    pub site: Site,
    pub zones: NameTable<'a>,
    pub segments: NameTable<'a>,
    pub groups: NameTable<'a>,
    pub services: NameTable<'a>,
    /// Gateways, then routers, hosts and switches; they share one set of names.
    pub devices: NameTable<'a>,
    pub kinds_of_devices: Vec<Device>,
    pub group_states: Vec<GroupState>,
    pub service_states: Vec<ServiceState>,
    /// Prefixes of the segments, once they are read.
    pub prefixes: PrefixIndex,
    /// The segments of each zone.
    pub zone_members: Vec<Vec<SegmentId>>,
    /// Segments that the ports of the switch being read name.
    pub named_segments: Vec<SegmentId>,
    /// Cables that hosts name in short form.
    pub host_ports: Vec<HostPort>,
    /// Interfaces by address, several where several devices have it; link-local addresses mean something only together with their segment.
    pub owners: FxHashMap<(Option<SegmentId>, IpAddr), Vec<Owner>>,
    parts: usize,
    ports: usize,
}

/// The interface that has an address.
#[derive(Clone, Copy, Debug)]
pub(super) struct Owner {
    pub device: Device,
    pub segment: SegmentId,
    pub span: Span,
}

/// The `port` of a host's interface.
pub(super) struct HostPort {
    pub host: HostId,
    /// Name of the interface.
    pub interface: Spanned<String>,
    /// Its tag.
    pub vlan: Option<VlanId>,
    /// `DEVICE:PORT` as written.
    pub port: Spanned<String>,
}

impl<'a> Context<'a> {
    /// Nothing read yet.
    pub fn new(report: ProblemReport) -> Self {
        Self {
            report,
            site: Site::default(),
            zones: NameTable::new("zone"),
            segments: NameTable::new("segment"),
            groups: NameTable::new("address group"),
            services: NameTable::new("service"),
            devices: NameTable::new("device"),
            kinds_of_devices: Vec::new(),
            group_states: Vec::new(),
            service_states: Vec::new(),
            prefixes: PrefixIndex::default(),
            zone_members: Vec::new(),
            named_segments: Vec::new(),
            host_ports: Vec::new(),
            owners: FxHashMap::default(),
            parts: 0,
            ports: 0,
        }
    }

    /// Reports a problem.
    pub fn report(&mut self, problem: Problem) {
        self.report.push(problem);
    }

    /// Counts parts of opened groups; false, once reported, past the limit.
    pub fn spend(&mut self, parts: usize, span: Span) -> bool {
        let before = self.parts <= MOST_PARTS;
        self.parts = self.parts.saturating_add(parts);
        let fine = self.parts <= MOST_PARTS;
        if before && !fine {
            let message = format!("groups come to more than {MOST_PARTS} parts");
            let problem = Problem::at(&kinds::TOO_LARGE, span, message);
            self.report(
                problem.help("use prefixes and ranges instead of long lists, or nest groups less"),
            );
        }
        fine
    }

    /// Counts a port of a switch; false, once reported, past the limit.
    pub fn count_port(&mut self, span: Span) -> bool {
        self.ports += 1;
        if self.ports == MOST_PORTS + 1 {
            let message = format!("the switches come to more than {MOST_PORTS} ports");
            let problem = Problem::at(&kinds::TOO_LARGE, span, message);
            self.report(problem.help("name the ports that the devices really have"));
        }
        self.ports <= MOST_PORTS
    }

    /// The device of a name.
    pub fn device(&self, name: &str) -> Option<Device> {
        self.devices
            .find(name)
            .map(|number| self.kinds_of_devices[number])
    }

    /// The name of a segment; empty for one that could not be resolved.
    pub fn segment_name(&self, id: SegmentId) -> &str {
        self.site
            .segments
            .get(id.0)
            .map_or("", |segment| segment.name.value.as_str())
    }

    /// What messages and accepted findings call an interface: `edge:lan`. Also of a device that is still being read.
    pub fn interface_name(&self, device: Device, interface: &str) -> String {
        let mut known = self.kinds_of_devices.iter();
        let number = known.position(|known| *known == device);
        let name = number.map_or("", |number| self.devices.name(number).value);
        format!("{name}:{interface}")
    }

    /// The name of a device.
    pub fn device_name(&self, device: Device) -> &str {
        match device {
            Device::Router(id) => &self.site.routers[id.0].name.value,
            Device::Host(id) => &self.site.hosts[id.0].name.value,
            Device::Switch(id) => &self.site.switches[id.0].name.value,
        }
    }
}

/// A name as the model keeps it.
pub(super) fn owned(name: Spanned<&str>) -> Spanned<String> {
    name.map(str::to_owned)
}
