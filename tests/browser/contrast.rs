//! Contrast of every text on a page, by the formula of WCAG 2.2 (definitions of contrast ratio and relative
//! luminance; success criterion 1.4.3 asks for 4.5).

use serde_json::{Value, json};

use crate::client::Page;

/// Texts of the page that stand out too little, with their ratio; and how many texts were looked at.
const LOOK: &str = r#"(() => {
  const parts = (colour) => colour.match(/[\d.]+/g).map(Number);
  const part = (value) => (value /= 255) <= 0.04045 ? value / 12.92 : ((value + 0.055) / 1.055) ** 2.4;
  const light = ([r, g, b]) => 0.2126 * part(r) + 0.7152 * part(g) + 0.0722 * part(b);
  const behind = (one) => {
    for (; one; one = one.parentElement) {
      const colour = parts(getComputedStyle(one).backgroundColor);
      if (colour.length < 4 || colour[3] > 0) return colour;
    }
    return [255, 255, 255];
  };
  const weak = [];
  let count = 0;
  for (const one of document.querySelectorAll("body *")) {
    const own = [...one.childNodes].some((node) => node.nodeType === 3 && node.data.trim() !== "");
    if (!own || one.closest("svg") || one.getClientRects().length === 0) continue;
    const [a, b] = [light(parts(getComputedStyle(one).color)), light(behind(one))];
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    count += 1;
    if (ratio < 4.5) weak.push(one.textContent.slice(0, 40) + ": " + ratio.toFixed(2));
  }
  return [count, weak];
})()"#;

fn look(page: &mut Page<'_>) -> (u64, Vec<Value>) {
    let told = page.value(LOOK);
    let weak = told[1].as_array().expect("a list").clone();
    (told[0].as_u64().expect("a count"), weak)
}

/// Checks all texts by day and by night.
pub fn check(page: &mut Page<'_>) {
    let mut universe = Vec::new();
    for scheme in ["light", "dark"] {
        let media = json!({ "features": [{ "name": "prefers-color-scheme", "value": scheme }] });
        page.call("Emulation.setEmulatedMedia", &media);
        let (count, weak) = look(page);
        assert!(count > 200, "{scheme}: only {count} texts");
        assert!(weak.is_empty(), "{scheme}: {weak:#?}");
        universe.push(page.text("getComputedStyle(document.body).backgroundColor"));
    }
    assert_ne!(universe[0], universe[1], "day and night differ");
}
