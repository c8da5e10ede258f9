//! Frames and what a port does with them (IEEE 802.1Q), as pure functions.

use std::fmt;

use boundwalk_model::{FrameTypes, PortVlans, VlanId};

/// Most tags of a frame that is followed; what would carry more is dropped. A sender puts two at most; a
/// host that bridges between tagged interfaces may add one.
const MOST_TAGS: usize = 3;

/// The tags of a frame, outermost first, and how many more its sender may have put below them.
///
/// A hostile sender's choice is kept open until a port asks for it, so that one frame of the model stands
/// for all that the sender could have sent.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Frame {
    tags: [u16; MOST_TAGS],
    known: u8,
    free: u8,
}

impl Frame {
    /// Without a tag.
    pub const UNTAGGED: Self = Self {
        tags: [0; MOST_TAGS],
        known: 0,
        free: 0,
    };

    /// Whatever a hostile device sends: no tag, one, or two.
    pub const HOSTILE: Self = Self {
        free: 2,
        ..Self::UNTAGGED
    };

    /// A frame as an interface sends it: with its tag, or without.
    pub fn of(tag: Option<VlanId>) -> Self {
        tag.map_or(Self::UNTAGGED, |tag| Self::with_tags(&[tag.get()]))
    }

    /// A frame with these tags, outermost first, and no others; 0 is a priority tag. Tags past the third are
    /// left out.
    pub fn with_tags(tags: &[u16]) -> Self {
        let mut frame = Self::UNTAGGED;
        for &tag in tags.iter().take(MOST_TAGS) {
            frame.tags[usize::from(frame.known)] = tag;
            frame.known += 1;
        }
        frame
    }

    /// The tags that are settled, outermost first.
    pub fn tags(&self) -> &[u16] {
        &self.tags[..usize::from(self.known)]
    }

    /// How many more tags the sender may have put below them.
    pub fn free(&self) -> u8 {
        self.free
    }

    /// The outermost tag, if one is settled.
    pub fn outer(&self) -> Option<u16> {
        self.tags().first().copied()
    }

    /// Without its outermost tag.
    #[must_use]
    pub fn popped(&self) -> Self {
        let mut tags = [0; MOST_TAGS];
        let rest = self.tags().get(1..).unwrap_or_default();
        tags[..rest.len()].copy_from_slice(rest);
        Self {
            tags,
            known: self.known.saturating_sub(1),
            free: self.free,
        }
    }

    /// With one more tag outside; `None` where that makes too many. A sender who put so many below that it
    /// does is left out too.
    #[must_use]
    pub fn pushed(&self, tag: u16) -> Option<Self> {
        let room = (MOST_TAGS as u8).checked_sub(self.known + 1)?;
        let mut tags = [0; MOST_TAGS];
        tags[0] = tag;
        tags[1..].copy_from_slice(&self.tags[..MOST_TAGS - 1]);
        Some(Self {
            tags,
            known: self.known + 1,
            free: self.free.min(room),
        })
    }

    /// Whether an interface with this tag, or without one, may take it: exactly that tag, where a priority
    /// tag is as good as none.
    #[must_use]
    pub fn fits(&self, tag: Option<VlanId>) -> bool {
        match (self.tags(), tag) {
            ([] | [0], None) => true,
            ([], Some(_)) => self.free > 0,
            ([outer] | [outer, 0], Some(tag)) => *outer == tag.get(),
            _ => false,
        }
    }

    /// The rest after the sender settles on one of the free tags as the outermost.
    pub(super) fn chosen(&self) -> Option<Self> {
        (self.known == 0 && self.free > 0).then(|| Self {
            free: self.free - 1,
            ..*self
        })
    }
}

/// What let a frame into a VLAN.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Admitted {
    /// Untagged or priority-tagged: the PVID.
    Pvid,
    /// Its tag, of a VLAN that the port is a member of.
    Member,
    /// Its tag, of a VLAN that the port is no member of: ingress filtering is off.
    Unfiltered,
}

/// Why a frame is dropped on arrival.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Refused {
    /// The port takes tagged frames only.
    UntaggedNotAccepted,
    /// The port takes untagged and priority-tagged frames only.
    TaggedNotAccepted,
    /// Untagged, and the port has no PVID.
    NoPvid,
    /// The port is no member of the VLAN, and filters on arrival.
    NotMember,
}

