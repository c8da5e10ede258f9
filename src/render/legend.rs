//! Short codes for cells, and the legend that explains them.

use std::collections::BTreeMap;

use boundwalk_analysis::{Cell, Extent, HostileReach, Reading, ServiceLabels};
use boundwalk_model::{Family, PerFamily};
use boundwalk_packet::ClassSet;

use super::shape::{Pair, Sheet};

/// What a cell's colour may lean on; the code itself says the same without colour.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Sign {
    /// Traffic inside one segment.
    Within,
    /// No address of the families asked for.
    NoAddresses,
    /// Nothing passes.
    Nothing,
    /// Some services pass.
    Services,
    /// Everything passes.
    Everything,
}

/// Codes for the cells of one sheet, in order of first appearance.
#[derive(Debug, Default)]
pub struct Legend {
    /// Services of both families as text, and the code for it.
    codes: BTreeMap<String, usize>,
    /// The texts in the order of their codes.
    texts: Vec<String>,
    /// Sets that were named, by family: a matrix has few distinct ones.
    named: PerFamily<BTreeMap<ClassSet, String>>,
}

impl Legend {
    /// Reads a sheet and gives each distinct set of services a code.
    pub fn new(
        sheet: &Sheet,
        v4: Option<&ServiceLabels<'_>>,
        v6: Option<&ServiceLabels<'_>>,
    ) -> (Self, Vec<Vec<String>>) {
        let mut key = Self::default();
        let codes = key.more(sheet, v4, v6);
        (key, codes)
    }

    /// Codes for a further sheet that is shown beside the first, under one legend.
    pub fn more(
        &mut self,
        sheet: &Sheet,
        v4: Option<&ServiceLabels<'_>>,
        v6: Option<&ServiceLabels<'_>>,
    ) -> Vec<Vec<String>> {
        let mut names = Names {
            v4,
            v6,
            known: std::mem::take(&mut self.named),
        };
        let codes = sheet
            .pairs
            .iter()
            .map(|row| row.iter().map(|pair| self.code(pair, &mut names)).collect())
            .collect();
        self.named = names.known;
        codes
    }

    /// The services of a cell of the sheet in words; empty for a set that no cell has.
    pub(super) fn services(&self, family: Family, set: &ClassSet) -> &str {
        let named = self.named[family].get(set);
        named.map_or("", String::as_str)
    }

    /// Lines `code  services`.
    pub fn lines(&self) -> Vec<(String, String)> {
        self.texts
            .iter()
            .enumerate()
            .map(|(number, text)| (letters(number), text.clone()))
            .collect()
    }

    /// What a code in small letters stands for; empty for one that was not given.
    pub(super) fn text(&self, code: &str) -> &str {
        let letters = code.bytes().try_fold(0usize, |number, letter| {
            let value = usize::from(letter.checked_sub(b'a')?) + 1;
            number.checked_mul(26)?.checked_add(value)
        });
        let number = letters.and_then(|number| number.checked_sub(1));
        let text = number.and_then(|number| self.texts.get(number));
        text.map_or("", String::as_str)
    }

    fn code(&mut self, pair: &Pair, names: &mut Names<'_>) -> String {
        let services = match sign(pair) {
            Sign::Within => return "=".to_owned(),
            Sign::NoAddresses => return String::new(),
            Sign::Nothing => ".".to_owned(),
            Sign::Everything => "ALL".to_owned(),
            Sign::Services => {
                let text = describe(pair, names);
                let next = self.codes.len();
                let number = *self.codes.entry(text.clone()).or_insert(next);
                if number == self.texts.len() {
                    self.texts.push(text);
                }
                if whole(pair) {
                    letters(number).to_uppercase()
                } else {
                    letters(number)
                }
            }
        };
        format!("{services}{}", marks(pair))
    }
}

struct Names<'n> {
    v4: Option<&'n ServiceLabels<'n>>,
    v6: Option<&'n ServiceLabels<'n>>,
    known: PerFamily<BTreeMap<ClassSet, String>>,
}

impl Names<'_> {
    fn text(&mut self, family: Family, set: &ClassSet) -> String {
        let known = &mut self.known[family];
        let naming = match family {
            Family::V4 => self.v4,
            Family::V6 => self.v6,
        };
        let name = || naming.map_or_else(String::new, |naming| naming.services(set));
        known.entry(set.clone()).or_insert_with(name).clone()
    }
}

