//! Floor 0: sets of packets, and nothing else.
//!
//! A packet is seven numbers: where it comes in, where it goes out, two
//! addresses, a protocol and two ports ([`Field`]). This floor answers
//! questions about sets of such points, exactly:
//!
//! * one number: [`Interval`], [`IntervalSet`];
//! * all seven: [`PacketBox`] (a product), [`PacketSet`] (disjoint products);
//! * lists of boxes where the first match wins: [`RuleIndex`] finds it,
//!   [`cover`] tells whether earlier boxes leave anything over;
//! * protocol and ports only: [`ServiceBox`], and [`ServiceClasses`], which
//!   turns sets of services into short bit sets ([`ClassSet`]);
//! * addresses and services together: [`Region`], and [`LineList::walk`], which
//!   runs a region through a rule list; [`CutWalk`] does so for who asks about
//!   all pairs of some sets.
//!
//! What it refuses to know: names, networks, zones, devices, files, text. It
//! imports nothing from the rest of the crate, does no input or output, and
//! asks neither the clock nor chance; equal calls give equal answers, in the
//! same order.

mod class_set;
mod class_view;
mod cut_walk;
mod field;
mod index;
mod interval;
mod interval_set;
mod mask;
mod meetings;
mod packet_box;
mod packet_set;
mod partition;
mod probe;
mod region;
mod rows;
mod service;
mod service_class;
mod walk;

pub use class_set::ClassSet;
pub use cut_walk::{CutPiece, CutSet, CutSide, CutWalk};
pub use field::{Field, Point, Space};
pub use index::RuleIndex;
pub use interval::Interval;
pub use interval_set::IntervalSet;
pub use mask::Mask;
pub use meetings::Meetings;
pub use packet_box::PacketBox;
pub use packet_set::PacketSet;
pub use probe::{Coverage, cover, cover_counting};
pub use region::Region;
pub use service::ServiceBox;
pub use service_class::ServiceClasses;
pub use walk::{Line, LineList, TooManyPieces};
