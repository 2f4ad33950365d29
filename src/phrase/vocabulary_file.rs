//! Decodes a vocabulary file. Unknown keys are errors. An incomplete file is rejected, and every missing key is named.

use super::answer::{Command, Escape};
use super::number::{NumberWords, RawNumbers};
use super::sentence::{SENTENCES, Templates, sample};
use super::vocabulary::{Names, Phrases, Vocabulary};
use super::words::normalise;
use super::writing::{RawWriting, Writing};
use crate::bike::{InstrumentKind, PointsAt};
use crate::source::{Diagnostic, Place, Written};
use crate::units::{Quantity, Unit};
use serde::Deserialize;
use serde_yaml::Spanned;
use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

/// Letter codes of IEC 60757:2021, table 1, except GNYE, which is two codes (from memory).
pub(super) const COLOUR_CODES: &[&str] =
    &["BK", "BN", "RD", "OG", "YE", "GN", "BU", "VT", "GY", "WH", "PK", "GD", "TQ", "SR"];
const SWITCHES: &[&str] = &["key", "kill", "fuel"];
type Section<T> = Option<Spanned<BTreeMap<String, T>>>;
type Texts = Section<Spanned<String>>;
type Lists = Section<Vec<Spanned<String>>>;

#[derive(Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
struct File {
    vocabulary: String,
    #[serde(default)]
    commands: Lists,
    #[serde(default)]
    escapes: Lists,
    #[serde(default)]
    agree: Vec<Spanned<String>>,
    #[serde(default)]
    disagree: Vec<Spanned<String>>,
    #[serde(default)]
    done: Vec<Spanned<String>>,
    #[serde(default)]
    power_off: Vec<Spanned<String>>,
    #[serde(default)]
    numbers: RawNumbers,
    #[serde(default)]
    units: Lists,
    #[serde(default)]
    quantities: Texts,
    #[serde(default)]
    colours: Texts,
    #[serde(default)]
    sides: Texts,
    #[serde(default)]
    switches: Texts,
    #[serde(default)]
    instruments: Texts,
    #[serde(default)]
    points_at: Texts,
    #[serde(default)]
    halves: Texts,
    #[serde(default)]
    parts: Texts,
    #[serde(default)]
    terminals: Texts,
    #[serde(default)]
    sentences: Texts,
    #[serde(default)]
    writing: RawWriting,
    #[serde(default)]
    sums: Lists,
}

struct Reader {
    whole: Place,
    found: Vec<Diagnostic>,
    /// The `taught` field of templates.
    taught: serde_json::Value,
}

impl Reader {
    fn place<T>(&self, spanned: &Spanned<T>) -> Place {
        let at = spanned.referenced;
        Place { file: self.whole.file.clone(), line: narrow(at.line()), column: narrow(at.column()) }
    }

    fn missing(&mut self, place: &Place, key: &str) {
        let message = format!("The vocabulary has no `{key}`.");
        self.found.push(Diagnostic::error(place, "missing-key", message).help(format!("Add `{key}` with its words.")));
    }

    fn phrases(&mut self, said: Vec<Spanned<String>>) -> Phrases {
        said.into_iter()
            .filter_map(|s| {
                let place = self.place(&s);
                if normalise(&s.value).is_empty() {
                    let say = "This phrase has no words in it.";
                    self.found
                        .push(Diagnostic::error(&place, "empty-phrase", say).help("Write the words, or leave it out."));
                    return None;
                }
                Some(Written { value: s.value, place })
            })
            .collect()
    }

    fn list(&mut self, key: &str, said: Vec<Spanned<String>>) -> Phrases {
        if said.is_empty() {
            let whole = self.whole.clone();
            self.missing(&whole, key);
        }
        self.phrases(said)
    }

