//! Gathers a journal, perhaps a stranger's, into a review. Besides the result only one line is in memory at a time. Nothing but the journal
//! is opened. An unreadable line is reported and skipped.

use super::corrected::Corrections;
use super::sentence::{answer_name, sentence};
use super::*;
use crate::bike::Instrument;
use crate::session::chain::{self, State};
use crate::session::header_of;
use crate::session::{
    Entry, Header, Kind, Now, Passing, Record, Remark as Remarked, Repair, SessionError, SessionTime, Spoken, Storage,
    read_journal, set_ms, wall_ms,
};

/// Shortest time without entries that counts as a gap, milliseconds. Chosen, no source: longer than any step's working time.
const GAP_MS: u64 = 5 * 60_000;
/// Session time may go back by less than this between entries from two threads, milliseconds. Chosen, no source.
const NOISE_MS: u64 = 1_000;
/// Most unreadable lines that are listed one by one.
const UNREAD_LISTED: usize = 100;

/// Reads a session's journal.
///
/// Fails if there is no journal, it is too large, or its first line is not a header. [`Review::chain`] and [`Review::unread`] report every
/// later defect.
pub fn gather(storage: &mut dyn Storage) -> Result<Review, SessionError> {
    let place = storage.place();
    let bytes = read_journal(storage)?;
    let mut header = None;
    let mut work = Work {
        review: empty(),
        last: None,
        counted: false,
        unread: 0,
        instrument: None,
        corrections: Corrections::default(),
    };
    let scan = chain::scan(&bytes, |line, entry, _, _| {
        if header.is_none() && line == 1 {
            header = Some(header_of(&place, Some(&entry)));
        }
        work.take(line, &entry);
    });
    let header = header.unwrap_or_else(|| header_of(&place, None))?;
    Ok(work.finish(header, &scan))
}

struct Work {
    review: Review,
    last: Option<Now>,
    /// Session time is counted here, so only the wall clock dates an entry.
    counted: bool,
    unread: u64,
    instrument: Option<Instrument>,
    corrections: Corrections,
}

fn empty() -> Review {
    Review {
        schema: SCHEMA,
        version: SCHEMA_VERSION,
        session: Session::default(),
        chain: Chain { state: "whole", line: None, why: None, entries: 0, digest: Digest::new(0, chain::NO_LINE) },
        conclusion: None,
        conclusions: Vec::new(),
        suspects: Vec::new(),
        readings: Vec::new(),
        answers: Vec::new(),
        cautions: Vec::new(),
        untested: Vec::new(),
        no_answers: Vec::new(),
        notes: Vec::new(),
        interruptions: Vec::new(),
        gaps: Vec::new(),
        path: Vec::new(),
        events: Vec::new(),
        transcript: Vec::new(),
        clips: Vec::new(),
        unread: Vec::new(),
    }
}

fn remark(time: &str, what: String) -> Remark {
    Remark { time: time.to_owned(), step: None, round: None, what }
}

impl Work {
    fn take(&mut self, line: u64, entry: &Entry) {
        self.time(entry);
        self.review.session.finished = entry.is(Kind::End);
        let time = entry.wall.as_str();
        if entry.is(Kind::Time) {
            match entry.body_as::<SessionTime>() {
                Some(time) => self.counted = time.session_time == Passing::Counted,
                None => {
                    self.unread(time, format!("line {line}: a way for time to pass that this version does not know"))
                }
            }
        } else if entry.is(Kind::Record) {
            match entry.body_as::<Record>() {
                Some(record) => self.record(entry, record),
                None => self.unread(time, format!("line {line}: a record this version does not know")),
            }
        } else if entry.is(Kind::Said) || entry.is(Kind::Heard) {
            match entry.body_as::<Spoken>() {
                Some(Spoken { text, began_ms, ended_ms, clip, .. }) => {
                    let who = if entry.is(Kind::Said) { "program" } else { "person" };
                    self.review.transcript.push(TranscriptLine { who, began_ms, ended_ms, text, clip });
                }
                None => self.unread(time, format!("line {line}: spoken words that cannot be read")),
            }
        } else if entry.is(Kind::Clip) {
            match entry.body_as::<Clip>() {
                Some(clip) => self.review.clips.push(clip),
                None => self.unread(time, format!("line {line}: a clip that cannot be read")),
            }
        } else if entry.is(Kind::Note) {
            match entry.body_as::<Remarked>() {
                Some(note) => self.review.notes.push(remark(time, format!("{}: {}", note.by, note.text))),
                None => self.unread(time, format!("line {line}: a remark that cannot be read")),
            }
        } else if entry.is(Kind::Repaired) {
            match entry.body_as::<Repair>() {
                Some(repair) => self.review.interruptions.push(remark(time, repair.sentence())),
                None => self.unread(time, format!("line {line}: a repair that cannot be read")),
            }
        } else if Kind::named(&entry.kind).is_none() {
            self.unread(time, format!("line {line}: an entry of a kind this version does not know"));
        }
    }