/// What a cell says, without its letters.
pub fn cell_text(pair: &Pair, code: &str, key: &Legend) -> String {
    match sign(pair) {
        Sign::Within => "inside, no gateway between".to_owned(),
        Sign::NoAddresses => "no addresses".to_owned(),
        Sign::Nothing => "nothing passes".to_owned(),
        Sign::Everything => "everything".to_owned(),
        Sign::Services => {
            let letters = code.chars().filter(char::is_ascii_alphabetic);
            key.text(&letters.collect::<String>().to_lowercase())
                .to_owned()
        }
    }
}

/// What kind of cell it is.
pub fn sign(pair: &Pair) -> Sign {
    let mut cells = pair.families().map(|(_, cell)| cell).peekable();
    if cells.peek().is_none() {
        return Sign::NoAddresses;
    }
    let cells: Vec<&Cell> = cells.collect();
    if cells.iter().any(|cell| cell.reading == Reading::Within) {
        return Sign::Within;
    }
    let real: Vec<&&Cell> = cells
        .iter()
        .filter(|cell| cell.reading == Reading::Pair)
        .collect();
    if real.is_empty() {
        return Sign::NoAddresses;
    }
    if real.iter().all(|cell| cell.some.is_empty()) {
        return Sign::Nothing;
    }
    if real.iter().all(|cell| cell.everything()) {
        Sign::Everything
    } else {
        Sign::Services
    }
}

/// Whether what passes, passes for every address.
pub(super) fn whole(pair: &Pair) -> bool {
    pair.families()
        .filter(|(_, cell)| cell.reading == Reading::Pair)
        .into_iter()
        .all(|(_, cell)| cell.some == cell.every)
}

/// The services of a pair: once where both families agree, else each by name. A family through which nothing
/// passes is not worth a word of its own.
fn describe(pair: &Pair, names: &mut Names<'_>) -> String {
    let real: Vec<_> = pair
        .families()
        .filter(|(_, cell)| cell.reading == Reading::Pair)
        .collect();
    let alone = real.len() == 1;
    let texts: Vec<(&str, String)> = real
        .iter()
        .filter(|(_, cell)| !cell.some.is_empty())
        .map(|&(family, cell)| (family.word(), names.text(family, &cell.some)))
        .collect();
    match texts.as_slice() {
        [(_, only)] if alone => only.clone(),
        [(family, only)] => format!("{family} only: {only}"),
        [(_, one), (_, other)] if one == other => one.clone(),
        _ => {
            let parts = texts
                .iter()
                .map(|(family, text)| format!("{family}: {text}"));
            parts.collect::<Vec<_>>().join("; ")
        }
    }
}

/// The signs behind a code: `>` no reply comes back, `!` no filtering gateway decides, `+` hostile reach is
/// larger, `*` some of it only by hosts with routes of their own, `?` a limit was met. A sign stands where it holds for any flow of any family.
pub(super) fn marks(pair: &Pair) -> String {
    let any = |test: &dyn Fn(&Cell) -> bool| {
        pair.families()
            .any(|(_, cell)| cell.reading != Reading::Within && test(cell))
    };
    let mut marks = String::new();
    if any(&|cell| matches!(cell.two_way, Extent::None | Extent::Some)) {
        marks.push('>');
    }
    if any(&|cell| matches!(cell.filtered, Extent::None | Extent::Some)) {
        marks.push('!');
    }
    if any(&|cell| matches!(cell.hostile, HostileReach::Larger(_))) {
        marks.push('+');
    }
    if any(&|cell| !cell.only_by_hosts().is_empty()) {
        marks.push('*');
    }
    if any(&|cell| !cell.complete() || cell.hostile == HostileReach::Unknown) {
        marks.push('?');
    }
    marks
}

/// 0 is `a`, 25 `z`, 26 `aa`: as columns of a sheet are counted.
fn letters(number: usize) -> String {
    let mut out = Vec::new();
    let mut left = number + 1;
    while left > 0 {
        left -= 1;
        out.push(b'a' + (left % 26) as u8);
        left /= 26;
    }
    out.iter().rev().map(|&letter| char::from(letter)).collect()
}

#[cfg(test)]
mod tests {
    use super::{Legend, letters};

    #[test]
    fn a_code_leads_back_to_its_text() {
        let key = Legend {
            texts: (0..800).map(|number| number.to_string()).collect(),
            ..Legend::default()
        };
        for number in [0, 25, 26, 701, 702, 799] {
            assert_eq!(key.text(&letters(number)), number.to_string());
        }
        assert_eq!((key.text(""), key.text("A"), key.text("zzz")), ("", "", ""));
    }

    #[test]
    fn codes_go_on_after_z() {
        let shown = [0, 25, 26, 27, 701, 702].map(letters);
        assert_eq!(shown, ["a", "z", "aa", "ab", "zz", "aaa"]);
    }
}
