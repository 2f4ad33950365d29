//! The budget of an expression holds, measured in steps and in allocated bytes, never with a clock.
//!
//! The limits are the program's own contract: `MOST_STEPS`, and bytes in proportion to it.

use probeside::bike::{self, EnglishWords, as_value};
use probeside::circuit::faults::Library;
use probeside::expression::{self, MOST_STEPS, Scope, evaluate_bool, evaluate_list, evaluate_number, render};
use probeside::source::{Place, Written};
use proptest::prelude::*;
use serde_json::json;
use std::alloc::{GlobalAlloc, Layout, System};
use std::cell::Cell;
use std::path::{Path, PathBuf};

/// The system's allocator, with counts of what each thread has allocated and holds.
struct Counting;

thread_local! {
    static TAKEN: Cell<u64> = const { Cell::new(0) };
    static HELD: Cell<i64> = const { Cell::new(0) };
    static MOST_HELD: Cell<i64> = const { Cell::new(0) };
}

// SAFETY: every call is forwarded unchanged to the system's allocator.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        // A thread that is ending has no counters any more, so nothing is counted.
        let _ = TAKEN.try_with(|taken| taken.set(taken.get() + layout.size() as u64));
        let _ = HELD.try_with(|held| {
            held.set(held.get() + layout.size() as i64);
            let _ = MOST_HELD.try_with(|most| most.set(most.get().max(held.get())));
        });
        // SAFETY: the caller fulfils the contract of `alloc`.
        unsafe { System.alloc(layout) }
    }
    unsafe fn dealloc(&self, at: *mut u8, layout: Layout) {
        let _ = HELD.try_with(|held| held.set(held.get() - layout.size() as i64));
        // SAFETY: the caller fulfils the contract of `dealloc`.
        unsafe { System.dealloc(at, layout) }
    }
}

#[global_allocator]
static COUNTING: Counting = Counting;

/// Bytes that an evaluation may allocate in total per step, and may hold at once.
const BYTES_A_STEP: u64 = 2_000;
const MOST_BYTES: i64 = 100_000_000;

fn text(value: &str) -> Written<String> {
    Written { value: value.to_owned(), place: Place { file: "x.yaml".into(), line: 3, column: 7 } }
}

fn scope() -> Scope {
    let twin = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/sound/twin.yaml");
    let mut scope = Scope::new(as_value(&bike::load(&twin).expect("a sound bike"), &EnglishWords));
    scope.see("a", json!("x".repeat(40)));
    scope.see("b", json!(3.0));
    scope
}

/// The result of an expression, the bytes it allocated, and the most it held at once.
fn counted(expression: &str, scope: &Scope) -> (Result<u64, String>, u64, i64) {
    let expression = text(expression);
    TAKEN.set(0);
    MOST_HELD.set(HELD.get());
    let before = HELD.get();
    let steps = expression::steps(&expression, scope).map_err(|finding| finding.to_string());
    (steps, TAKEN.get(), MOST_HELD.get() - before)
}

fn repeated(what: &str, times: usize, around: impl Fn(String) -> String) -> String {
    (0..times).fold(what.to_owned(), |inner, _| around(inner))
}

/// Expressions of at most 2,000 bytes that would take gigabytes or hours.
fn blow_ups() -> Vec<(&'static str, String)> {
    let digits = "[1,2,3,4,5,6,7,8,9,10]";
    let ten_deep = repeated("true", 10, |inner| format!("{digits}.all(x, {inner})"));
    let doubled = (0..15).fold("[1]".to_owned(), |list, _| format!("{list}.map(x, [x, x, x, x, x, x, x, x])"));
    let joined = (0..15)
        .fold("['0123456789abcdef']".to_owned(), |list, _| format!("{list}.map(x, x + x + x + x + x + x + x + x)"));
    let swallowed =
        repeated("false", 10, |inner| format!("{digits}.exists(x, {inner} || {inner2})", inner2 = "'a' > x"));
    let maps = (0..14).fold("[1]".to_owned(), |list, _| format!("{list}.map(x, {{'a': x, 'b': x, 'c': x, 'd': x}})"));
    let compared = format!("{digits}.all(a, {digits}.all(b, {digits}.all(c, {digits}.all(d, bike == bike))))");
    let looked_in =
        format!("{digits}.all(a, {digits}.all(b, {digits}.all(c, {digits}.all(d, !(bike in bike.wires)))))");
    let wires = "bike.wires.all(a, bike.wires.all(b, bike.wires.all(c, bike.wires.all(d, a.from + b.from != c.from + d.from + 'x'))))";
    vec![
        ("ten loops in each other", ten_deep),
        ("lists of lists", doubled),
        ("a text joined to itself", joined),
        ("errors that are swallowed", swallowed),
        ("mappings of mappings", maps),
        ("a bike compared with itself", compared),
        ("a bike looked for among its wires", looked_in),
        ("every four wires", wires.to_owned()),
    ]
}

