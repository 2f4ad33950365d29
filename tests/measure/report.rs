//! Tables of trials, with exact 95 % confidence limits.

use crate::bounds::share;
use crate::trials::{Kind, Trial};
use probeside::phrase::Verdict;
use std::collections::BTreeMap;

#[derive(Default)]
struct Tally {
    allowed: usize,
    best: usize,
    once: usize,
    asked: usize,
    wrong: usize,
    strangers: usize,
    taken: usize,
    bothered: usize,
}

impl Tally {
    fn count(&mut self, t: &Trial) {
        let verdict = t.verdict();
        if t.kind.is_allowed() {
            self.allowed += 1;
            self.best += usize::from(t.is_right());
            match verdict {
                Verdict::Accept { .. } if t.is_right() => self.once += 1,
                Verdict::Accept { .. } => self.wrong += 1,
                Verdict::Confirm { .. } => self.asked += 1,
                Verdict::Reject { .. } => {}
            }
        } else {
            self.strangers += 1;
            self.taken += usize::from(matches!(verdict, Verdict::Accept { .. }));
            self.bothered += usize::from(matches!(verdict, Verdict::Confirm { .. }));
        }
    }
    fn print(&self, name: &str) {
        println!("{name}");
        if self.allowed > 0 {
            println!("    best guess right   {}", share(self.best, self.allowed));
            println!("    right at once      {}", share(self.once, self.allowed));
            println!("    asked              {}", share(self.asked, self.allowed));
            println!("    wrong accepted     {}", share(self.wrong, self.allowed));
        }
        if self.strangers > 0 {
            println!("    strangers accepted {}", share(self.taken, self.strangers));
            println!("    strangers asked    {}", share(self.bothered, self.strangers));
        }
    }
}

fn ratio(t: &Trial) -> String {
    t.snr.map_or("clean".into(), |s| format!("{s:02} dB"))
}

/// Prints the tables.
pub fn print(trials: &[Trial]) {
    type Key = fn(&Trial) -> String;
    let groups: [(&str, Key); 8] = [
        ("all", |_| "all".into()),
        ("phrases and numbers, by signal to noise", |t| {
            let what = match t.kind {
                Kind::Said(probeside::phrase::Answer::Reading(_)) => "number",
                Kind::Said(_) => "phrase",
                _ => "stranger",
            };
            format!("{what}, {}", ratio(t))
        }),
        ("kind", |t| t.kind.label().into()),
        ("stakes of the best guess", |t| format!("{:?}", t.stakes)),
        ("voice", |t| t.voice.clone()),
        ("noise", |t| t.noise.clone()),
        ("signal to noise", ratio),
        ("active speech level", |t| t.level.map_or("as recorded".into(), |l| format!("{l} dB of full scale"))),
    ];
    for (title, key) in groups {
        let mut tallies: BTreeMap<String, Tally> = BTreeMap::new();
        trials.iter().for_each(|t| tallies.entry(key(t)).or_default().count(t));
        println!("-- by {title}");
        tallies.iter().for_each(|(name, tally)| tally.print(name));
    }
    for t in trials.iter().filter(|t| t.is_accepted() && !t.is_right()) {
        let best = &t.heard.best[0];
        println!(
            "wrong: {} \"{}\" taken for \"{}\" {:.4} ({}, {}, {:?}; free {:?})",
            t.kind.label(),
            t.words,
            best.words,
            best.probability,
            t.voice,
            ratio(t),
            t.stakes,
            t.heard.free.as_deref().unwrap_or("")
        );
    }
    let at = |mut all: Vec<f64>, share: f64| {
        all.sort_by(f64::total_cmp);
        all.get(((all.len().max(1) - 1) as f64 * share) as usize).copied().unwrap_or(0.0)
    };
    let times: Vec<f64> = trials.iter().map(|t| t.milliseconds).collect();
    let factors = trials.iter().map(|t| t.milliseconds / 1e3 / t.seconds.max(0.1)).collect();
    println!(
        "computing of one utterance: median {:.0} ms, 95th percentile {:.0} ms, real-time factor {:.3} (median)",
        at(times.clone(), 0.5),
        at(times, 0.95),
        at(factors, 0.5)
    );
}
