//! Services as a person asks for them on a command line.

use boundwalk_model::{Service, Site};

use super::service_item::{Item, read};

/// The services that a text names, as an item of a service list of the site would.
///
/// # Errors
/// What is wrong with the text and what to do about it, in one line.
pub fn services(site: &Site, text: &str) -> Result<Vec<Service>, String> {
    match read(text) {
        Ok(Item::Service(service)) => Ok(vec![service]),
        Ok(Item::Name(name)) => {
            let group = site
                .service_names
                .iter()
                .find(|group| group.name.value == name);
            group
                .map(|group| group.services.clone())
                .ok_or_else(|| unknown(site, name))
        }
        Err(complaint) => Err(format!("{}; {}", complaint.message, complaint.help)),
    }
}

fn unknown(site: &Site, name: &str) -> String {
    let near = site
        .service_names
        .iter()
        .map(|group| group.name.value.as_str())
        .map(|known| (strsim::damerau_levenshtein(name, known), known))
        .min_by_key(|(distance, _)| *distance)
        .filter(|(distance, _)| *distance <= 2);
    match near {
        Some((_, near)) => format!(
            "there is no service `{name}`; {}",
            super::spelling::meant(name, near)
        ),
        None => format!("there is no service `{name}`; write it as in tcp/443, udp/53 or icmp/8"),
    }
}
