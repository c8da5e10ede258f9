//! The walk of a region through a rule list: who decides which part of it.

use std::sync::{Arc, OnceLock};

use super::class_set::ClassSet;
use super::interval_set::IntervalSet;
use super::mask::Mask;
use super::region::Region;
use super::rows::{FieldRows, LinePool, Lines};

/// One rule in one address family. `None` stands for any value.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Line {
    /// Interfaces packets may come in by; shared, as the services are.
    pub ingress: Option<Arc<IntervalSet>>,
    /// Interfaces they may go out by.
    pub egress: Option<Arc<IntervalSet>>,
    /// Addresses they may come from.
    pub source: Option<IntervalSet>,
    /// Addresses they may go to.
    pub destination: Option<IntervalSet>,
    /// Classes of protocol and ports they may have; shared, since long lists name the same services again and
    /// again.
    pub services: Option<Arc<ClassSet>>,
}

/// A rule list in which the first line that holds a packet decides.
///
/// Each address and interface field is cut into elementary intervals once, so
/// that asking which lines may matter for a place reads prepared rows and tests
/// no line.
#[derive(Clone, Debug)]
pub struct LineList {
    lines: Vec<Line>,
    /// Made when first asked for: who looks at rules only does not need them.
    rows: OnceLock<ListRows>,
}

/// Which lines hold which values, field by field.
#[derive(Clone, Debug)]
struct ListRows {
    bits: Lines,
    ingress: FieldRows,
    egress: FieldRows,
    source: FieldRows,
    destination: FieldRows,
}

impl ListRows {
    fn new(lines: &[Line]) -> Self {
        let mut pool = LinePool::new();
        let mut rows = |field: fn(&Line) -> Option<&IntervalSet>| {
            FieldRows::new(lines.iter().map(field), u128::MAX, &mut pool)
        };
        let ingress = rows(|line| line.ingress.as_deref());
        let egress = rows(|line| line.egress.as_deref());
        let source = rows(|line| line.source.as_ref());
        let destination = rows(|line| line.destination.as_ref());
        Self {
            bits: pool.finish(),
            ingress,
            egress,
            source,
            destination,
        }
    }
}

/// A walk was given up: it had more open pieces than allowed.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct TooManyPieces {
    /// How many were allowed.
    pub limit: usize,
}

impl std::fmt::Display for TooManyPieces {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "more than {} open pieces", self.limit)
    }
}

impl std::error::Error for TooManyPieces {}

impl LineList {
    /// Prepares `lines`: at the first question, for `n` of them with `c` distinct cuts in a field, `n + c log c +
    /// c n / 512` steps for each field.
    #[must_use]
    pub fn new(lines: Vec<Line>) -> Self {
        Self {
            lines,
            rows: OnceLock::new(),
        }
    }

    fn rows(&self) -> &ListRows {
        self.rows.get_or_init(|| ListRows::new(&self.lines))
    }

    /// The lines, in order.
    #[must_use]
    pub fn lines(&self) -> &[Line] {
        &self.lines
    }