    /// A section with fixed keys. Reports every missing and every unknown key.
    fn section<T>(&mut self, name: &str, wanted: &[&str], section: Section<T>) -> Vec<(String, T)> {
        let Some(section) = section else {
            let whole = self.whole.clone();
            self.missing(&whole, name);
            return Vec::new();
        };
        let place = self.place(&section);
        for key in wanted.iter().filter(|k| !section.value.contains_key(**k)) {
            self.missing(&place, &format!("{name}: {key}"));
        }
        for key in section.value.keys().filter(|k| !wanted.contains(&k.as_str())) {
            let near = wanted.iter().min_by_key(|w| strsim::osa_distance(w, key)).unwrap_or(&"");
            let message = format!("`{name}` has no key `{key}`.");
            self.found.push(Diagnostic::error(&place, "unknown-key", message).help(format!("Did you mean `{near}`?")));
        }
        section.value.into_iter().filter(|(k, _)| wanted.contains(&k.as_str())).collect()
    }

    /// The sums that the user can ask for. A language may leave some out.
    fn sums(&mut self, section: Lists) -> BTreeMap<String, Phrases> {
        let mut sums = BTreeMap::new();
        let Some(section) = section else {
            let whole = self.whole.clone();
            self.missing(&whole, "sums");
            return sums;
        };
        let place = self.place(&section);
        for (name, said) in section.value {
            match crate::sums::sum(&name) {
                Ok(sum) => {
                    sums.insert(sum.name.to_owned(), self.list(&format!("sums: {name}"), said));
                }
                Err(why) => self.found.push(Diagnostic::error(&place, "unknown-key", upper(&format!("{why}.")))),
            }
        }
        sums
    }

    fn texts(&mut self, name: &str, wanted: &[&str], section: Texts) -> Names {
        self.section(name, wanted, section).into_iter().map(|(k, v)| (k, v.value)).collect()
    }

    /// Tries the templates with made-up data, so that a faulty one is found here and not in the middle of a walk.
    fn templates(
        &mut self,
        name: &str,
        wanted: &[&str],
        section: Texts,
        given: impl Fn(&str) -> serde_json::Value,
    ) -> Names {
        let section = self.section(name, wanted, section);
        self.tried(section, given)
    }

    /// The same with keys that are not the program's: kinds of part, their terminals, halves of connectors.
    fn own_templates(&mut self, section: Texts, given: impl Fn(&str) -> serde_json::Value) -> Names {
        let section = section.map(|section| section.value).unwrap_or_default();
        self.tried(section, given)
    }

    fn tried(
        &mut self,
        section: impl IntoIterator<Item = (String, Spanned<String>)>,
        given: impl Fn(&str) -> serde_json::Value,
    ) -> Names {
        let engine = Templates::new(BTreeMap::new(), &self.taught);
        let mut names = Names::new();
        for (key, text) in section {
            if let Err(error) = engine.fill_source(&key, &text.value, &given(&key)) {
                let message = upper(&format!("{error}."));
                let help = format!("It is given: {}.", given_names(&given(&key)));
                self.found.push(Diagnostic::error(&self.place(&text), "template", message).help(help));
            }
            names.insert(key, text.value);
        }
        names
    }

    /// A phrase with two meanings would lead to a wrong branch.
    fn doubles<'a>(&mut self, meanings: impl Iterator<Item = (String, &'a Written<String>)>) {
        let mut seen: HashMap<String, String> = HashMap::new();
        for (meaning, phrase) in meanings {
            match seen.get(&normalise(&phrase.value)) {
                Some(other) => {
                    let message = format!("\"{}\" is written for both {other} and {meaning}.", phrase.value);
                    let help = "Leave it to one of them.";
                    self.found.push(Diagnostic::error(&phrase.place, "double-meaning", message).help(help));
                }
                None => drop(seen.insert(normalise(&phrase.value), meaning)),
            }
        }
    }
}

fn fill<T>(section: &mut Section<T>, later: Section<T>) {
    if let (Some(section), Some(later)) = (section, later) {
        for (key, value) in later.value {
            section.value.entry(key).or_insert(value);
        }
    }
}

