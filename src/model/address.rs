//! Addresses, prefixes and sets of addresses of both families.

use std::fmt;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};

use ipnet::IpNet;

use boundwalk_packet::{Interval, IntervalSet};

/// An address family. The two are analysed apart: a statement about one says nothing about the other.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Family {
    /// IPv4 (RFC 791).
    V4,
    /// IPv6 (RFC 8200).
    V6,
}

impl Family {
    /// Both families, IPv4 first.
    pub const ALL: [Self; 2] = [Self::V4, Self::V6];

    /// The family of an address.
    pub fn of(address: IpAddr) -> Self {
        match address {
            IpAddr::V4(_) => Self::V4,
            IpAddr::V6(_) => Self::V6,
        }
    }

    /// The highest address as a number.
    pub fn top(self) -> u128 {
        match self {
            Self::V4 => u128::from(u32::MAX),
            Self::V6 => u128::MAX,
        }
    }

    /// Every address of the family.
    pub fn full(self) -> IntervalSet {
        IntervalSet::range(0, self.top())
    }

    /// The address that a number stands for; bits above the family's width are ignored.
    pub fn address(self, value: u128) -> IpAddr {
        match self {
            Self::V4 => IpAddr::V4(Ipv4Addr::from(value as u32)),
            Self::V6 => IpAddr::V6(Ipv6Addr::from(value)),
        }
    }

    /// The number that an address stands for.
    pub fn value(address: IpAddr) -> u128 {
        match address {
            IpAddr::V4(v4) => u128::from(u32::from(v4)),
            IpAddr::V6(v6) => u128::from(v6),
        }
    }

    /// "IPv4" or "IPv6".
    pub fn word(self) -> &'static str {
        match self {
            Self::V4 => "IPv4",
            Self::V6 => "IPv6",
        }
    }

    /// Addresses that no router forwards, as source or destination: this-host, loopback, link-local,
    /// multicast, reserved (RFC 6890 tables, rows with *Forwardable* false and outside documentation and
    /// protocol-assignment blocks; RFC 4291 for IPv6 multicast). Documentation prefixes are not among
    /// them: examples use them as public addresses.
    pub fn never_forwarded(self) -> IntervalSet {
        let blocks: &[&str] = match self {
            Self::V4 => &["0.0.0.0/8", "127.0.0.0/8", "169.254.0.0/16", "224.0.0.0/3"],
            Self::V6 => &["::/127", "fe80::/10", "ff00::/8"],
        };
        set_of(blocks)
    }

    /// Addresses that the internet does not route: private ones (RFC 1918 section 3), those shared with a provider's
    /// translator (RFC 6598 section 4), unique local ones (RFC 4193 section 3).
    pub fn private(self) -> IntervalSet {
        let blocks: &[&str] = match self {
            Self::V4 => &[
                "10.0.0.0/8",
                "172.16.0.0/12",
                "192.168.0.0/16",
                "100.64.0.0/10",
            ],
            Self::V6 => &["fc00::/7"],
        };
        set_of(blocks)
    }
}

fn set_of(blocks: &[&str]) -> IntervalSet {
    blocks
        .iter()
        .filter_map(|block| block.parse::<IpNet>().ok())
        .map(interval_of)
        .collect()
}

/// A prefix without host bits, so that two prefixes are equal exactly when they hold the same addresses.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Prefix(IpNet);

impl Prefix {
    /// The prefix; `None` where bits are set below its length.
    pub fn new(net: IpNet) -> Option<Self> {
        (net.trunc() == net).then_some(Self(net))
    }

    /// The prefix that holds `net`, host bits cleared.
    pub fn truncated(net: IpNet) -> Self {
        Self(net.trunc())
    }

    /// As the library type.
    pub fn net(self) -> IpNet {
        self.0
    }

    /// Its family.
    pub fn family(self) -> Family {
        Family::of(self.0.addr())
    }

    /// Its addresses.
    pub fn interval(self) -> Interval {
        interval_of(self.0)
    }

    /// Whether an address lies in it; never across families.
    pub fn contains(self, address: IpAddr) -> bool {
        self.0.contains(&address)
    }
}

impl fmt::Display for Prefix {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

/// An address of an interface together with the length of its on-link prefix.
///
/// /31 and /127 links have two host addresses and no network or broadcast address (RFC 3021 section 2.1,
/// RFC 6164 section 6).
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct InterfaceAddress(pub IpNet);

impl InterfaceAddress {
    /// The address itself.
    pub fn address(self) -> IpAddr {
        self.0.addr()
    }

