//! Loads everything that a walk needs: a procedure and all that it calls, a bike and a vocabulary, with the bytes of each file for the
//! copies in the journal's folder.

use super::outcome::Failure;
use crate::bike;
use crate::check::{self, Surroundings};
use crate::circuit::faults::Library;
use crate::parts::Catalogue;
use crate::phrase::Vocabulary;
use crate::procedure::{self, Procedure, Target};
use crate::source::tree::{self, Node};
use crate::source::{Diagnostic, decode_text, read_bytes, read_text};
use crate::walk::World;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::rc::Rc;
use std::sync::Arc;

/// A world and the files that it was loaded from.
pub struct Loaded {
    /// What the walker reads.
    pub world: World,
    /// The name in a session's folder, and the bytes.
    pub files: Vec<(String, Vec<u8>)>,
    /// The faults for advice. `None`: no advice.
    pub faults: Option<Library>,
}

impl Loaded {
    /// Adds advice by this fault library. Its bytes join the other files.
    ///
    /// # Errors
    /// What is wrong with the file.
    pub fn with_faults(mut self, path: &Path) -> Result<Self, Vec<Diagnostic>> {
        let bytes = read_bytes(path).map_err(|d| vec![d])?;
        let name = path.to_string_lossy();
        let text = decode_text(bytes.clone(), &name).map_err(|d| vec![d])?;
        self.faults = Some(Library::parse(&text, &name)?);
        self.files.push((FAULTS_COPY.to_owned(), bytes));
        Ok(self)
    }
}

/// Name of the bike's copy in a session's folder.
pub(super) const BIKE_COPY: &str = "bike/bike.yaml";
/// Folder of the catalogue's copies in a session's folder, and of a user's own kinds of part beside the folder of bikes.
const PART_COPIES: &str = "parts";
/// Name of the vocabulary's copy in a session's folder.
pub(super) const VOCABULARY_COPY: &str = "vocabulary/words.yaml";
/// Name of the fault library's copy in a session's folder.
pub(super) const FAULTS_COPY: &str = "faults/library.yaml";
/// What to do about a bike that a procedure cannot be walked on.
const GATE_HELP: &str = "`probeside check BIKE` lists the procedures that it can be walked through.";
/// Name of the shipped fault library.
pub const SHIPPED_FAULTS: &str = "faults/ignition.yaml";
/// Folder of fault libraries beside a procedure.
const FAULTS_BESIDE: &str = "faults";
/// Folder of the procedures' copies in a session's folder.
pub(super) const PROCEDURE_COPIES: &str = "procedure";

/// Loads a procedure with all that it calls, a bike and a vocabulary from their files.
///
/// # Errors
/// All findings in these files, or a procedure that does not apply to the bike.
pub fn world(procedure: &Path, bike: &Path, vocabulary: &Path) -> Result<Loaded, Vec<Diagnostic>> {
    let loaded = world_from(read_bytes, Vocabulary::from_yaml, procedure, bike, vocabulary)?;
    let why = gate(&loaded.world);
    let main = &loaded.world.procedures[&loaded.world.main];
    let name = &loaded.world.bike.name;
    let told = |why: &String| {
        let message = format!("`{}` cannot be walked on the {name}: {why}", main.id);
        Diagnostic::error(&main.place, "does-not-apply", message).help(GATE_HELP)
    };
    if why.is_empty() { Ok(loaded) } else { Err(why.iter().map(told).collect()) }
}

/// Why a world's main procedure cannot be walked on its bike, in words; empty if it can. The one gate of walks, proofs and rehearsals.
pub fn gate(world: &World) -> Vec<String> {
    let all: BTreeMap<&str, Rc<Procedure>> =
        world.procedures.iter().map(|(id, procedure)| (id.as_str(), Rc::new(procedure.clone()))).collect();
    let called = |id: &str| all.get(id).cloned();
    let around = Surroundings {
        bikes: &[],
        called: &called,
        library: &[],
        reserved: &[],
        words: &world.vocabulary,
        faults: None,
    };
    check::gate(&world.procedures[&world.main], &world.bike, &around)
}

