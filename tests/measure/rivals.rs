//! Comparison with other recognition methods on the same sounds: the free transcript matched to the nearest phrase, and pocketsphinx with
//! the same phrases as its grammar, run as a program.

use crate::bounds::{exact, share};
use crate::trials::{Kind, Trial};
use probeside::hear::{SAMPLE_RATE, write_wav};
use probeside::phrase::number::NumberWords;
use probeside::phrase::{Answer, Grammar, Stakes, Verdict, Vocabulary, decide, normalise, understand};
use std::collections::{BTreeMap, HashSet};
use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Arc;

/// Location of the other engine's model and dictionary in Debian's packages.
const MODEL: &str = "/usr/share/pocketsphinx/model/en-us/en-us";
const DICTIONARY: &str = "/usr/share/pocketsphinx/model/en-us/cmudict-en-us.dict";

/// A method's result for a sound: an answer and its confidence, where more is better.
type Guess = Option<(Answer, f64)>;

/// The phrase nearest to a free transcript by edit distance. Numbers are read from the transcript.
fn nearest(free: &str, grammar: &Grammar) -> Guess {
    let text = normalise(free);
    if let Verdict::Accept { heard } = decide(&understand(&text, grammar, Vocabulary::english()), Stakes::Low) {
        return Some((heard.answer, 1.0));
    }
    let alike = grammar.phrases.iter().map(|p| (p, strsim::normalized_levenshtein(&p.words, &text)));
    let best = alike.max_by(|a, b| a.1.total_cmp(&b.1))?;
    (best.1 > 0.0).then(|| (best.0.answer.clone(), best.1))
}

/// The grammar in the Java Speech Grammar Format, without phrases whose words the dictionary lacks.
fn jsgf(grammar: &Grammar, known: &HashSet<String>, numbers: &NumberWords) -> String {
    let can = |words: &str| words.split(' ').all(|w| known.contains(w));
    let phrases: Vec<&str> = grammar.phrases.iter().map(|p| p.words.as_str()).filter(|w| can(w)).collect();
    let mut out = "#JSGF V1.0;\ngrammar step;\n".to_owned();
    let mut choices = phrases.join(" | ");
    if let Some(slot) = &grammar.number {
        let named = |all: Vec<u64>| all.iter().map(|n| numbers.cardinal(*n)).collect::<Vec<_>>().join(" | ");
        let units: Vec<String> = probeside::units::Unit::ALL
            .iter()
            .filter(|u| u.quantity() == slot.quantity)
            .flat_map(|u| [numbers.unit(*u, true).to_owned(), numbers.unit(*u, false).to_owned()])
            .filter(|w| !w.is_empty() && can(w))
            .collect();
        let _ = writeln!(out, "<digit> = {} | oh;", named((0..10).collect()));
        let _ = writeln!(out, "<small> = <digit> | {};", named((10..20).collect()));
        let _ = writeln!(out, "<ten> = {};", named((2..10).map(|n| n * 10).collect()));
        let _ =
            writeln!(out, "<below> = <small> | <ten> [<digit>] | <digit> hundred [[and] (<small> | <ten> [<digit>])];");
        let _ = writeln!(out, "<unit> = {};", if units.is_empty() { "<NULL>".into() } else { units.join(" | ") });
        let _ = writeln!(out, "<number> = [minus] ([<below>] point <digit> [<digit>] | <below> [<below>]) [<unit>];");
        choices.push_str(" | <number> | over range | open line | no reading");
    }
    let _ = writeln!(out, "public <said> = {choices};");
    out
}

/// Recognises trials with pocketsphinx, one run per grammar. `None` if it is not installed.
fn pocketsphinx(trials: &[&Trial]) -> Option<Vec<Guess>> {
    let there = Command::new("pocketsphinx_batch").stdout(Stdio::null()).stderr(Stdio::null()).status().is_ok();
    let dictionary = std::fs::read_to_string(DICTIONARY).ok().filter(|_| there)?;
    let known: HashSet<String> = dictionary.lines().filter_map(|l| Some(l.split_once(' ')?.0.to_owned())).collect();
    let folder = std::env::temp_dir().join(format!("probeside-rival-{}", std::process::id()));
    std::fs::create_dir_all(&folder).ok()?;
    let mut groups: BTreeMap<*const Grammar, Vec<usize>> = BTreeMap::new();
    trials.iter().enumerate().for_each(|(i, t)| groups.entry(Arc::as_ptr(&t.grammar)).or_default().push(i));
    let mut out: Vec<Guess> = vec![None; trials.len()];
    for members in groups.values() {
        let grammar = &trials[members[0]].grammar;
        let text = jsgf(grammar, &known, Vocabulary::english().numbers());
        std::fs::write(folder.join("step.jsgf"), text).ok()?;
        let names: Vec<String> = members.iter().map(|i| format!("u{i}")).collect();
        for (i, name) in members.iter().zip(&names) {
            write_wav(&folder.join(format!("{name}.wav")), &trials[*i].again.sound(), SAMPLE_RATE as u32).ok()?;
        }
        std::fs::write(folder.join("list"), names.join("\n") + "\n").ok()?;
        for (line, i) in run(&folder)?.lines().zip(members) {
            // WORDS (NAME SCORE). No words if no sentence of the grammar was completed.
            let (words, rest) = line.rsplit_once('(').unwrap_or((line, ""));
            let score: f64 = rest.trim_end_matches(')').rsplit(' ').next().and_then(|s| s.parse().ok()).unwrap_or(0.0);
            let sure = score / trials[*i].seconds;
            if let Verdict::Accept { heard } =
                decide(&understand(words.trim(), grammar, Vocabulary::english()), Stakes::Low)
            {
                out[*i] = Some((heard.answer, sure));
            }
        }
        names.iter().for_each(|n| drop(std::fs::remove_file(folder.join(format!("{n}.wav")))));
    }
    let _ = std::fs::remove_dir_all(&folder);
    Some(out)
}