    fn unread(&mut self, time: &str, what: String) {
        self.unread += 1;
        if self.unread <= UNREAD_LISTED as u64 {
            self.review.unread.push(remark(time, what));
        }
    }

    /// Finds gaps, and jumps of the wall clock relative to session time.
    fn time(&mut self, entry: &Entry) {
        let now = entry.at();
        if let Some(last) = &self.last {
            let by_wall = wall_ms(last, &now).filter(|_| self.counted);
            let passed = match by_wall {
                Some(ms) => u64::try_from(ms).unwrap_or(0),
                None => now.mono_ms.saturating_sub(last.mono_ms),
            };
            if last.mono_ms.saturating_sub(now.mono_ms) >= NOISE_MS {
                let what = format!("session time goes back by {}", span(last.mono_ms - now.mono_ms));
                self.review.gaps.push(remark(&entry.wall, what));
            } else if passed >= GAP_MS {
                self.review.gaps.push(remark(&entry.wall, format!("nothing was written for {}", span(passed))));
            }
            // Counted time says nothing about the wall clock. But no clock goes back by itself.
            let jump = match by_wall {
                Some(ms) => (ms < -i128::from(NOISE_MS)).then_some(ms),
                None => set_ms(last, &now),
            };
            if let Some(jump) = jump {
                let way = if jump < 0 { "back" } else { "forward" };
                let by = span(u64::try_from(jump.unsigned_abs()).unwrap_or(u64::MAX));
                self.review.gaps.push(remark(&entry.wall, format!("the wall clock was set {way} by {by}")));
            }
        } else {
            self.review.session.began.clone_from(&entry.wall);
        }
        self.review.session.ended.clone_from(&entry.wall);
        self.last = Some(now);
    }