/// Like [`world`], but `read` supplies the files' bytes and `words` the vocabulary.
///
/// # Errors
/// As [`world`].
pub fn world_from(
    read: impl FnMut(&Path) -> Result<Vec<u8>, Diagnostic>,
    words: impl Fn(&str, &str) -> Result<Vocabulary, Vec<Diagnostic>>,
    procedure: &Path,
    bike: &Path,
    vocabulary: &Path,
) -> Result<Loaded, Vec<Diagnostic>> {
    let mut found = Vec::new();
    let mut files = Vec::new();
    let read = std::cell::RefCell::new(read);
    // A kind of part beside the bike, where there is one: of the user's own, or a session's copy.
    let mut part = |path: &Path| {
        let bytes = (read.borrow_mut())(path).ok()?;
        decode_text(bytes, &path.to_string_lossy()).ok()
    };
    let text_of = |path: &Path| {
        let bytes = (read.borrow_mut())(path).map_err(|d| vec![d])?;
        let text = decode_text(bytes.clone(), &path.to_string_lossy()).map_err(|d| vec![d])?;
        Ok::<_, Vec<Diagnostic>>((text, bytes))
    };
    let mut procedures = BTreeMap::new();
    let mut main = None;
    let mut queue = vec![procedure.to_path_buf()];
    while let Some(path) = queue.pop() {
        let parsed = text_of(&path).and_then(|(text, bytes)| Ok((procedure::parse_named(&text, &path)?, bytes)));
        match parsed {
            Ok((loaded, bytes)) => {
                let folder = path.parent().unwrap_or(Path::new("."));
                for called in calls(&loaded) {
                    let next = folder.join(format!("{called}.yaml"));
                    if !procedures.contains_key(&called) && !queue.contains(&next) && called != loaded.id {
                        queue.push(next);
                    }
                }
                main.get_or_insert_with(|| loaded.id.clone());
                files.push((format!("{PROCEDURE_COPIES}/{}.yaml", loaded.id), bytes));
                procedures.insert(loaded.id.clone(), loaded);
            }
            Err(all) => found.extend(all),
        }
    }
    let mut keep = |name: &str, bytes| files.push((name.to_owned(), bytes));
    let loaded_bike = text_of(bike).and_then(|(text, bytes)| {
        keep(BIKE_COPY, bytes);
        let tree = tree::parse(&text, &bike.to_string_lossy())?;
        let (loaded, kinds) = bike_of(&tree, bike, &mut part)?;
        for (kind, text) in kinds {
            keep(&format!("{PART_COPIES}/{kind}.yaml"), text.as_bytes().to_vec());
        }
        Ok(loaded)
    });
    let words = text_of(vocabulary).and_then(|(text, bytes)| {
        keep(VOCABULARY_COPY, bytes);
        words(&text, &vocabulary.to_string_lossy())
    });
    let loaded_bike = loaded_bike.map_err(|all| found.extend(all)).ok();
    let words = words.map_err(|all| found.extend(all)).ok();
    let (Some(main), Some(bike), Some(vocabulary), true) = (main, loaded_bike, words, found.is_empty()) else {
        return Err(found);
    };
    let bike_value = Arc::new(bike::as_value(&bike, &vocabulary));
    Ok(Loaded { world: World { main, procedures, bike, bike_value, vocabulary }, files, faults: None })
}

/// Kinds of part by name, with the text of each.
type Kinds = Vec<(String, Arc<str>)>;

/// A bike from its tree, and the kinds of its parts. `beside` reads a file beside the bike's folder.
fn bike_of(
    tree: &Node,
    path: &Path,
    beside: &mut dyn FnMut(&Path) -> Option<String>,
) -> Result<(bike::Bike, Kinds), Vec<Diagnostic>> {
    let mut catalogue = Catalogue::shipped().clone();
    let folder = path.parent().and_then(Path::parent).map(|folder| folder.join(PART_COPIES));
    let named: BTreeSet<&str> =
        tree.dict("parts").filter_map(|(_, part)| Some(part.get("kind")?.spelling.as_str())).collect();
    for kind in named {
        let Some(file) = folder.as_ref().map(|folder| folder.join(kind).with_extension("yaml")) else { continue };
        if let Some(text) = beside(&file) {
            catalogue.add(&text, &file.to_string_lossy())?;
        }
    }
    let bike = bike::from_tree(tree, &catalogue)?;
    let kinds = bike::kinds_used(&bike).into_iter().map(|kind| (kind.id.value.clone(), kind.text.clone()));
    let kinds = kinds.collect();
    Ok((bike, kinds))
}