impl fmt::Display for Refused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::UntaggedNotAccepted => "the port takes tagged frames only",
            Self::TaggedNotAccepted => "the port takes untagged frames only",
            Self::NoPvid => "untagged frames have no VLAN at the port",
            Self::NotMember => "the port is not in that VLAN, and filters on arrival",
        })
    }
}

impl std::error::Error for Refused {}

/// The VLAN that an untagged or priority-tagged frame takes (IEEE 802.1Q clause 8.6.2; RFC 4363, dot1qPvid).
pub fn admit_untagged(vlans: &PortVlans) -> Result<(VlanId, Admitted), Refused> {
    if vlans.accept == FrameTypes::Tagged {
        return Err(Refused::UntaggedNotAccepted);
    }
    let pvid = vlans.pvid.ok_or(Refused::NoPvid)?;
    if vlans.ingress_filter && !vlans.carries(pvid) {
        Err(Refused::NotMember)
    } else {
        Ok((pvid, Admitted::Pvid))
    }
}

/// The VLAN of a frame with this outer tag, not 0 (RFC 4363, dot1qPortIngressFiltering).
pub fn admit_tagged(vlans: &PortVlans, vlan: VlanId) -> Result<(VlanId, Admitted), Refused> {
    if vlans.accept == FrameTypes::Untagged {
        return Err(Refused::TaggedNotAccepted);
    }
    match (vlans.carries(vlan), vlans.ingress_filter) {
        (true, _) => Ok((vlan, Admitted::Member)),
        (false, false) => Ok((vlan, Admitted::Unfiltered)),
        (false, true) => Err(Refused::NotMember),
    }
}

/// The VLAN that one settled frame takes, and what is left below its tag.
pub fn admit(vlans: &PortVlans, frame: Frame) -> Result<(VlanId, Frame, Admitted), Refused> {
    let outer = frame.outer().and_then(VlanId::new);
    let (vlan, why) = match outer {
        Some(vlan) => admit_tagged(vlans, vlan)?,
        None => admit_untagged(vlans)?,
    };
    Ok((vlan, frame.popped(), why))
}

/// Every way in that the sender of a frame may choose: calls `enter` with the VLAN, what is left below, and
/// what let it in. `alive` are the VLANs that any port of the switch carries: others lead nowhere.
pub fn admit_any(
    vlans: &PortVlans,
    frame: Frame,
    alive: impl Iterator<Item = VlanId>,
    enter: &mut dyn FnMut(VlanId, Frame, Admitted),
) {
    if frame.outer().is_some() || frame.free() == 0 {
        if let Ok((vlan, rest, why)) = admit(vlans, frame) {
            enter(vlan, rest, why);
        }
        return;
    }
    // A priority tag leads where no tag does, and leaves room for one more below.
    let rest = frame.chosen().unwrap_or(frame);
    if let Ok((vlan, why)) = admit_untagged(vlans) {
        enter(vlan, rest, why);
    }
    for vlan in alive {
        match admit_tagged(vlans, vlan) {
            // The same as by its PVID.
            Ok(_) if vlans.pvid == Some(vlan) && admit_untagged(vlans).is_ok() => {}
            Ok((vlan, why)) => enter(vlan, rest, why),
            Err(_) => {}
        }
    }
}

