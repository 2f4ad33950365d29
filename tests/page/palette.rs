//! The palette: every colour is defined in one place, and text and graphics have the contrast that WCAG 2.2 requires
//! (https://www.w3.org/TR/WCAG22/#dfn-contrast-ratio): text 4.5 to 1 (success criterion 1.4.3), graphics 3 to 1 (1.4.11).

use super::browser;
use super::session::{in_memory, page};
use super::{missing, written};
use probeside::procedure::{self, draw};
use probeside::review::{customer, gather};
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// Least contrast of text.
const TEXT: f64 = 4.5;
/// Least contrast of what is drawn.
const GRAPHICS: f64 = 3.0;

/// What may be written on each colour.
const WRITTEN: [(&str, &str); 11] = [
    ("paper", "ink soft link good bad"),
    ("sheet", "ink soft link good bad"),
    ("alarm", "ink soft link bad"),
    ("end", "ink"),
    ("call", "ink"),
    ("loop", "ink"),
    ("link", "paper"),
    ("danger", "on-danger"),
    ("warning", "on-warning"),
    ("caution", "on-caution"),
    ("notice", "on-notice"),
];

/// What may be drawn on each colour. A sign's own colour counts by its outline and by the mark in it.
const DRAWN: [(&str, &str); 11] = [
    ("paper", "ink soft link good bad line"),
    ("sheet", "ink soft link good bad line"),
    ("alarm", "ink bad"),
    ("band", "ink good bad"),
    ("end", "ink line"),
    ("call", "ink line"),
    ("loop", "ink line"),
    ("danger", "on-danger"),
    ("warning", "on-warning"),
    ("caution", "on-caution"),
    ("notice", "on-notice"),
];

/// Lines that only part what is told apart without them.
const ORNAMENT: [&str; 1] = ["rule"];

type Colours = BTreeMap<String, [u8; 3]>;

fn colour(hex: &str) -> [u8; 3] {
    let digits: Vec<u8> = hex.chars().map(|c| c.to_digit(16).unwrap_or_else(|| panic!("#{hex}")) as u8).collect();
    match digits[..] {
        [r, g, b] => [r, g, b].map(|d| d * 17),
        [a, b, c, d, e, f] => [a * 16 + b, c * 16 + d, e * 16 + f],
        _ => panic!("#{hex} is no colour"),
    }
}

/// Relative luminance, https://www.w3.org/TR/WCAG22/#dfn-relative-luminance
fn luminance(colour: [u8; 3]) -> f64 {
    let [r, g, b] = colour.map(|part| {
        let part = f64::from(part) / 255.0;
        if part <= 0.04045 { part / 12.92 } else { ((part + 0.055) / 1.055).powf(2.4) }
    });
    0.2126 * r + 0.7152 * g + 0.0722 * b
}

