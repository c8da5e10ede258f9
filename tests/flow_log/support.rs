//! Reading a text, and flows as short lines.

use boundwalk::load::{
    FlowLog, FlowLogError, FlowOptions, FlowService, ObservedFlow, read_flow_log,
};

/// Columns of most cases.
pub const HEADING: &str = "sourceIPv4Address,destinationIPv4Address,protocolIdentifier,sourceTransportPort,destinationTransportPort";

pub fn try_read(text: impl AsRef<[u8]>, options: FlowOptions) -> Result<FlowLog, FlowLogError> {
    read_flow_log(text.as_ref(), &options, &mut |_| {})
}

/// Reads a text whose form the first line shows.
pub fn read(text: impl AsRef<[u8]>) -> FlowLog {
    try_read(text, FlowOptions::default()).expect("a readable log")
}

/// `source > destination service xRECORDS PACKETSp OCTETSo FIRST-LAST`; times only where there are any.
pub fn show(flow: &ObservedFlow) -> String {
    let service = match flow.service {
        FlowService::Port(protocol, port) => format!("{protocol}/{port}"),
        FlowService::Message(protocol, kind, code) => format!("{protocol}/{kind}.{code}"),
        FlowService::Other(protocol) => protocol.to_string(),
    };
    let source = flow.family.address(flow.source);
    let destination = flow.family.address(flow.destination);
    let (records, packets, octets) = (flow.records, flow.packets, flow.octets);
    let counts = format!("x{records} {packets}p {octets}o");
    match (flow.first, flow.last) {
        (Some(first), Some(last)) => {
            format!("{source} > {destination} {service} {counts} {first}-{last}")
        }
        (None, None) => format!("{source} > {destination} {service} {counts}"),
        times => panic!("half a time: {times:?}"),
    }
}

/// All flows of a log.
pub fn shown(log: &FlowLog) -> Vec<String> {
    log.flows.iter().map(show).collect()
}

/// Reads a text of one record and shows its flow.
pub fn only(text: impl AsRef<[u8]>) -> String {
    let log = read(text);
    assert_eq!(log.first_malformed, []);
    let [flow] = log.flows.as_slice() else {
        panic!("{} flows", log.flows.len());
    };
    show(flow)
}

/// Reads a text with one malformed line; its number and what is said of it.
pub fn bad(text: impl AsRef<[u8]>) -> (u64, String) {
    let log = read(text);
    assert_eq!(log.malformed, 1, "{:?}", log.first_malformed);
    let bad = &log.first_malformed[0];
    (bad.line, bad.what.clone())
}
