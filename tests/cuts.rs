//! Does the cut find the smallest sets? Published flow networks, connectivities and dominators, and random graphs
//! against a maximum-flow algorithm of a general graph library.

#[path = "support/random.rs"]
#[allow(dead_code, reason = "each test uses its part")]
mod random;

use boundwalk::analysis::{Cut, cut};
use petgraph::algo::ford_fulkerson;
use petgraph::graph::{DiGraph, NodeIndex};
use random::Random;

/// A path from `from` to `to` that avoids what `blocked` says of edges and of nodes between; by edge numbers and
/// node numbers.
fn path(
    edges: &[(usize, usize)],
    from: usize,
    to: usize,
    edge_blocked: &dyn Fn(usize) -> bool,
    node_blocked: &dyn Fn(usize) -> bool,
) -> Option<(Vec<usize>, Vec<usize>)> {
    let mut came: Vec<Option<(usize, usize)>> = vec![None; 64];
    let mut queue = vec![from];
    let mut at = 0;
    while at < queue.len() && came[to].is_none() {
        let here = queue[at];
        at += 1;
        for (number, &(a, b)) in edges.iter().enumerate() {
            let free = b == to || (!node_blocked(b) && b != from);
            if a == here && came[b].is_none() && !edge_blocked(number) && free {
                came[b] = Some((here, number));
                queue.push(b);
            }
        }
    }
    let (mut by_edge, mut between) = (Vec::new(), Vec::new());
    let mut here = to;
    while here != from {
        let (before, edge) = came[here]?;
        by_edge.push(edge);
        if before != from {
            between.push(before);
        }
        here = before;
    }
    Some((by_edge, between))
}

fn edge_cut(edges: &[(usize, usize)], capacity: &[u64], from: usize, to: usize) -> Cut<usize> {
    let mut open = |set: &[usize]| {
        let found = path(edges, from, to, &|edge| set.contains(&edge), &|_| false);
        found.map(|(by_edge, _)| by_edge).into_iter().collect()
    };
    cut(&|edge| capacity[edge], &mut open, 8, 1_000).expect("a small graph")
}

/// The smallest sets of nodes between two nodes that no edge joins.
fn node_cut(edges: &[(usize, usize)], from: usize, to: usize) -> Cut<usize> {
    let mut open = |set: &[usize]| {
        let found = path(edges, from, to, &|_| false, &|node| set.contains(&node));
        found.map(|(_, between)| between).into_iter().collect()
    };
    cut(&|_| 1, &mut open, 8, 1_000).expect("a small graph")
}

/// Cormen, Leiserson, Rivest, Stein, Introduction to Algorithms, 3rd edition, figures 26.1 and 26.6: the greatest
/// flow is 23, the cut {s, v1, v2, v4} | {v3, t}.
#[test]
fn the_textbook_flow_network() {
    // s 0, v1 1, v2 2, v3 3, v4 4, t 5.
    let edges = [
        (0, 1),
        (0, 2),
        (1, 3),
        (2, 1),
        (3, 2),
        (2, 4),
        (4, 3),
        (3, 5),
        (4, 5),
    ];
    let capacity = [16, 13, 12, 4, 9, 14, 7, 20, 4];
    let found = edge_cut(&edges, &capacity, 0, 5);
    assert_eq!((found.weight, found.smallest), (23, true));
    assert_eq!(found.sets, [vec![2, 6, 8]], "v1-v3, v4-v3 and v4-t");
}

fn both_ways(edges: &[(usize, usize)]) -> Vec<(usize, usize)> {
    edges.iter().flat_map(|&(a, b)| [(a, b), (b, a)]).collect()
}

/// The least node cut and edge cut over all pairs.
fn connectivity(nodes: usize, edges: &[(usize, usize)]) -> (u64, u64) {
    let directed = both_ways(edges);
    let ones = vec![1; directed.len()];
    let (mut least_nodes, mut least_edges) = (nodes as u64 - 1, u64::MAX);
    for from in 0..nodes {
        for to in (0..nodes).filter(|&to| to != from) {
            least_edges = least_edges.min(edge_cut(&directed, &ones, from, to).weight);
            if !directed.contains(&(from, to)) {
                least_nodes = least_nodes.min(node_cut(&directed, from, to).weight);
            }
        }
    }
    (least_nodes, least_edges)
}

