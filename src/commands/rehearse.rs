//! `probeside rehearse`: can the recogniser tell a procedure's answers apart? `--json` prints a [`rehearse::Report`].

use super::engine::EngineArgs;
use crate::rehearse::{Cast, Counts, Head, Pair, Rehearsal, RehearseError, Report, stages, usual_cast};
use crate::run::unheard;
use crate::run::{Failure, Outcome, load};
use crate::speak::{Espeak, SpeakError};
use crate::terminal::{progress, progress_ends, say, say_json};
use std::fmt::Write;
use std::path::PathBuf;
use std::time::Instant;

/// Number of voices by default and with `--quick`.
const VOICES: usize = 4;
const QUICK_VOICES: usize = 2;
/// Levels in decibels by default and with `--quick`.
const LEVELS: &str = "20,10";
const QUICK_LEVELS: &str = "15";
/// Limits of a level, in decibels.
const LEVEL_BOUNDS: (f32, f32) = (-20.0, 80.0);
/// Most phrases listed as badly heard, and most harmless pairs listed.
const MOST_NAMED: usize = 12;
/// Number of lines between two progress reports.
const SHOWN_EVERY: usize = 8;

/// Arguments of `rehearse`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Name the procedure: a file, or a shipped one such as no-spark
    procedure: PathBuf,
    /// Name the bike: a file, or a shipped one [default: the first in bikes/ that fits]
    #[arg(long, value_name = "FILE")]
    bike: Option<PathBuf>,
    /// Set how far voices stand above the noise, in decibels: 20,10,clean [default: 20,10; with --quick 15]
    #[arg(long, value_name = "LIST", allow_hyphen_values = true)]
    snr: Option<String>,
    /// Rehearse only this step; repeat for more
    #[arg(long = "step", value_name = "STEP")]
    steps: Vec<String>,
    /// Use two voices and one level: about a second for every phrase
    #[arg(long)]
    quick: bool,
    /// Say every spoken control at every step: hours for a long procedure
    #[arg(long, conflicts_with = "quick")]
    all: bool,
    #[command(flatten)]
    engine: EngineArgs,
    /// Use this vocabulary: a file, or a shipped one
    #[arg(long, default_value = "en", value_name = "FILE")]
    words: PathBuf,
    /// Print JSON instead of text
    #[arg(long)]
    json: bool,
}

/// Runs the command.
pub fn run(args: &Args) -> Outcome {
    let levels = levels(args.snr.as_deref().unwrap_or(if args.quick { QUICK_LEVELS } else { LEVELS }))?;
    let shipped = load::shipped();
    let procedure = load::find(&args.procedure, &shipped);
    let words = load::find(&args.words, &shipped.join("vocabulary"));
    let world = match &args.bike {
        Some(bike) => load::world(&procedure, &load::find(bike, &shipped.join("bikes")), &words)?,
        None => load::first_that_applies(&procedure, &words)?,
    }
    .world;
    let stages = stages(&world, &args.steps, args.all).map_err(Failure::Input)?;
    let casts = present(usual_cast(if args.quick { QUICK_VOICES } else { VOICES }))?;
    let name = args.engine.open(world.vocabulary.language())?.name().to_owned();
    let rehearsal = Rehearsal {
        stages: &stages,
        casts: &casts,
        levels: &levels,
        engine: &|| {
            let mut engine = args.engine.ready(world.vocabulary.language())?;
            engine.use_words(&world.vocabulary, &world.phrases());
            Ok(engine)
        },
        progress: &|_| {},
    };
    let (size, began) = (rehearsal.size(), Instant::now());
    let show = |done: usize| {
        if done.is_multiple_of(SHOWN_EVERY) || done == size {
            let left = began.elapsed().as_secs_f64() / done as f64 * (size - done) as f64;
            progress(&format!("{done} of {size} lines heard, about {left:.0} s to go"));
        }
    };
    let rehearsal = Rehearsal { progress: &show, ..rehearsal };
    let trials = rehearsal.run();
    progress_ends();
    let trials = trials.map_err(|e| match e {
        RehearseError::Hear(e) => unheard(e),
        RehearseError::Speak(e) => unspoken(&e),
    })?;
    let head = Head {
        procedure: &world.main,
        bike: &world.bike.name,
        engine: &name,
        language: world.vocabulary.language(),
        seconds: began.elapsed().as_secs_f64(),
    };
    let ipa = Espeak::new(world.vocabulary.language());
    let report = Report::new(&head, &rehearsal, &trials, &|phrase| ipa.phonemes(phrase).ok());
    if args.json {
        say_json(&format!("{}\n", serde_json::to_string_pretty(&report).unwrap_or_default()));
    } else {
        say(&printed(&report));
    }
    Ok(u8::from(!report.sound))
}

fn unspoken(why: &SpeakError) -> Failure {
    if why.machine_lacks() { Failure::Lacks(why.to_string()) } else { Failure::Input(why.to_string()) }
}

/// The voices installed on this machine. Without espeak-ng no rehearsal is possible; without flite it is smaller.
fn present(casts: Vec<Cast>) -> Result<Vec<Cast>, Failure> {
    let mut there = Vec::new();
    for cast in casts {
        match cast.say("ready") {
            Ok(_) => there.push(cast),
            Err(why) if cast.program == "espeak-ng" => return Err(unspoken(&why)),
            Err(_) => crate::terminal::errln!("The voice {} is left out: it is not on this machine.", cast.name()),
        }
    }
    Ok(there)
}