/// Missing sentences and controls come from `later`, if it is given and in the same language.
pub(super) fn decode(text: &str, file: &str, later: Option<&str>) -> Result<Vocabulary, Vec<Diagnostic>> {
    let whole = Place { file: Arc::from(file), line: 0, column: 0 };
    let read = |text: &str| -> Result<File, Vec<Diagnostic>> {
        serde_yaml::from_str(text).map_err(|error| vec![unreadable(&whole, &error)])
    };
    let mut raw = read(text)?;
    if let Some(later) = later.map(read).transpose()?.filter(|later| later.vocabulary == raw.vocabulary) {
        fill(&mut raw.sentences, later.sentences);
        fill(&mut raw.commands, later.commands);
    }
    let mut r = Reader { whole: whole.clone(), found: Vec::new(), taught: serde_json::Value::Null };
    let commands: BTreeMap<Command, Phrases> = r
        .section("commands", &names(Command::ALL, Command::name), raw.commands)
        .into_iter()
        .filter_map(|(key, said)| Some((Command::named(&key)?, r.list(&format!("commands: {key}"), said))))
        .collect();
    let escapes: BTreeMap<Escape, Phrases> = r
        .section("escapes", &names(Escape::ALL, Escape::name), raw.escapes)
        .into_iter()
        .filter_map(|(key, said)| Some((Escape::named(&key)?, r.list(&format!("escapes: {key}"), said))))
        .collect();
    let (agree, disagree) = (r.list("agree", raw.agree), r.list("disagree", raw.disagree));
    let done = r.list("done", raw.done);
    let power_off = r.list("power-off", raw.power_off);
    let units = r
        .section("units", &names(Unit::ALL, Unit::name), raw.units)
        .into_iter()
        .filter_map(|(key, said)| Some((Unit::named(&key)?, said.into_iter().map(|s| s.value).collect())))
        .collect();
    let numbers = NumberWords::new(raw.numbers, units, &whole, &mut r.found);
    let writing = Writing::new(raw.writing, &whole, &mut r.found);
    let sums = r.sums(raw.sums);
    r.doubles(
        (commands.iter().flat_map(|(c, said)| said.iter().map(move |s| (format!("`{c}`"), s))))
            .chain(escapes.iter().flat_map(|(e, said)| said.iter().map(move |s| (format!("`{e}`"), s))))
            .chain(sums.iter().flat_map(|(name, said)| said.iter().map(move |s| (format!("`{name}`"), s))))
            .chain(done.iter().map(|s| ("`done`".to_owned(), s)))
            .chain(power_off.iter().map(|s| ("`power-off`".to_owned(), s))),
    );
    r.doubles(
        agree.iter().map(|s| ("`agree`".to_owned(), s)).chain(disagree.iter().map(|s| ("`disagree`".to_owned(), s))),
    );

    let part = serde_json::json!({"side": "left", "id": "left"});
    r.taught = taught(&commands, &agree, &disagree, &done, &power_off);
    let end = serde_json::json!({"part": "left part"});
    let half = serde_json::json!({"words": "left connector"});
    let sentence_keys: Vec<&str> = SENTENCES.iter().map(|(key, _)| *key).collect();
    let given = |key: &str| sample(SENTENCES.iter().find(|(k, _)| *k == key).map_or(&[], |(_, given)| given));
    // The format requires these words, though no sentence uses them yet.
    r.texts("points-at", &names(PointsAt::ALL, PointsAt::name), raw.points_at);
    let vocabulary = Vocabulary {
        language: raw.vocabulary,
        place: whole,
        commands,
        escapes,
        agree,
        disagree,
        done,
        power_off,
        numbers,
        writing,
        sums,
        quantities: r.texts("quantities", &names(Quantity::ALL, Quantity::name), raw.quantities),
        colours: r.texts("colours", COLOUR_CODES, raw.colours),
        sides: r.texts("sides", &["left", "right"], raw.sides),
        switches: r.texts("switches", SWITCHES, raw.switches),
        instruments: r.texts("instruments", &names(InstrumentKind::ALL, InstrumentKind::name), raw.instruments),
        halves: r.own_templates(raw.halves, |_| half.clone()),
        parts: r.own_templates(raw.parts, |_| part.clone()),
        terminals: r.own_templates(raw.terminals, |_| end.clone()),
        sentences: Templates::new(r.templates("sentences", &sentence_keys, raw.sentences, given), &r.taught),
    };
    if r.found.is_empty() { Ok(vocabulary) } else { Err(r.found) }
}

