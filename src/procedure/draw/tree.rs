//! Turns a procedure into a chart: steps, answers on the arrows, conclusions, calls and loops. A conclusion, "next round", "ask again" and
//! the like are drawn next to each step that leads to them, so that no arrow crosses the whole picture.

use super::chart::{Chart, Label, Node, Shape, Tone};
use super::words::Words;
use crate::expression::Expression;
use crate::procedure::{Ask, Band, Choice, Loop, Procedure, ReadingAsk, Route, Step, Target};
use serde_json::Value;
use std::collections::BTreeMap;

/// The tree of `procedure`. With `bike` (from [`crate::bike::as_value`]) its words and limits are filled in.
pub fn tree(procedure: &Procedure, bike: Option<&Value>) -> Chart {
    let mut work = Work {
        procedure,
        words: Words::new(procedure, bike),
        chart: Chart::default(),
        steps: BTreeMap::new(),
        loops: BTreeMap::new(),
        heads: Vec::new(),
        beside: BTreeMap::new(),
    };
    work.draw();
    work.chart
}

struct Work<'p> {
    procedure: &'p Procedure,
    words: Words,
    chart: Chart,
    steps: BTreeMap<&'p str, usize>,
    loops: BTreeMap<&'p str, usize>,
    /// The first box of each section, in order.
    heads: Vec<usize>,
    /// Boxes that belong to one other box, by that box and by their content.
    beside: BTreeMap<(usize, String), usize>,
}

impl<'p> Work<'p> {
    fn draw(&mut self) {
        let procedure = self.procedure;
        let title = self.words.of(&procedure.title);
        self.chart.title = format!("{title} ({}, version {})", procedure.id, procedure.version);
        self.chart.description = format!(
            "The tree of the procedure {}: {} steps and {} conclusions, from top to bottom; each arrow bears the answer that leads along it.",
            procedure.id,
            procedure.steps.len(),
            procedure.conclusions.len()
        );
        let tools: Vec<String> = procedure.tools.iter().map(|tool| self.words.of(tool)).collect();
        let body = if tools.is_empty() { String::new() } else { format!("Needs {}.", tools.join("; ")) };
        let mut start = Node::new(Shape::Start, title, body);
        start.hover = procedure.opening.iter().map(|line| self.words.of(line)).collect::<Vec<_>>().join("\n");
        let start = self.chart.add(start);
        for step in &procedure.steps {
            let node = self.step(step);
            let at = self.chart.add(node);
            self.steps.insert(&step.id, at);
        }
        self.heads.push(start);
        for each in &procedure.loops {
            let mut node = Node::new(Shape::Loop, format!("for {}", *each.id), "");
            node.link = Some(format!("loop-{}", *each.id));
            node.hover = "What is repeated is drawn further down.".to_owned();
            let at = self.chart.add(node);
            self.loops.insert(&each.id, at);
        }
        self.lead(start, &procedure.start, None);
        for (id, at) in self.steps.clone() {
            if let Some(step) = procedure.step(id) {
                self.answers(at, step);
            }
        }
        for each in &procedure.loops {
            self.round(each);
        }
        if !procedure.beside().is_empty() {
            let any =
                self.chart.add(Node::new(Shape::Start, "In best order", "checks that come only where they tell most"));
            self.heads.push(any);
            procedure.beside().iter().for_each(|target| self.lead(any, target, None));
        }
        if !procedure.escapes.is_empty() {
            let any = self.chart.add(Node::new(Shape::Start, "At any step", "what may be answered besides"));
            self.heads.push(any);
            for (escape, route) in &procedure.escapes {
                self.route(any, route, escape, Tone::Plain, "");
            }
        }
        self.sections();
    }

    /// A loop: its section, and where it leads after the last round.
    fn round(&mut self, each: &Loop) {
        if let Some(at) = self.loops.get(each.id.as_str()).copied() {
            self.route(at, &each.then, "after the last", Tone::Plain, "");
        }
        let over = self.words.condition(&each.over);
        let body = format!("for every {} of {over}", *each.bind);
        let mut head = Node::new(Shape::Loop, each.id.as_str(), self.words.items(each).unwrap_or(body));
        head.anchor = Some(format!("loop-{}", *each.id));
        head.hover = format!("Repeated for every one of {over}, called {} in its steps.", *each.bind);
        let head = self.chart.add(head);
        self.heads.push(head);
        self.lead(head, &Target::Step(each.first.clone()), Some(Label::new("each in turn", Tone::Plain)));
    }

