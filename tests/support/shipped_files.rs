//! The shipped files by name, and the parts of the README that are generated from them.

use std::path::{Path, PathBuf};

pub fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The YAML files in a folder below the root, by name.
pub fn yaml_in(folder: &str) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(root().join(folder)).expect("a shipped folder");
    let mut files: Vec<PathBuf> = entries.map(|entry| entry.expect("an entry").path()).collect();
    files.retain(|file| file.extension().is_some_and(|end| end == "yaml"));
    files.sort();
    files
}

pub fn name(file: &Path) -> String {
    file.file_stem().expect("a name").to_string_lossy().into_owned()
}

/// The README with `text` between the two markers of `part`, and the previous text.
pub fn readme_with(part: &str, text: &str) -> (String, String) {
    let all = std::fs::read_to_string(root().join("README.md")).expect("the README");
    let (begin, end) = (format!("<!-- {part}: begin -->\n"), format!("\n<!-- {part}: end -->"));
    let from = all.find(&begin).unwrap_or_else(|| panic!("the README has no {begin:?}")) + begin.len();
    let to = from + all[from..].find(&end).unwrap_or_else(|| panic!("the README has no {end:?}"));
    (format!("{}{text}{}", &all[..from], &all[to..]), all[from..to].to_owned())
}

pub fn write_readme(all: &str) {
    std::fs::write(root().join("README.md"), all).expect("the README is written");
}
