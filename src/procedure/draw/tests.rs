//! The pictures of the shipped procedures and of hostile ones: well-formed, complete, without overlaps.

use super::place::{Area, place};
use super::*;
use crate::bike;
use crate::phrase::Vocabulary;
use crate::procedure::{self, Procedure};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

fn shipped(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures").join(name)
}

fn procedure(name: &str) -> Procedure {
    procedure::load(&shipped(name)).unwrap()
}

fn bike_value(name: &str) -> serde_json::Value {
    bike::as_value(&bike::load(&shipped(name)).unwrap(), Vocabulary::english())
}

fn overlaps(a: &Area, b: &Area) -> bool {
    a.x < b.x + b.w && b.x < a.x + a.w && a.y < b.y + b.h && b.y < a.y + a.h
}

#[test]
fn nothing_lies_over_anything_else() {
    for (name, with) in [("no-spark.yaml", true), ("no-spark.yaml", false), ("prove-lamp.yaml", false)] {
        let bike = bike_value("bikes/borage-twin.yaml");
        let layout = place(tree(&procedure(name), with.then_some(&bike)));
        let mut areas: Vec<Area> = layout.boxes.iter().map(|b| b.area).collect();
        areas.extend(layout.words.iter().flatten().map(|w| w.area));
        for (at, a) in areas.iter().enumerate() {
            assert!(a.x >= 0.0 && a.y >= 0.0 && a.x + a.w <= layout.w && a.y + a.h <= layout.h, "{name}: {a:?}");
            assert!(areas[at + 1..].iter().all(|b| !overlaps(a, b)), "{name}: something lies over {a:?}");
        }
        for way in &layout.ways {
            assert!(way.windows(2).all(|p| p[0].1 <= p[1].1 + 1e-9), "{name}: an arrow runs upwards: {way:?}");
        }
    }
}

#[test]
fn every_step_and_conclusion_is_in_the_picture_and_every_link_leads_somewhere() {
    let procedure = procedure("no-spark.yaml");
    let bike = bike_value("bikes/borage-twin.yaml");
    let picture = svg(tree(&procedure, Some(&bike)));
    let read = roxmltree::Document::parse(&picture).unwrap();
    let headings: BTreeSet<String> = read
        .descendants()
        .filter(|n| n.attribute("class") == Some("head"))
        .filter_map(|n| n.text().map(str::to_owned))
        .collect();
    let ids: BTreeSet<&str> = read.descendants().filter_map(|n| n.attribute("id")).collect();
    assert_eq!(ids.len(), read.descendants().filter(|n| n.has_attribute("id")).count(), "an id stands twice");
    for step in &procedure.steps {
        assert!(ids.contains(format!("picture-{}", *step.id).as_str()), "{} has no box", *step.id);
    }
    for conclusion in &procedure.conclusions {
        assert!(headings.contains(conclusion.id.as_str()), "{} is missing", *conclusion.id);
    }
    let links: Vec<&str> = read.descendants().filter_map(|n| n.attribute("href")).collect();
    assert!(links.len() > 5, "a long tree has connectors");
    for link in links {
        assert!(ids.contains(link.trim_start_matches('#')), "{link} leads nowhere");
    }
    assert!(!picture.contains("{{") && !picture.contains("‹bike") && !picture.contains("‹set"), "a template was left");
}

#[test]
fn hostile_text_is_only_text() {
    let evil = "</text><script>alert('1')</script>\u{1b}[2J & \"q\" \u{202e}]]>";
    let mut chart = Chart { title: evil.into(), description: evil.into(), ..Chart::default() };
    let mut node = Node::new(Shape::Step, evil, evil.repeat(40));
    node.anchor = Some(evil.to_owned());
    node.cautions.push((crate::procedure::SignalWord::Danger, evil.to_owned()));
    let from = chart.add(node.clone());
    node.anchor = None;
    node.link = Some(evil.to_owned());
    let to = chart.add(node);
    chart.join(from, to, Some(Label { text: evil.into(), tone: Tone::Bad, hover: evil.into() }));
    chart.join(to, from, Some(Label::new("", Tone::Plain)));
    chart.join(to, to, None);
    for picture in [svg(chart.clone()), inline(chart, "a\"b")] {
        let read = roxmltree::Document::parse(&picture).unwrap();
        assert!(read.descendants().all(|n| n.tag_name().name() != "script"));
        assert!(!picture.contains(['\u{1b}', '\u{202e}']));
    }
}

#[test]
fn an_empty_chart_is_a_picture_too() {
    roxmltree::Document::parse(&svg(Chart::default())).unwrap();
}

/// `PROBESIDE_WRITE=1 cargo test --lib draw` rewrites the file.
#[test]
fn the_picture_in_the_readme_is_not_stale() {
    let path = shipped("pictures/prove-lamp.svg");
    let bike = bike_value("bikes/borage-twin.yaml");
    let now = svg(tree(&procedure("prove-lamp.yaml"), Some(&bike)));
    if std::env::var_os("PROBESIDE_WRITE").is_some() {
        std::fs::write(&path, &now).unwrap();
    }
    let kept = std::fs::read_to_string(&path).unwrap().replace("\r\n", "\n");
    assert!(kept == now, "{} is stale: PROBESIDE_WRITE=1 cargo test --lib draw", path.display());
    let readme = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md")).unwrap();
    assert!(readme.contains("procedures/pictures/prove-lamp.svg"));
}