    /// How many lines there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.lines.len()
    }

    /// Whether there is no line.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.lines.is_empty()
    }

    /// Lines that packets coming in by `interface` may match.
    #[must_use]
    pub fn from_ingress(&self, interface: u32) -> Mask {
        let rows = self.rows();
        rows.ingress.holding(interface.into(), &rows.bits)
    }

    /// Lines that packets going out by `interface` may match.
    #[must_use]
    pub fn to_egress(&self, interface: u32) -> Mask {
        let rows = self.rows();
        rows.egress.holding(interface.into(), &rows.bits)
    }

    /// Lines that packets from some of `addresses` may match. Without addresses
    /// there is no such line.
    #[must_use]
    pub fn from_source(&self, addresses: &IntervalSet) -> Mask {
        let rows = self.rows();
        rows.source.overlapping(addresses, &rows.bits)
    }

    /// Lines that packets to some of `addresses` may match. Without addresses
    /// there is no such line.
    #[must_use]
    pub fn to_destination(&self, addresses: &IntervalSet) -> Mask {
        let rows = self.rows();
        rows.destination.overlapping(addresses, &rows.bits)
    }

    /// Runs `start` through the lines of `candidates` in order and tells
    /// `decided` each piece with the line that holds it first, or `None` for
    /// pieces that no candidate holds.
    ///
    /// The pieces are disjoint, none is empty, and together they are `start`.
    /// Source, destination and services are looked at; interfaces are not: the
    /// candidates are to be chosen for a place, as the meet of the masks above.
    /// A line that is not a candidate counts as absent.
    ///
    /// # Errors
    /// When more than `limit` pieces are open at once. What was told until then
    /// is right, but not all.
    pub fn walk(
        &self,
        candidates: &Mask,
        start: Region,
        limit: usize,
        decided: &mut impl FnMut(Option<usize>, Region),
    ) -> Result<(), TooManyPieces> {
        debug_assert_eq!(candidates.len(), self.len(), "a mask of these lines");
        if start.is_empty() {
            return Ok(());
        }
        let mut open = vec![start];
        for number in candidates.iter() {
            let line = &self.lines[number];
            // From the back: what takes a removed piece's place is new, and so
            // outside the line, or was tested before.
            for at in (0..open.len()).rev() {
                if line.meets(&open[at]) {
                    let piece = open.swap_remove(at);
                    decided(Some(number), line.take_from(piece, &mut open));
                }
            }
            if open.is_empty() {
                return Ok(());
            }
            if open.len() > limit {
                return Err(TooManyPieces { limit });
            }
        }
        for piece in open {
            decided(None, piece);
        }
        Ok(())
    }

    /// The first line that holds the packet, by looking at each in turn.
    #[must_use]
    pub fn first_match(
        &self,
        ingress: u32,
        egress: u32,
        source: u128,
        destination: u128,
        class: usize,
    ) -> Option<usize> {
        let holds =
            |set: Option<&IntervalSet>, value: u128| set.is_none_or(|set| set.contains(value));
        self.lines.iter().position(|line| {
            holds(line.ingress.as_deref(), ingress.into())
                && holds(line.egress.as_deref(), egress.into())
                && holds(line.source.as_ref(), source)
                && holds(line.destination.as_ref(), destination)
                && line.services.as_ref().is_none_or(|set| set.contains(class))
        })
    }
}

impl Line {
    /// The part of a region inside the line, interfaces apart; `None`: they share nothing.
    #[must_use]
    pub fn part_of(&self, region: &Region) -> Option<Region> {
        let meets = !region.is_empty() && self.meets(region);
        meets.then(|| self.take_from(region.clone(), &mut Vec::new()))
    }

    fn meets(&self, piece: &Region) -> bool {
        // Services last: candidates were chosen by addresses, but pieces shrink.
        self.source
            .as_ref()
            .is_none_or(|set| set.overlaps(&piece.source))
            && self
                .destination
                .as_ref()
                .is_none_or(|set| set.overlaps(&piece.destination))
            && self
                .services
                .as_ref()
                .is_none_or(|set| set.overlaps(&piece.services))
    }

