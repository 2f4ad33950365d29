//! Conclusions: what is wrong, what to do, what was and was not ruled out, what to check again, and what to put back.

use super::event::SayKind;
use super::phase::{After, Phase};
use super::walker::Walker;
use crate::advice::Found;
use crate::bike::{BikeState, Change, StateNeed};
use crate::expression;
use crate::expression::Template;
use crate::procedure::{Caution, Procedure, Step};
use crate::session::Record;
use serde_json::{Value, json};
use std::sync::Arc;

/// Conclusion of a procedure that is meant to be called but was walked on its own.
pub const FINISHED: &str = "finished";

/// What a conclusion is called, and what it names.
struct Names {
    id: String,
    round: Option<String>,
    condemned: Vec<String>,
    means: Vec<String>,
}

impl Walker {
    /// Concludes. The record is written first; the conclusion is spoken once it is on disk.
    pub(super) fn conclude(&mut self, id: &str) {
        if self.asks_what_was_told() {
            return;
        }
        let world = self.world.clone();
        let procedure = self.procedure(&world);
        let Some(conclusion) = procedure.conclusion(id) else {
            return self.fault(&format!("there is no conclusion {id}"));
        };
        let scope = self.scope();
        let one = |t: &Template| {
            if self.mute { Ok(String::new()) } else { expression::render(t, &scope).map_err(|d| d.to_string()) }
        };
        // Texts that render empty are dropped.
        let all = |ts: &[Template]| {
            let mut texts = ts.iter().map(one).collect::<Result<Vec<String>, String>>()?;
            texts.retain(|text| !text.trim().is_empty());
            Ok::<_, String>(texts)
        };
        let parts = || -> Result<_, String> {
            let cautions = self.cautions_of(procedure, conclusion.cautions.iter().map(|id| id.as_str()))?;
            Ok((
                one(&conclusion.cause)?,
                one(&conclusion.remedy)?,
                all(&conclusion.rules_out)?,
                all(&conclusion.not_tested)?,
                all(&conclusion.recheck)?,
                cautions,
            ))
        };
        let (cause, remedy, rules_out, mut not_tested, recheck, cautions) = match parts() {
            Ok(parts) => parts,
            Err(why) => return self.fault(&why),
        };
        let last = self.place.at.frames.len() == 1 || conclusion.is_final;
        let condemned = expression::render_names(&conclusion.condemns, &scope).unwrap_or_default();
        let means = expression::render_names(&conclusion.means, &scope).unwrap_or_default();
        not_tested.extend(self.untested());
        let names = Names { id: id.to_owned(), round: self.round(), condemned, means };
        self.write_conclusion(names, cause, remedy, cautions, [rules_out, not_tested, recheck], last);
    }

    /// Concludes with what a walk in best order found: the cause in the fault library's words, the remedy of the procedure's conclusion.
    pub(super) fn conclude_found(&mut self, found: Found) {
        let world = self.world.clone();
        let procedure = self.procedure(&world);
        let cautions = match self.cautions_of(procedure, found.cautions.iter().map(String::as_str)) {
            Ok(cautions) => cautions,
            Err(why) => return self.fault(&why),
        };
        let not_tested = self.untested();
        self.ending.found = Some(Arc::new(found.clone()));
        let names = Names { id: found.conclusion, round: found.round, condemned: found.condemns, means: found.means };
        let lists = [Vec::new(), not_tested, found.recheck];
        self.write_conclusion(names, found.cause, found.remedy, cautions, lists, true);
    }

