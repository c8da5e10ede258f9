//! Hosts, gateways and routers: interfaces, routes, rules and translations.

use super::setting::{Thing, ThingSetting, addresses, date, own, parties, services, set, text};
use boundwalk_model::{
    Filter, Host, HostInterface, Interface, Role, Route, Router, Rule, Site, Translation,
    TranslationTarget, Via,
};

pub(super) fn hosts(site: &Site) -> Vec<Thing> {
    let one = |host: &Host| {
        let Host {
            name,
            // Each of these is a kind of its own.
            interfaces: _,
            routes: _,
            default_gateway,
            forwards,
            description,
        } = host;
        let gateways = default_gateway.iter().map(|one| one.value.to_string());
        let settings = vec![
            ("forwards", text(&forwards.value)),
            ("default_gateway", set(gateways)),
            ("description", description.clone()),
        ];
        Thing::named(&name.value, name.span, settings)
    };
    site.hosts.iter().map(one).collect()
}

pub(super) fn gateways(site: &Site) -> Vec<Thing> {
    site.routers
        .iter()
        .filter(|one| one.filter().is_some())
        .map(router)
        .collect()
}

pub(super) fn plain_routers(site: &Site) -> Vec<Thing> {
    site.routers
        .iter()
        .filter(|one| one.filter().is_none())
        .map(router)
        .collect()
}

fn router(router: &Router) -> Thing {
    let Router {
        name,
        role,
        // Each of these is a kind of its own.
        interfaces: _,
        routes: _,
        lags: _,
        description,
    } = router;
    let mut settings = vec![("description", description.clone())];
    match role {
        Role::Router => {}
        Role::Gateway(filter) => {
            let Filter {
                default,
                stateful,
                // Compared line by line.
                rules: _,
                destination_translations: _,
                source_translations: _,
            } = filter.as_ref();
            settings.push(("default", default.value.word().to_owned()));
            settings.push(("stateful", stateful.to_string()));
        }
    }
    Thing::named(&name.value, name.span, settings)
}

/// Interfaces of gateways and routers, then of hosts.
pub(super) fn interfaces(site: &Site) -> Vec<Thing> {
    let of_routers = site.routers.iter().flat_map(|router| {
        router
            .interfaces
            .iter()
            .map(|one| interface(site, router, one))
            .collect::<Vec<_>>()
    });
    let of_hosts = site.hosts.iter().flat_map(|host| {
        host.interfaces
            .iter()
            .enumerate()
            .map(|(at, one)| host_interface(site, host, at, one))
            .collect::<Vec<_>>()
    });
    of_routers.chain(of_hosts).collect()
}

fn interface(site: &Site, router: &Router, interface: &Interface) -> Thing {
    let Interface {
        name,
        segment,
        addresses,
        shared,
        port,
        vlan,
        source_check,
    } = interface;
    // The order of addresses decides where a translation writes the interface's first one.
    let first = if writes_its_own(router) {
        text(&addresses.iter().map(|one| one.value.0).collect::<Vec<_>>())
    } else {
        String::new()
    };
    let settings = vec![
        ("segment", site.segment(*segment).name.value.clone()),
        ("addresses", format!("{} {first}", own(addresses))),
        (
            "shared_addresses",
            set(shared.iter().map(ToString::to_string)),
        ),
        ("port", text(&port.as_ref().map(|port| &port.value))),
        ("vlan", text(vlan)),
        ("source_check", text(source_check)),
    ];
    let full = format!("{}:{}", router.name.value, name.value);
    Thing::named(full, name.span, settings)
}

/// Whether a translation writes the address of the interface that a packet leaves by.
fn writes_its_own(router: &Router) -> bool {
    let mut lines = router
        .filter()
        .map(|filter| &filter.source_translations)
        .into_iter()
        .flatten();
    lines.any(|line| line.target == TranslationTarget::Interface)
}

fn host_interface(site: &Site, host: &Host, at: usize, interface: &HostInterface) -> Thing {
    Thing {
        name: format!("{}:{}", host.name.value, interface.name.value),
        key: host_interface_key(site, host, at, interface),
        place: interface.name.span,
        settings: host_interface_settings(site, interface),
    }
}

