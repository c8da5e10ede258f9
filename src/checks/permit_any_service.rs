//! A permit for every service.

use boundwalk_diagnostic::{Check, Severity};

use super::measured::of_permit;
use super::permit::PermitRule;
use super::permits::names_all;
use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "permit-any-service",
    severity: Severity::Warning,
    summary: "a permit for every service",
    why: "Who needs two services gets all 65,536 ports of TCP and of UDP and every other protocol with them: whatever a device listens on is reachable, and so is what is installed later.",
    fine_when: "The sender is an administrator or a scanner that is watched, and the reason says so.",
    remedy: "Name the services that are needed.",
    references: &[
        "NIST SP 800-41 rev. 1, executive summary: rule sets as specific as possible about the traffic they control",
        "NIST SP 800-53 AC-6 and CM-7: least privilege, least functionality",
        "PCI DSS v4.0.1 1.2.5: services, protocols and ports allowed are identified and approved",
    ],
    fires: include_str!("examples/permit-any-service.fires.toml"),
    quiet: include_str!("examples/permit-any-service.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for permit in view.permits() {
        if !permit.any_service() {
            continue;
        }
        let gateway = permit.gateway;
        let what =
            "permits every service: 65,536 ports of TCP, as many of UDP, and all other protocols";
        let needed = needed(view, permit);
        let help = if needed.is_empty() {
            "add `services` with those that are needed".to_owned()
        } else {
            format!(
                "add `services`; needs of these parties name {}",
                needed.join(", ")
            )
        };
        report.add(
            found(
                &CHECK,
                gateway.place(permit.number),
                gateway.name(permit.number),
                what,
            )
            .measured(of_permit(view, permit))
            .help(help),
        );
    }
}

/// Services that needs of the same parties name, as written.
fn needed(view: &CheckContext<'_>, permit: &PermitRule<'_>) -> Vec<String> {
    const MOST: usize = 8;
    let mut names: Vec<String> = Vec::new();
    for need in &view.site.needs {
        let source = match (&permit.rule.source, &need.source) {
            (Some(own), Some(wanted)) => own
                .written
                .iter()
                .any(|item| wanted.written.iter().any(|one| one.value == item.value)),
            (Some(_), None) => false,
            (None, _) => true,
        };
        let [from, to] = [&need.from, &need.to].map(|parties| Some(parties.clone()));
        let same = names_all(view.site, &permit.rule.from, &from)
            && names_all(view.site, &permit.rule.to, &to);
        let Some(services) = need.services.as_ref().filter(|_| same && source) else {
            continue;
        };
        for item in &services.written {
            let name = format!("\"{}\"", item.value);
            if names.len() < MOST && !names.contains(&name) {
                names.push(name);
            }
        }
    }
    names
}