    /// The part of `piece` inside the line, which must meet it; what lies
    /// outside goes to `outside`, cut by source, then destination, then services.
    fn take_from(&self, mut piece: Region, outside: &mut Vec<Region>) -> Region {
        if let Some(source) = &self.source
            && !piece.source.is_subset(source)
        {
            let rest = piece.source.difference(source);
            outside.push(Region {
                source: rest,
                ..piece.clone()
            });
            piece.source = piece.source.intersection(source);
        }
        if let Some(destination) = &self.destination
            && !piece.destination.is_subset(destination)
        {
            let rest = piece.destination.difference(destination);
            outside.push(Region {
                destination: rest,
                ..piece.clone()
            });
            piece.destination = piece.destination.intersection(destination);
        }
        if let Some(services) = &self.services
            && !piece.services.is_subset(services)
        {
            let rest = piece.services.difference(services);
            outside.push(Region {
                services: rest,
                ..piece.clone()
            });
            piece.services.intersection_with(services);
        }
        piece
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source and destination, and the first `services` of three classes.
    fn line(source: Option<u128>, destination: Option<u128>, services: Option<usize>) -> Line {
        Line {
            source: source.map(IntervalSet::point),
            destination: destination.map(IntervalSet::point),
            services: services.map(classes).map(Arc::new),
            ..Line::default()
        }
    }

    fn classes(first: usize) -> ClassSet {
        let mut set = ClassSet::none(3);
        (0..first).for_each(|class| set.insert(class));
        set
    }

    fn start() -> Region {
        Region {
            source: IntervalSet::range(0, 9),
            destination: IntervalSet::range(0, 9),
            services: classes(3),
        }
    }

    fn deciding(lines: Vec<Line>) -> Vec<(Option<usize>, u128)> {
        let list = LineList::new(lines);
        let mut told = Vec::new();
        list.walk(&Mask::all(list.len()), start(), 10, &mut |by, piece| {
            told.push((by, piece.source.lowest().expect("no piece is empty")));
        })
        .expect("few pieces");
        told
    }

    #[test]
    fn a_line_of_any_decides_all_that_is_left_and_ends_the_walk() {
        let lines = vec![
            line(Some(0), None, None),
            Line::default(),
            line(Some(5), None, None),
        ];
        assert_eq!(deciding(lines), [(Some(0), 0), (Some(1), 1)]);
    }

    #[test]
    fn what_no_line_holds_is_told_last() {
        let lines = vec![line(Some(3), Some(3), Some(1))];
        let told = deciding(lines);
        assert_eq!(told[0], (Some(0), 3));
        assert_eq!(told.len(), 4);
        assert!(told[1..].iter().all(|(by, _)| by.is_none()));
    }

    #[test]
    fn a_walk_ends_where_it_has_more_pieces_than_it_may() {
        // What is left beside the line falls into three pieces.
        let list = LineList::new(vec![line(Some(3), Some(3), Some(1))]);
        for limit in 1..5 {
            let walk = list.walk(&Mask::all(1), start(), limit, &mut |_, _| {});
            assert_eq!(walk.is_ok(), limit >= 3, "{limit}");
        }
    }

    #[test]
    fn the_part_in_a_line_is_what_a_walk_gives_it() {
        let part = line(Some(3), None, Some(1))
            .part_of(&start())
            .expect("they meet");
        assert_eq!(part.source, IntervalSet::point(3));
        assert_eq!(
            (part.destination, part.services),
            (start().destination, classes(1))
        );
        assert_eq!(line(Some(12), None, None).part_of(&start()), None);
        assert_eq!(Line::default().part_of(&start()), Some(start()));
    }

    #[test]
    fn an_empty_start_tells_nothing() {
        let list = LineList::new(vec![Line::default()]);
        let empty = Region {
            services: classes(0),
            ..start()
        };
        let walk = list.walk(&Mask::all(1), empty, 0, &mut |_, _| panic!("told a piece"));
        assert_eq!(walk, Ok(()));
    }

    #[test]
    fn interfaces_choose_lines() {
        let only = |interface| Some(Arc::new(IntervalSet::point(interface)));
        let lines = vec![
            Line {
                ingress: only(1),
                ..Line::default()
            },
            Line {
                egress: only(2),
                ..Line::default()
            },
        ];
        let list = LineList::new(lines);
        assert_eq!(Vec::from_iter(list.from_ingress(1).iter()), [0, 1]);
        assert_eq!(Vec::from_iter(list.from_ingress(2).iter()), [1]);
        assert_eq!(Vec::from_iter(list.to_egress(1).iter()), [0]);
        assert_eq!(list.first_match(2, 2, 0, 0, 0), Some(1));
        assert_eq!(list.first_match(2, 1, 0, 0, 0), None);
    }

    #[test]
    fn a_list_keeps_its_lines_in_order() {
        let lines = vec![line(Some(0), None, None), line(None, Some(1), Some(2))];
        let list = LineList::new(lines.clone());
        assert_eq!(list.lines(), lines);
        assert_eq!(list.len(), 2);
    }
}