/// Loads a vocabulary by path, or by the name of a shipped one.
///
/// # Errors
/// What is wrong with the file.
pub fn vocabulary(name: &Path) -> Result<Vocabulary, Vec<Diagnostic>> {
    let file = find(name, &shipped().join("vocabulary"));
    let text = read_text(&file).map_err(|why| vec![why])?;
    Vocabulary::from_yaml(&text, &file.display().to_string())
}

/// Ids of the procedures that this one calls.
pub fn calls(procedure: &Procedure) -> Vec<String> {
    fn of(target: &Target, to: &mut Vec<String>) {
        if let Target::Call { procedure, then } = target {
            to.push(procedure.value.clone());
            of(then, to);
        }
    }
    let mut found = Vec::new();
    for target in procedure.targets() {
        of(target, &mut found);
    }
    found.sort();
    found.dedup();
    found
}

/// The folder of the shipped procedures: `PROBESIDE_PROCEDURES`, beside the program, or in the source tree.
pub fn shipped() -> PathBuf {
    if let Some(set) = std::env::var_os("PROBESIDE_PROCEDURES") {
        return set.into();
    }
    let beside = std::env::current_exe().ok().and_then(|exe| Some(exe.parent()?.join("procedures")));
    match beside {
        Some(folder) if folder.is_dir() => folder,
        _ => Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures"),
    }
}

/// Resolves a procedure or bike as the user named it: a path, or the name of a shipped one.
pub fn find(name: &Path, shipped_in: &Path) -> PathBuf {
    if name.exists() || name.components().count() > 1 {
        return name.to_path_buf();
    }
    let file = shipped_in.join(name).with_extension("yaml");
    if file.exists() { file } else { name.to_path_buf() }
}

/// The fault library for a procedure where none is named: the first in the folder `faults/` beside it, else the shipped one.
pub fn usual_faults(procedure: &Path) -> PathBuf {
    let beside = procedure.parent().unwrap_or(Path::new(".")).join(FAULTS_BESIDE);
    yaml_files(&beside).into_iter().next().unwrap_or_else(|| shipped().join(SHIPPED_FAULTS))
}

/// The YAML files in a folder, in order.
fn yaml_files(folder: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder).into_iter().flatten();
    let mut files: Vec<PathBuf> = entries.filter_map(|entry| Some(entry.ok()?.path())).collect();
    files.retain(|file| file.extension().is_some_and(|e| e == "yaml" || e == "yml"));
    files.sort();
    files
}

/// The first bike beside the procedure that it applies to, otherwise the reason why the last one does not fit.
pub fn first_that_applies(procedure: &Path, words: &Path) -> Result<Loaded, Failure> {
    let beside = procedure.parent().unwrap_or(Path::new(".")).join("bikes");
    let mut last = Failure::Usage(format!("there is no bike in {}; give one with --bike FILE", beside.display()));
    for bike in yaml_files(&beside) {
        match world(procedure, &bike, words) {
            Ok(loaded) => return Ok(loaded),
            Err(found) => last = found.into(),
        }
    }
    Err(last)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_procedure_has_the_library_beside_it_and_else_the_shipped_one() {
        let folder = tempfile::tempdir().expect("a folder");
        let procedure = folder.path().join("lights.yaml");
        let of = || usual_faults(&procedure);
        assert_eq!(of(), shipped().join(SHIPPED_FAULTS), "no folder");
        let beside = folder.path().join(FAULTS_BESIDE);
        std::fs::create_dir(&beside).expect("a folder");
        std::fs::write(beside.join("notes.txt"), "").expect("a file");
        assert_eq!(of(), shipped().join(SHIPPED_FAULTS), "no library in the folder");
        for name in ["second.yaml", "first.yaml"] {
            std::fs::write(beside.join(name), "").expect("a file");
        }
        assert_eq!(of(), beside.join("first.yaml"));
        let own = shipped().join("no-spark.yaml");
        assert_eq!(usual_faults(&own), shipped().join(SHIPPED_FAULTS));
    }
}
