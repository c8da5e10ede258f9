//! Boundwalk walks the bounds of a segmented network: it loads zones, segments, gateways and their rules
//! into one model and computes who can reach what, exactly, with deciding rules and witness packets.
//!
//! The crate is a house of floors. A module imports only from floors below its own, and
//! `tests/architecture.rs` keeps it so. From the ground up:
//!
//! # Floor 0: sets of packets, and problems
//! [`packet`] is pure algebra: intervals, boxes, rule lists where the first match wins. It has never heard of
//! a network. [`diagnostic`] states what is wrong and where it stands; it renders nothing.
//!
//! # Floor 1: the model
//! [`model`] holds a [`Site`](model::Site), valid by construction: whoever holds one need not check it
//! again. It knows no file format.
//!
//! # Floor 2: reading
//! [`load`] turns text into a site and reports everything that is wrong with it at once. It also changes rules in
//! a text and leaves all else as it is ([`load::apply_edits`]).
//!
//! # Floor 3: forwarding
//! [`forwarding`] says what routes, rules and translations do with packets: with whole sets
//! ([`forwarding::reach`]) and with a single one ([`forwarding::trace`]). Below them, [`forwarding::layer2`] moves
//! frames through switches and cables. It passes no judgement.
//!
//! # Floor 4: answers
//! [`analysis`] has one file a question: the matrix, the flows of a cell, the path of a packet, ways round the
//! gateway, isolation and its distance, the worksheet of a switch. What rules do is in [`analysis::rules`], what must hold in
//! [`analysis::intent`], two versions in [`analysis::change`], what nobody needs in [`analysis::privilege`], test plans
//! in [`analysis::probes`].
//!
//! # Floor 5: checks
//! [`checks`] looks for what is wrong, weak or worth knowing in a site that loads: one file a check, each
//! with its reasons and sources, all in one list ([`checks::CHECKS`]).
//!
//! # Floor 6 and 7: looks and commands
//! [`render`] has one file a format, escapes everything and decides nothing. [`cli`] has one file a command.
//!
//! # In short
//! ```
//! use boundwalk::analysis::{By, Matrix, Question};
//! use boundwalk::forwarding::Network;
//! use boundwalk::model::{Date, Family};
//!
//! let loaded = boundwalk::load::load_text("starter.toml", boundwalk::load::starter());
//! let site = loaded.site.expect("the starter site is valid");
//! let network = Network::new(&site, Date::constant(2026, 11, 25));
//! let question = Question::all(By::Segment, Family::V4, true);
//! let matrix = Matrix::new(&network, &question, &mut |_done, _total| {});
//! assert_eq!(matrix.rows.len(), site.segments.len());
//! ```

#[doc(inline)]
pub use boundwalk_analysis as analysis;
#[doc(inline)]
pub use boundwalk_checks as checks;
#[cfg(feature = "cli")]
#[doc(inline)]
pub use boundwalk_cli as cli;
#[doc(inline)]
pub use boundwalk_diagnostic as diagnostic;
#[doc(inline)]
pub use boundwalk_forwarding as forwarding;
#[doc(inline)]
pub use boundwalk_load as load;
#[doc(inline)]
pub use boundwalk_model as model;
#[doc(inline)]
pub use boundwalk_packet as packet;
#[doc(inline)]
pub use boundwalk_render as render;
