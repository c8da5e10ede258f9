//! A shared address that no other device has.

use boundwalk_diagnostic::{Check, Severity};

use super::address_twice::owners;
use super::report::{FindingReport, found};
use super::view::CheckContext;

pub(super) static CHECK: Check = Check {
    name: "shared-address-alone",
    severity: Severity::Warning,
    summary: "an address that is said to be shared and that one device alone has",
    why: "When that device fails, nobody takes the address over: the cluster is none. Most often the other device was \
        given another address by mistake.",
    fine_when: "The other device is not described in the file.",
    remedy: "List the same address in `shared_addresses` of each device that takes it over.",
    references: &["RFC 9568 section 1 (a backup router takes the virtual router's address over)"],
    fires: include_str!("examples/shared-address-alone.fires.toml"),
    quiet: include_str!("examples/shared-address-alone.quiet.toml"),
};

pub(super) fn find(view: &CheckContext<'_>, report: &mut FindingReport) {
    for (address, owners) in owners(view.site) {
        let [owner] = owners.as_slice() else {
            continue;
        };
        if owner.shared {
            let what = format!(
                "is a shared address of {}, and no other device has it",
                owner.device
            );
            let draft = found(&CHECK, owner.span, address.to_string(), what);
            report
                .add(draft.help("list it in `shared_addresses` of the device that takes it over"));
        }
    }
}
