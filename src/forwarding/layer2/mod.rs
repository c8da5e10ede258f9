//! Layer 2: which interfaces frames reach, by switches, VLANs, LAGs and cables as they are configured.
//!
//! [`Fabric`] is the graph; [`flood()`] moves frames through it in one direction, as flooding does.
//! MAC learning usually narrows delivery, but cannot be relied on. [`frame`] holds what a single port does.

mod attach_points;
mod build;
mod fabric;
mod flood;
pub mod frame;
mod lags;
mod parts;
mod queries;
mod steps;
mod vlan_segments;
mod wiring;

pub use fabric::{
    AttachPoint, Fabric, FabricPort, Far, InterfaceId, InterfaceOf, Node, NodeId, NodeKind, Origin,
    PortId, PortName, Tagging, Unclaimed, UnclaimedId, WiredInterface,
};
pub use flood::{Flood, Start, StoppedFrame, Taken, Visit, flood};
pub use frame::{Admitted, Frame, Refused};
pub use lags::lacp_forms;
pub use queries::{Arrival, Exposed};
pub use steps::{FrameStep, FrameWay};
pub use wiring::{FreePort, Reached, Wiring, hostile_starts};