/// Menger's theorem on graphs whose connectivity is published: the Petersen graph has 3 and 3, K(3,4) 3 and 3, the
/// cube Q3 3 and 3.
#[test]
fn published_connectivities() {
    let petersen = [
        (0, 1),
        (1, 2),
        (2, 3),
        (3, 4),
        (4, 0),
        (0, 5),
        (1, 6),
        (2, 7),
        (3, 8),
        (4, 9),
        (5, 7),
        (7, 9),
        (9, 6),
        (6, 8),
        (8, 5),
    ];
    assert_eq!(connectivity(10, &petersen), (3, 3));
    let bipartite: Vec<(usize, usize)> = (0..3).flat_map(|a| (3..7).map(move |b| (a, b))).collect();
    assert_eq!(connectivity(7, &bipartite), (3, 3));
    let cube: Vec<(usize, usize)> = (0..8usize)
        .flat_map(|a| [1, 2, 4].map(|bit| (a, a ^ bit)))
        .filter(|&(a, b)| a < b)
        .collect();
    assert_eq!(connectivity(8, &cube), (3, 3));
}

/// Two cliques of four joined by a path over one node: that node and the two beside it cut them apart, and either
/// edge between does.
#[test]
fn a_barbell_breaks_in_the_middle() {
    let clique = |first: usize| {
        (0..4)
            .flat_map(move |a| (a + 1..4).map(move |b| (first + a, first + b)))
            .collect::<Vec<_>>()
    };
    let edges = [clique(0), vec![(3, 4), (4, 5)], clique(5)].concat();
    let directed = both_ways(&edges);
    let nodes = node_cut(&directed, 0, 8);
    assert_eq!(nodes.sets, [vec![3], vec![4], vec![5]]);
    let ones = vec![1; directed.len()];
    let cuts = edge_cut(&directed, &ones, 0, 8);
    let cut_edges: Vec<(usize, usize)> = cuts.sets.iter().map(|set| directed[set[0]]).collect();
    assert_eq!((cuts.weight, cut_edges), (1, vec![(3, 4), (4, 5)]));
}

/// Lengauer and Tarjan 1979, figure 1: a node other than the root lies on every path from the root exactly where
/// it dominates, and then it alone is a cut.
#[test]
fn single_cuts_are_dominators() {
    let names = "RABCDEFGHIJKL";
    let number = |name: char| names.find(name).expect("a node");
    let out = [
        ('R', "ABC"),
        ('A', "D"),
        ('B', "ADE"),
        ('C', "FG"),
        ('D', "L"),
        ('E', "H"),
        ('F', "I"),
        ('G', "IJ"),
        ('H', "EK"),
        ('I', "K"),
        ('J', "I"),
        ('K', "IR"),
        ('L', "H"),
    ];
    let edges: Vec<(usize, usize)> = out
        .iter()
        .flat_map(|(from, to)| to.chars().map(|to| (number(*from), number(to))))
        .collect();
    let dominators = [("ABCDEHIK", 'R'), ("FG", 'C'), ("J", 'G'), ("L", 'D')];
    for (nodes, dominator) in dominators {
        for node in nodes
            .chars()
            .filter(|&node| !edges.contains(&(0, number(node))))
        {
            let found = node_cut(&edges, 0, number(node));
            let single = found.weight == 1;
            assert_eq!(single, dominator != 'R', "{node}");
            let nearest = found.sets.contains(&vec![number(dominator)]);
            assert_eq!(nearest, dominator != 'R', "{node}");
        }
    }
}

/// Random graphs: the weight is the greatest flow (the max-flow min-cut theorem), by the general graph library.
#[test]
fn random_graphs_agree_with_the_greatest_flow() {
    for seed in 0..300 {
        let mut random = Random::new(seed);
        let nodes = 4 + random.below(5);
        let mut edges: Vec<(usize, usize)> = Vec::new();
        for _ in 0..nodes * 2 {
            let pair = (random.below(nodes), random.below(nodes));
            if pair.0 != pair.1 && !edges.contains(&pair) {
                edges.push(pair);
            }
        }
        let capacity: Vec<u64> = edges.iter().map(|_| 1 + random.below(4) as u64).collect();
        let mut graph: DiGraph<(), u64> = DiGraph::new();
        let indices: Vec<NodeIndex> = (0..nodes).map(|_| graph.add_node(())).collect();
        for (&(a, b), &capacity) in edges.iter().zip(&capacity) {
            graph.add_edge(indices[a], indices[b], capacity);
        }
        let (flow, _) = ford_fulkerson(&graph, indices[0], indices[nodes - 1]);
        let found = edge_cut(&edges, &capacity, 0, nodes - 1);
        assert_eq!((found.weight, found.smallest), (flow, true), "seed {seed}");
    }
}
