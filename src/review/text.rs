//! A review for a terminal: 80 columns, the conclusion first, and no control characters.

use super::sentence::{limits, percent, shown};
use super::whole::pieces_in_words;
use super::*;
use crate::phrase::Reading as Said;
use crate::source::is_hidden;

/// Columns in a line.
const COLUMNS: usize = 80;

/// Text without control characters and marks that change the writing direction, so that a stranger's journal can be shown.
pub fn plain(text: &str) -> String {
    text.chars().map(|c| if is_hidden(c) { ' ' } else { c }).collect()
}

struct Page(String);

impl Page {
    fn heading(&mut self, text: &str) {
        self.0 += &format!("\n{text}\n");
    }

    /// Writes `first` and then `text`, wrapped. Continuation lines are indented by the width of `first`.
    fn item(&mut self, first: &str, text: &str) {
        let first = plain(first);
        let indent = first.chars().count().min(COLUMNS / 3);
        let room = COLUMNS - indent;
        let mut line = String::new();
        let mut lead = first;
        let text = plain(text);
        let words = text.split_whitespace().flat_map(|word| {
            let chars: Vec<char> = word.chars().collect();
            chars.chunks(room).map(|part| part.iter().collect::<String>()).collect::<Vec<_>>()
        });
        for word in words {
            let wide = line.chars().count();
            if wide > 0 && wide + 1 + word.chars().count() > room {
                self.line(&lead, &line);
                (lead, line) = (" ".repeat(indent), String::new());
            }
            if !line.is_empty() {
                line.push(' ');
            }
            line += &word;
        }
        if !line.is_empty() || !lead.trim().is_empty() {
            self.line(&lead, &line);
        }
    }

    fn line(&mut self, lead: &str, text: &str) {
        self.0 += format!("{lead}{text}").trim_end();
        self.0.push('\n');
    }

    fn list(&mut self, first: &str, items: &[String]) {
        for item in items {
            self.item(first, item);
        }
    }

    fn remarks(&mut self, heading: &str, remarks: &[Remark]) {
        if !remarks.is_empty() {
            self.heading(heading);
        }
        for remark in remarks {
            let step = remark.step.as_ref().map_or(String::new(), |step| format!("{}: ", place(step, &remark.round)));
            self.item(&lead(&remark.time), &format!("{step}{}", remark.what));
        }
    }
}

fn lead(time: &str) -> String {
    format!("  {:8}  ", clock(time))
}

/// The complete review as text.
pub fn text(review: &Review) -> String {
    let mut page = Page(String::new());
    let Session { id, program, began, ended, finished, job, .. } = &review.session;
    page.item("Session   ", &format!("{id}, written by {program}"));
    page.item("From      ", &format!("{began} to {ended}{}", if *finished { "" } else { ", not ended" }));
    if !job.number.is_empty() {
        page.item("Job       ", &job.number);
    }
    page.item("Bike      ", &format!("{} {}", job.bike, job.mileage));
    page.item("Complaint ", &job.complaint);
    if !job.instruments.is_empty() {
        page.item("Used      ", &job.instruments.join(", "));
    }
    if let Some(air) = job.temperature_c {
        page.item("Air       ", &format!("{air} degC"));
    }
    page.item("Person    ", &job.person);
    trust(&mut page, &review.chain);
    if let Some(whole) = pieces_in_words(review) {
        page.item("Sound     ", &whole);
    }
    match &review.conclusion {
        Some(conclusion) => conclusion_text(&mut page, conclusion),
        None => {
            page.heading("CONCLUSION");
            page.item("  ", "The walk did not come to one.");
        }
    }
    let earlier = review.conclusions.iter().filter(|c| review.conclusion.as_ref() != Some(*c));
    for (number, conclusion) in earlier.enumerate() {
        if number == 0 {
            page.heading("FOUND ON THE WAY");
        }
        page.item("  Procedure    ", &conclusion.procedure);
        conclusion_items(&mut page, conclusion);
    }
    suspects_text(&mut page, &review.suspects);
    if !review.readings.is_empty() {
        page.heading("READINGS");
    }
    for reading in &review.readings {
        reading_text(&mut page, reading);
    }
    if !review.answers.is_empty() {
        page.heading("ANSWERS");
    }
    for answer in &review.answers {
        let step = place(&answer.step, &answer.round);
        page.item(
            &lead(&answer.time),
            &format!("{step}: {} [{}{}] {}", answer.answer, answer.means, as_told(answer.told), answer.echo),
        );
    }
    page.remarks("LEFT OUT", &review.untested);
    if !review.cautions.is_empty() {
        page.heading("CAUTIONS ACKNOWLEDGED");
    }
    for caution in &review.cautions {
        page.item(&lead(&caution.time), &format!("{}: {}", caution.signal, caution.said));
    }
    page.remarks("NOTES", &review.notes);
    page.remarks("NOT TAKEN", &review.no_answers);
    page.remarks("INTERRUPTIONS", &review.interruptions);
    page.remarks("GAPS IN TIME", &review.gaps);
    page.remarks("LINES THAT COULD NOT BE READ", &review.unread);
    if !review.path.is_empty() {
        page.heading("THE WAY TAKEN");
    }
    for entered in &review.path {
        page.item(&lead(&entered.time), &format!("{}: {}", place(&entered.step, &entered.round), entered.asked));
    }
    page.0
}