#[test]
fn what_blows_up_is_stopped_with_a_sentence_and_its_place() {
    let scope = scope();
    for (name, expression) in blow_ups() {
        assert!(expression.len() <= 2_000, "{name}: {} bytes", expression.len());
        let (came, taken, held) = counted(&expression, &scope);
        let why = came.expect_err(name);
        assert!(why.starts_with("x.yaml:3:7: error [expression] "), "{name}: {why}");
        assert!(why.contains("takes more than 200000 steps"), "{name}: {why}");
        assert!(taken < MOST_STEPS * BYTES_A_STEP && held < MOST_BYTES, "{name}: {taken} bytes taken, {held} held");
        println!("{name}: {} MB taken, {} MB held", taken / 1_000_000, held / 1_000_000);
    }
}

/// A thread's usual stack is 2 MB. Deep expressions are evaluated or rejected, and never use more than half of it.
#[test]
fn deep_expressions_do_not_overflow_a_small_stack() {
    let deep = [
        format!("1{}", "+1".repeat(499)),
        format!("seen.a{}", "+seen.a".repeat(200)),
        format!("{}1", "-".repeat(1_900)),
        format!("{}true", "!".repeat(1_900)),
        format!("{}1{}", "(".repeat(900), ")".repeat(900)),
        format!("{}1{}", "[".repeat(900), "]".repeat(900)),
        format!("{}1{}", "[".repeat(40), "]".repeat(40)),
        format!("{}1{}", "{1:".repeat(600), "}".repeat(600)),
        format!("bike{}", "[0]".repeat(490)),
        format!("bike{}", ".a".repeat(900)),
        format!("[1]{}", ".map(x,x)".repeat(16)),
        format!("[1]{}", ".map(x,x)".repeat(200)),
        format!("size('a'){}", ".size()".repeat(250)),
        format!("{}1", "true?1:".repeat(250)),
        format!("1{}", "<1".repeat(900)),
        format!("true{}", "&&true".repeat(300)),
        repeated("1", 15, |inner| format!("[1].map(x,{inner})")),
        repeated("1", 47, |inner| format!("double({inner})")),
        "a.b.c(".repeat(300),
        "'".repeat(2_000),
        "\"\"\"".repeat(600),
        "\u{202e}".repeat(600),
        "{".repeat(2_000),
        "[1,".repeat(600),
        "1?".repeat(900),
        "x.all(".repeat(300),
    ];
    let work = move || {
        let scope = scope();
        for expression in &deep {
            let _ = evaluate_bool(&text(expression), &scope);
            let _ = expression::names(&text(expression));
        }
    };
    std::thread::Builder::new().stack_size(1 << 20).spawn(work).expect("a thread").join().expect("no panic");
}

#[test]
fn ordinary_expressions_take_few_steps() {
    let scope = scope();
    let steps = |e: &str| expression::steps(&text(e), &scope).expect(e);
    assert!(steps("bike.volt * 1.5 - 0.2") < 10);
    assert!(steps("bike.points.filter(p, p.id != 'left')") < 2_000);
    assert!(
        steps("bike.wires.filter(w, (w.role == 'feed' || w.role == 'ground') && w.from.startsWith('battery.'))")
            < 5_000
    );
    assert!(evaluate_number(&text("size(bike.wires.map(w, w.from + w.to))"), &scope).is_ok());
    assert_eq!(evaluate_list(&text("['a' + 'b', 'c']"), &scope), Ok(vec![json!("ab"), json!("c")]));
    assert_eq!(evaluate_bool(&text("[1, 2, 3].exists_one(x, x == 2)"), &scope), Ok(true));
    // A function that no text can name cannot be called.
    assert!(evaluate_bool(&text("@spend(1, true)"), &scope).is_err());
    assert!(evaluate_bool(&text("optional.of(1).hasValue()"), &scope).is_err());
}

