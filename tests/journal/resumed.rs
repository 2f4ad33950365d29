//! Shows that the sessions of these tests come from a walk: the program resumes each where it broke off, which it does only if its own
//! walker turns the journal's events into the journal's records.

use crate::bench::job;
use crate::disk::Disk;
use crate::walked::{Walk, put};
use probeside::run::{Session, TakenUp};
use std::path::Path;

fn taken_up(disk: &Disk) -> Result<TakenUp, String> {
    Session::resume_on(Box::new(disk.folder()), Path::new("")).map_err(|why| why.to_string())
}

#[test]
fn what_the_builder_writes_is_what_the_program_takes_up() {
    let mut walk = Walk::begin(job());
    walk.say_all(&["all of the feed", "point two", "next part"]).say_aloud("point one", 0.7, Some(vec![0.1; 160]));
    walk.correct("point three").say("smell the air").overhear("la la");
    walk.say_all(&["air is clear", "have not got one", "something else"]);
    // It is cut after every line that the walk has handed over.
    for cut in 1..=walk.lines().len() {
        let disk = Disk::new();
        let mut journal = walk.journal(disk.folder()).unwrap();
        walk.lines()[..cut].iter().for_each(|line| put(&mut journal, line, &line.now).unwrap());
        drop(journal);
        assert!(matches!(taken_up(&disk), Ok(TakenUp::Walk(_))), "cut after line {cut}");
    }
    walk.say("it stopped in the rain");
    let disk = Disk::new();
    walk.finish(disk.folder());
    let why = taken_up(&disk).err().expect("it is over");
    assert!(why.contains("this walk is over"), "{why}");
}

/// The test above can fail: a record that the walk did not make is found.
#[test]
fn a_record_of_another_walk_is_not_taken_up() {
    let mut walk = Walk::begin(job());
    walk.say_all(&["measure the battery", "twelve point six"]);
    let disk = Disk::new();
    let mut journal = walk.write(disk.folder());
    journal.record(&crate::bench::renumbered(2), &walk.stage.now()).unwrap();
    drop(journal);
    let why = taken_up(&disk).err().expect("it does not fit");
    assert!(why.contains("does not fit what its own events lead to"), "{why}");
}
