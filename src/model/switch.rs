//! Switches, ports, LAGs and cables, as they are configured.
//!
//! The words are those of IEEE 802.1Q (member set, untagged set, PVID, ingress filtering, acceptable frame
//! types) and IEEE 802.1AX (LAG, LACP).

use std::fmt;

use bitvec::array::BitArray;
use bitvec::order::Lsb0;

use boundwalk_diagnostic::{Span, Spanned};

use super::names::{LinkEnd, SegmentId};

/// A VLAN identifier, `1..=4094`.
///
/// 0 marks a priority tag and 4095 is reserved, so neither can name a segment (RFC 4363, textual convention
/// `VlanId`; IEEE 802.1Q, reserved VID values).
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct VlanId(u16);

impl VlanId {
    /// The identifier; `None` outside `1..=4094`.
    pub const fn new(value: u16) -> Option<Self> {
        if value >= 1 && value <= 4094 {
            Some(Self(value))
        } else {
            None
        }
    }

    /// The number, `1..=4094`.
    pub fn get(self) -> u16 {
        self.0
    }
}

impl fmt::Display for VlanId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

/// A set of VLANs, one bit each.
#[derive(Clone, PartialEq, Eq, Hash, Default)]
pub struct VlanSet(BitArray<[u64; 64], Lsb0>);

impl VlanSet {
    /// Adds a VLAN; tells whether it was new.
    pub fn insert(&mut self, vlan: VlanId) -> bool {
        !self.0.replace(usize::from(vlan.0), true)
    }

    /// Whether a VLAN is in it.
    pub fn contains(&self, vlan: VlanId) -> bool {
        self.0[usize::from(vlan.0)]
    }

    /// Its VLANs, ascending.
    pub fn iter(&self) -> impl Iterator<Item = VlanId> + '_ {
        // Word by word: most words are empty, and the search for distances does this for each site that it tries.
        self.0
            .as_raw_slice()
            .iter()
            .enumerate()
            .filter(|(_, word)| **word != 0)
            .flat_map(|(at, &word)| {
                (0..u64::BITS)
                    .filter(move |bit| word >> bit & 1 == 1)
                    .map(move |bit| VlanId((at as u32 * u64::BITS + bit) as u16))
            })
    }

    /// The highest VLAN in it.
    pub fn highest(&self) -> Option<VlanId> {
        let mut held = self
            .0
            .as_raw_slice()
            .iter()
            .enumerate()
            .rev()
            .filter(|(_, word)| **word != 0);
        held.next().map(|(at, word)| {
            let bit = u64::BITS - 1 - word.leading_zeros();
            VlanId((at as u32 * u64::BITS + bit) as u16)
        })
    }

    /// Takes a VLAN out; tells whether it was in.
    pub fn remove(&mut self, vlan: VlanId) -> bool {
        self.0.replace(usize::from(vlan.0), false)
    }

    /// Whether it is empty.
    pub fn is_empty(&self) -> bool {
        self.0.not_any()
    }
}

impl FromIterator<VlanId> for VlanSet {
    fn from_iter<I: IntoIterator<Item = VlanId>>(vlans: I) -> Self {
        let mut set = Self::default();
        for vlan in vlans {
            set.insert(vlan);
        }
        set
    }
}

impl fmt::Debug for VlanSet {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_set().entries(self.iter().map(VlanId::get)).finish()
    }
}

/// Which frames a port takes in (IEEE 802.1Q, acceptable frame types).
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub enum FrameTypes {
    /// All; the standard's default (RFC 4363, `dot1qPortAcceptableFrameTypes`).
    #[default]
    All,
    /// Only frames that carry a VLAN tag.
    Tagged,
    /// Only untagged and priority-tagged frames.
    Untagged,
}

/// VLAN configuration of a port or LAG.
///
/// The default is the standard's for every setting left out: PVID 1, all frame types, ingress filtering off
/// (RFC 4363, DEFVAL clauses), here without membership in any VLAN.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct PortVlans {
    /// VLAN of untagged and priority-tagged frames; `None` drops them.
    pub pvid: Option<VlanId>,
    /// VLANs whose frames leave without a tag.
    pub untagged: VlanSet,
    /// VLANs whose frames leave with a tag. The member set is the union of both.
    pub tagged: VlanSet,
    /// Whether frames of VLANs the port is no member of are dropped on arrival.
    pub ingress_filter: bool,
    /// Frames that are let in at all.
    pub accept: FrameTypes,
}