    /// The prefix that is on-link.
    pub fn prefix(self) -> Prefix {
        Prefix::truncated(self.0)
    }

    /// Its family.
    pub fn family(self) -> Family {
        Family::of(self.address())
    }
}

impl fmt::Display for InterfaceAddress {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

/// Addresses of both families.
#[derive(Clone, PartialEq, Eq, Hash, Debug, Default)]
pub struct AddressSet {
    /// The IPv4 addresses as numbers.
    pub v4: IntervalSet,
    /// The IPv6 addresses as numbers.
    pub v6: IntervalSet,
}

impl AddressSet {
    /// The addresses of one family.
    pub fn of(&self, family: Family) -> &IntervalSet {
        match family {
            Family::V4 => &self.v4,
            Family::V6 => &self.v6,
        }
    }

    /// The addresses of one family, to change.
    pub fn of_mut(&mut self, family: Family) -> &mut IntervalSet {
        match family {
            Family::V4 => &mut self.v4,
            Family::V6 => &mut self.v6,
        }
    }

    /// Adds an interval of one family.
    pub fn insert(&mut self, family: Family, interval: Interval) {
        let set = self.of_mut(family);
        *set = set.union(&IntervalSet::from(interval));
    }

    /// Adds all of another set.
    pub fn extend(&mut self, other: &Self) {
        self.v4 = self.v4.union(&other.v4);
        self.v6 = self.v6.union(&other.v6);
    }

    /// Whether an address is in it.
    pub fn contains(&self, address: IpAddr) -> bool {
        self.of(Family::of(address))
            .contains(Family::value(address))
    }