/// The first phrase of each command, keyed by its name with `_`, and of `done`, `agree`, `disagree` and `power_off`.
fn taught(
    commands: &BTreeMap<Command, Phrases>,
    agree: &Phrases,
    disagree: &Phrases,
    done: &Phrases,
    power_off: &Phrases,
) -> serde_json::Value {
    let first = |said: &Phrases| said.first().map_or(String::new(), |p| p.value.clone());
    let controls = commands.iter().map(|(c, said)| (c.name().replace('-', "_"), first(said)));
    let others = [("agree", agree), ("disagree", disagree), ("done", done), ("power_off", power_off)];
    let others = others.map(|(name, said)| (name.to_owned(), first(said)));
    controls
        .chain(others)
        .map(|(name, words)| (name, serde_json::Value::String(words)))
        .collect::<serde_json::Map<_, _>>()
        .into()
}

fn unreadable(whole: &Place, error: &serde_yaml::Error) -> Diagnostic {
    let place = error.location().map_or_else(
        || whole.clone(),
        |at| Place { file: whole.file.clone(), line: narrow(at.line()), column: narrow(at.column()) },
    );
    let said = error.without_snippet().to_string();
    let message = upper(said.lines().next().unwrap_or("this cannot be read"));
    Diagnostic::error(&place, "unreadable", message).help("procedures/FORMAT.md shows how a vocabulary is written.")
}

