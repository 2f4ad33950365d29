//! The JSON Schemas for editors match the tables that read the files. `PROBESIDE_BLESS=1 cargo test --test schema` rewrites them.

use probeside::source::schema::schema;
use std::path::Path;

fn check(name: &str, title: &str, object: &'static probeside::source::shape::Object) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures/schema").join(name);
    let now = format!("{:#}\n", schema(title, object));
    if std::env::var_os("PROBESIDE_BLESS").is_some() {
        std::fs::write(&path, &now).unwrap();
    }
    let written = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(written.replace("\r\n", "\n") == now, "{name} is not up to date: run with PROBESIDE_BLESS=1");
}

#[test]
fn schemas_are_up_to_date() {
    check("procedure.json", "A procedure of probeside", &probeside::procedure::PROCEDURE);
    check("faults.json", "A fault library of probeside", &probeside::circuit::faults::FAULTS);
    check("part.json", "A kind of part of probeside", &probeside::parts::PART);
    check("bike.json", "A bike's profile of probeside", &probeside::bike::BIKE);
}
