//! Boundwalk walks the bounds of a segmented network.
pub mod diagnostic;
pub mod load;
pub mod model;
pub mod packet;
