//! Services without encryption, and what to use instead.
//!
//! Names and ports are those of the IANA registry (RFC 6335), RFB's of RFC 6143; that they carry no encryption by
//! themselves, and what replaces them, is common practice, no source.

/// A service that sends everything in the clear.
pub(super) struct ClearText {
    /// Protocol number.
    pub(super) protocol: u8,
    /// Destination port.
    pub(super) port: u16,
    /// What it is called.
    pub(super) name: &'static str,
    /// What to use instead.
    pub(super) instead: &'static str,
}

const fn tcp(port: u16, name: &'static str, instead: &'static str) -> ClearText {
    ClearText {
        protocol: 6,
        port,
        name,
        instead,
    }
}

const fn udp(port: u16, name: &'static str, instead: &'static str) -> ClearText {
    ClearText {
        protocol: 17,
        port,
        name,
        instead,
    }
}

pub(super) const CLEAR_TEXT: &[ClearText] = &[
    tcp(20, "ftp-data", "sftp over ssh"),
    tcp(21, "ftp", "sftp over ssh, or ftp over TLS"),
    tcp(23, "telnet", "ssh"),
    udp(69, "tftp", "https or sftp"),
    tcp(79, "finger", "nothing"),
    tcp(80, "http", "https"),
    tcp(
        102,
        "iso-tsap",
        "a gateway of its own in front of the controllers",
    ),
    tcp(110, "pop3", "pop3s"),
    tcp(143, "imap", "imaps"),
    udp(161, "snmp (versions 1 and 2c)", "version 3 with privacy"),
    tcp(389, "ldap", "ldaps"),
    tcp(
        502,
        "mbap (Modbus)",
        "a read-only gateway in front of the controllers, or TLS (port 802)",
    ),
    tcp(513, "login", "ssh"),
    tcp(514, "shell", "ssh"),
    udp(514, "syslog", "syslog over TLS (port 6514)"),
    tcp(873, "rsync", "rsync over ssh"),
    tcp(1883, "mqtt", "mqtt over TLS (port 8883)"),
    tcp(2049, "nfs", "nfs with Kerberos privacy"),
    tcp(5900, "screen sharing (RFB)", "a tunnel over ssh"),
    tcp(20000, "dnp", "dnp over TLS (port 19999)"),
    udp(47808, "bacnet", "BACnet secure connect"),
];
