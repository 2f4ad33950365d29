//! A proof for people, and its D-matrix as comma-separated values (RFC 4180).

use super::proof::{Finding, Proof};
use super::prove::Row;
use super::{Figures, Intermittent, Verdict};
use crate::circuit::faults::Fault;
use crate::system::Kind;
use std::fmt::Write;

/// Most lines of a list that may be long.
const MOST_LINES: usize = 20;

fn comes_and_goes(out: &mut String, told: &str, i: &Intermittent) {
    let _ = writeln!(
        out,
        "\n{} walks under a fault that comes and goes, {told}: right cause {}, bounded to few {}, nothing found {}, called sound {}, another \
         cause named {}; sound parts condemned {} times; {:.1} minutes, {:.1} questions, at most {}.",
        i.walks,
        i.right_cause,
        i.bounded,
        i.undecided,
        i.missed,
        i.wrong,
        i.false_removals,
        i.mean_minutes,
        i.mean_questions,
        i.most_questions
    );
    for one in &i.listed {
        let _ = writeln!(out, "  walk {:<5} {:<58} {}", one.draw, one.fault, one.conclusion);
    }
}

/// The proof in words.
pub fn text(proof: &Proof) -> String {
    let mut out = String::new();
    let (n, counting) = (proof.faults.len(), proof.faults.iter().filter(|f| f.counts).count());
    let _ = writeln!(
        out,
        "{} (version {}) on {}: {n} faults, each alone. {counting} of them harm and are its own to find.{}",
        proof.procedure,
        proof.procedure_version,
        proof.bike,
        if proof.order == "best" { " Its parts in the best order." } else { "" }
    );
    if counting == 0 {
        let _ =
            writeln!(out, "The wiring decides nothing in this procedure: it is about what the circuit does not hold.");
    }
    if proof.not_covered > 0 {
        let _ = writeln!(
            out,
            "{} more harm, and it is not there to find them: under them it may only not condemn a sound part.",
            proof.not_covered
        );
    }
    let _ = writeln!(out);
    let _ = writeln!(
        out,
        "Shares: of its own {counting} faults; of condemned sound parts, of all {n}; of sound bikes, of 1."
    );
    let _ = writeln!(out, "{:<46} {:>12} {:>14}", "", "each once", "by likelihood");
    type Figure = (&'static str, fn(&Figures) -> f64, bool);
    let rows: [Figure; 18] = [
        ("something is wrong, and no wrong cause named", |f| f.detection_rate, true),
        ("right cause named, or mended on the way", |f| f.right_cause_rate, true),
        ("isolated: one cause arrives at the end", |f| f.isolation_rate, true),
        ("isolated: the conclusion names one cause", |f| f.isolation_rate_named, true),
        ("only sound parts condemned (any fault)", |f| f.false_removal_rate, true),
        ("sound bike called faulty", |f| f.false_alarm_rate, true),
        ("isolated to one part", |f| f.fault_isolation_rate, true),
        ("  at most two parts", |f| f.isolated_to_two, true),
        ("  at most three parts", |f| f.isolated_to_three, true),
        ("mean ambiguity group, parts", |f| f.mean_ambiguity_group, false),
        ("mean ambiguity group, faults", |f| f.mean_ambiguity_group_faults, false),
        ("mean questions", |f| f.mean_questions, false),
        ("mean minutes", |f| f.mean_minutes, false),
        ("  with changes of side and set-up", |f| f.mean_minutes_with_set_up, false),
        ("mean words, without cautions", |f| f.mean_words, false),
        ("  until the first fact about the circuit", |f| f.words_to_first_fact, false),
        ("mean words of cautions", |f| f.caution_words, false),
        ("mean cautions acknowledged", |f| f.mean_acknowledgements, false),
    ];
    for (name, of, share) in rows {
        let show = |v: f64| if share { format!("{:.1} %", v * 100.0) } else { format!("{v:.2}") };
        let _ = writeln!(out, "{name:<46} {:>12} {:>14}", show(of(&proof.figures)), show(of(&proof.by_likelihood)));
    }
    if let Some(b) = &proof.bikes {
        let rate = |share: f64| format!("{:.1} %", share * 100.0);
        let _ = writeln!(
            out,
            "\n{} bikes drawn within the tolerances of their parts: {} sound ones called faulty. With one fault each: right cause {}, sound parts \
             condemned {} times, missed {}; {:.1} minutes, {:.1} questions.",
            b.n,
            b.healthy_condemned,
            rate(b.figures.right_cause_rate),
            b.false_removals,
            b.missed,
            b.figures.mean_minutes_with_set_up,
            b.figures.mean_questions
        );
        for one in &b.listed {
            let fault = if one.fault.is_empty() { "sound" } else { &one.fault };
            let _ = writeln!(out, "  bike {:<5} {fault:<58} {}", one.draw, one.conclusion);
        }
    }
    if let Some(told) = &proof.intermittent {
        comes_and_goes(&mut out, "said so at the start", told);
        told.untold.iter().for_each(|untold| comes_and_goes(&mut out, "not said", untold));
    }
    let h = &proof.healthy;
    let right = if h.right { "" } else { ", which is wrong" };
    let _ = writeln!(
        out,
        "\nThe healthy bike: {}{right}, after {} questions and {:.0} minutes.",
        h.conclusion, h.steps, h.minutes
    );
    for (verdict, title) in [
        (Verdict::Missed, "Missed: the walk says that all is well"),
        (Verdict::Wrong, "Wrong cause named"),
        (Verdict::Ambiguous, "Named among faults that need another remedy"),
        (Verdict::Undecided, "Noticed, and no cause named"),
    ] {
        let all: Vec<&Finding> = proof.judged(verdict).collect();
        if !all.is_empty() {
            let _ = writeln!(out, "\n{title} ({}):", all.len());
            for f in all {
                let by = if f.decided_by.is_empty() { String::new() } else { format!(" ({})", f.decided_by) };
                let _ = writeln!(out, "  {:<58} {}{by}", f.fault, f.conclusion);
            }
        }
    }
    let mild: Vec<&Finding> = proof.faults.iter().filter(|f| !f.counts && f.verdict == Verdict::Wrong).collect();
    if !mild.is_empty() {
        let _ = writeln!(
            out,
            "\nWrong cause named for a fault that is too mild to count, or not its own to find ({}):",
            mild.len()
        );
        mild.iter().for_each(|f| {
            let _ = writeln!(out, "  {:<58} {} ({})", f.fault, f.conclusion, f.decided_by);
        });
    }
    groups(proof, &mut out);
    smallest(proof, &mut out);
    list(&mut out, "Steps that never decide anything", &proof.never_decides);
    list(&mut out, "Steps that no walk came to", &proof.never_asked);
    list(&mut out, "Conclusions never reached", &proof.never_concluded);
    if let Some(p) = &proof.pairs {
        let _ = writeln!(
            out,
            "\nPairs: {}; the cause of one of the two named {}, named among others {}, no cause named {}, missed {}, a wrong cause named {}.",
            p.pairs, p.verdicts.found, p.verdicts.ambiguous, p.verdicts.undecided, p.verdicts.missed, p.verdicts.wrong
        );
        for pair in p.listed.iter().take(MOST_LINES) {
            let _ =
                writeln!(out, "  {} with {}: {} ({:?})", pair.faults[0], pair.faults[1], pair.conclusion, pair.verdict);
        }
        more(&mut out, p.listed.len());
    }
    if let Some(s) = &proof.slips {
        let _ = writeln!(
            out,
            "\nOne slip: {} walks; right all the same {}, named among others {}, no cause named {}, called healthy {}, a wrong cause named {} after \
             the question was put again and {} ({:.2} %) without.",
            s.ends.walks,
            s.ends.verdicts.found,
            s.ends.verdicts.ambiguous,
            s.ends.verdicts.undecided,
            s.ends.verdicts.missed,
            s.wrong_repeated,
            s.wrong_unrepeated,
            s.wrong_unrepeated_rate * 100.0
        );
        let _ = writeln!(
            out,
            "A sound part condemned in {} of {}; if the slip is made again at each repeat, in {} of {}.",
            s.ends.false_removals, s.ends.walks, s.repeating.false_removals, s.repeating.walks
        );
        for m in s.misled.iter().take(MOST_LINES) {
            let _ = writeln!(
                out,
                "  {}: `{}` said for `{}` leads to {} ({} faults)",
                m.place, m.given, m.right, m.conclusion, m.faults
            );
        }
        more(&mut out, s.misled.len());
    }
    out
}

/// A line for every fault: what it was taken for, after how many questions and minutes, and the answer that decided.
pub fn every_fault(proof: &Proof) -> String {
    let mut out = String::new();
    for f in &proof.faults {
        let counts = match (f.counts, f.covered) {
            (true, _) => "",
            (_, false) => " (outside)",
            (_, true) => " (mild)",
        };
        let verdict = format!("{:?}{counts}", f.verdict).to_lowercase();
        let _ = writeln!(
            out,
            "{:<66} {verdict:<18} {:<38} {:>3} questions {:>5.1} min  {}",
            f.fault, f.conclusion, f.steps, f.minutes, f.decided_by
        );
    }
    out
}

fn more(out: &mut String, all: usize) {
    if all > MOST_LINES {
        let _ = writeln!(out, "  and {} more: see --json.", all - MOST_LINES);
    }
}

fn groups(proof: &Proof, out: &mut String) {
    let mut told = std::collections::BTreeSet::new();
    let several = proof.faults.iter().filter(|f| f.cause_group > 1);
    let mut lines = Vec::new();
    for f in several {
        let mut members = f.ambiguous_with.clone();
        members.push(f.fault.clone());
        members.sort();
        if told.insert(members.clone()) {
            lines.push(format!("  {} ({} causes): {}", f.conclusion, f.cause_group, members.join(", ")));
        }
    }
    if !lines.is_empty() {
        let _ = writeln!(out, "\nEnds at which several causes arrive ({}):", lines.len());
        for line in lines {
            let _ = writeln!(out, "{line}");
        }
    }
}

fn smallest(proof: &Proof, out: &mut String) {
    let late = proof.smallest_found.iter().filter(|s| s.found_from != s.counts_from && s.counts_from.is_some());
    let lines: Vec<String> = late
        .map(|s| {
            let from = |v: Option<f64>| v.map_or_else(|| "none".to_owned(), |v| format!("{v} {}", s.unit));
            format!("  {:<50} found from {}, counts from {}", s.fault, from(s.found_from), from(s.counts_from))
        })
        .collect();
    if !lines.is_empty() {
        let _ =
            writeln!(out, "\nSeverities (the others are found exactly from where they count):\n{}", lines.join("\n"));
    }
    for (step, why) in &proof.not_told {
        let _ = writeln!(out, "\nAt {step} nothing tells what would be seen ({why}): the good answer is given.");
    }
}

fn list(out: &mut String, title: &str, items: &[String]) {
    if !items.is_empty() {
        let _ = writeln!(out, "\n{title} ({}): {}.", items.len(), items.join(", "));
    }
}

fn field(text: &str) -> String {
    if text.contains([',', '"', '\n', '\r']) { format!("\"{}\"", text.replace('"', "\"\"")) } else { text.to_owned() }
}

/// The D-matrix as a file.
pub const MATRIX: Kind = Kind { name: "D-matrix", begins: "procedure,step,round,healthy,", goes_on: &[] };

/// The D-matrix: a line for each test, a column for each fault; 1 where the test's answer differs from the healthy bike's.
pub fn d_matrix_csv(rows: &[Row], faults: &[Fault]) -> String {
    let mut out = String::from("procedure,step,round,healthy");
    for fault in faults {
        let _ = write!(out, ",{}", field(&fault.id));
    }
    out.push_str("\r\n");
    for row in rows {
        let asked = &row.asked;
        let head = [&asked.procedure, &asked.id, asked.round.as_deref().unwrap_or_default(), &row.healthy];
        out.push_str(&head.map(field).join(","));
        row.answers.iter().for_each(|a| out.push_str(if *a == row.healthy { ",0" } else { ",1" }));
        out.push_str("\r\n");
    }
    out
}
