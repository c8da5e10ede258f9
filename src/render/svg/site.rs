//! What is plugged into what: gateways, switches and their cables, from the outside inwards.
//!
//! This file says what stands in each box and on each line; [`super::plan`] says where.

use boundwalk_analysis::{Cabling, TopologyTree};
use boundwalk_model::Site;

use super::super::draw_pen::Pen;
use super::super::draw_things::Things;
use super::super::text_style::TextStyle;
use super::pen::{Drawing, PAD, Sample};
use super::plan::PictureLayout;
use super::site_parts::SitePicture;
use super::trail::Trail;

/// The site as a picture, with a way drawn on it if there is one.
pub fn site_svg(
    site: &Site,
    cabling: &Cabling<'_>,
    trail: Option<&Trail<'_>>,
    alone: bool,
) -> String {
    let topology_tree = TopologyTree::new(site, cabling);
    let plain = TextStyle {
        colour: false,
        columns: 80,
    };
    let view = SitePicture {
        things: Things {
            site,
            topology_tree: &topology_tree,
            pen: Pen {
                ascii: false,
                text_style: plain,
            },
        },
        cabling,
        trail,
    };
    let plan = PictureLayout::new(&view);
    let mut drawing = Drawing::default();
    let title = if site.name.is_empty() {
        "What is plugged into what".to_owned()
    } else {
        format!("{}: what is plugged into what", site.name)
    };
    let title = trail.map_or(title, |trail| trail.title.clone());
    drawing.text("ink b", (PAD, PAD + 14), &super::pen::cut(&title, 1200));
    plan.draw(&view, &mut drawing);
    drawing.legend(&legend(trail.is_some()));
    let description = format!(
        "{} gateways and routers, {} switches, {} cables",
        site.routers.len(),
        site.switches.len(),
        cabling.cables.len()
    );
    drawing.finish(alone, &title, &description)
}

fn legend(trail: bool) -> Vec<(Sample, &'static str)> {
    let mut lines = vec![
        (
            Sample::Line("wire"),
            "a cable, the ports at its ends above it, what is written on it below",
        ),
        (Sample::Line("wire lag"), "cables of a LAG"),
        (
            Sample::Line("wire dash"),
            "an interface, no cable described",
        ),
        (Sample::Fill("some", "10"), "VLAN; U untagged"),
        (Sample::Fill("outside", ""), "outside"),
    ];
    if trail {
        lines.push((Sample::Line("hot"), "the way, with its steps numbered"));
        lines.push((
            Sample::Fill("hotcard", "cut"),
            "a device on the way; what would close it begins with CUT",
        ));
    }
    lines
}