fn host_interface_settings(site: &Site, interface: &HostInterface) -> Vec<ThingSetting> {
    let HostInterface {
        name: _,
        segment,
        addresses,
        shared,
        vlan,
    } = interface;
    vec![
        ("segment", site.segment(*segment).name.value.clone()),
        ("addresses", own(addresses)),
        (
            "shared_addresses",
            set(shared.iter().map(ToString::to_string)),
        ),
        ("vlan", text(vlan)),
    ]
}

/// The name of an interface of a host; of one that the file only numbers, its settings.
pub(super) fn host_interface_key(
    site: &Site,
    host: &Host,
    at: usize,
    interface: &HostInterface,
) -> String {
    let name = &interface.name.value;
    if *name == (at + 1).to_string() {
        text(&(&host.name.value, host_interface_settings(site, interface)))
    } else {
        format!("{}:{name}", host.name.value)
    }
}

/// Routes of gateways and routers, then of hosts.
pub(super) fn routes(site: &Site) -> Vec<Thing> {
    let of_routers = site.routers.iter().flat_map(|router| {
        let by = |at: usize| router.interfaces.get(at).map(|one| one.name.value.clone());
        router
            .routes
            .iter()
            .map(|one| route(&router.name.value, one, by))
            .collect::<Vec<_>>()
    });
    let of_hosts = site.hosts.iter().flat_map(|host| {
        let by = |at: usize| {
            let interface = host.interfaces.get(at)?;
            Some(host_interface_key(site, host, at, interface))
        };
        host.routes
            .iter()
            .map(|one| route(&host.name.value, one, by))
            .collect::<Vec<_>>()
    });
    of_routers.chain(of_hosts).collect()
}

fn route(device: &str, route: &Route, by: impl Fn(usize) -> Option<String>) -> Thing {
    let Route {
        destination,
        via,
        preference,
        place,
    } = route;
    let (via, interface) = match via {
        Via::NextHop { address, interface } => (address.to_string(), by(*interface)),
        Via::Discard => ("discard".to_owned(), None),
    };
    let name = format!("{device} to {}", destination.net());
    let settings = vec![
        ("via", via),
        ("interface", interface.unwrap_or_default()),
        ("preference", preference.to_string()),
    ];
    Thing::named(name, *place, settings)
}

/// Rules of a gateway, in their order.
pub(in super::super) fn rules(site: &Site, filter: &Filter) -> Vec<Thing> {
    filter.rules.iter().map(|one| rule(site, one)).collect()
}

fn rule(site: &Site, rule: &Rule) -> Thing {
    let Rule {
        name,
        from,
        to,
        source,
        destination,
        services: of_rule,
        action,
        log,
        inspect,
        enabled,
        expires,
        reviewed,
        reason,
        owner,
        ticket,
        hits,
        place: _,
    } = rule;
    let settings = vec![
        ("from", parties(site, from.as_deref())),
        ("to", parties(site, to.as_deref())),
        ("source", addresses(source)),
        ("destination", addresses(destination)),
        ("services", services(of_rule)),
        ("action", action.value.word().to_owned()),
        ("log", log.to_string()),
        ("inspect", inspect.to_string()),
        ("enabled", enabled.to_string()),
        ("expires", date(expires)),
        ("reviewed", date(reviewed)),
        ("reason", text(reason)),
        ("owner", text(owner)),
        ("ticket", text(ticket)),
        ("hits", text(hits)),
    ];
    Thing::named(&name.value, name.span, settings)
}

/// Translations of a gateway, in their order: those on arrival, then those on departure.
pub(in super::super) fn translations(site: &Site, filter: &Filter) -> [Vec<Thing>; 2] {
    let lists = [
        ("from", &filter.destination_translations),
        ("to", &filter.source_translations),
    ];
    lists.map(|(side, lines)| {
        lines
            .iter()
            .map(|line| translation(site, side, line))
            .collect()
    })
}

fn translation(site: &Site, side: &'static str, line: &Translation) -> Thing {
    let Translation {
        name,
        parties: interfaces,
        source,
        destination,
        services: of_line,
        target,
        port,
        enabled,
    } = line;
    let settings = vec![
        (side, parties(site, interfaces.as_deref())),
        ("source", addresses(source)),
        ("destination", addresses(destination)),
        ("services", services(of_line)),
        ("to_address", text(target)),
        ("to_port", text(port)),
        ("enabled", enabled.to_string()),
    ];
    Thing::named(&name.value, name.span, settings)
}