fn run(folder: &Path) -> Option<String> {
    let at = |name: &str| -> PathBuf { folder.join(name) };
    let mut command = Command::new("pocketsphinx_batch");
    command.args(["-hmm", MODEL, "-dict", DICTIONARY, "-adcin", "yes", "-adchdr", "44", "-cepext", ".wav"]);
    command.arg("-jsgf").arg(at("step.jsgf")).arg("-ctl").arg(at("list")).arg("-cepdir").arg(folder);
    command.arg("-hyp").arg(at("hyp")).stdout(Stdio::null()).stderr(Stdio::null());
    if !command.status().ok()?.success() {
        eprintln!("pocketsphinx failed on {}", std::fs::read_to_string(at("step.jsgf")).unwrap_or_default());
        return None;
    }
    std::fs::read_to_string(at("hyp")).ok()
}

/// Prints each method's wrong branches at the share of answers that ours accepted, and the ratio with its exact 95 % interval.
pub fn print(all: &[Trial], most: usize) {
    // A fair sample: every `step`-th trial.
    let step = all.len().div_ceil(most.max(1)).max(1);
    let trials: Vec<&Trial> = all.iter().step_by(step).collect();
    let allowed = trials.iter().filter(|t| t.kind.is_allowed()).count();
    let taken = trials.iter().filter(|t| t.kind.is_allowed() && t.is_accepted()).count();
    let wrong = trials.iter().filter(|t| t.is_accepted() && !t.is_right()).count();
    println!("-- side by side, {} sounds, {allowed} of them answers", trials.len());
    println!("ours: answers accepted {}; wrong branches {}", share(taken, allowed), share(wrong, trials.len()));
    let free = trials.iter().map(|t| nearest(t.heard.free.as_deref().unwrap_or_default(), &t.grammar)).collect();
    compare("free transcript and nearest phrase", &trials, free, taken, wrong);
    match pocketsphinx(&trials) {
        Some(guesses) => compare("pocketsphinx with the phrases as its grammar", &trials, guesses, taken, wrong),
        None => println!("pocketsphinx: not on this machine (apt-get install pocketsphinx pocketsphinx-en-us)"),
    }
}

fn compare(name: &str, trials: &[&Trial], guesses: Vec<Guess>, taken: usize, ours: usize) {
    let right = |t: &Trial, a: &Answer| matches!(&t.kind, Kind::Said(said) if crate::sayings::same(said, a));
    let mut ranked: Vec<(&Trial, &Answer, f64)> =
        trials.iter().zip(&guesses).filter_map(|(t, g)| g.as_ref().map(|(a, sure)| (*t, a, *sure))).collect();
    ranked.sort_by(|a, b| b.2.total_cmp(&a.2));
    let allowed = trials.iter().filter(|t| t.kind.is_allowed()).count();
    let best = ranked.iter().filter(|(t, a, _)| right(t, a)).count();
    let (mut accepted, mut wrong) = (0, 0);
    for (t, answer, _) in ranked {
        if accepted >= taken {
            break;
        }
        accepted += usize::from(t.kind.is_allowed());
        wrong += usize::from(!right(t, answer));
    }
    let (low, high) = exact(ours, ours + wrong);
    let times = |p: f64| if p > 0.0 { format!("{:.1}", (1.0 - p) / p) } else { "any number".into() };
    println!("{name}: best guess right {}", share(best, allowed));
    println!(
        "    answers accepted {}; wrong branches {}; times ours: {} (95 %: {} to {})",
        share(accepted, allowed),
        share(wrong, trials.len()),
        times(ours as f64 / (ours + wrong).max(1) as f64),
        times(high),
        times(low)
    );
}