    /// Assigns every box to the first section from whose first box it can be reached. Unreachable boxes come last.
    fn sections(&mut self) {
        let mut out: Vec<Vec<usize>> = vec![Vec::new(); self.chart.nodes.len()];
        for edge in &self.chart.edges {
            out[edge.from].push(edge.to);
        }
        let mut section: Vec<Option<usize>> = vec![None; self.chart.nodes.len()];
        for head in &self.heads {
            section[*head] = Some(*head);
        }
        for (number, head) in self.heads.iter().enumerate() {
            let mut stack = vec![*head];
            section[*head] = Some(number);
            while let Some(node) = stack.pop() {
                for to in &out[node] {
                    if section[*to].is_none() {
                        section[*to] = Some(number);
                        stack.push(*to);
                    }
                }
            }
        }
        for (node, section) in self.chart.nodes.iter_mut().zip(section) {
            node.section = section.unwrap_or(self.heads.len());
        }
    }

    fn step(&self, step: &Step) -> Node {
        let mut node = Node::new(Shape::Step, step.id.as_str(), self.words.of(&step.say));
        node.anchor = Some(step.id.value.clone());
        let mut hover = vec![format!("{}: {}", *step.id, node.body), self.words.of(&step.more)];
        for id in &step.cautions {
            if let Some(caution) = self.procedure.caution(id) {
                node.cautions.push((caution.signal, id.value.clone()));
                hover.push(format!("{}: {}", caution.signal.name(), self.words.of(&caution.say)));
            }
        }
        node.hover = hover.join("\n");
        node
    }

    /// The arrows that leave a step.
    fn answers(&mut self, at: usize, step: &Step) {
        match &step.ask {
            Ask::Choice(choices) => choices.iter().for_each(|choice| self.choice(at, choice)),
            Ask::Watch { choices, .. } => choices.iter().for_each(|choice| self.choice(at, choice)),
            Ask::Reading(ask) => self.reading(at, ask),
            Ask::Done(route) => self.route(at, route, "done", Tone::Plain, ""),
            Ask::Note(route) => self.route(at, route, "noted", Tone::Plain, ""),
        }
        self.route(at, &step.untested, "not tested", Tone::Around, "");
        if let (Some(when), Some(route)) = (&step.when, &step.otherwise) {
            let hover = format!("This step is left out unless {}.", self.words.condition(when));
            self.route(at, route, "left out", Tone::Around, &hover);
        }
    }

    fn choice(&mut self, at: usize, choice: &Choice) {
        let words = choice.phrases.first().map_or_else(|| choice.id.value.clone(), |phrase| self.words.of(phrase));
        let phrases: Vec<String> = choice.phrases.iter().map(|phrase| format!("“{}”", self.words.of(phrase))).collect();
        self.doubted(at, choice.doubt.as_ref(), &choice.go, &words, choice.means.into(), &phrases.join(", "));
    }

    fn reading(&mut self, at: usize, ask: &ReadingAsk) {
        let unit = ask.unit.name();
        for band in &ask.bands {
            let hover = format!("{} ({}); limits: {}", *band.id, band.means.name(), self.words.of(&ask.source));
            let words = format!("{}: {}", *band.id, self.range(band, unit));
            self.doubted(at, band.doubt.as_ref(), &band.go, &words, band.means.into(), &hover);
        }
        if let Some(route) = &ask.over_range {
            self.route(at, route, "over range", Tone::Plain, "");
        }
    }

    fn range(&self, band: &Band, unit: &str) -> String {
        let limit = |of: &Expression| self.limit(of);
        match (&band.from, &band.below) {
            (Some(from), Some(below)) => format!("{} to {} {unit}", limit(from), limit(below)),
            (Some(from), None) => format!("{} {unit} or more", limit(from)),
            (None, Some(below)) => format!("below {} {unit}", limit(below)),
            (None, None) => "any".to_owned(),
        }
    }

    /// A limit as a number of at most four figures, or as written if the bike alone does not determine it.
    fn limit(&self, of: &Expression) -> String {
        match self.words.number(of) {
            Some(number) => figures(number),
            None => self.words.condition(of),
        }
    }

    fn doubted(&mut self, at: usize, doubt: Option<&Target>, go: &Route, words: &str, tone: Tone, hover: &str) {
        match doubt {
            Some(doubt) => {
                let first = Label { text: format!("{words}, the first time"), tone, hover: hover.to_owned() };
                self.lead(at, doubt, Some(first));
                self.route(at, go, &format!("{words}, again"), tone, hover);
            }
            None => self.route(at, go, words, tone, hover),
        }
    }

