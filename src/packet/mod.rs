//! Floor 0: sets of packets, and nothing else.