/// Parses "20,10,clean".
fn levels(text: &str) -> Result<Vec<Option<f32>>, Failure> {
    let mut found = Vec::new();
    for part in text.split(',').map(str::trim) {
        let level = if part == "clean" {
            None
        } else {
            let number = part.parse::<f32>().ok().filter(|n| (LEVEL_BOUNDS.0..=LEVEL_BOUNDS.1).contains(n));
            Some(number.ok_or_else(|| {
                Failure::Usage(format!(
                    "--snr: \"{part}\" is no level; write decibels from {} to {} or clean, parted by commas: --snr 20,10,clean",
                    LEVEL_BOUNDS.0, LEVEL_BOUNDS.1
                ))
            })?)
        };
        if !found.contains(&level) {
            found.push(level);
        }
    }
    Ok(found)
}

fn percent(part: usize, of: usize) -> String {
    format!("{:5.1} %", 100.0 * part as f64 / of.max(1) as f64)
}

fn counted(count: usize, one: &str) -> String {
    format!("{count} {one}{}", if count == 1 { "" } else { "s" })
}

/// The report as text.
fn printed(report: &Report) -> String {
    let mut out = String::new();
    let _ = writeln!(
        out,
        "{} on {}, heard by {}: {} said {} times in {:.0} s by {} ({}), in {} noise.\n",
        report.procedure,
        report.bike,
        report.engine,
        counted(report.stages.iter().map(|s| s.phrases.len()).sum(), "phrase"),
        report.trials,
        report.seconds,
        counted(report.voices.len(), "voice"),
        report.voices.join(", "),
        report.noises.join(", "),
    );
    let _ = writeln!(out, "noise      right at once  asked    not understood  taken wrongly");
    for level in &report.levels {
        let Counts { trials, right, asked, asked_wrong, refused, wrong } = level.counts;
        let _ = writeln!(
            out,
            "{:<10} {}        {}  {}         {} ({wrong} of {trials})",
            level.snr_db.map_or("clean".to_owned(), |snr| format!("{snr} dB")),
            percent(right, trials),
            percent(asked, trials),
            percent(asked_wrong + refused, trials),
            percent(wrong, trials),
        );
    }
    let (ambiguous, near): (Vec<&Pair>, Vec<&Pair>) = report.pairs.iter().partition(|p| p.ambiguous);
    let _ = writeln!(out, "\n{} too close:", counted(ambiguous.len(), "pair"));
    ambiguous.iter().for_each(|pair| describe(pair, &mut out));
    if !near.is_empty() {
        let _ = writeln!(out, "\nTaken for each other now and then, never without a question:");
        for pair in near.iter().take(MOST_NAMED) {
            let _ = writeln!(out, "  \"{}\" as \"{}\", {} of {}", pair.said, pair.heard, pair.likelier, pair.trials);
        }
        if near.len() > MOST_NAMED {
            let _ = writeln!(out, "  and {} more (--json has them all)", near.len() - MOST_NAMED);
        }
    }
    weak(report, &mut out);
    out
}

fn describe(pair: &Pair, out: &mut String) {
    let sounds = |ipa: &Option<String>| ipa.as_ref().map(|s| format!(" /{s}/")).unwrap_or_default();
    let steps = match &pair.steps[..] {
        [first, second, third, rest @ ..] if !rest.is_empty() => {
            format!("{first}, {second}, {third} and {} more", rest.len())
        }
        few => few.join(", "),
    };
    let _ = writeln!(
        out,
        "  \"{}\"{} ({}) was heard as \"{}\"{} ({}), {} of {} times, {} without a question, at {steps}",
        pair.said,
        sounds(&pair.said_sounds),
        pair.answer,
        pair.heard,
        sounds(&pair.heard_sounds),
        pair.heard_answer,
        pair.likelier,
        pair.trials,
        pair.taken,
    );
    let _ = writeln!(out, "      why: {}", pair.why);
    if pair.suggestions.is_empty() {
        let _ = writeln!(
            out,
            "      instead: no other phrase of this answer did better; word it longer, with other stressed vowels"
        );
    }
    for other in &pair.suggestions {
        let _ = writeln!(out, "      instead: \"{}\", right at once {} of {}", other.say, other.right, other.trials);
    }
}

/// Phrases that were accepted correctly at once in less than half of their trials.
fn weak(report: &Report, out: &mut String) {
    let all = report.stages.iter().flat_map(|s| s.phrases.iter().map(move |p| (s, p)));
    let mut weak: Vec<_> = all.filter(|(_, p)| p.counts.right * 2 < p.counts.trials).collect();
    weak.sort_by_key(|(_, p)| p.counts.right);
    if weak.is_empty() {
        return;
    }
    let _ = writeln!(out, "\nRight at once less than every second time:");
    for (stage, phrase) in weak.iter().take(MOST_NAMED) {
        let as_other = phrase.heard_as.first().map(|h| format!(", likeliest otherwise \"{}\"", h.words));
        let _ = writeln!(
            out,
            "  \"{}\" ({}) at {}: {} of {}{}",
            phrase.words,
            phrase.answer,
            stage.name,
            phrase.counts.right,
            phrase.counts.trials,
            as_other.unwrap_or_default(),
        );
    }
    if weak.len() > MOST_NAMED {
        let _ = writeln!(out, "  and {} more (--json has them all)", weak.len() - MOST_NAMED);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn levels_are_numbers_or_clean_once_each() {
        assert_eq!(levels("20, clean,10,20").unwrap(), [Some(20.0), None, Some(10.0)]);
        for bad in ["", "loud", "20,,10", "nan", "inf", "1e9"] {
            let Err(Failure::Usage(why)) = levels(bad) else { panic!("{bad} was taken") };
            assert!(why.contains("--snr 20,10,clean"), "{why}");
        }
    }
}