    fn route(&mut self, at: usize, Route(conditions): &Route, words: &str, tone: Tone, hover: &str) {
        for condition in conditions {
            let text = match &condition.when {
                Some(when) => format!("{words}, if {}", self.words.condition(when)),
                None if conditions.len() > 1 => format!("{words}, otherwise"),
                None => words.to_owned(),
            };
            let hover = if hover.is_empty() { String::new() } else { format!("{text}: {hover}") };
            self.lead(at, &condition.to, Some(Label { text, tone, hover }));
        }
    }

    fn lead(&mut self, from: usize, target: &Target, label: Option<Label>) {
        let to = self.target(from, target);
        self.chart.join(from, to, label);
    }

    /// The box for a target, as drawn for the box that leads to it.
    fn target(&mut self, from: usize, target: &Target) -> usize {
        match target {
            Target::Step(id) => match self.steps.get(id.as_str()) {
                Some(step) => *step,
                None => self.own(from, Node::new(Shape::Jump, format!("no step {}", **id), "")),
            },
            Target::Each(id) => match self.loops.get(id.as_str()) {
                Some(each) => *each,
                None => self.own(from, Node::new(Shape::Jump, format!("no loop {}", **id), "")),
            },
            Target::Next(_) => self.own(from, Node::new(Shape::Jump, "next round", "")),
            Target::Again(_) => self.own(from, Node::new(Shape::Jump, "ask again", "")),
            Target::Back(_) => self.own(from, Node::new(Shape::Jump, "back to what was doubted", "")),
            Target::Return(_) => self.own(from, Node::new(Shape::Jump, "back to the caller", "")),
            Target::Call { procedure, then } => {
                let mut node = Node::new(Shape::Call, format!("walk {}", **procedure), "and come back");
                node.hover = format!("The procedure {} is walked, then it goes on below.", **procedure);
                let key = (from, target_name(target));
                if let Some(call) = self.beside.get(&key) {
                    return *call;
                }
                let call = self.chart.add(node);
                self.beside.insert(key, call);
                self.lead(call, then, None);
                call
            }
            Target::Conclude(id) => {
                let node = match self.procedure.conclusion(id) {
                    Some(conclusion) => {
                        let mut node = Node::new(Shape::Conclusion, id.as_str(), self.words.of(&conclusion.cause));
                        node.hover = format!("{}: {}\nRemedy: {}", **id, node.body, self.words.of(&conclusion.remedy));
                        node
                    }
                    None => Node::new(Shape::Jump, format!("no conclusion {}", **id), ""),
                };
                self.own(from, node)
            }
        }
    }

    /// Adds a box that belongs to one other box, once.
    fn own(&mut self, from: usize, node: Node) -> usize {
        let key = (from, format!("{:?} {}", node.shape, node.heading));
        if let Some(there) = self.beside.get(&key) {
            return *there;
        }
        let at = self.chart.add(node);
        self.beside.insert(key, at);
        at
    }
}

/// A target as text, identical for equal targets: `points-gap`, `concludes battery-flat`.
pub fn target_name(target: &Target) -> String {
    match target {
        Target::Step(id) => id.value.clone(),
        Target::Each(id) => format!("for {}", **id),
        Target::Conclude(id) => format!("concludes {}", **id),
        Target::Call { procedure, then } => format!("{}, then {}", **procedure, target_name(then)),
        Target::Next(_) => "next round".to_owned(),
        Target::Again(_) => "asks again".to_owned(),
        Target::Back(_) => "back to what was doubted".to_owned(),
        Target::Return(_) => "back to the caller".to_owned(),
    }
}

/// A number of at most four significant figures, without trailing zeros.
fn figures(number: f64) -> String {
    if number == 0.0 || !number.is_finite() {
        return number.to_string();
    }
    let places = (3 - number.abs().log10().floor() as i32).clamp(0, 6);
    let text = format!("{number:.*}", places as usize);
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

#[cfg(test)]
#[test]
fn limits_have_four_figures() {
    assert_eq!(figures(11.76), "11.76");
    assert_eq!(figures(0.05), "0.05");
    assert_eq!(figures(12.0), "12");
    assert_eq!(figures(14_999.6), "15000");
    assert_eq!(figures(-0.35), "-0.35");
}