    /// These cautions of a procedure as they are spoken, signal word and text. A name that it does not have is left out.
    fn cautions_of<'a>(
        &self,
        procedure: &Procedure,
        ids: impl Iterator<Item = &'a str>,
    ) -> Result<Vec<String>, String> {
        let caution = |caution: &Caution| {
            let signal = self.words(&format!("signal-{}", caution.signal.name().to_lowercase()), json!({}));
            let text = self.worded(&caution.say).map_err(|d| d.to_string())?;
            Ok(self.words("caution", json!({"signal": signal, "text": text})))
        };
        ids.filter_map(|id| procedure.caution(id)).map(caution).collect()
    }

    /// Records a conclusion; it is spoken once it is on disk. `lists`: what is ruled out, what was not tested, what to check again.
    fn write_conclusion(
        &mut self,
        names: Names,
        cause: String,
        remedy: String,
        cautions: Vec<String>,
        [rules_out, not_tested, recheck]: [Vec<String>; 3],
        last: bool,
    ) {
        let Names { id, round, condemned, means } = names;
        let not_ruled_out = if last { self.not_ruled_out(&condemned, &means) } else { Vec::new() };
        let put_back = if last { self.put_back() } else { Vec::new() };
        let concludes = |text: String| (SayKind::Conclusion, text);
        let mut lines = vec![concludes(self.words("concluded-cause", json!({"cause": cause})))];
        if last {
            lines.extend(self.rests_on(&means).map(concludes));
            lines.extend(self.speaks_for_another(&means).map(concludes));
            lines.extend(cautions.into_iter().map(|caution| (SayKind::Caution, caution)));
            lines.push(concludes(self.words("concluded-remedy", json!({"remedy": remedy}))));
            let lists = [
                ("concluded-not-ruled-out", &not_ruled_out),
                ("concluded-rules-out", &rules_out),
                ("concluded-not-tested", &not_tested),
                ("concluded-recheck", &recheck),
                ("concluded-put-back", &put_back),
            ];
            for (key, items) in lists {
                if !items.is_empty() {
                    lines.push(concludes(self.words(key, json!({"items": items}))));
                }
            }
        }
        let record = Record::Concluded {
            procedure: self.frame().procedure.clone(),
            conclusion: id.clone(),
            round,
            cause,
            remedy,
            rules_out,
            not_tested,
            not_ruled_out,
            recheck,
            put_back,
            last,
        };
        self.ending.concluded_as = id;
        self.write(record, After::Concluded { lines, last });
    }

    /// Concludes a callable procedure that was walked on its own and ended without finding a cause.
    pub(super) fn finished(&mut self) {
        let world = self.world.clone();
        let procedure = self.procedure(&world);
        let title = expression::render(&procedure.title, &self.scope()).unwrap_or_default();
        let cause = self.words("finished", json!({"title": title}));
        let not_tested = self.untested();
        let put_back = self.put_back();
        let mut lines = vec![(SayKind::Conclusion, cause.clone())];
        for (key, items) in [("concluded-not-tested", &not_tested), ("concluded-put-back", &put_back)] {
            if !items.is_empty() {
                lines.push((SayKind::Conclusion, self.words(key, json!({"items": items}))));
            }
        }
        let record = Record::Concluded {
            procedure: procedure.id.clone(),
            conclusion: FINISHED.to_owned(),
            round: None,
            cause,
            remedy: String::new(),
            rules_out: Vec::new(),
            not_tested,
            not_ruled_out: Vec::new(),
            recheck: Vec::new(),
            put_back,
            last: true,
        };
        self.ending.concluded_as = FINISHED.to_owned();
        self.write(record, After::Concluded { lines, last: true });
    }

    /// Called once the conclusion is on disk: speaks it, then ends the walk or returns to the caller.
    pub(super) fn concluded(&mut self, lines: Vec<(SayKind, String)>, last: bool) {
        for (kind, line) in lines {
            self.say(line, kind);
        }
        let id = self.ending.concluded_as.clone();
        if last {
            self.phase = Phase::Closing { code: 0, why: id };
            return;
        }
        let key = self.frame().procedure.replace('-', "_");
        self.see(&key, Value::String(id));
        self.give_back("the end of a called procedure");
    }

    /// Checks that were not made, in words: those that were skipped, and those whose answer is only told.
    fn untested(&self) -> Vec<String> {
        let skipped = self.place.untested.iter().map(|(_, words)| words);
        skipped.chain(self.place.at.told.values()).cloned().collect()
    }

    /// Changes to the bike that must be undone before the user leaves it.
    pub(super) fn put_back(&self) -> Vec<String> {
        if self.mute {
            return Vec::new();
        }
        let bike = &self.world.bike;
        let mut need = StateNeed { plugged: self.bike.state.unplugged.clone(), ..Default::default() };
        need.removed = self.bike.state.fitted.keys().cloned().collect();
        need.lay_down = true;
        let mut switched = self.bike.state.clone();
        if let (Some(key), Some(off)) = (self.key_may_be_at(), bike.switch("key").and_then(|key| key.position(false))) {
            switched.switches.insert("key".to_owned(), key.clone());
            need.switches.insert("key".to_owned(), off.to_owned());
        }
        switched.engine = None;
        let changes: Vec<Change> = BikeState::changes(&switched, &need, bike);
        changes.iter().filter_map(|c| self.world.vocabulary.change_words(c, bike).ok()).collect()
    }

    /// Marks a check that was skipped earlier as made.
    pub(super) fn tested(&mut self, step: &Step) {
        let key = self.untested_key(step);
        self.place.untested.retain(|(k, _)| *k != key);
    }

    /// The key under which a skipped check is stored.
    pub(super) fn untested_key(&self, step: &Step) -> String {
        self.check_key(&step.id.value)
    }

    /// The same for a step by its id.
    pub(super) fn check_key(&self, step: &str) -> String {
        format!("{}/{}/{}", self.frame().procedure, step, self.round_id().unwrap_or_default())
    }
}
