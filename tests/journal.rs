//! The journal under attack: power cuts, full and failing disks, kills, other processes, strangers' folders and forgers.

#[path = "journal/amend.rs"]
mod amend;
#[path = "journal/bench.rs"]
mod bench;
#[path = "support/disk.rs"]
mod disk;
#[path = "journal/folder.rs"]
mod folder;
#[path = "journal/forgery.rs"]
mod forgery;
#[path = "journal/power.rs"]
mod power;
#[path = "journal/reading.rs"]
mod reading;
#[path = "support/rebuilt.rs"]
mod rebuilt;
#[path = "journal/resumed.rs"]
mod resumed;
#[path = "support/stage.rs"]
#[allow(dead_code)]
mod stage;
#[path = "support/walked.rs"]
mod walked;
#[path = "journal/whole.rs"]
mod whole;
#[path = "journal/writer.rs"]
mod writer;