impl Default for PortVlans {
    fn default() -> Self {
        Self {
            pvid: VlanId::new(1),
            untagged: VlanSet::default(),
            tagged: VlanSet::default(),
            ingress_filter: false,
            accept: FrameTypes::All,
        }
    }
}

/// Speed of a port in Mbit/s, at least 1.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Speed(pub u32);

impl fmt::Display for Speed {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.0 {
            megabits if megabits % 1000 == 0 => write!(f, "{}G", megabits / 1000),
            megabits if megabits > 1000 && megabits % 100 == 0 => {
                write!(f, "{}.{}G", megabits / 1000, megabits % 1000 / 100)
            }
            megabits => write!(f, "{megabits}M"),
        }
    }
}

impl PortVlans {
    /// Whether the port is in the member set of a VLAN.
    pub fn carries(&self, vlan: VlanId) -> bool {
        self.untagged.contains(vlan) || self.tagged.contains(vlan)
    }

    /// The member set, ascending.
    pub fn members(&self) -> VlanSet {
        let mut all = self.untagged.clone();
        let words = all.0.as_raw_mut_slice().iter_mut();
        for (word, tagged) in words.zip(self.tagged.0.as_raw_slice()) {
            *word |= tagged;
        }
        all
    }
}

/// One port of a switch.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Port {
    /// Its name, as printed on the front.
    pub name: Spanned<String>,
    /// VLAN configuration; `None` where the port takes that of its LAG.
    pub vlans: Option<PortVlans>,
    /// Whether it reaches only ports that are not isolated.
    pub isolated: bool,
    /// A disabled port is dead; any other is a place to plug in.
    pub enabled: bool,
    /// Speed it is set to, where the file says so.
    pub speed: Option<Speed>,
    /// A line for people; may be empty.
    pub description: String,
}

/// How a LAG end negotiates (IEEE 802.1AX).
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Lacp {
    /// Speaks first.
    Active,
    /// Speaks when spoken to; two passive ends never form a LAG.
    Passive,
    /// No LACP: all members always carry.
    Static,
}

/// Several ports that act as one.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Lag {
    /// Its name.
    pub name: Spanned<String>,
    /// Names of its member ports, each a port of the same switch and of no other LAG.
    pub ports: Vec<Spanned<String>>,
    /// Negotiation.
    pub lacp: Lacp,
    /// Speed of each member, where the file says so for the whole LAG.
    pub speed: Option<Speed>,
    /// VLAN configuration of the one logical port.
    pub vlans: PortVlans,
    /// Where that is described; the LAG's name where nothing is.
    pub place: Span,
    /// Whether the logical port is isolated.
    pub isolated: bool,
}

/// A switch.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Switch {
    /// Its name.
    pub name: Spanned<String>,
    /// A switch that knows no VLANs passes tags unchanged and joins all its ports.
    pub vlan_aware: bool,
    /// Its ports in the order of the file.
    pub ports: Vec<Port>,
    /// Its LAGs.
    pub lags: Vec<Lag>,
    /// Segments that its ports and LAGs name, ascending: where several segments have one VLAN number, these are the
    /// ones meant here.
    pub named: Vec<SegmentId>,
    /// A line for people; may be empty.
    pub description: String,
}

impl Switch {
    /// The number of a port of this name.
    pub fn port(&self, name: &str) -> Option<usize> {
        self.ports.iter().position(|port| port.name.value == name)
    }

    /// The number of a LAG of this name.
    pub fn lag(&self, name: &str) -> Option<usize> {
        self.lags.iter().position(|lag| lag.name.value == name)
    }

    /// The number of the LAG that a port of this name is a member of.
    pub fn lag_of(&self, port: &str) -> Option<usize> {
        let holds = |lag: &Lag| lag.ports.iter().any(|member| member.value == port);
        self.lags.iter().position(holds)
    }
}