/// Templates that would take gigabytes, hours or the whole stack: the engine's fuel pays for every step and every byte.
#[test]
fn a_template_that_blows_up_is_stopped_with_a_sentence() {
    let doubled = format!("{{% set a = 'xxxxxxxx' %}}{}{{{{ a }}}}", "{% set a = a ~ a %}".repeat(60));
    let listed = format!("{{% set a = [1] %}}{}{{{{ a }}}}", "{% set a = [a, a] %}".repeat(60));
    let hostile = [
        doubled,
        listed,
        "{{ 'x' * 1000000000 }}".to_owned(),
        "{{ [1] * 1000000000 }}".to_owned(),
        "{{ 'x' | center(1000000000) }}".to_owned(),
        "{{ 'a' | indent(1000000000) }}".to_owned(),
        "{{ '%1000000000s' | format('x') }}".to_owned(),
        "{{ range(1000000000) | join }}".to_owned(),
        "{% for a in [bike, bike] %}{% for a in [a, a] %}{{ a.name }}{% endfor %}{% endfor %}".to_owned(),
        "{% with a = [bike, bike] %}{{ a }}{% endwith %}".to_owned(),
        "{{ [bike, bike, bike, bike] }}".to_owned(),
        "{{ bike ~ bike ~ bike }}".to_owned(),
        "{{ range(100000) | join('xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx') }}".to_owned(),
        "{% for a in range(9000) %}{% for b in range(9000) %}{% endfor %}{% endfor %}".to_owned(),
        "{% macro m() %}{{ m() }}{% endmacro %}{{ m() }}".to_owned(),
        "{% macro m(a) %}{{ m(a ~ a) }}{% endmacro %}{{ m('xxxxxxxxxxxxxxxx') }}".to_owned(),
        format!("{{{{ {}1{} }}}}", "(".repeat(1_900), ")".repeat(1_900)),
        format!("{{{{ {}1{} }}}}", "[".repeat(1_900), "]".repeat(1_900)),
        format!("{{{{ {}1 }}}}", "not ".repeat(900)),
        format!("{{{{ {}1 }}}}", "-".repeat(3_900)),
        format!("{}x{}", "{% if true %}".repeat(150), "{% endif %}".repeat(150)),
        format!("{{{{ seen.a{} }}}}", "|capitalize".repeat(350)),
        format!("{{{{ 1{} }}}}", "+1".repeat(1_900)),
        "{{ seen.a | replace('x', 'xxxxxxxxxxxxxxxxxxxxxxxxxxxxx') | replace('x', 'xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx') | \
         replace('x', 'xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx') }}"
            .to_owned(),
    ];
    let work = move || {
        let scope = scope();
        for template in &hostile {
            TAKEN.set(0);
            MOST_HELD.set(HELD.get());
            let before = HELD.get();
            let came = render(&text(template), &scope);
            let (taken, held) = (TAKEN.get(), MOST_HELD.get() - before);
            let shown: String = template.chars().take(60).collect();
            assert!(taken < 200_000_000 && held < MOST_BYTES, "{taken} bytes taken, {held} held: {shown}");
            if let Err(finding) = came {
                assert!(finding.to_string().starts_with("x.yaml:3:7: error [template] "), "{finding}");
            }
        }
        for template in &hostile[..15] {
            assert!(render(&text(template), &scope).is_err(), "{template}");
        }
    };
    std::thread::Builder::new().stack_size(1 << 20).spawn(work).expect("a thread").join().expect("no panic");
}

/// The equations of a circuit grow with the square of its nodes, and a proof grows with the faults. Both have a limit that is reported at
/// once.
#[test]
fn thousands_of_parts_or_faults_are_refused_before_any_work() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let twin = std::fs::read_to_string(root.join("tests/sound/twin.yaml")).expect("a bike");
    let wire = twin.lines().find(|line| line.contains("- {from: battery.live")).expect("a wire");
    let many = twin.replace(wire, &vec![wire; 5_000].join("\n"));
    let found = bike::parse(&many, "many.yaml").expect_err("thousands of wires");
    let said = found.iter().map(ToString::to_string).collect::<Vec<_>>().join("\n");
    assert!(said.contains("many.yaml:") && said.contains("items and needs at most 200"), "{said}");
    let entry = twin.lines().find(|line| line.contains("kind: plug,")).expect("a plug");
    let (id, rest) = entry.split_once(':').expect("an entry");
    let more: Vec<String> = (0..3_000).map(|n| format!("{id}-{n}:{rest}")).collect();
    let found = bike::parse(&twin.replace(entry, &format!("{entry}\n{}", more.join("\n"))), "many.yaml");
    let said = found.expect_err("thousands of parts")[0].to_string();
    assert!(said.contains("`parts` has 30") && said.contains("needs at most 100"), "{said}");

    let severities: Vec<String> = (1..=200).map(|n| format!("{n}.5")).collect();
    let kind = |n: usize| {
        format!(
            "  kind-{n}:\n    words: \"weak {n}\"\n    parts: [battery]\n    cure: \"charge it\"\n    likelihood: 1\n    severities: {{unit: ohm, values: [{}]}}\n    \
             alter: [{{series: battery, ohm: severity}}]\n",
            severities.join(", ")
        )
    };
    let kinds: String = (0..40).map(kind).collect();
    let text = format!(
        "faults: many\nsource: \"invented\"\noutside: [\"the rest\"]\nlooks:\n  cam: {{words: \"the cam\", healthy: turns}}\nkinds:\n{kinds}"
    );
    let library = Library::parse(&text, "many.yaml").expect("a library");
    let bike = bike::parse(&twin, "twin.yaml").expect("a bike");
    let found = library.for_bike(&bike).expect_err("thousands of faults");
    assert!(found[0].to_string().contains("has more than 5000 faults to be tried"), "{}", found[0]);
}

