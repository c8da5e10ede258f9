//! A value for each address family.

use std::ops::{Index, IndexMut};

use super::Family;

/// One value for IPv4 and one for IPv6, indexed by the family.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct PerFamily<T>([T; 2]);

impl<T> PerFamily<T> {
    /// Makes the value of each family, IPv4 first.
    pub fn new(of: impl FnMut(Family) -> T) -> Self {
        Self(Family::ALL.map(of))
    }

    /// Both values, IPv4 first.
    pub fn as_slice(&self) -> &[T] {
        &self.0
    }
}

impl<T> Index<Family> for PerFamily<T> {
    type Output = T;

    fn index(&self, family: Family) -> &T {
        &self.0[family as usize]
    }
}

impl<T> IndexMut<Family> for PerFamily<T> {
    fn index_mut(&mut self, family: Family) -> &mut T {
        &mut self.0[family as usize]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_family_has_its_own_value() {
        let mut words = PerFamily::new(Family::word);
        assert_eq!(words[Family::V4], "IPv4");
        assert_eq!(words[Family::V6], "IPv6");
        words[Family::V6] = "other";
        assert_eq!(words.as_slice(), ["IPv4", "other"]);
    }
}
