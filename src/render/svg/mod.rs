//! Pictures as SVG: one file a picture, on one pen. Each stands alone or in a page, and explains its signs.

mod card;
mod chain;
mod logical;
mod matrix;
mod panels;
mod pen;
mod plan;
mod site;
mod site_parts;
mod stops;
mod trail;

pub use chain::chain_svg;
pub use logical::logical_svg;
pub(super) use matrix::class as heat_class;
pub use matrix::matrix_svg;
pub use panels::panels_svg;
pub use pen::{picture_style, xml};
pub use site::site_svg;
pub use stops::{Chain, PictureHop, PictureStop};
pub use trail::Trail;