/// A cable, or the bundle of cables of a LAG.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Link {
    /// Its two ends.
    pub ends: [Spanned<LinkEnd>; 2],
    /// What is written on it.
    pub label: Option<String>,
    /// Where it is described.
    pub place: Span,
    /// Pulled out at both ends, which stay blocked. For what-ifs only: no file says so.
    pub pulled: bool,
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 4363: `VlanId` is 1..4094; 0 is a priority tag, 4095 reserved.
    #[test]
    fn vlan_identifiers_run_from_1_to_4094() {
        let valid = [0, 1, 4094, 4095, 4096].map(|value| VlanId::new(value).is_some());
        assert_eq!(valid, [false, true, true, false, false]);
    }

    #[test]
    fn a_set_lists_its_vlans_in_order() {
        assert_eq!(VlanSet::default().highest(), None);
        let set: VlanSet = [30, 1, 4094, 30]
            .into_iter()
            .filter_map(VlanId::new)
            .collect();
        let listed: Vec<u16> = set.iter().map(VlanId::get).collect();
        assert_eq!(listed, [1, 30, 4094]);
        assert_eq!(set.highest(), VlanId::new(4094));
        for number in [1, 63, 64, 4094] {
            let one: VlanSet = VlanId::new(number).into_iter().collect();
            assert_eq!(one.highest().map(VlanId::get), Some(number));
        }
    }

    /// RFC 4363, DEFVAL of dot1qPvid, dot1qPortIngressFiltering and dot1qPortAcceptableFrameTypes.
    #[test]
    fn settings_left_out_take_the_defaults_of_the_standard() {
        let port = PortVlans::default();
        assert_eq!(port.pvid, VlanId::new(1));
        assert!(!port.ingress_filter);
        assert_eq!(port.accept, FrameTypes::All);
    }

    fn vlans(numbers: &[u16]) -> VlanSet {
        numbers.iter().copied().filter_map(VlanId::new).collect()
    }

    #[test]
    fn a_vlan_goes_in_once_and_out_once() {
        let vlan = VlanId::new(30).expect("a VLAN");
        let mut set = vlans(&[10]);
        assert!(set.insert(vlan) && !set.insert(vlan));
        assert_eq!(set, vlans(&[10, 30]));
        assert!(set.remove(vlan) && !set.remove(vlan));
        assert_eq!(set, vlans(&[10]));
        assert!(!set.is_empty() && VlanSet::default().is_empty());
    }

    /// IEEE 802.1Q: the member set holds what leaves untagged and what leaves tagged.
    #[test]
    fn the_member_set_is_what_leaves_untagged_or_tagged() {
        let port = PortVlans {
            untagged: vlans(&[10]),
            tagged: vlans(&[20, 4094]),
            ..PortVlans::default()
        };
        assert_eq!(port.members(), vlans(&[10, 20, 4094]));
        for vlan in (1..=4094).filter_map(VlanId::new) {
            assert_eq!(port.carries(vlan), port.members().contains(vlan), "{vlan}");
        }
    }

    #[test]
    fn speeds_print_in_the_usual_unit() {
        let shown = [1, 10, 100, 999, 1000, 1500, 1550, 2500, 10_000, 25_000];
        let shown = shown.map(|megabits| Speed(megabits).to_string());
        let expected = [
            "1M", "10M", "100M", "999M", "1G", "1.5G", "1550M", "2.5G", "10G", "25G",
        ];
        assert_eq!(shown, expected);
    }

    #[test]
    fn ports_and_lags_are_found_by_name() {
        let named = |name: &str| Spanned::new(name.to_owned(), Span::default());
        let port = |name: &str| Port {
            name: named(name),
            vlans: None,
            isolated: false,
            enabled: true,
            speed: None,
            description: String::new(),
        };
        let lag = |name: &str, ports: &[&str]| Lag {
            name: named(name),
            ports: ports.iter().map(|port| named(port)).collect(),
            lacp: Lacp::Active,
            speed: None,
            vlans: PortVlans::default(),
            place: Span::default(),
            isolated: false,
        };
        let switch = Switch {
            name: named("sw1"),
            vlan_aware: true,
            ports: ["1", "2", "3"].map(port).into(),
            lags: vec![lag("up", &["1"]), lag("down", &["2", "3"])],
            named: Vec::new(),
            description: String::new(),
        };
        assert_eq!(
            ["1", "3", "4"].map(|name| switch.port(name)),
            [Some(0), Some(2), None]
        );
        assert_eq!(
            ["up", "down", "1"].map(|name| switch.lag(name)),
            [Some(0), Some(1), None]
        );
        assert_eq!(
            ["1", "3", "4"].map(|name| switch.lag_of(name)),
            [Some(0), Some(1), None]
        );
    }
}
