//! The whole circuit of a break as a deck for the reference program: every branch of the bike, the coils as coupled windings.

use probeside::circuit::{BranchKind, Iron, Wiring};
use std::collections::BTreeMap;
use std::fmt::Write;

/// Seconds from the start, in the steady state, to the break.
const BREAK_AT: f64 = 20e-6;
/// Resistance of an open contact, and of the ties of floating parts, ohm.
const AS_OPEN: f64 = 1e12;

/// Coupling of the windings.
const COUPLED: f64 = 0.999_999;

/// Nodes by terminal.
struct Nodes {
    ground: String,
    known: BTreeMap<String, usize>,
}

impl Nodes {
    fn of(&mut self, name: &str) -> String {
        if name == self.ground {
            return "0".to_owned();
        }
        let next = self.known.len();
        format!("n{}", self.known.entry(name.to_owned()).or_insert(next))
    }
}

/// A deck that starts in the steady state of `closed`, breaks to `open`, and measures the highest voltage at the lead of `coil`, and the
/// lowest, as `peak` and `dip`.
///
/// With `saturates`, the iron is a behavioural source. Otherwise the windings are coupled inductances.
pub fn deck(closed: &Wiring, open: &Wiring, coil: &str, saturates: bool) -> String {
    let mut nodes = Nodes { ground: closed.ground.to_string(), known: BTreeMap::new() };
    let mut text = "a break\n".to_owned();
    let figures = &closed.figures.coils;
    let own = &figures[coil];
    let secondary = closed.branch(&format!("{}.secondary", own.part)).unwrap();
    let lead = nodes.of(&secondary.a);
    // On a coil with two leads, the voltage between them.
    let second = Some(secondary).filter(|b| !own.ends.iter().any(|end| b.b == *end));
    let against = second.map_or("0".to_owned(), |b| nodes.of(&b.b));
    let lead = if against == "0" { format!("v({lead})") } else { format!("v({lead})-v({against})") };
    for (n, (is, then)) in closed.branches().iter().zip(open.branches()).enumerate() {
        assert_eq!(is.id, then.id);
        if is.parted {
            continue;
        }
        let (a, b) = (nodes.of(&is.a), nodes.of(&is.b));
        let winding =
            figures.iter().find_map(|(of, f)| Some((of.as_str(), is.id.strip_prefix(&*f.part)?.strip_prefix('.')?)));
        let _ = match (&is.kind, &then.kind, winding) {
            (BranchKind::Ohm(ohm), BranchKind::Open, _) => writeln!(
                text,
                "S{n} {a} {b} g{n} 0 points{n}\n.model points{n} SW(VT=0.5 VH=0 RON={ohm:e} ROFF={AS_OPEN:e})\n\
                 VG{n} g{n} 0 PWL(0 1 {BREAK_AT:e} 1 {:e} 0)",
                BREAK_AT + 1e-9
            ),
            (BranchKind::Ohm(ohm), _, Some((of, "primary"))) => {
                let f = &figures[of];
                let _ = writeln!(text, "R{n} {a} x{n} {ohm:e}");
                match saturates {
                    true => core(&mut text, of, &format!("x{n}"), &b, f.iron()),
                    false => writeln!(text, "L{of} x{n} {b} {:e}", f.primary_henry),
                }
            }
            (BranchKind::Ohm(ohm), _, Some((of, "secondary"))) => {
                // The other end of the winding is grounded for a pulse: its capacitance is to the engine.
                let (f, home) = (
                    &figures[of],
                    if figures[of].ends.iter().any(|end| is.b == *end) { "0".to_owned() } else { b.clone() },
                );
                let _ = writeln!(text, "R{n} {a} y{n} {ohm:e}\nC{n} {a} {home} {:e}", f.secondary_farad);
                let whole = closed.branch(&format!("{}.primary", figures[of].part)).unwrap().kind != BranchKind::Open;
                match saturates {
                    _ if !whole => writeln!(text, "RY{n} y{n} {b} 1"),
                    true => {
                        writeln!(text, "E{n} y{n} {b} core{of} 0 {:e}\nF{n} 0 turns{of} E{n} {:e}", f.ratio, f.ratio)
                    }
                    false => writeln!(
                        text,
                        "LL{of} y{n} {b} {:e}\nK{of} L{of} LL{of} {COUPLED}",
                        f.primary_henry * f.ratio * f.ratio
                    ),
                }
            }
            (BranchKind::Ohm(ohm), ..) => writeln!(text, "R{n} {a} {b} {ohm:e}"),
            (BranchKind::Emf(volt), ..) => writeln!(text, "V{n} {a} {b} {volt:e}"),
            (BranchKind::Capacitor { farad, leak_ohm }, ..) => {
                writeln!(text, "C{n} {a} {b} {farad:e}\nR{n} {a} {b} {leak_ohm:e}")
            }
            (BranchKind::Open, BranchKind::Open, _) => Ok(()),
            (kind, ..) => panic!("{}: {kind:?} is not in this deck", is.id),
        };
    }
    for n in 0..nodes.known.len() {
        let _ = writeln!(text, "RT{n} n{n} 0 {AS_OPEN:e}");
    }
    let _ = write!(
        text,
        ".options reltol=1e-5 abstol=1e-9 vntol=1e-6 method=gear itl1=500\n.tran 0.2u 600u 0 0.2u\n.control\nrun\n\
         let led = {lead}\nmeas tran peak MAX led\nmeas tran dip MIN led\n.endc\n.end\n"
    );
    text
}

/// The iron between `a` and `b`: the flux linkage is the charge of a farad, and the current follows from it. `core` copies the voltage, and
/// what flows into `turns` flows through the winding too.
fn core(text: &mut String, of: &str, a: &str, b: &str, iron: Iron) -> std::fmt::Result {
    let (knee, beyond) = (iron.henry * iron.saturation_ampere, iron.henry_beyond());
    let henry = iron.henry;
    let at = format!("V(flux{of})");
    writeln!(
        text,
        "Ecore{of} core{of} 0 {a} {b} 1\nGflux{of} 0 flux{of} {a} {b} 1\nCflux{of} flux{of} 0 1\nRflux{of} flux{of} 0 1e12\n\
         Biron{of} {a} {b} I={at}>{knee:e} ? {:e}+({at}-{knee:e})/{beyond:e} : ({at}<-{knee:e} ? -{:e}+({at}+{knee:e})/{beyond:e} : {at}/{henry:e})\n\
         Vturns{of} turns{of} 0 0\nFturns{of} {a} {b} Vturns{of} -1",
        iron.saturation_ampere, iron.saturation_ampere
    )
}
