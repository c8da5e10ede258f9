//! The site itself, zones, segments, groups of addresses and of services.

use super::setting::{Thing, address_set, service_set, set, text};
use boundwalk_diagnostic::{Span, Spanned};
use boundwalk_model::{AddressGroup, Prefix, Segment, ServiceGroup, Site, Zone};

pub(super) fn site(site: &Site) -> Vec<Thing> {
    let Site {
        name,
        description,
        review_months,
        // Each of these is a kind of its own.
        zones: _,
        segments: _,
        addresses: _,
        services: _,
        routers: _,
        hosts: _,
        switches: _,
        links: _,
        needs: _,
        expectations: _,
        accepted: _,
        // The site's own services and those that come with the program.
        service_names: _,
        // What the text is like, not what it says.
        remarks: _,
    } = site;
    let settings = vec![
        ("name", name.clone()),
        ("description", description.clone()),
        (
            "review_months",
            text(&review_months.map(|months| months.value)),
        ),
    ];
    let place = review_months.map_or(Span::default(), |months| months.span);
    vec![Thing::named("", place, settings)]
}

pub(super) fn zones(site: &Site) -> Vec<Thing> {
    let one = |zone: &Zone| {
        let Zone {
            name,
            trust,
            description,
        } = zone;
        let settings = vec![
            ("trust", trust.to_string()),
            ("description", description.clone()),
        ];
        Thing::named(&name.value, name.span, settings)
    };
    site.zones.iter().map(one).collect()
}

pub(super) fn segments(site: &Site) -> Vec<Thing> {
    site.segments.iter().map(|one| segment(site, one)).collect()
}

fn segment(site: &Site, segment: &Segment) -> Thing {
    let Segment {
        name,
        zone,
        vlan,
        prefixes,
        isolated,
        external,
        routes,
        default_gateway,
        description,
    } = segment;
    let networks =
        |list: &[Spanned<Prefix>]| set(list.iter().map(|prefix| prefix.value.net().to_string()));
    let gateways = default_gateway.iter().map(|one| one.value.to_string());
    let settings = vec![
        ("zone", site.zone(*zone).name.value.clone()),
        ("vlan", text(&vlan.map(|vlan| vlan.value))),
        ("prefixes", networks(prefixes)),
        ("isolated", text(&isolated.map(|claim| claim.value))),
        ("external", external.to_string()),
        ("routes", networks(routes)),
        ("default_gateway", set(gateways)),
        ("description", description.clone()),
    ];
    Thing::named(&name.value, name.span, settings)
}

pub(super) fn groups(site: &Site) -> Vec<Thing> {
    let one = |group: &AddressGroup| {
        let AddressGroup { name, set } = group;
        Thing::named(
            &name.value,
            name.span,
            vec![("addresses", address_set(set))],
        )
    };
    site.addresses.iter().map(one).collect()
}

pub(super) fn services(site: &Site) -> Vec<Thing> {
    let one = |group: &ServiceGroup| {
        let ServiceGroup { name, services } = group;
        Thing::named(
            &name.value,
            name.span,
            vec![("items", service_set(services))],
        )
    };
    site.services.iter().map(one).collect()
}
