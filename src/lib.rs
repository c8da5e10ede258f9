//! Boundwalk walks the bounds of a segmented network: it loads zones, segments, gateways and their rules
//! into one model and computes who can reach what, exactly, with deciding rules and witness packets.
//!
//! # A tour
//!
//! ## Load
//! A text becomes a [`Site`](model::Site), or a list of everything that is wrong with it, each with its place.
//! ```
//! let loaded = boundwalk::load::load_text("starter.toml", boundwalk::load::starter());
//! assert!(loaded.problems.is_empty());
//! assert_eq!(loaded.site.expect("no error, so a site").segments.len(), 3);
//!
//! let wrong = boundwalk::load::load_text("site.toml", "[segments.office]\nzone = \"offices\"");
//! assert!(wrong.site.is_none());
//! for problem in &wrong.problems {
//!     println!("{}: {}", problem.kind.name, problem.message);
//! }
//! ```
//!
//! ## Ask
//! [`Network`](forwarding::Network) prepares a site for one day. Every question is asked of it: who reaches whom,
//! what becomes of one packet, which segments are isolated.
//! ```
//! use boundwalk::analysis::{By, Fate, IsolationVerdict, Matrix, Question, isolation, path};
//! use boundwalk::forwarding::{Network, Packet};
//! use boundwalk::model::{Date, Family, SegmentId, TCP};
//!
//! # let loaded = boundwalk::load::load_text("starter.toml", boundwalk::load::starter());
//! # let site = loaded.site.expect("no error, so a site");
//! let network = Network::new(&site, Date::constant(2026, 11, 25));
//!
//! let question = Question::all(By::Segment, Family::V4, true);
//! let matrix = Matrix::new(&network, &question, &mut |_done, _total| {});
//! assert_eq!(matrix.rows.len(), site.segments.len());
//!
//! // A guest opens a page on a desk.
//! let packet = Packet {
//!     source: "10.20.20.7".parse().expect("an address"),
//!     destination: "10.20.10.9".parse().expect("an address"),
//!     protocol: TCP,
//!     source_port: 50_000,
//!     destination_port: 443,
//! };
//! let walked = path(&network, None, &packet).expect("a segment has that source");
//! assert_eq!(walked.best(&network), Fate::Stops);
//!
//! let desks = SegmentId(1);
//! assert!(matches!(isolation(&network, desks), IsolationVerdict::Reachable { .. }));
//! ```
//!
//! ## Judge
//! [`checks::run`] looks for what is wrong or weak. What must hold and what people need is written into the site and
//! judged by [`analysis::intent`].
//! ```
//! use boundwalk::diagnostic::Severity;
//! use boundwalk::forwarding::Network;
//! use boundwalk::model::Date;
//!
//! # let loaded = boundwalk::load::load_text("starter.toml", boundwalk::load::starter());
//! # let site = loaded.site.expect("no error, so a site");
//! let network = Network::new(&site, Date::constant(2026, 11, 25));
//! let findings = boundwalk::checks::run(&network);
//! assert!(findings.iter().all(|finding| finding.severity() != Severity::Error));
//!
//! // Each check says why it matters and which sources say so.
//! let check = boundwalk::checks::find("default-permit").expect("a check of that name");
//! assert!(!check.references.is_empty());
//! ```
//!
//! ## Render
//! Answers become text, JSON, CSV, Markdown, pictures or a page. Every function takes answers and gives a string.
//! ```
//! use boundwalk::analysis::{By, Matrix, Question, ServiceLabels};
//! use boundwalk::forwarding::Network;
//! use boundwalk::model::{Date, Family};
//! use boundwalk::render::{Selection, Sheet, TextStyle, findings_text, matrix_csv};
//!
//! # let loaded = boundwalk::load::load_text("starter.toml", boundwalk::load::starter());
//! # let site = loaded.site.expect("no error, so a site");
//! let network = Network::new(&site, Date::constant(2026, 11, 25));
//! let question = Question::all(By::Zone, Family::V4, false);
//! let matrix = Matrix::new(&network, &question, &mut |_done, _total| {});
//! let sheet = Sheet::new(&network, &[matrix], &Selection::default());
//! let names = [ServiceLabels::new(&network, Family::V4)];
//! let table = matrix_csv(&site, &loaded.sources, &sheet, &names);
//! assert!(table.contains("guests,office,"));
//!
//! let plain = TextStyle { colour: false, columns: 80 };
//! let findings = boundwalk::checks::run(&network);
//! print!("{}", findings_text(&loaded.sources, &findings, true, plain));
//! ```
//!
//! # The house
//! The crate is a house of floors. A module imports only from floors below its own, and
//! `tests/architecture.rs` keeps it so. From the ground up:
//!
//! ## Floor 0: sets of packets, and problems
//! [`packet`] is pure algebra: intervals, boxes, rule lists where the first match wins. It has never heard of
//! a network. [`diagnostic`] states what is wrong and where it stands; it renders nothing.
//!
//! ## Floor 1: the model
//! [`model`] holds a [`Site`](model::Site), valid by construction: whoever holds one need not check it
//! again. It knows no file format.
//!
//! ## Floor 2: reading
//! [`load`] turns text into a site and reports everything that is wrong with it at once. It also changes rules in
//! a text and leaves all else as it is ([`load::apply_edits`]).
//!
//! ## Floor 3: forwarding
//! [`forwarding`] says what routes, rules and translations do with packets: with whole sets
//! ([`forwarding::reach`]) and with a single one ([`forwarding::trace`]). Below them, [`forwarding::layer2`] moves
//! frames through switches and cables. It passes no judgement.
//!
//! ## Floor 4: answers
//! [`analysis`] has one file a question: the matrix, the flows of a cell, the path of a packet, ways round the
//! gateway, isolation and its distance, the worksheet of a switch. What rules do is in [`analysis::rules`], what must hold in
//! [`analysis::intent`], two versions in [`analysis::change`], what nobody needs in [`analysis::privilege`], test plans
//! in [`analysis::probes`].
//!
//! ## Floor 5: checks
//! [`checks`] looks for what is wrong, weak or worth knowing in a site that loads: one file a check, each
//! with its reasons and sources, all in one list ([`checks::CHECKS`]).
//!
//! ## Floors 6 and 7: looks and commands
//! [`render`] has one file a format, escapes everything and decides nothing. [`cli`] has one file a command.

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
