//! One operating point, side by side: ours, ngspice's library in the same process (Debian: libngspice0), and a run of the program. The
//! netlist is each shipped bike's with the key on, its points closed and a test lamp held to it. Run with `cargo bench --bench circuit`.

use libloading::Library;
use probeside::bike::{self, Bike, BikeState};
use probeside::circuit::{Kind, Lamp, Model, Network};
use std::ffi::{CStr, CString, c_char, c_double, c_int, c_short, c_void};
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};
use std::time::Instant;

const OURS: u32 = 2000;
const LIBRARY: u32 = 500;
const PROGRAM: u32 = 20;
/// Two voltages of the same node may differ by this share: both share one lamp formula.
const SAME: f64 = 1e-3;

fn main() -> ExitCode {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures/bikes");
    let entries = std::fs::read_dir(folder).expect("the shipped bikes");
    let mut files: Vec<PathBuf> = entries.map(|entry| entry.expect("an entry").path()).collect();
    files.sort();
    let library = Spice::load();
    if let Err(why) = &library {
        println!("ngspice's library is not compared ({why}); `apt install libngspice0` mends it");
    }
    let mut sound = true;
    for file in files {
        let bike = bike::load(&file).unwrap_or_else(|wrong| panic!("{}", wrong[0]));
        sound &= compared(&bike, library.as_ref().ok());
    }
    if sound { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// Median seconds of so many runs.
fn median(times: u32, mut run: impl FnMut()) -> f64 {
    let once = |run: &mut dyn FnMut()| {
        let start = Instant::now();
        run();
        start.elapsed().as_secs_f64()
    };
    let mut seconds: Vec<f64> = (0..times).map(|_| once(&mut run)).collect();
    seconds.sort_by(f64::total_cmp);
    seconds[seconds.len() / 2]
}

/// False when ngspice is there and gives no or another answer.
fn compared(bike: &Bike, library: Option<&Spice>) -> bool {
    let mut state = BikeState::default();
    state.switches.insert("key".into(), "connects".into());
    let closed = bike.points.iter().map(|p| p.id.clone()).collect();
    let wiring = Model::new(bike).wiring(&state, &closed);
    let (mut network, _) = wiring.and_then(|w| w.network()).expect("the bike has a netlist");
    let lamp = Kind::Lamp(Lamp { volt: bike.volt, watt: 3.0 });
    let (a, b) = (network.node("engine"), network.node(&format!("coil-{}.feed", bike.coils[0].id)));
    network.add("lamp", a, b, lamp).expect("a lamp fits");
    let ours = median(OURS, || assert!(network.operating_point().is_ok()));
    println!("{}: {} nodes, one lamp", bike.name, network.nodes());
    println!("  ours                     {:>9.1} us (median of {OURS})", ours * 1e6);

    let mut tied = network.clone();
    for name in network.names().iter().skip(1) {
        let node = tied.node(name);
        tied.add("tie", node, Network::REFERENCE, Kind::Resistor(1e12)).expect("a resistor fits");
    }
    let feed = tied.spice_node("n", b);
    let volt = network.operating_point().ok().and_then(|point| point.voltage(b, Network::REFERENCE)).unwrap_or(0.0);
    let mut sound = true;
    if let Some(library) = library {
        let cards: Vec<String> = std::iter::once("bike".to_owned())
            .chain(tied.spice("n").lines().map(str::to_owned))
            .chain([".op".to_owned(), ".end".to_owned()])
            .collect();
        library.circuit(&cards);
        let theirs = median(LIBRARY, || library.command("op"));
        let answer = library.volt(&feed).unwrap_or(f64::NAN);
        let read = median(LIBRARY / 10, || {
            library.circuit(&cards);
            library.command("op");
        });
        let (times, times_read) = (theirs / ours, read / ours);
        println!("  libngspice, op only      {:>9.1} us (median of {LIBRARY}), {times:.1} times ours", theirs * 1e6);
        println!("  libngspice, netlist read {:>9.1} us, {times_read:.1} times ours", read * 1e6);
        let same = (answer - volt).abs() <= SAME * volt.abs();
        if !same {
            println!("  libngspice says {answer} V at {feed}, we {volt} V");
        }
        sound &= same;
    }
    sound & program(&tied, &feed, ours)
}

/// A run of the program; false when it is there and gives no answer.
fn program(tied: &Network, feed: &str, ours: f64) -> bool {
    let folder = tempfile::tempdir().expect("a folder for the deck");
    let file = folder.path().join("bike.cir");
    let deck = format!("bike\n{}.control\nop\nprint all\n.endc\n.end\n", tied.spice("n"));
    std::fs::write(&file, deck).expect("the deck is written");
    let run = || Command::new("ngspice").arg("-b").arg(&file).output();
    match run() {
        Err(error) => {
            println!("  ngspice does not start ({error}): nothing to compare with; `apt install ngspice` mends it");
            return true;
        }
        Ok(out) if !String::from_utf8_lossy(&out.stdout).contains(&format!("{feed} = ")) => {
            println!("  ngspice gave no operating point: {}", String::from_utf8_lossy(&out.stderr));
            return false;
        }
        Ok(_) => {}
    }
    let theirs = median(PROGRAM, || drop(run()));
    println!(
        "  run of ngspice           {:>9.1} us (median of {PROGRAM}), {:.0} times ours",
        theirs * 1e6,
        theirs / ours
    );
    true
}

/// ngspice's shared library, as its manual describes it (chapter "ngspice as shared library or dynamic link library").
struct Spice {
    library: Library,
}

/// `vector_info` of sharedspice.h.
#[repr(C)]
struct VectorInfo {
    name: *mut c_char,
    kind: c_int,
    flags: c_short,
    real: *mut c_double,
    complex: *mut c_void,
    length: c_int,
}

extern "C" fn said(_: *mut c_char, _: c_int, _: *mut c_void) -> c_int {
    0
}
extern "C" fn left(_: c_int, _: bool, _: bool, _: c_int, _: *mut c_void) -> c_int {
    0
}

impl Spice {
    fn load() -> Result<Self, libloading::Error> {
        // SAFETY: a library of the system whose start-up code only sets its own tables.
        let library = unsafe { Library::new("libngspice.so.0") }?;
        type Init = unsafe extern "C" fn(
            extern "C" fn(*mut c_char, c_int, *mut c_void) -> c_int,
            extern "C" fn(*mut c_char, c_int, *mut c_void) -> c_int,
            extern "C" fn(c_int, bool, bool, c_int, *mut c_void) -> c_int,
            *mut c_void,
            *mut c_void,
            *mut c_void,
            *mut c_void,
        ) -> c_int;
        // SAFETY: the signature is that of sharedspice.h; callbacks that are not wanted may be null.
        unsafe {
            let init = library.get::<Init>(b"ngSpice_Init")?;
            let null = std::ptr::null_mut();
            init(said, said, left, null, null, null, null);
        }
        Ok(Self { library })
    }

    fn circuit(&self, cards: &[String]) {
        let texts: Vec<CString> =
            cards.iter().map(|card| CString::new(card.as_str()).expect("no zero in a card")).collect();
        let mut lines: Vec<*mut c_char> = texts.iter().map(|text| text.as_ptr().cast_mut()).collect();
        lines.push(std::ptr::null_mut());
        type Circ = unsafe extern "C" fn(*mut *mut c_char) -> c_int;
        // SAFETY: a null-terminated list of strings that live until the call returns; the library copies them.
        unsafe {
            let circ = self.library.get::<Circ>(b"ngSpice_Circ").expect("ngSpice_Circ");
            assert_eq!(circ(lines.as_mut_ptr()), 0, "libngspice takes the netlist");
        }
    }

    fn command(&self, words: &str) {
        let words = CString::new(words).expect("no zero in a command");
        type Order = unsafe extern "C" fn(*mut c_char) -> c_int;
        // SAFETY: a string that lives until the call returns.
        unsafe {
            let order = self.library.get::<Order>(b"ngSpice_Command").expect("ngSpice_Command");
            assert_eq!(order(words.as_ptr().cast_mut()), 0, "libngspice obeys");
        }
    }

    fn volt(&self, node: &str) -> Option<f64> {
        let node = CString::new(node).ok()?;
        type Get = unsafe extern "C" fn(*mut c_char) -> *mut VectorInfo;
        // SAFETY: the vector belongs to the library and is read before the next command.
        unsafe {
            let get = self.library.get::<Get>(b"ngGet_Vec_Info").ok()?;
            let info = get(node.as_ptr().cast_mut()).as_ref()?;
            let named = !info.name.is_null() && CStr::from_ptr(info.name).to_bytes() == node.as_bytes();
            (named && info.length > 0 && !info.real.is_null()).then(|| *info.real.add(info.length as usize - 1))
        }
    }
}
