//! Edits of rules in any site that loads: the text edited is the model edited, the patch leads from one text to the
//! other.

use boundwalk::load::{Edit, EditError, Loaded, RuleCopy, RuleField, apply_edits, load_text};
use boundwalk::model::{Role, RouterId, Rule, Site};
use boundwalk::render::{TextStyle, patch_text};

use crate::random::Random;

/// Any bytes as a site, and edits of its rules that the bytes decide.
pub fn rule_edits(data: &[u8]) {
    let text = String::from_utf8_lossy(data);
    let loaded = load_text("fuzz.toml", &text);
    let Some(site) = loaded.site.clone() else {
        return;
    };
    let mut wanted = site.clone();
    let edits = edits(&mut seeded(data), &mut wanted);
    match apply_edits(&site, &loaded.sources, &edits) {
        Ok(files) => {
            let after = files.first().map_or(&*text, |file| &file.after);
            let again = load_text("fuzz.toml", after)
                .site
                .expect("an edited site loads");
            assert_eq!(bare(again), bare(wanted), "{edits:?}");
            let patch = patch_text(
                &files,
                TextStyle {
                    colour: false,
                    columns: 80,
                },
            );
            assert_eq!(patched(text_of(&loaded), &patch), after, "{patch}");
        }
        // What refers to a rule that went, and rules in braces; a message says which.
        Err(EditError::WouldNotLoad { .. } | EditError::InBraces { .. }) => {}
        Err(error) => panic!("{error}: {edits:?}"),
    }
}

/// The text as it was read, without a byte order mark if that was taken off.
fn text_of(loaded: &Loaded) -> &str {
    loaded.sources.files()[0].text()
}

/// The same bytes, the same edits (FNV-1a of 64 bits; any hash would do).
fn seeded(data: &[u8]) -> Random {
    let mix = |hash: u64, byte: &u8| (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3);
    Random::new(data.iter().fold(0xcbf2_9ce4_8422_2325, mix))
}

/// Some edits of all gateways; `site` becomes what they ask for.
fn edits(random: &mut Random, site: &mut Site) -> Vec<Edit> {
    let mut edits = Vec::new();
    for (number, device) in site.routers.iter_mut().enumerate() {
        let Role::Gateway(filter) = &mut device.role else {
            continue;
        };
        let rules = std::mem::take(&mut filter.rules);
        for (at, rule) in rules.into_iter().enumerate() {
            let edited = edit(random, (RouterId(number), at), rule, &mut edits);
            filter.rules.extend(edited);
        }
    }
    edits
}

/// What one rule becomes: itself, nothing, itself without a field, itself and a copy.
fn edit(
    random: &mut Random,
    (router, rule): (RouterId, usize),
    old: Rule,
    edits: &mut Vec<Edit>,
) -> Vec<Rule> {
    let field = *random.pick(&RuleField::ALL);
    match random.below(8) {
        0 => {
            edits.push(Edit::RemoveRule { router, rule });
            Vec::new()
        }
        1 => {
            let items = Vec::new();
            edits.push(Edit::SetRuleField {
                router,
                rule,
                field,
                items,
            });
            vec![without(old, field)]
        }
        2 => {
            let name = format!("{} copied {rule}", old.name.value);
            let fields = [(field, Vec::new())].into();
            let copies = vec![RuleCopy {
                name: name.clone(),
                fields,
            }];
            edits.push(Edit::CopyRule {
                router,
                rule,
                copies,
            });
            let mut copy = without(old.clone(), field);
            copy.name.value = name;
            vec![old, copy]
        }
        _ => vec![old],
    }
}

fn without(mut rule: Rule, field: RuleField) -> Rule {
    match field {
        RuleField::From => rule.from = None,
        RuleField::To => rule.to = None,
        RuleField::Source => rule.source = None,
        RuleField::Destination => rule.destination = None,
        RuleField::Services => rule.services = None,
    }
    rule
}

/// All that a site says, without the places where it says so and without remarks on the text.
fn bare(mut site: Site) -> String {
    site.remarks.clear();
    let shown = format!("{site:?}");
    let mut parts = shown.split("Span {");
    let mut out = parts.next().unwrap_or_default().to_owned();
    // A name can hold `Span {` as well; then both texts have it.
    for part in parts {
        out.push_str(part.split_once('}').map_or(part, |(_, rest)| rest));
    }
    out
}

/// What a unified patch makes of a text; panics where the two don't fit together.
fn patched(text: &str, patch: &str) -> String {
    let old: Vec<&str> = text.split_inclusive('\n').collect();
    let (mut at, mut out) = (0, String::new());
    let mut lines = patch.split_inclusive('\n').skip(2);
    while let Some(line) = lines.next() {
        let (sign, rest) = line.split_at(1);
        match sign {
            "@" => {
                let first = rest.split(['-', ',', ' ']).nth(2).expect("a first line");
                let first: usize = first.parse().expect("a number");
                // A hunk without old lines names the line in front of it.
                let count = rest.split([',', ' ']).nth(2);
                let first = if count == Some("0") { first } else { first - 1 };
                out.extend(old[at..first].iter().copied());
                at = first;
            }
            "\\" => {}
            _ => {
                let last = lines
                    .clone()
                    .next()
                    .is_some_and(|next| next.starts_with('\\'));
                let rest = if last {
                    rest.strip_suffix('\n').unwrap_or(rest)
                } else {
                    rest
                };
                if sign != "+" {
                    assert_eq!(old.get(at), Some(&rest));
                    at += 1;
                }
                if sign != "-" {
                    out.push_str(rest);
                }
            }
        }
    }
    out.extend(old[at..].iter().copied());
    out
}
