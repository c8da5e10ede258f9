//! Does nothing lie on anything else, whatever the site looks like?

use crate::fabrics::{Fabric, fabric_site};
use crate::geometry::{Frame, Picture, meet, within};
use crate::hostile_site::{HOSTILE, widest_names, with_text};
use crate::made::{Made, demo, leaking, made};
use crate::random_fabric::random_fabric;
use crate::random_site::random_site;

/// What is wrong with a picture.
fn clashes(svg: &str) -> Vec<String> {
    let picture = Picture::read(svg);
    let mut found = Vec::new();
    let sheet = [0.0, 0.0, picture.size.0, picture.size.1];
    for (number, (frame, text)) in picture.texts.iter().enumerate() {
        if !within(*frame, sheet) {
            found.push(format!("off the sheet: {text}"));
        }
        for (other, name) in &picture.boxes {
            if meet(*frame, *other) && !within(*frame, *other) {
                found.push(format!("{text} lies on the edge of the {name}"));
            }
        }
        for (other, name) in &picture.texts[number + 1..] {
            if meet(*frame, *other) {
                found.push(format!("{text} lies on {name}"));
            }
        }
    }
    for (number, (frame, name)) in picture.boxes.iter().enumerate() {
        for (other, others) in &picture.boxes[number + 1..] {
            if meet(*frame, *other) && !within(*frame, *other) && !within(*other, *frame) {
                found.push(format!("{name} lies on {others}"));
            }
        }
        // A line ends at the edge of a box.
        let [left, top, right, bottom] = *frame;
        let inner: Frame = [left + 1.0, top + 1.0, right - 1.0, bottom - 1.0];
        let through = |line: &Frame| {
            let thick = [line[0], line[1], line[2] + 0.1, line[3] + 0.1];
            meet(thick, inner)
        };
        if let Some(line) = picture.lines.iter().find(|line| through(line)) {
            found.push(format!("the line {line:?} runs through the {name}"));
        }
    }
    found
}

fn check(site: &Made, command: &str, least: usize, about: &str) {
    let svg = site.written(command);
    let texts = Picture::read(&svg).texts.len();
    assert!(texts >= least, "{about}, {command}: only {texts} texts");
    let found = clashes(&svg);
    assert!(found.is_empty(), "{about}, {command}: {found:#?}");
}

/// The pictures of every site.
const OF_A_SITE: [&str; 3] = [
    "draw --format svg --what site",
    "draw --format svg --what logical",
    "draw --format svg --what matrix",
];

#[test]
fn nothing_lies_on_anything_on_the_pictures_of_the_demo() {
    let site = made(&demo());
    for command in OF_A_SITE {
        check(&site, command, 30, "demo");
    }
    check(&site, "draw --format svg --what panels", 60, "demo");
    check(
        &site,
        "draw --format svg --path office internet https",
        8,
        "demo",
    );
    let site = made(&leaking());
    let way = "draw --format svg --bypass cameras management";
    check(&site, way, 8, "leaking demo");
    check(&site, &format!("{way} --what site"), 60, "leaking demo");
}

#[test]
fn nothing_lies_on_anything_at_sixty_segments() {
    let text = fabric_site(Fabric {
        switches: 20,
        ports: 24,
        vlans: 60,
        hosts: 120,
    });
    let site = made(&text);
    for command in OF_A_SITE {
        check(&site, command, 60, "60 segments");
    }
    check(&site, "draw --format svg --what panels", 400, "60 segments");
}

#[test]
fn nothing_lies_on_anything_on_random_sites() {
    for seed in 0..60 {
        let site = made(&random_fabric(seed));
        for command in OF_A_SITE {
            check(&site, command, 5, &format!("fabric {seed}"));
        }
        check(
            &site,
            "draw --format svg --what panels",
            5,
            &format!("fabric {seed}"),
        );
    }
    for seed in 0..60 {
        let site = made(&random_site(seed));
        for command in OF_A_SITE {
            check(&site, command, 5, &format!("site {seed}"));
        }
    }
}

#[test]
fn nothing_lies_on_anything_whatever_texts_are_like() {
    let site = made(&widest_names());
    for command in OF_A_SITE {
        check(&site, command, 8, "widest names");
    }
    check(&site, "draw --format svg --what panels", 8, "widest names");
    for text in HOSTILE {
        let (wild, changed) = with_text(&demo(), text);
        assert!(changed > 150, "{changed} texts");
        let site = made(&wild);
        for command in OF_A_SITE {
            check(&site, command, 30, text);
        }
        check(&site, "draw --format svg --what panels", 60, text);
        let path = "draw --format svg --path office internet https";
        check(&site, path, 8, text);
    }
}

#[test]
fn the_judge_of_overlaps_sees_them() {
    let svg = |inside: &str| {
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"400\" height=\"200\">{inside}</svg>"
        )
    };
    let card = "<rect class=\"card\" x=\"50\" y=\"50\" width=\"100\" height=\"60\"/>";
    let bad = [
        "<text x=\"120\" y=\"70\">too long for it</text>",
        "<text x=\"390\" y=\"20\">off</text>",
        "<rect class=\"card\" x=\"100\" y=\"80\" width=\"100\" height=\"60\"/>",
        "<path class=\"wire\" d=\"M0 70L200 70\"/>",
        "<text x=\"200\" y=\"20\">one</text><text x=\"205\" y=\"24\">two</text>",
    ];
    for bad in bad {
        assert_eq!(clashes(&svg(&format!("{card}{bad}"))).len(), 1, "{bad}");
    }
    let good = "<text x=\"60\" y=\"70\">inside</text><path class=\"wire\" d=\"M0 70L50 70\"/>";
    assert!(clashes(&svg(&format!("{card}{good}"))).is_empty());
}

#[test]
fn the_same_site_gives_the_same_picture() {
    let formats = ["svg", "dot", "mermaid"];
    for format in formats {
        let command = format!("draw --format {format} --what site");
        // Different folders: no path of the machine goes into a picture of a site.
        assert_eq!(
            made(&demo()).written(&command),
            made(&demo()).written(&command)
        );
    }
}
