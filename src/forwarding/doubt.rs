//! How sure a way is, and why a packet may go another way.

/// How sure it is that a packet goes the way that it is shown on. The greater of two holds for both together.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug, Default)]
pub enum Certainty {
    /// As configured it goes this way, or by one of several that its sender may choose.
    #[default]
    Certain,
    /// It goes this way or another, and nobody can say which: several devices have one address, or two routes to one
    /// destination are equal. What must arrive must arrive on each.
    OneOf,
    /// It may go this way, and need not: by a next hop that is known only if it has asked, or by a backup route.
    Possible,
}

/// Why a packet may go another way than the one shown.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Doubt {
    /// Several devices have the address that it is sent to, or by.
    SharedAddress,
    /// Another route to the same prefix is as good.
    EqualRoute,
    /// The address lies in prefixes of several segments.
    OverlappingPrefix,
    /// A device on the way knows its next hop only if that one has asked for it.
    Request,
    /// It goes by a backup route.
    Backup,
    /// Nobody has the default gateway that is named; another router is perhaps used.
    UnknownGateway,
}

impl Doubt {
    /// How sure a way is with this doubt about it, or with none.
    pub fn of(doubt: Option<Self>) -> Certainty {
        doubt.map(Self::certainty).unwrap_or_default()
    }

    /// How sure a way is with this doubt about it.
    #[must_use]
    pub fn certainty(self) -> Certainty {
        match self {
            Self::SharedAddress | Self::EqualRoute | Self::OverlappingPrefix => Certainty::OneOf,
            Self::Request | Self::Backup | Self::UnknownGateway => Certainty::Possible,
        }
    }
}