fn contrast(a: [u8; 3], b: [u8; 3]) -> f64 {
    let (a, b) = (luminance(a), luminance(b));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

/// The colours of each theme: on a light screen, on a dark one, on paper.
fn themes() -> [(&'static str, Colours); 3] {
    let mut blocks = draw::PALETTE.split(":root {").skip(1).map(|block| {
        let block = block.split('}').next().unwrap();
        let names = block.split(';').filter_map(|one| one.trim().strip_prefix("--")?.split_once(": #"));
        names.map(|(name, hex)| (name.to_owned(), colour(hex))).collect::<Colours>()
    });
    let [light, dark, print] = [(); 3].map(|()| blocks.next().expect("light, dark and print"));
    assert!(blocks.next().is_none() && light.len() > 15, "{light:?}");
    let over = |own: Colours| light.clone().into_iter().chain(own).collect::<Colours>();
    [("light", light.clone()), ("dark", over(dark)), ("print", over(print))]
}

/// The style of the pages as it is sent, without the palette.
fn style() -> String {
    let page = page(&in_memory(1, 0));
    let style = page.split("<style>").nth(1).unwrap().split("</style>").next().unwrap();
    style.strip_prefix(draw::PALETTE).expect("the palette comes first").to_owned()
}

/// Names of colours that a style's declarations use which `wanted` says yes to.
fn used(style: &str, wanted: impl Fn(&str) -> bool) -> BTreeSet<String> {
    let declared = style.split(['{', '}', ';']).filter_map(|one| one.trim().split_once(": "));
    let values = declared.filter(|(property, _)| wanted(property)).flat_map(|(_, value)| value.split("var(--").skip(1));
    values.map(|rest| rest.split(')').next().unwrap().to_owned()).collect()
}

#[test]
fn the_formula_is_that_of_the_standard() {
    // Black on white is 21 to 1 by the definition; #767676 on white is the lightest grey with 4.5 (4.54) known from its techniques.
    assert!((contrast([0; 3], [255; 3]) - 21.0).abs() < 1e-9);
    assert!((contrast([0x76; 3], [255; 3]) - 4.54).abs() < 0.01);
    assert!(contrast([0x77; 3], [255; 3]) < TEXT);
}

#[test]
fn every_pair_stands_out_in_every_theme() {
    let mut faint = Vec::new();
    for (theme, colours) in themes() {
        for (pairs, least) in [(WRITTEN, TEXT), (DRAWN, GRAPHICS)] {
            for (under, over) in pairs {
                for over in over.split(' ') {
                    let ratio = contrast(colours[over], colours[under]);
                    if ratio < least {
                        faint.push(format!("{theme}: {over} on {under} is {ratio:.2}, {least} at least"));
                    }
                }
            }
        }
    }
    assert!(faint.is_empty(), "{}", faint.join("\n"));
}

#[test]
fn colours_have_one_place_and_each_is_in_the_tables() {
    let style = style();
    let sheets = [("page.css", style.as_str()), ("style.css", draw::STYLE)];
    for (name, sheet) in sheets {
        let literal =
            sheet.split(['{', '}', ';']).filter_map(|one| one.trim().split_once(": ")).find(|(property, value)| {
                let coloured = ["color", "fill", "stroke", "background", "border-color"].contains(property)
                    || property.starts_with("border")
                    || *property == "outline";
                let value = value.to_lowercase();
                value.contains('#')
                    || value.contains("rgb")
                    || value.contains("hsl")
                    || coloured
                        && !value.contains("var(--")
                        && !["none", "currentcolor", "inherit", "0"].contains(&value.as_str())
                        && !value.chars().next().is_some_and(|c| c.is_ascii_digit() || c == '.')
                        && !["collapse", "double", "dotted"].contains(&value.as_str())
            });
        assert!(literal.is_none(), "{name} has a colour of its own: {literal:?}");
        assert!(!sheet.contains("--paper:"), "{name} defines colours");
    }
    let names = |pairs: [(&str, &str); 11]| -> (BTreeSet<String>, BTreeSet<String>) {
        let over = pairs.iter().flat_map(|(_, over)| over.split(' ')).map(str::to_owned).collect();
        (pairs.iter().map(|(under, _)| (*under).to_owned()).collect(), over)
    };
    let ((under_text, text), (under_lines, lines)) = (names(WRITTEN), names(DRAWN));
    let any = |_: &str| true;
    for name in used(&style, any) {
        assert!(themes()[0].1.contains_key(&name), "--{name} is not in the palette");
    }
    for name in used(&style, |property| property == "color") {
        assert!(text.contains(&name), "--{name} is written with, but in no pair");
    }
    for name in used(&style, |property| property == "background") {
        assert!(under_text.contains(&name), "--{name} lies under text, but in no pair");
    }
    let drawn = |property: &str| property == "fill" || property == "stroke" || property.starts_with("border");
    for name in used(&style, drawn) {
        let told = lines.contains(&name) || under_lines.contains(&name) || under_text.contains(&name);
        assert!(told || ORNAMENT.contains(&name.as_str()), "--{name} is drawn with, but in no pair");
    }
}

/// ANSI Z535.1: red for DANGER with white letters, orange for WARNING and yellow for CAUTION with black ones, blue for NOTICE with white ones.
/// The hues are those of 7.5R 4/14, 5YR 6/15, 5Y 8/12 and 2.5PB 3.5/10 (Munsell renotation), in sRGB, and do not change with the theme.
#[test]
fn signal_words_have_the_colours_of_the_standard() {
    let [(_, light), (_, dark), (_, print)] = themes();
    for (word, hue, letters) in
        [("danger", 0.0, 255), ("warning", 31.0, 0), ("caution", 51.0, 0), ("notice", 205.0, 255)]
    {
        let [r, g, b] = light[word].map(f64::from);
        let found = f64::atan2(3f64.sqrt() * (g - b), 2.0 * r - g - b).to_degrees().rem_euclid(360.0);
        let off = (found - hue + 180.0).rem_euclid(360.0) - 180.0;
        assert!(off.abs() < 6.0, "{word} has the hue {found:.0}, not {hue}");
        assert_eq!(light[&format!("on-{word}")], [letters; 3], "{word}");
        for theme in [&dark, &print] {
            assert_eq!((theme[word], theme[&format!("on-{word}")]), (light[word], [letters; 3]), "{word}");
        }
    }
}

/// Every text of real pages and of the largest drawing, as a browser lays it on what is under it.
#[test]
fn a_browser_finds_no_other_pair() {
    if browser::program().is_none() {
        return missing("chromium");
    }
    let script = "() => {
        const pairs = {}, hex = c => { const m = c.match(/[0-9.]+/g); return m && (m[3] === undefined || +m[3] > 0) ? m.slice(0, 3).join(' ') : null; };
        const behind = e => { for (; e; e = e.parentElement) { const c = hex(getComputedStyle(e).backgroundColor); if (c) return c; } return null; };
        const boxes = new Map(), rects = svg => { if (!boxes.has(svg)) boxes.set(svg, [...svg.querySelectorAll('rect')].map(r =>
            [r, r.getBoundingClientRect(), hex(getComputedStyle(r).fill)])); return boxes.get(svg); };
        const under = e => { const svg = e.closest('svg');
            if (svg) { const b = e.getBoundingClientRect(), x = b.x + b.width / 2, y = b.y + b.height / 2; let last = null;
                for (const [r, a, c] of rects(svg))
                    if (c && r.compareDocumentPosition(e) & 4 && a.left <= x && x <= a.right && a.top <= y && y <= a.bottom) last = c;
                if (last) return last; }
            return behind(e); };
        for (const e of document.body.querySelectorAll('*')) {
            if (!e.textContent.trim() || ![...e.childNodes].some(n => n.nodeType === 3 && n.data.trim())) continue;
            if (['TITLE', 'DESC', 'SCRIPT', 'STYLE'].includes(e.tagName.toUpperCase())) continue;
            const s = getComputedStyle(e), over = hex(e.namespaceURI.endsWith('svg') ? s.fill : s.color);
            const key = over + '/' + under(e); pairs[key] = pairs[key] || e.textContent.trim().slice(0, 30);
        }
        return pairs;
    }";
    let disk = in_memory(200, 2);
    let review = gather(&mut disk.folder()).unwrap();
    let sheet = customer(&review).unwrap();
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures/no-spark.yaml");
    let tree = draw::inline(draw::tree(&procedure::load(&shipped).unwrap(), None), "tree");
    let colours = draw::PALETTE;
    let drawing = format!(
        "<!DOCTYPE html><meta charset=utf-8><style>{colours}{} body {{ background: var(--paper) }}</style><body>{tree}</body>",
        draw::STYLE
    );
    let shown = "<style>* { content-visibility: visible !important }</style></head>";
    let mut reports = Vec::new();
    for (name, page) in [("page", page(&disk)), ("sheet", sheet), ("drawing", drawing)] {
        let page = page.replacen("</head>", shown, 1);
        let (folder, file) = written(&browser::with_script(&page, &browser::in_both_themes(script), true));
        let (report, _) = browser::report(&file, &folder.path().join("home"));
        let pairs: BTreeMap<String, BTreeMap<String, String>> =
            serde_json::from_str(&report).unwrap_or_else(|_| panic!("{report}"));
        reports.push((name, pairs));
    }
    for (theme, known) in themes().into_iter().take(2) {
        let mut seen = BTreeSet::new();
        for (name, pairs) in &reports {
            for (pair, example) in &pairs[theme] {
                let part = |text: &str| -> [u8; 3] {
                    let parts: Vec<u8> = text.split(' ').filter_map(|n| n.parse().ok()).collect();
                    parts.try_into().unwrap_or_else(|_| panic!("{theme} {name}: {pair}: {example}"))
                };
                let (over, under) = pair.split_once('/').unwrap();
                let (over, under) = (part(over), part(under));
                let ratio = contrast(over, under);
                assert!(ratio >= TEXT, "{theme} {name}: {example:?} has {ratio:.2}");
                let told = WRITTEN
                    .iter()
                    .any(|(below, above)| known[*below] == under && above.split(' ').any(|above| known[above] == over));
                assert!(told, "{theme} {name}: {example:?} is a pair that the table lacks: {pair}");
                seen.insert(pair);
            }
        }
        assert!(seen.len() >= 16, "{theme}: only {} pairs were seen: {seen:?}", seen.len());
    }
}
