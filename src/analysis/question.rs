//! What a matrix is asked.

use boundwalk_model::Family;
use boundwalk_packet::ClassSet;

use super::party::Endpoint;

/// What the rows and columns of a matrix are.
#[derive(Clone, Copy, PartialEq, Eq, Hash, Debug, Default)]
pub enum By {
    /// Zones.
    Zone,
    /// Segments.
    #[default]
    Segment,
    /// Hosts.
    Host,
}

/// What is asked of a matrix.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Question {
    /// Rows and columns.
    pub by: By,
    /// The family.
    pub family: Family,
    /// Whether to compare with hostile reach; about doubles the work.
    pub hostile: bool,
    /// Senders to ask about: segments, hosts, or zones that hold them; empty: all.
    pub from: Vec<Endpoint>,
    /// Targets to ask about; empty: all.
    pub to: Vec<Endpoint>,
    /// Services to ask about; `None`: all.
    pub services: Option<ClassSet>,
}

impl Question {
    /// Everything, of one family.
    pub fn all(by: By, family: Family, hostile: bool) -> Self {
        Self {
            by,
            family,
            hostile,
            from: Vec::new(),
            to: Vec::new(),
            services: None,
        }
    }
}