fn names<T: Copy>(all: &[T], name: fn(T) -> &'static str) -> Vec<&'static str> {
    all.iter().map(|member| name(*member)).collect()
}

fn given_names(given: &serde_json::Value) -> String {
    let names: Vec<&str> = given.as_object().into_iter().flatten().map(|(name, _)| name.as_str()).collect();
    if names.is_empty() { "nothing".to_owned() } else { names.join(", ") }
}

fn narrow(n: u64) -> u32 {
    u32::try_from(n).unwrap_or(u32::MAX)
}

fn upper(text: &str) -> String {
    super::sentence::upper_first(text.to_owned())
}

#[cfg(test)]
mod tests {
    use super::super::built_in::ENGLISH;
    use super::*;

    fn found(from: &str, to: &str) -> Vec<Diagnostic> {
        assert!(ENGLISH.contains(from), "{from}");
        Vocabulary::from_yaml(&ENGLISH.replacen(from, to, 1), "x.yaml")
            .map(|_| Vec::new())
            .unwrap_or_else(|found| found)
    }

    fn line_of(part: &str) -> u32 {
        1 + ENGLISH.lines().position(|l| l.contains(part)).unwrap() as u32
    }

    #[test]
    fn english_is_complete() {
        if let Err(found) = Vocabulary::from_yaml(ENGLISH, "en.yaml") {
            let said: Vec<String> = found.iter().map(ToString::to_string).collect();
            panic!("{}", said.join("\n"));
        }
    }

    #[test]
    fn every_missing_key_is_named() {
        let blank = Vocabulary::from_yaml("vocabulary: xx\n", "x.yaml").unwrap_err();
        let named =
            |key: &str| blank.iter().any(|d| d.check == "missing-key" && d.message.contains(&format!("`{key}`")));
        for key in ["commands", "escapes", "agree", "done", "numbers: point", "units", "colours", "sentences"] {
            assert!(named(key), "{key}");
        }
        let some = Vocabulary::from_yaml("vocabulary: xx\nsentences:\n  paused: \"-\"\n", "x.yaml").unwrap_err();
        for (key, _) in SENTENCES.iter().filter(|(key, _)| *key != "paused") {
            assert!(some.iter().any(|d| d.message.contains(&format!("`sentences: {key}`"))), "{key}");
        }
        // Words for parts, terminals and halves are only there where the catalogue's own are not right.
        let optional_sections = ["parts:", "terminals:", "halves:"];
        let mut section = "";
        for line in ENGLISH.lines().filter(|l| !l.trim_start().starts_with('#')) {
            if !line.starts_with("  ") {
                section = line;
                continue;
            }
            if optional_sections.contains(&section) {
                continue;
            }
            let optional = ["and", "article", "kilo", "filler", "hundred-and"];
            let key = line.trim_start().split(':').next().unwrap();
            let a_sum = line.contains(": [\"reckon ");
            if line.starts_with("   ") || a_sum || optional.contains(&key) || ["names", "fractions"].contains(&key) {
                continue;
            }
            let without = ENGLISH.replacen(&format!("{line}\n"), "", 1);
            let missing = Vocabulary::from_yaml(&without, "x.yaml").err().unwrap_or_default();
            assert!(missing.iter().any(|d| d.message.contains(key.trim_matches('"'))), "{line}");
        }
    }

    /// A session keeps the vocabulary that it began with, and is resumed and read by programs that have more controls and sentences.
    #[test]
    fn an_older_vocabulary_is_filled_up() {
        let dropped = |key: &str| {
            let line = ENGLISH.lines().find(|line| line.starts_with(&format!("  {key}:"))).unwrap();
            ENGLISH.replacen(&format!("{line}\n"), "", 1)
        };
        for key in ["already", "why-this", "fits-sometimes"] {
            assert!(decode(&dropped(key), "x.yaml", None).is_err(), "{key}");
            assert!(decode(&dropped(key), "x.yaml", Some(ENGLISH)).is_ok(), "{key}");
        }
    }

    #[test]
    fn a_wrong_template_is_found_with_its_line() {
        let all = found("echo: \"{{ answer", "echo: \"{{ answers");
        assert_eq!(all.len(), 1);
        assert_eq!((all[0].check.as_str(), all[0].place.line), ("template", line_of("  echo:")));
        assert!(all[0].help.as_ref().unwrap().contains("answer"), "{}", all[0]);
        assert_eq!(found("echo: \"{{ answer", "echo: \"{% if answer")[0].check, "template");
    }

    #[test]
    fn unknown_keys_and_double_meanings_are_found() {
        let all = found("  going-on:", "  going-one:");
        assert!(all.iter().any(|d| d.check == "unknown-key" && d.help.as_deref() == Some("Did you mean `going-on`?")));
        let all = found("\"hold on\"", "\"say again\"");
        assert_eq!((all[0].check.as_str(), all[0].place.line), ("double-meaning", line_of("  pause: [")));
        let all = found("point: [\"point\"", "point: [\"twelve\"");
        assert!(all.iter().any(|d| d.check == "double-meaning" && d.message.contains("twelve")), "{all:?}");
        let all = found("vocabulary: en", "vocabulary: en\ncolors: {}");
        assert_eq!(
            (all.len(), all[0].check.as_str(), all[0].place.line),
            (1, "unreadable", line_of("vocabulary: en") + 1)
        );
    }

    #[test]
    fn what_is_no_vocabulary_gets_a_sentence() {
        for text in ["", "[", "- a", "vocabulary: [1]", "\u{0}", "commands: {repeat: 5}", "vocabulary: &a [*a]"] {
            let found = Vocabulary::from_yaml(text, "x.yaml").unwrap_err();
            assert!(!found[0].message.is_empty() && !found[0].message.contains('\n'), "{text}: {found:?}");
        }
    }
}