    /// Whether it holds no address at all.
    pub fn is_empty(&self) -> bool {
        self.v4.is_empty() && self.v6.is_empty()
    }
}

impl FromIterator<Prefix> for AddressSet {
    fn from_iter<I: IntoIterator<Item = Prefix>>(prefixes: I) -> Self {
        let (v4, v6): (Vec<Prefix>, Vec<Prefix>) = prefixes
            .into_iter()
            .partition(|prefix| prefix.family() == Family::V4);
        Self {
            v4: v4.into_iter().map(Prefix::interval).collect(),
            v6: v6.into_iter().map(Prefix::interval).collect(),
        }
    }
}

/// An interval of addresses in the shortest usual spelling: an address, a prefix, or `low-high`.
pub fn show_interval(family: Family, interval: Interval) -> String {
    let (low, high) = (interval.low(), interval.high());
    let low_text = family.address(low);
    if low == high {
        return low_text.to_string();
    }
    match prefix_length(family, low, high) {
        Some(length) => format!("{low_text}/{length}"),
        None => format!("{low_text}-{}", family.address(high)),
    }
}

/// A set of addresses as its intervals, comma separated; `any` for all of a family, `nothing` for none.
pub fn show_intervals(family: Family, set: &IntervalSet) -> String {
    if set.is_empty() {
        return "nothing".to_owned();
    }
    if *set == family.full() {
        return "any".to_owned();
    }
    let shown: Vec<String> = set
        .intervals()
        .iter()
        .map(|&part| show_interval(family, part))
        .collect();
    shown.join(", ")
}

fn interval_of(net: IpNet) -> Interval {
    let (low, high) = match net {
        IpNet::V4(v4) => (IpAddr::V4(v4.network()), IpAddr::V4(v4.broadcast())),
        IpNet::V6(v6) => (IpAddr::V6(v6.network()), IpAddr::V6(v6.broadcast())),
    };
    Interval::new(Family::value(low), Family::value(high))
        .expect("a prefix ends at or after its start")
}

/// Length of the prefix that holds exactly `low..=high`, if there is one.
fn prefix_length(family: Family, low: u128, high: u128) -> Option<u32> {
    let width: u32 = match family {
        Family::V4 => 32,
        Family::V6 => 128,
    };
    let differing = low ^ high;
    let host_bits = 128 - differing.leading_zeros();
    let block = differing
        .checked_add(1)
        .is_none_or(|size| size.is_power_of_two());
    (block && low & differing == 0).then(|| width - host_bits)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn show(family: Family, low: &str, high: &str) -> String {
        let value = |text: &str| Family::value(text.parse().expect("an address"));
        show_interval(
            family,
            Interval::new(value(low), value(high)).expect("ordered"),
        )
    }

    #[test]
    fn intervals_print_as_address_prefix_or_range() {
        assert_eq!(show(Family::V4, "10.0.0.1", "10.0.0.1"), "10.0.0.1");
        assert_eq!(show(Family::V4, "10.0.0.0", "10.0.0.255"), "10.0.0.0/24");
        assert_eq!(
            show(Family::V4, "10.0.0.1", "10.0.0.2"),
            "10.0.0.1-10.0.0.2"
        );
        assert_eq!(show(Family::V6, "fd00::", "fd00::1"), "fd00::/127");
        assert_eq!(show(Family::V4, "0.0.0.0", "255.255.255.255"), "0.0.0.0/0");
        let all = "ffff:ffff:ffff:ffff:ffff:ffff:ffff:ffff";
        assert_eq!(show(Family::V6, "::", all), "::/0");
    }

    #[test]
    fn a_prefix_has_no_host_bits() {
        let net: IpNet = "10.0.0.1/24".parse().expect("a prefix");
        assert_eq!(Prefix::new(net), None);
        assert_eq!(Prefix::truncated(net).to_string(), "10.0.0.0/24");
    }

    #[test]
    fn a_set_keeps_what_each_family_was_given() {
        let mut set = AddressSet::default();
        let mut first = |family| set.insert(family, Interval::new(3, 5).expect("ordered"));
        first(Family::V4);
        first(Family::V6);
        set.insert(Family::V6, Interval::point(9));
        let held = Family::ALL.map(|family| set.of(family).intervals().len());
        assert_eq!(held, [1, 2]);
        assert!(set.of(Family::V4).contains(4) && !set.of(Family::V4).contains(9));
    }

    /// RFC 3021 section 2.1 and RFC 6164 section 6: both addresses of a point-to-point link are hosts'.
    #[test]
    fn point_to_point_prefixes_hold_two_addresses() {
        let sizes = ["192.0.2.0/31", "2001:db8::/127"].map(|text| {
            let prefix = Prefix::new(text.parse().expect("a prefix")).expect("no host bits");
            prefix.interval().high() - prefix.interval().low() + 1
        });
        assert_eq!(sizes, [2, 2]);
    }

    /// RFC 6890: forwardable blocks stay, the others go.
    #[test]
    fn what_no_router_forwards() {
        let v4 = Family::V4.never_forwarded();
        let holds = |text: &str| v4.contains(Family::value(text.parse().expect("an address")));
        for inside in [
            "0.0.0.0",
            "127.0.0.1",
            "169.254.9.9",
            "224.0.0.1",
            "240.0.0.1",
            "255.255.255.255",
        ] {
            assert!(holds(inside), "{inside}");
        }
        for outside in [
            "10.0.0.1",
            "100.64.0.1",
            "192.0.2.1",
            "192.168.0.1",
            "223.255.255.255",
            "198.18.0.1",
        ] {
            assert!(!holds(outside), "{outside}");
        }
        let v6 = Family::V6.never_forwarded();
        let holds = |text: &str| v6.contains(Family::value(text.parse().expect("an address")));
        assert!(holds("::") && holds("::1") && holds("fe80::1") && holds("ff02::1"));
        assert!(!holds("::2") && !holds("fd00::1") && !holds("2001:db8::1"));
    }

    #[test]
    fn a_set_of_prefixes_holds_their_addresses_of_both_families() {
        let prefix =
            |text: &str| Prefix::new(text.parse().expect("a prefix")).expect("no host bits");
        let address = |text: &str| -> IpAddr { text.parse().expect("an address") };
        let set: AddressSet = ["192.0.2.0/24", "2001:db8::/64"]
            .map(prefix)
            .into_iter()
            .collect();
        assert!(set.contains(address("192.0.2.255")) && set.contains(address("2001:db8::9")));
        assert!(!set.contains(address("192.0.3.0")) && !set.contains(address("2001:db8:0:1::")));
        assert!(!set.is_empty() && AddressSet::default().is_empty());
        let one: AddressSet = [prefix("2001:db8::/64")].into_iter().collect();
        assert!(!one.is_empty() && one.v4.is_empty());
    }

    #[test]
    fn a_prefix_contains_its_own_addresses_and_none_of_the_other_family() {
        let prefix = Prefix::truncated("10.1.2.3/24".parse().expect("a prefix"));
        let holds = |text: &str| prefix.contains(text.parse().expect("an address"));
        assert!(holds("10.1.2.0") && holds("10.1.2.255"));
        assert!(!holds("10.1.1.255") && !holds("10.1.3.0") && !holds("fd00::1"));
    }
}
