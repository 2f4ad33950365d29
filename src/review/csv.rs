//! Writes the readings as comma-separated values (RFC 4180): a header line, CRLF after every line, quotes only where a field needs them.

use super::Review;
use crate::system::Kind;

/// The table as an output file.
pub const TABLE: Kind =
    Kind { name: "table of readings", begins: "number,time,step,round,name,quantity,", goes_on: &[] };

/// The columns.
const COLUMNS: [&str; 21] = [
    "number",
    "time",
    "step",
    "round",
    "name",
    "quantity",
    "kind",
    "value",
    "unit",
    "verdict",
    "band",
    "low",
    "high",
    "source",
    "words",
    "confidence",
    "confirmed",
    "amends",
    "amended_by",
    "effective",
    "told",
];

/// All readings in order, amended ones included. Text that a spreadsheet would take for a formula (it starts with `=`, `+`, `-`, `@`, tab
/// or carriage return) is prefixed with an apostrophe. Numbers are not.
pub fn csv(review: &Review) -> String {
    let mut out = row(COLUMNS.iter().map(|name| (*name).to_owned()));
    for r in &review.readings {
        let number = |value: Option<f64>| value.map_or(String::new(), |v| v.to_string());
        let count = |value: Option<u32>| value.map_or(String::new(), |v| v.to_string());
        let optional = |value: &Option<String>| harmless(value.as_deref().unwrap_or_default());
        let kind =
            serde_json::to_value(r.kind).ok().and_then(|kind| kind.as_str().map(str::to_owned)).unwrap_or_default();
        out += &row([
            r.number.to_string(),
            harmless(&r.time),
            harmless(&r.step),
            optional(&r.round),
            harmless(&r.name),
            r.quantity.name().to_owned(),
            kind,
            number(r.value),
            r.unit.name().to_owned(),
            harmless(&r.verdict),
            optional(&r.band),
            number(r.low),
            number(r.high),
            harmless(&r.source),
            harmless(&r.words),
            r.confidence.to_string(),
            r.confirmed.to_string(),
            count(r.amends),
            count(r.amended_by),
            r.effective.to_string(),
            r.told.to_string(),
        ]);
    }
    out
}

fn harmless(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) { format!("'{text}") } else { text.to_owned() }
}

fn row(fields: impl IntoIterator<Item = String>) -> String {
    fields.into_iter().map(|field| quoted(&field)).collect::<Vec<_>>().join(",") + "\r\n"
}

/// Rules 5 to 7 of RFC 4180, section 2.
fn quoted(field: &str) -> String {
    if field.contains(['"', ',', '\r', '\n']) {
        format!("\"{}\"", field.replace('"', "\"\""))
    } else {
        field.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// A reader that follows the ABNF of RFC 4180, section 2. `None` if the text does not conform.
    fn read(text: &str) -> Option<Vec<Vec<String>>> {
        let (mut rows, mut fields, mut rest) = (Vec::new(), Vec::new(), text);
        while !rest.is_empty() {
            let mut field = String::new();
            if let Some(mut inside) = rest.strip_prefix('"') {
                loop {
                    let end = inside.find('"')?;
                    field += &inside[..end];
                    inside = &inside[end + 1..];
                    match inside.strip_prefix('"') {
                        Some(more) => (field.push('"'), inside = more).1,
                        None => break,
                    }
                }
                rest = inside;
            } else {
                let end = rest.find([',', '\r', '\n', '"']).unwrap_or(rest.len());
                field += &rest[..end];
                rest = &rest[end..];
            }
            fields.push(field);
            if let Some(after) = rest.strip_prefix(',') {
                rest = after;
                if rest.is_empty() {
                    fields.push(String::new());
                }
            } else {
                rest = if rest.is_empty() { rest } else { rest.strip_prefix("\r\n")? };
                rows.push(std::mem::take(&mut fields));
            }
        }
        Some(rows)
    }

    /// The examples printed in RFC 4180, section 2, rules 1, 3, 5, 6 and 7.
    #[test]
    fn examples_of_the_standard() {
        let rule_1 = "aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n";
        let rule_3 = "field_name,field_name,field_name\r\naaa,bbb,ccc\r\nzzz,yyy,xxx\r\n";
        for text in [rule_1, rule_3] {
            let rows = read(text).unwrap();
            assert_eq!(rows.into_iter().map(row).collect::<String>(), text);
        }
        let rule_5 = "\"aaa\",\"bbb\",\"ccc\"\r\nzzz,yyy,xxx";
        assert_eq!(read(rule_5).unwrap(), [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]);
        let rule_6 = "\"aaa\",\"b\r\nbb\",\"ccc\"\r\nzzz,yyy,xxx";
        assert_eq!(read(rule_6).unwrap()[0], ["aaa", "b\r\nbb", "ccc"]);
        assert_eq!(row(["aaa", "b\r\nbb", "ccc"].map(String::from)), "aaa,\"b\r\nbb\",ccc\r\n");
        let rule_7 = "\"aaa\",\"b\"\"bb\",\"ccc\"";
        assert_eq!(read(rule_7).unwrap(), [["aaa", "b\"bb", "ccc"]]);
        assert_eq!(row(["aaa", "b\"bb", "ccc"].map(String::from)), "aaa,\"b\"\"bb\",ccc\r\n");
    }

    #[test]
    fn formulas_are_made_text() {
        assert_eq!(harmless("=1+1"), "'=1+1");
        assert_eq!(harmless("twelve"), "twelve");
    }

    proptest! {
        #[test]
        fn what_is_written_is_read_back(fields in proptest::collection::vec(".*", 2..5)) {
            prop_assert_eq!(read(&row(fields.clone())), Some(vec![fields]));
        }
    }
}