    fn record(&mut self, entry: &Entry, record: Record) {
        let (event, step, round, what) = sentence(&record);
        let time = entry.wall.clone();
        let review = &mut self.review;
        self.corrections.follow(&record, &review.readings);
        let noted = |what: String| Remark { time: entry.wall.clone(), step: step.clone(), round: round.clone(), what };
        match record {
            Record::Entered { procedure, step, round, asked } => {
                review.path.push(Entered { time: time.clone(), procedure, step, round, asked });
            }
            Record::Acknowledged { step, round, caution, signal, said, .. } => {
                review.cautions.push(Caution { time: time.clone(), step, round, caution, signal, said });
            }
            Record::Answered { step, round, answer, words, echo, means, confidence, confirmed, clip, told } => {
                let (time, answer, confidence) = (time.clone(), answer_name(&answer), Some(confidence));
                review.answers.push(Answer {
                    time,
                    step,
                    round,
                    answer,
                    words,
                    echo,
                    means,
                    confidence,
                    confirmed,
                    clip,
                    told,
                });
            }
            Record::Escaped { step, round, escape, clip } => {
                let answer = escape.name().to_owned();
                let plain = Answer {
                    time: time.clone(),
                    step,
                    round,
                    answer,
                    means: "neither".to_owned(),
                    clip,
                    ..Answer::default()
                };
                review.answers.push(plain);
            }
            read @ Record::Read { .. } => {
                if let Some(reading) = reading(entry, read, &self.instrument) {
                    self.corrections.add(reading, &mut review.readings);
                }
            }
            Record::Untested { why, .. } => review.untested.push(noted(why)),
            Record::Noted { text, .. } => review.notes.push(noted(text)),
            Record::Reckoned { .. } => {}
            Record::NoAnswer { .. } => review.no_answers.push(noted(what.clone())),
            Record::Interrupted { .. } | Record::PowerOff { .. } => review.interruptions.push(noted(what.clone())),
            Record::Concluded {
                procedure,
                conclusion: id,
                round,
                cause,
                remedy,
                rules_out,
                not_tested,
                not_ruled_out,
                recheck,
                put_back,
                last,
            } => {
                let time = time.clone();
                let concluded = Conclusion {
                    time,
                    procedure,
                    id,
                    round,
                    cause,
                    remedy,
                    rules_out,
                    not_tested,
                    not_ruled_out,
                    recheck,
                    put_back,
                };
                if last {
                    review.conclusion = Some(concluded.clone());
                }
                review.conclusions.push(concluded);
            }
            Record::Weighed { step, round, weighed } => {
                review.suspects.push(Suspects { time: time.clone(), step, round, weighed });
            }
            Record::State { state, .. } => self.instrument = state.instrument,
            Record::Chosen { .. } | Record::Controlled { .. } => {}
        }
        review.events.push(Event { seq: entry.seq, time, mono_ms: entry.mono_ms, event, step, round, what });
    }

    fn finish(self, header: Header, scan: &chain::Scan) -> Review {
        let mut review = self.review;
        let Header { program, session, job, files, .. } = header;
        review.session = Session { id: session, program, job, files, ..review.session };
        let (state, line, why) = match &scan.state {
            State::Whole => ("whole", None, None),
            State::Torn { line, why } => ("torn", Some(*line), Some(why.clone())),
            State::Broken { line, why } => ("broken", Some(*line), Some(why.clone())),
        };
        let digest = Digest::new(scan.lines.saturating_sub(1), &scan.digest);
        review.chain = Chain { state, line, why, entries: scan.lines, digest };
        if self.unread > UNREAD_LISTED as u64 {
            review.unread.push(remark("", format!("and {} more lines", self.unread - UNREAD_LISTED as u64)));
        }
        review.transcript.sort_by_key(|line| line.began_ms);
        review
    }
}

fn reading(entry: &Entry, record: Record, instrument: &Option<Instrument>) -> Option<Reading> {
    let Record::Read {
        step,
        round,
        number,
        name,
        quantity,
        reading,
        unit: asked,
        band,
        verdict,
        low,
        high,
        source,
        words,
        confidence,
        confirmed,
        amends,
        clip,
        told,
    } = record
    else {
        return None;
    };
    let shows = matches!(reading.kind, ReadingKind::Plain | ReadingKind::About);
    Some(Reading {
        number,
        time: entry.wall.clone(),
        mono_ms: entry.mono_ms,
        step,
        round,
        name,
        quantity,
        kind: reading.kind,
        value: shows.then_some(reading.value),
        unit: if shows { reading.unit } else { asked },
        verdict,
        band,
        low,
        high,
        source,
        words,
        confidence,
        confirmed,
        amends,
        amended_by: None,
        effective: true,
        // Nobody has said what it was measured with.
        instrument: instrument.clone().filter(|_| !told),
        clip,
        told,
    })
}

/// A duration in words: `3 h 20 min`, `7 min`, `40 s`.
fn span(ms: u64) -> String {
    let seconds = ms / 1000;
    match seconds {
        0..60 => format!("{seconds} s"),
        60..3600 => format!("{} min", seconds / 60),
        _ => format!("{} h {} min", seconds / 3600, seconds % 3600 / 60),
    }
}
