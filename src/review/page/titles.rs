//! Titles of pages and of steps on them. A step's title is its question, shortened. Ids stay in the page for machines, as `data-step`.

use crate::review::Review;
use serde_json::Value;
use std::collections::BTreeMap;

/// Longest title, characters.
const LONGEST: usize = 60;

/// The title of a page about one session: the bike, the day and the kind of page.
pub(super) fn page_title(review: &Review, what: &str) -> String {
    let day: String = review.session.began.chars().take("2026-11-25".len()).collect();
    format!("{}, {day}: {what}", review.session.job.bike)
}

/// Titles of steps, by step and round.
pub(super) struct Titles<'a>(BTreeMap<(&'a str, Option<&'a str>), &'a str>);

impl<'a> Titles<'a> {
    /// The titles of a walk, each from the latest time the step was entered.
    pub fn of(review: &'a Review) -> Self {
        let asked = |e: &'a crate::review::Entered| ((e.step.as_str(), e.round.as_deref()), e.asked.as_str());
        Titles(review.path.iter().map(asked).collect())
    }

    /// The title of a step. A step that was never entered gets its id as words.
    pub fn title(&self, step: &str, round: Option<&str>) -> String {
        titled(self.0.get(&(step, round)).copied().unwrap_or_default(), step, round)
    }

    /// Adds a `title` to every object that names a step, at any depth.
    pub(super) fn put_into(&self, value: &mut Value) {
        match value {
            Value::Array(items) => items.iter_mut().for_each(|item| self.put_into(item)),
            Value::Object(fields) => {
                fields.values_mut().for_each(|field| self.put_into(field));
                if let Some(step) = fields.get("step").and_then(Value::as_str)
                    && !fields.contains_key("title")
                {
                    let title = self.title(step, fields.get("round").and_then(Value::as_str));
                    fields.insert("title".to_owned(), Value::String(title));
                }
            }
            _ => {}
        }
    }
}

/// The title of a step with this prompt. The side is added if the question does not name it.
pub fn titled(asked: &str, step: &str, round: Option<&str>) -> String {
    let title = if asked.trim().is_empty() { step.replace('-', " ") } else { cut(asked, LONGEST) };
    match round {
        Some(round) if !title.to_lowercase().contains(&round.to_lowercase()) => format!("{title} ({round})"),
        _ => title,
    }
}

/// The last sentences of a prompt that fit into `most` characters. The question comes last, after the preparation of the bike.
pub fn cut(text: &str, most: usize) -> String {
    let text = text.trim();
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let mut from = text.len();
    for (at, _) in text.rmatch_indices(". ") {
        if text[at + 2..].chars().count() > most {
            break;
        }
        from = at + 2;
    }
    match &text[from..] {
        "" => {
            let last = text.rfind(". ").map_or(text, |at| &text[at + 2..]);
            last.chars().take(most).chain(['…']).collect()
        }
        tail => tail.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_title_is_the_question_with_its_side() {
        assert_eq!(titled("Key off. Is it lit or dark?", "touch", None), "Key off. Is it lit or dark?");
        let long = "Voltmeter: red lead on the live battery terminal, black lead on the supply side. What does the left side read?";
        assert_eq!(titled(long, "drop", Some("left")), "What does the left side read?");
        assert_eq!(titled(long, "drop", Some("key")), "What does the left side read? (key)");
        assert_eq!(titled("", "points-gap", Some("left")), "points gap (left)");
        let endless = format!("Look. {}", "word ".repeat(40));
        assert_eq!(titled(&endless, "x", None).chars().count(), LONGEST + 1);
        assert!(titled(&endless, "x", None).starts_with("word"));
    }
}
