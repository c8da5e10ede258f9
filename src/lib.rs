//! Boundwalk walks the bounds of a segmented network.
pub mod analysis;
//pub mod cli;
pub mod diagnostic;
pub mod forwarding;
//pub mod load;
pub mod model;
pub mod packet;
pub mod render;
