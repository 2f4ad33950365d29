//! Fits the two logistic models by gradient descent with a little weight decay, and writes `src/hear/fitted.rs`.

use crate::trials::Trial;
use probeside::hear::{FEATURE_NAMES, FEATURES};
use std::fmt::Write;

/// Share of utterances at a real step taken to be strangers; trials are weighted to it. An assumption, not measured.
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

/// Fits on trials and writes the constants.
pub fn write(trials: &[Trial]) {
    let known: Vec<(&Trial, [f32; FEATURES])> = trials.iter().filter_map(|t| Some((t, t.evidence.features?))).collect();
    let n = known.len() as f64;
    let mut mean = [0.0; FEATURES];
    let mut spread = [0.0; FEATURES];
    for (_, f) in &known {
        for i in 0..FEATURES {
            mean[i] += f64::from(f[i]) / n;
        }
    }
    for (_, f) in &known {
        for i in 0..FEATURES {
            spread[i] += (f64::from(f[i]) - mean[i]).powi(2) / n;
        }
    }
    let spread = spread.map(|v: f64| v.sqrt().max(1e-3));
    let scaled = |f: &[f32; FEATURES]| std::array::from_fn(|i| (f64::from(f[i]) - mean[i]) / spread[i]);
    let strangers = known.iter().filter(|(t, _)| !t.kind.is_allowed()).count() as f64;
    let rows: Vec<Row> = known
        .iter()
        .map(|(t, f)| {
            let weight = if t.kind.is_allowed() { (1.0 - STRANGERS) / (n - strangers) } else { STRANGERS / strangers };
            (scaled(f), !t.kind.is_allowed(), weight)
        })
        .collect();
    let stranger = descend(&rows);
    println!("stranger: {} trials, mean log loss {:.4}", rows.len(), loss(&rows, &stranger));
    let rows: Vec<Row> =
        known.iter().filter(|(t, _)| t.kind.is_allowed()).map(|(t, f)| (scaled(f), t.is_right(), 1.0)).collect();
    let right = descend(&rows);
    println!("right: {} trials, mean log loss {:.4}", rows.len(), loss(&rows, &right));

    let mut text = format!(
        "//! Coefficients of the two logistic models, written by `tests/measure/hearing.rs fit`: {} trials of {} development\n\
         //! voices, strangers weighted to {STRANGERS} of all, features scaled by mean and spread.\n\n\
         use super::score::FEATURES;\n",
        known.len(),
        crate::voices::FOR_FITTING.len(),
    );
    let mut put = |doc: &str, name: &str, plus: &str, numbers: &[f64]| {
        let list = numbers.iter().map(|x| format!("{x:.4}")).collect::<Vec<_>>().join(", ");
        let _ = write!(text, "\n/// {doc}\npub const {name}: [f32; FEATURES{plus}] = [{list}];\n");
    };
    put(&format!("Mean of each feature: {}.", FEATURE_NAMES.join(", ")), "MEAN", "", &mean);
    put("Spread of each feature.", "SPREAD", "", &spread);
    put("Was nothing of the grammar said? The last is the constant.", "STRANGER", " + 1", &stranger);
    put("Is the best answer the right one? The last is the constant.", "RIGHT", " + 1", &right);
    std::fs::write(concat!(env!("CARGO_MANIFEST_DIR"), "/src/hear/fitted.rs"), &text).expect("written");
    println!("{text}");
}
