//! Builds whole numbers and decimals from number words, including the short forms that omit the point.

use super::decimal::Decimal;
use super::lexicon::{Sense, Token};

/// The word as a digit, if it is one.
fn digit(token: &Token) -> Option<char> {
    match token {
        Token::Sense(Sense::Small(n)) if *n < 10 => char::from_digit(*n, 10),
        Token::Figures(f) if f.len() == 1 => f.chars().next().filter(char::is_ascii_digit),
        _ => None,
    }
}

fn digits(tokens: &[Token]) -> Option<String> {
    tokens.iter().map(digit).collect::<Option<String>>().filter(|d| !d.is_empty())
}

/// A number below a hundred at the start, and how many words it takes: "twenty four" is one number.
fn small(tokens: &[Token]) -> Option<(u32, usize)> {
    match tokens {
        [Token::Sense(Sense::Small(ten)), Token::Sense(Sense::Small(one)), ..]
            if *ten >= 20 && ten % 10 == 0 && (1..10).contains(one) =>
        {
            Some((ten + one, 2))
        }
        [Token::Sense(Sense::Small(n)), ..] => Some((*n, 1)),
        [Token::Figures(f), ..] if f.len() <= 2 && (f.len() == 1 || !f.starts_with('0')) => Some((f.parse().ok()?, 1)),
        _ => None,
    }
}

/// The same if it takes all of `tokens` and is at least ten.
fn two_figures(tokens: &[Token]) -> Option<u32> {
    small(tokens).filter(|(n, length)| *n >= 10 && *length == tokens.len()).map(|(n, _)| n)
}

/// Digits after a point: "four five", "oh five", "forty five".
pub(super) fn decimals(tokens: &[Token]) -> Option<String> {
    if let [Token::Figures(figures)] = tokens {
        return figures.chars().all(|c| c.is_ascii_digit()).then(|| (*figures).to_owned());
    }
    digits(tokens).or_else(|| two_figures(tokens).map(|n| n.to_string()))
}

/// Figures as typed. A comma before three figures may separate thousands or be the decimal point, so both values are returned.
pub(super) fn figures(figures: &str) -> Vec<Decimal> {
    let mut all = Vec::new();
    if !figures.contains(',') {
        all.extend(Decimal::from_figures(figures));
        return all;
    }
    let groups: Vec<&str> = figures.split('.').next().unwrap_or("").split(',').collect();
    let parted = groups[0].len() <= 3 && !groups[0].starts_with('0') && groups[1..].iter().all(|g| g.len() == 3);
    if parted && !figures.split('.').skip(1).any(|f| f.contains(',')) {
        all.extend(Decimal::from_figures(&figures.replace(',', "")));
    }
    if groups.len() == 2 && !figures.contains('.') {
        all.extend(Decimal::from_figures(&figures.replace(',', ".")));
    }
    all
}

/// Every whole number that the words can mean: "twelve hundred and five", "one two", "one twenty", "twelve oh five".
pub(super) fn wholes(tokens: &[Token]) -> Vec<u64> {
    let mut all = Vec::new();
    let mut push = |n: Option<u64>| match n {
        Some(n) if !all.contains(&n) => all.push(n),
        _ => {}
    };
    push(cardinal(tokens));
    push(digits(tokens).filter(|d| d.len() > 1 && !d.starts_with('0')).and_then(|d| d.parse().ok()));
    if let Some((hundreds, length)) = small(tokens).filter(|(n, _)| *n > 0) {
        let rest = &tokens[length..];
        push(two_figures(rest).map(|n| u64::from(hundreds * 100 + n)));
        let after_zero = digits(rest).filter(|d| d.len() == 2 && d.starts_with('0'));
        push(after_zero.and_then(|d| d.parse::<u64>().ok()).map(|n| u64::from(hundreds) * 100 + n));
    }
    all
}

/// "One thousand two hundred and fifty".
fn cardinal(tokens: &[Token]) -> Option<u64> {
    const MULTIPLIERS: [u64; 2] = [1_000_000, 1000];
    let mut rest = tokens;
    let mut sum = 0u64;
    for times in MULTIPLIERS {
        if let Some(at) = rest.iter().position(|t| matches!(t, Token::Sense(Sense::Times(n)) if *n == times)) {
            let many = if at == 0 { 1 } else { below_thousand(&rest[..at])? };
            sum = sum.checked_add(many.checked_mul(times)?)?;
            rest = &rest[at + 1..];
            if let [Token::Sense(Sense::And), others @ ..] = rest
                && !others.is_empty()
            {
                rest = others;
            }
            if rest.is_empty() {
                return Some(sum);
            }
        }
    }
    sum.checked_add(below_thousand(rest)?)
}

/// "Two hundred and fifty", "fifteen hundred", "a hundred", "450".
fn below_thousand(tokens: &[Token]) -> Option<u64> {
    let hundred = |t: &Token| matches!(t, Token::Sense(Sense::Times(100)));
    match tokens {
        [] => None,
        [Token::Figures(figures)] if figures.chars().all(|c| c.is_ascii_digit()) => figures.parse().ok(),
        [Token::Sense(Sense::Article)] => Some(1),
        _ => match tokens.iter().position(hundred) {
            None => small(tokens).filter(|(_, length)| *length == tokens.len()).map(|(n, _)| u64::from(n)),
            Some(at) => {
                let many = match &tokens[..at] {
                    [] | [Token::Sense(Sense::Article)] => 1,
                    number => small(number).filter(|(n, length)| *length == number.len() && *n > 0)?.0,
                };
                let rest = match &tokens[at + 1..] {
                    [Token::Sense(Sense::And), rest @ ..] if !rest.is_empty() => rest,
                    rest => rest,
                };
                let below = match rest {
                    [] => 0,
                    _ => small(rest).filter(|(n, length)| *length == rest.len() && *n > 0)?.0,
                };
                Some(u64::from(many) * 100 + u64::from(below))
            }
        },
    }
}

/// Numbers without a spoken point, with at most `most` decimals: "twelve four", "twelve forty five", "one two four" (1.24 and 12.4).
pub(super) fn short_forms(tokens: &[Token], most: usize) -> Vec<Decimal> {
    let mut all = Vec::new();
    let mut add = |whole: u64, rest: &[Token]| {
        let fraction = decimals(rest).filter(|d| d.len() <= most);
        if let Some(number) = fraction.and_then(|f| Decimal::with_fraction(whole, &f)) {
            all.push(number);
        }
    };
    if let Some((whole, length)) = small(tokens).filter(|(n, _)| *n >= 10) {
        add(u64::from(whole), &tokens[length..]);
    }
    let run = tokens.iter().take_while(|t| digit(t).is_some()).count();
    for length in (1..=run).take_while(|l| *l < tokens.len()) {
        let whole = digits(&tokens[..length]).filter(|d| d.len() == 1 || !d.starts_with('0'));
        if let Some(whole) = whole.and_then(|d| d.parse().ok()) {
            add(whole, &tokens[length..]);
        }
    }
    all
}
