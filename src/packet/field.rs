//! The seven fields of a packet, their ranges, and single packets.

use super::interval_set::IntervalSet;

/// One of the seven numbers that make a packet.
///
/// The order is the one in which points compare and boxes are cut.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Field {
    /// The interface the packet comes in by.
    Ingress,
    /// The interface it goes out by.
    Egress,
    /// The address it comes from.
    Source,
    /// The address it goes to.
    Destination,
    /// The protocol above the network layer.
    Protocol,
    /// The port it comes from.
    SourcePort,
    /// The port it goes to, or the message code of a message protocol.
    DestinationPort,
}

impl Field {
    /// How many fields there are.
    pub const COUNT: usize = 7;

    /// All fields, in order.
    pub const ALL: [Self; Self::COUNT] = [
        Self::Ingress,
        Self::Egress,
        Self::Source,
        Self::Destination,
        Self::Protocol,
        Self::SourcePort,
        Self::DestinationPort,
    ];

    /// The place of the field in [`Field::ALL`], `0..Field::COUNT`.
    #[must_use]
    pub const fn index(self) -> usize {
        self as usize
    }
}

/// The packets there can be: every field runs from 0 to a top of its own.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug)]
pub struct Space {
    tops: [u128; Field::COUNT],
}

impl Space {
    /// A space with the given highest value of each field, in the order of
    /// [`Field::ALL`].
    #[must_use]
    pub const fn new(tops: [u128; Field::COUNT]) -> Self {
        Self { tops }
    }

    /// Packets with addresses of 32 bits between `interfaces` interfaces.
    ///
    /// # Panics
    /// When `interfaces` is 0: a field must hold at least one value.
    #[must_use]
    pub fn ipv4(interfaces: u32) -> Self {
        Self::with_addresses(interfaces, u128::from(u32::MAX))
    }

    /// Packets with addresses of 128 bits between `interfaces` interfaces.
    ///
    /// # Panics
    /// When `interfaces` is 0: a field must hold at least one value.
    #[must_use]
    pub fn ipv6(interfaces: u32) -> Self {
        Self::with_addresses(interfaces, u128::MAX)
    }

    /// The highest value of `field`; the lowest is 0.
    #[must_use]
    pub const fn top(&self, field: Field) -> u128 {
        self.tops[field.index()]
    }

    /// All values of `field`.
    #[must_use]
    pub fn full(&self, field: Field) -> IntervalSet {
        IntervalSet::range(0, self.top(field))
    }

    fn with_addresses(interfaces: u32, top: u128) -> Self {
        assert!(interfaces >= 1, "a space needs at least one interface");
        let interface = u128::from(interfaces - 1);
        Self::new([interface, interface, top, top, 255, 65_535, 65_535])
    }
}

/// One packet: a value for each field.
///
/// Points compare field by field in the order of [`Field::ALL`].
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub struct Point([u128; Field::COUNT]);

impl Point {
    /// The point with the given values, in the order of [`Field::ALL`].
    #[must_use]
    pub const fn new(values: [u128; Field::COUNT]) -> Self {
        Self(values)
    }

    /// The value of `field`.
    #[must_use]
    pub const fn get(&self, field: Field) -> u128 {
        self.0[field.index()]
    }

    /// The same point with `value` in `field`.
    #[must_use]
    pub const fn with(mut self, field: Field, value: u128) -> Self {
        self.0[field.index()] = value;
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_field_knows_its_place() {
        for (place, field) in Field::ALL.into_iter().enumerate() {
            assert_eq!(field.index(), place);
        }
    }

    #[test]
    fn spaces_end_where_the_protocols_say() {
        let four = Space::ipv4(3);
        assert_eq!(four.top(Field::Ingress), 2);
        assert_eq!(four.top(Field::Source), 0xffff_ffff);
        assert_eq!(four.top(Field::Protocol), 255);
        let six = Space::ipv6(1);
        assert_eq!(six.full(Field::Egress), IntervalSet::point(0));
        assert_eq!(six.top(Field::Destination), u128::MAX);
        assert_eq!(six.top(Field::DestinationPort), 65_535);
    }

    #[test]
    fn a_changed_field_leaves_the_others() {
        let point = Point::default().with(Field::Protocol, 6);
        for field in Field::ALL {
            let expected = if field == Field::Protocol { 6 } else { 0 };
            assert_eq!(point.get(field), expected);
        }
    }

    #[test]
    #[should_panic(expected = "at least one interface")]
    fn a_space_without_interfaces_panics() {
        let _ = Space::ipv4(0);
    }
}
