//! Edits of a site as text: some that may change who reaches what, some that never do.

use crate::random::Random;

/// The blocks of a text, each from a header to the next.
fn blocks(text: &str) -> Vec<String> {
    let mut blocks: Vec<String> = vec![String::new()];
    for line in text.lines() {
        if line.starts_with('[') {
            blocks.push(String::new());
        }
        let last = blocks.last_mut().expect("there is one");
        last.push_str(line);
        last.push('\n');
    }
    blocks.retain(|block| !block.is_empty());
    blocks
}

fn is_rule(block: &str) -> bool {
    block.starts_with("[[gateways.")
        && block
            .lines()
            .next()
            .is_some_and(|head| head.ends_with(".rules]]"))
}

/// The same gateway's list of rules.
fn same_list(one: &str, other: &str) -> bool {
    one.lines().next() == other.lines().next()
}

/// The text with one to three edits; `None` where nothing can be edited.
pub fn edited(text: &str, random: &mut Random) -> Option<String> {
    let mut blocks = blocks(text);
    let rules: Vec<usize> = (0..blocks.len())
        .filter(|&at| is_rule(&blocks[at]))
        .collect();
    if rules.is_empty() {
        return None;
    }
    for _ in 0..random.between(1, 3) {
        let rules: Vec<usize> = (0..blocks.len())
            .filter(|&at| is_rule(&blocks[at]))
            .collect();
        if rules.is_empty() {
            break;
        }
        let at = *random.pick(&rules);
        match random.below(10) {
            0..=2 => blocks[at] = flipped(&blocks[at]),
            3 => _ = blocks.remove(at),
            4..=6 => {
                let others: Vec<usize> = rules
                    .iter()
                    .copied()
                    .filter(|&other| other != at && same_list(&blocks[other], &blocks[at]))
                    .collect();
                if !others.is_empty() {
                    let other = *random.pick(&others);
                    blocks.swap(at, other);
                }
            }
            7 => blocks[at].push_str("enabled = false\n"),
            8 => {
                let gateways = blocks
                    .iter_mut()
                    .filter(|block| block.contains("default = \""));
                for block in gateways {
                    *block = if block.contains("default = \"permit\"") {
                        block.replace("default = \"permit\"", "default = \"deny\"")
                    } else {
                        block.replace("default = \"deny\"", "default = \"permit\"")
                    };
                }
            }
            _ => {
                let routes: Vec<usize> = (0..blocks.len())
                    .filter(|&at| blocks[at].contains(".routes]]"))
                    .collect();
                if !routes.is_empty() {
                    let at = *random.pick(&routes);
                    blocks.remove(at);
                }
            }
        }
        // A key may stand in a table once only.
        for block in &mut blocks {
            if block.matches("enabled = ").count() > 1 {
                *block = block.replacen("enabled = false\n", "", 1);
            }
        }
    }
    Some(blocks.concat())
}

fn flipped(block: &str) -> String {
    if block.contains("action = \"permit\"") {
        block.replace("action = \"permit\"", "action = \"deny\"")
    } else {
        block
            .replace("action = \"deny\"", "action = \"permit\"")
            .replace("action = \"reject\"", "action = \"permit\"")
    }
}

/// The same site written otherwise: rules with new names, comments, neighbours of one action exchanged, and rules that
/// are off added.
pub fn shuffled(text: &str, random: &mut Random) -> String {
    let mut blocks = blocks(text);
    for at in 1..blocks.len() {
        let (one, other) = (&blocks[at - 1], &blocks[at]);
        let alike =
            is_rule(one) && is_rule(other) && same_list(one, other) && action(one) == action(other);
        if alike && random.percent(50) {
            blocks.swap(at - 1, at);
        }
    }
    for (number, block) in blocks
        .iter_mut()
        .enumerate()
        .filter(|(_, block)| is_rule(block))
    {
        if random.percent(40)
            && let Some(name) = block
                .lines()
                .find(|line| line.starts_with("name = "))
                .map(str::to_owned)
        {
            *block = block.replace(&name, &format!("name = \"called otherwise {number}\""));
        }
        if random.percent(30) {
            *block = format!("# a remark\n{block}\n");
        }
        if random.percent(20) {
            let head = block
                .lines()
                .find(|line| line.starts_with('['))
                .unwrap_or_default()
                .to_owned();
            *block = format!(
                "{head}\nname = \"off {number}\"\naction = \"permit\"\nenabled = false\n\n{block}"
            );
        }
    }
    blocks.concat()
}

fn action(block: &str) -> Option<&str> {
    block.lines().find(|line| line.starts_with("action = "))
}
