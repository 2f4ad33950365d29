//! Fits the two logistic models by gradient descent with slight weight decay, and writes `src/hear/decode/fitted.rs`.

use crate::trials::Trial;
use probeside::hear::{FEATURE_NAMES, FEATURES, shaped};
use std::fmt::Write;
use std::path::Path;

/// Assumed share of strangers among the utterances at a real step. Trials are weighted to it. Not measured.
const STRANGERS: f64 = 0.2;
const ROUNDS: usize = 4_000;
const DECAY: f64 = 1e-3;

type Row = ([f64; FEATURES], bool, f64);

fn descend(rows: &[Row]) -> [f64; FEATURES + 1] {
    let mut c = [0.0; FEATURES + 1];
    let mut speed = [0.0; FEATURES + 1];
    let total: f64 = rows.iter().map(|r| r.2).sum();
    for _ in 0..ROUNDS {
        let mut slope = [0.0; FEATURES + 1];
        for (x, yes, weight) in rows {
            let sum = c[FEATURES] + (0..FEATURES).map(|i| c[i] * x[i]).sum::<f64>();
            let error = (1.0 / (1.0 + (-sum).exp()) - f64::from(u8::from(*yes))) * weight / total;
            for i in 0..FEATURES {
                slope[i] += error * x[i];
            }
            slope[FEATURES] += error;
        }
        for i in 0..=FEATURES {
            let pull = if i < FEATURES { DECAY * c[i] } else { 0.0 };
            speed[i] = 0.9 * speed[i] - 0.3 * (slope[i] + pull);
            c[i] += speed[i];
        }
    }
    c
}

fn loss(rows: &[Row], c: &[f64; FEATURES + 1]) -> f64 {
    let total: f64 = rows.iter().map(|r| r.2).sum();
    rows.iter()
        .map(|(x, yes, weight)| {
            let sum = c[FEATURES] + (0..FEATURES).map(|i| c[i] * x[i]).sum::<f64>();
            let p = 1.0 / (1.0 + (-sum).exp());
            -weight * if *yes { p.max(1e-12).ln() } else { (1.0 - p).max(1e-12).ln() } / total
        })
        .sum()
}

/// The data of a trial that fitting needs.
struct Case {
    voice: String,
    features: [f64; FEATURES],
    is_reading: bool,
    is_allowed: bool,
    is_right: bool,
}

impl Case {
    fn of(t: &Trial) -> Option<Self> {
        Some(Case {
            voice: t.voice.clone(),
            features: shaped(&t.evidence.features?).map(f64::from),
            is_reading: t.best_is_reading(),
            is_allowed: t.kind.is_allowed(),
            is_right: t.is_right(),
        })
    }

    /// Parses a line written by an earlier run.
    fn read(line: &str) -> Option<Self> {
        let line: serde_json::Value = serde_json::from_str(line).ok()?;
        let some = line["features"].as_array()?.iter().filter_map(|f| Some(f.as_f64()? as f32)).collect::<Vec<_>>();
        Some(Case {
            voice: line["voice"].as_str()?.to_owned(),
            features: shaped(&some.try_into().ok()?).map(f64::from),
            is_reading: line["best_is_reading"].as_bool()?,
            is_allowed: line["allowed"].as_bool()?,
            is_right: line["right"].as_bool()?,
        })
    }
}

/// Fits on trials.
pub fn write(trials: &[Trial]) {
    fit(trials.iter().filter_map(Case::of).collect());
}

/// Fits on the trials that an earlier run left in a file.
pub fn write_again(file: &Path) {
    let text = std::fs::read_to_string(file).unwrap_or_else(|e| panic!("{}: {e}", file.display()));
    fit(text.lines().filter_map(Case::read).collect());
}

/// Fits on trials and writes the constants, separately for best answers that are phrases and that are readings.
fn fit(cases: Vec<Case>) {
    let n = cases.len() as f64;
    let mean: [f64; FEATURES] = std::array::from_fn(|i| cases.iter().map(|c| c.features[i]).sum::<f64>() / n);
    let spread: [f64; FEATURES] = std::array::from_fn(|i| {
        let squares = cases.iter().map(|c| (c.features[i] - mean[i]).powi(2)).sum::<f64>();
        (squares / n).sqrt().max(1e-3)
    });
    let scaled = |c: &Case| std::array::from_fn(|i| (c.features[i] - mean[i]) / spread[i]);
    let strangers = cases.iter().filter(|c| !c.is_allowed).count() as f64;
    let weight = |c: &Case| if c.is_allowed { (1.0 - STRANGERS) / (n - strangers) } else { STRANGERS / strangers };
    let mut fitted = Vec::new();
    for (what, is_reading) in [("phrases", false), ("readings", true)] {
        let some: Vec<&Case> = cases.iter().filter(|c| c.is_reading == is_reading).collect();
        let rows: Vec<Row> = some.iter().map(|c| (scaled(c), !c.is_allowed, weight(c))).collect();
        let stranger = descend(&rows);
        println!("{what}, stranger: {} trials, mean log loss {:.4}", rows.len(), loss(&rows, &stranger));
        let said = some.iter().filter(|c| c.is_allowed);
        let rows: Vec<Row> = said.map(|c| (scaled(c), c.is_right, 1.0)).collect();
        let right = descend(&rows);
        println!("{what}, right: {} trials, mean log loss {:.4}", rows.len(), loss(&rows, &right));
        fitted.push((stranger, right));
    }
    let voices = cases.iter().map(|c| c.voice.as_str()).collect::<std::collections::BTreeSet<_>>().len();
    let mut text = format!(
        "//! Coefficients of the logistic models, written by `tests/measure/hearing.rs fit`: {} trials of {voices} development\n\
         //! voices, strangers weighted to {STRANGERS} of all, features scaled by mean and spread.\n\n\
         use super::features::FEATURES;\n",
        cases.len(),
    );
    let list = |numbers: &[f64]| numbers.iter().map(|x| format!("{x:.4}")).collect::<Vec<_>>().join(", ");
    let mut put = |doc: &str, name: &str, numbers: &[f64]| {
        let _ = write!(text, "\n/// {doc}\npub const {name}: [f32; FEATURES] = [{}];\n", list(numbers));
    };
    put(&format!("Mean of each feature: {}.", FEATURE_NAMES.join(", ")), "MEAN", &mean);
    put("Spread of each feature.", "SPREAD", &spread);
    let mut put = |doc: &str, name: &str, both: [&[f64]; 2]| {
        let [phrase, reading] = both.map(list);
        let _ = write!(
            text,
            "\n/// {doc}: the models for a best answer that is a phrase, and that is a reading. The last is the constant.\n\
             pub const {name}: [[f32; FEATURES + 1]; 2] = [[{phrase}], [{reading}]];\n"
        );
    };
    put("Is the utterance outside the grammar", "STRANGER", [&fitted[0].0, &fitted[1].0]);
    put("Is the best answer right", "RIGHT", [&fitted[0].1, &fitted[1].1]);
    std::fs::write(concat!(env!("CARGO_MANIFEST_DIR"), "/src/hear/decode/fitted.rs"), &text).expect("written");
    println!("{text}");
}
