//! Boundwalk walks the bounds of a segmented network.
pub mod packet;