fn trust(page: &mut Page, chain: &Chain) {
    let why = chain.why.as_deref().unwrap_or_default();
    let line = chain.line.unwrap_or_default();
    match chain.state {
        "whole" => page.item("Journal   ", &format!("{} entries, digest {}", chain.entries, chain.digest.short)),
        "torn" => page.item("Journal   ", &format!("the last write was cut short (line {line}: {why})")),
        _ => page.item(
            "Journal   ",
            &format!("ALTERED OR DAMAGED at line {line}: {why}. What comes after it is shown, but not vouched for."),
        ),
    }
}

fn conclusion_text(page: &mut Page, conclusion: &Conclusion) {
    page.heading("CONCLUSION");
    conclusion_items(page, conclusion);
}

fn conclusion_items(page: &mut Page, conclusion: &Conclusion) {
    page.item("  Cause        ", &conclusion.cause);
    page.item("  Remedy       ", &conclusion.remedy);
    page.list("  Not ruled out  ", &conclusion.not_ruled_out);
    page.list("  Ruled out    ", &conclusion.rules_out);
    page.list("  Not tested   ", &conclusion.not_tested);
    page.list("  Check again  ", &conclusion.recheck);
    page.list("  Put back     ", &conclusion.put_back);
}

/// One line whenever the leading suspect changes or fewer remain, then the doubts.
fn suspects_text(page: &mut Page, all: &[Suspects]) {
    if !all.is_empty() {
        page.heading("SUSPECTS LEFT");
    }
    let mut before = None;
    for one in all {
        let first = one.weighed.suspects.first();
        let now = (one.weighed.left, first.map(|s| s.fault.as_str()));
        if before.replace(now) != Some(now) || one.weighed.doubtful.is_some() {
            let first = first.map_or(String::new(), |s| format!(", first {} ({})", s.words, percent(s.weight)));
            let doubt = one.weighed.doubtful.as_ref().map_or(String::new(), |d| {
                format!("; does not fit together, most doubtful {}: {}", place(&d.step, &d.round), d.answer)
            });
            page.item(
                &lead(&one.time),
                &format!("{}: {} left{first}{doubt}", place(&one.step, &one.round), one.weighed.left),
            );
        }
    }
}

fn reading_text(page: &mut Page, r: &Reading) {
    let said = Said { kind: r.kind, value: r.value.unwrap_or(0.0), unit: r.unit, said_unit: None };
    let limits = limits(r.low, r.high, r.unit.name()).map_or_else(String::new, |words| format!(", {words}"));
    let correction = r.correction();
    let amended = if correction.is_empty() { correction } else { format!("; {correction}") };
    let verdict = &r.verdict;
    let step = place(&r.step, &r.round);
    page.item(
        &lead(&r.time),
        &format!(
            "{}. {} at {step}: {} [{verdict}{limits}{}]{amended}",
            r.number,
            r.name,
            shown(&said, r.unit),
            as_told(r.told)
        ),
    );
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_wrapped_and_terminals_not_commanded() {
        let mut page = Page(String::new());
        page.item("  Cause  ", &"word ".repeat(60));
        page.item("  Long  ", &"x".repeat(300));
        page.item("  Evil  ", "\u{1b}[2J\u{1b}]0;title\u{7} \u{202e}abc");
        assert!(page.0.lines().all(|line| line.chars().count() <= COLUMNS), "{}", page.0);
        assert!(!page.0.contains(['\u{1b}', '\u{7}', '\u{202e}']));
        assert_eq!(page.0.matches('x').count(), 300);
    }
}