/// A frame of a VLAN as it leaves by a member port: without the tag where the port is in the untagged set
/// (IEEE 802.1Q clause 8.8.2). `None`: the port is no member, or the frame would carry too many tags.
#[must_use]
pub fn egress(vlans: &PortVlans, vlan: VlanId, below: Frame) -> Option<Frame> {
    if vlans.untagged.contains(vlan) {
        Some(below)
    } else if vlans.tagged.contains(vlan) {
        below.pushed(vlan.get())
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn vlan(number: u16) -> VlanId {
        VlanId::new(number).expect("a VLAN")
    }

    fn port(accept: FrameTypes, ingress_filter: bool, pvid: u16) -> PortVlans {
        PortVlans {
            pvid: VlanId::new(pvid),
            untagged: [vlan(10)].into_iter().collect(),
            tagged: [vlan(20)].into_iter().collect(),
            ingress_filter,
            accept,
        }
    }

    /// VLAN taken in, 0 where it is dropped.
    fn taken(port: &PortVlans, tags: &[u16]) -> u16 {
        admit(port, Frame::with_tags(tags)).map_or(0, |(vlan, ..)| vlan.get())
    }

    /// The truth table of ingress: RFC 4363, dot1qPvid, dot1qPortAcceptableFrameTypes and
    /// dot1qPortIngressFiltering, spelled out for a port with PVID 10 in VLANs 10 (untagged) and 20 (tagged).
    #[test]
    fn ingress_follows_the_truth_table() {
        let columns = [
            port(FrameTypes::All, false, 10),
            port(FrameTypes::All, true, 10),
            port(FrameTypes::Tagged, true, 10),
            port(FrameTypes::Untagged, true, 10),
        ];
        let rows: [(&[u16], [u16; 4]); 5] = [
            (&[], [10, 10, 0, 10]),
            (&[0], [10, 10, 0, 10]),
            (&[20], [20, 20, 20, 0]),
            (&[10], [10, 10, 10, 0]),
            (&[30], [30, 0, 0, 0]),
        ];
        for (tags, expected) in rows {
            let found = [0, 1, 2, 3].map(|column: usize| taken(&columns[column], tags));
            assert_eq!(found, expected, "tags {tags:?}");
        }
        let stray = [(FrameTypes::All, false), (FrameTypes::All, true)];
        let found = stray.map(|(accept, filter)| taken(&port(accept, filter, 99), &[]));
        assert_eq!(found, [99, 0], "a PVID that the port is no member of");
    }

    /// RFC 4363, DEFVAL clauses: PVID 1, admitAll, ingress filtering false.
    #[test]
    fn a_port_of_defaults_lets_everything_in() {
        let port = PortVlans::default();
        assert_eq!(taken(&port, &[]), 1);
        assert_eq!(taken(&port, &[77]), 77);
    }

    #[test]
    fn the_tag_below_is_exposed_where_the_outer_leaves_untagged() {
        let port = port(FrameTypes::All, true, 10);
        let (taken, below, _) = admit(&port, Frame::with_tags(&[10, 20])).expect("a member");
        assert_eq!((taken, below.tags()), (vlan(10), &[20][..]));
        let out = egress(&port, taken, below).expect("a member");
        assert_eq!(out.tags(), [20]);
        let kept = egress(&port, vlan(20), below).expect("a member");
        assert_eq!(kept.tags(), [20, 20]);
        assert_eq!(egress(&port, vlan(30), below), None);
    }

    /// What a hostile frame stands for is what its single frames do.
    #[test]
    fn an_open_choice_is_all_its_frames() {
        let known: Vec<u16> = vec![0, 10, 20, 30];
        for accept in [FrameTypes::All, FrameTypes::Tagged, FrameTypes::Untagged] {
            for filter in [false, true] {
                let port = port(accept, filter, 10);
                let mut open = Vec::new();
                let alive = [10, 20, 30].into_iter().map(vlan);
                admit_any(&port, Frame::HOSTILE, alive, &mut |vlan, below, _| {
                    assert_eq!((below.tags().len(), below.free()), (0, 1));
                    open.push(vlan.get());
                });
                open.sort_unstable();
                let mut single: Vec<u16> = known
                    .iter()
                    .map(|&tag| taken(&port, &[tag, 40]))
                    .filter(|&vlan| vlan != 0)
                    .collect();
                single.sort_unstable();
                single.dedup();
                assert_eq!(open, single, "{accept:?} {filter}");
            }
        }
    }

    #[test]
    fn interfaces_take_their_own_tag_only() {
        let tagged = Some(vlan(10));
        assert!(Frame::UNTAGGED.fits(None) && Frame::with_tags(&[0]).fits(None));
        assert!(!Frame::UNTAGGED.fits(tagged) && Frame::HOSTILE.fits(tagged));
        assert!(Frame::with_tags(&[10]).fits(tagged));
        assert!(!Frame::with_tags(&[10, 20]).fits(tagged) && !Frame::with_tags(&[20]).fits(tagged));
        assert!(!Frame::with_tags(&[10]).fits(None));
    }
}