fn yaml_files(folder: &Path) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> =
        std::fs::read_dir(folder).expect("a folder").map(|entry| entry.expect("an entry").path()).collect();
    files.retain(|file| file.extension().is_some_and(|end| end == "yaml"));
    files.sort();
    files
}

/// Every expression in the shipped files, on every shipped bike, stays below a tenth of the budget.
#[test]
fn the_shipped_expressions_keep_far_below_the_budget() {
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures");
    let mut files = yaml_files(&shipped);
    files.extend(yaml_files(&shipped.join("faults")));
    let texts: Vec<String> = files.iter().map(|file| std::fs::read_to_string(file).expect("a file")).collect();
    let quoted = texts.iter().flat_map(|text| text.split('"').skip(1).step_by(2));
    let expressions: Vec<&str> = quoted.filter(|text| text.contains("bike.") && !text.contains("{{")).collect();
    assert!(expressions.len() > 50, "{} expressions", expressions.len());
    let (mut most, mut came_out) = ((0, ""), 0);
    for file in yaml_files(&shipped.join("bikes")) {
        let scope = Scope::new(as_value(&bike::load(&file).expect("a bike"), &EnglishWords));
        for expression in &expressions {
            if let Ok(steps) = expression::steps(&text(expression), &scope) {
                most = most.max((steps, *expression));
                came_out += 1;
            }
        }
    }
    println!("the most: {} steps, {}", most.0, most.1);
    assert!(came_out > 200 && most.0 > 100 && most.0 < MOST_STEPS / 10, "{came_out} came out, {most:?}");
}

/// Nested loops, concatenated texts, lists and mappings.
fn nested() -> impl Strategy<Value = String> {
    let leaf = prop_oneof![
        Just("x".to_owned()),
        Just("bike".to_owned()),
        Just("bike.wires".to_owned()),
        Just("seen.a".to_owned()),
        Just("1".to_owned()),
        Just("'abcdefgh'".to_owned()),
        Just("[1, 2, 3]".to_owned()),
    ];
    leaf.prop_recursive(9, 60, 4, |inner| {
        prop_oneof![
            (inner.clone(), inner.clone()).prop_map(|(a, b)| format!("({a} + {b})")),
            (inner.clone(), inner.clone()).prop_map(|(a, b)| format!("({a} == {b})")),
            (inner.clone(), inner.clone()).prop_map(|(a, b)| format!("({a} in {b})")),
            prop::collection::vec(inner.clone(), 1..5).prop_map(|items| format!("[{}]", items.join(", "))),
            (inner.clone(), inner.clone()).prop_map(|(a, b)| format!("{{'a': {a}, 'b': {b}}}")),
            (inner.clone(), inner.clone()).prop_map(|(a, b)| format!("bike.wires.map(x, {a}).map(x, {b})")),
            (inner.clone(), inner.clone()).prop_map(|(a, b)| format!("[{a}, {a}].map(x, {b})")),
            inner.clone().prop_map(|a| format!("{a}.map(x, [x, x, x])")),
            inner.clone().prop_map(|a| format!("{a}.filter(x, x == {a})")),
            inner.clone().prop_map(|a| format!("{a}.all(x, [1, 2].exists(y, {a} == x || y > 1))")),
            inner.clone().prop_map(|a| format!("[1, 2, 3, 4].map(x, {a} + {a})")),
            (inner.clone(), inner.clone(), inner).prop_map(|(a, b, c)| format!("(size({a}) > 1 ? {b} : {c})")),
        ]
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, max_shrink_iters: 200, ..ProptestConfig::default() })]
    #[test]
    fn any_nested_expression_keeps_within_its_budget(expression in nested()) {
        let scope = scope();
        let (came, taken, held) = counted(&expression, &scope);
        // Parsing the expression and the bike's own values also take memory, in proportion to their size.
        let base = 20_000_000;
        let paid = match &came {
            Ok(steps) => *steps,
            Err(why) if why.contains("steps") => MOST_STEPS,
            Err(_) => MOST_STEPS,
        };
        prop_assert!(paid <= MOST_STEPS);
        prop_assert!(taken < base + paid * BYTES_A_STEP, "{} bytes for {} steps: {}", taken, paid, expression);
        prop_assert!(held < MOST_BYTES, "{} bytes held: {}", held, expression);
    }
}
