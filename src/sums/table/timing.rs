//! Sums about angles and time: dwell, piston travel, the rotor's rim, sparks, strobe and advance.
//!
//! On a four-stroke with points on the camshaft, the points cam turns once in two turns of the crank. With points on the end of the crank
//! it turns with the crank. `crank_turns` says which (2 or 1).

use crate::sums::Sum;
use crate::sums::sum::sum;
use crate::units::measure::{
    CamDegree, Count, CrankDegree, CrankSpeed, EachMinute, Measure, Millimetre, Millisecond, Percent, RotorDegree,
};
use std::f64::consts::PI;

/// Degrees in a turn.
const TURN: f64 = 360.0;
/// Milliseconds in a minute.
const MINUTE_MS: f64 = 60_000.0;
const DEFINITION: &str = "definition of dwell; automotive handbooks (from memory)";
const CRANK: &str = "slider-crank geometry (any textbook of mechanisms)";
const CIRCLE: &str = "geometry of the circle";
const SPEED: &str = "definition of speed: 360 degrees a turn";

/// Rejects a fractional number of cam lobes.
fn whole(lobes: Count) -> Result<f64, String> {
    match lobes.value() {
        n if n.fract() == 0.0 => Ok(n),
        n => Err(format!("a points cam has a whole number of lobes, not {n}")),
    }
}

/// Rejects a points cam that turns neither with the crank nor at half its speed.
fn turns(crank_turns: Count) -> Result<f64, String> {
    match crank_turns.value() {
        n if n == 1.0 || n == 2.0 => Ok(n),
        n => Err(format!("crank-turns is 2 (points on the camshaft) or 1 (points on the crankshaft), not {n}")),
    }
}

/// The crank's throw and the length of the rod.
fn throw(stroke: Millimetre, rod: Millimetre) -> Result<(f64, f64), String> {
    let radius = stroke.value() / 2.0;
    if rod.value() <= radius {
        return Err(format!(
            "a rod of {} mm is not longer than the crank's throw of {radius} mm (half the stroke): no engine turns so; \
             measure the rod from centre to centre",
            rod.value()
        ));
    }
    Ok((radius, rod.value()))
}

/// Time that the points are closed before each spark, as in the sum `dwell-time`.
pub(super) fn dwell_time(
    share: Percent,
    speed: CrankSpeed,
    lobes: Count,
    crank_turns: Count,
) -> Result<Millisecond, String> {
    let sum = SUMS.iter().find(|sum| sum.name == "dwell-time").expect("the sum stands in this table");
    let given = [share.value(), speed.value(), lobes.value(), crank_turns.value()];
    sum.reckon(&given).map(Millisecond).map_err(|why| why.to_string())
}

pub(super) static SUMS: [Sum; 15] = [
    sum! {"dwell", "dwell as a share of the time, from degrees of the points cam";
        closed_angle: CamDegree [0.0, 360.0] => "For how many degrees of the points cam are the points closed?",
        lobes: Count [1.0, 12.0] => "How many lobes has the points cam?",
        -> Percent to 0.1;
        formula "dwell = angle lobes / 360"; source DEFINITION;
        help "Degrees of the cam, not of the crank: dwell-cam converts. A cam on a crankshaft end turns with the crank.";
        {
            let lobes = whole(lobes)?;
            let each = TURN / lobes;
            match closed_angle.value() {
                angle if angle > each => Err(format!("a points cam of {lobes} lobes opens every {each:.1} degrees and cannot be closed for {angle}; if that was measured at the crank, convert it with dwell-cam")),
                angle => Ok(Percent::from_share(angle / each)),
            }
        }
    },
    sum! {"dwell-angle", "dwell in degrees of the points cam, from its share";
        share: Percent [0.0, 100.0] => "What share of the time are the points closed?",
        lobes: Count [1.0, 12.0] => "How many lobes has the points cam?",
        -> CamDegree to 0.1;
        formula "angle = dwell 360 / lobes"; source DEFINITION;
        help "The inverse of dwell.";
        { Ok(CamDegree(share.share() * TURN / whole(lobes)?)) }
    },
    sum! {"dwell-crank", "dwell in degrees of the crank, from degrees of the points cam";
        closed_angle: CamDegree [0.0, 360.0] => "For how many degrees of the points cam are the points closed?",
        crank_turns: Count [1.0, 2.0] = 2.0 => "How many turns of the crank to one of the points cam?",
        -> CrankDegree to 0.1;
        formula "crank degrees = cam degrees times crank turns"; source DEFINITION;
        help "Two turns where the points sit on the camshaft of a four-stroke, one where they sit on the crankshaft.";
        { Ok(CrankDegree(closed_angle.value() * turns(crank_turns)?)) }
    },
    sum! {"dwell-cam", "dwell in degrees of the points cam, from degrees of the crank";
        closed_angle: CrankDegree [0.0, 720.0] => "For how many degrees of the crank are the points closed?",
        crank_turns: Count [1.0, 2.0] = 2.0 => "How many turns of the crank to one of the points cam?",
        -> CamDegree to 0.1;
        formula "cam degrees = crank degrees / crank turns"; source DEFINITION;
        help "The inverse of dwell-crank.";
        { Ok(CamDegree(closed_angle.value() / turns(crank_turns)?)) }
    },
    sum! {"dwell-time", "time for which the points are closed before each spark";
        share: Percent [0.0, 100.0] => "What share of the time are the points closed?",
        speed: CrankSpeed [1.0, 30_000.0] => "At what engine speed?",
        lobes: Count [1.0, 12.0] => "How many lobes has the points cam?",
        crank_turns: Count [1.0, 2.0] = 2.0 => "How many turns of the crank to one of the points cam?",
        -> Millisecond to 0.01;
        formula "t = dwell (60 / n) crank turns / lobes"; source DEFINITION;
        help "A coil needs about three time constants to fill: time-constant tells them.";
        { Ok(Millisecond(share.share() * MINUTE_MS / speed.value() * turns(crank_turns)? / whole(lobes)?)) }
    },
    sum! {"piston-travel", "travel of the piston below top dead centre at a crank angle";
        angle: CrankDegree [0.0, 180.0] => "How many degrees of the crank before top dead centre?",
        stroke: Millimetre [1.0, 500.0] => "What is the stroke?",
        rod: Millimetre [1.0, 1000.0] => "How long is the rod, from centre to centre?",
        -> Millimetre to 0.01;
        formula "s = r (1 - cos a) + l - sqrt(l^2 - (r sin a)^2), r half the stroke"; source CRANK;
        help "Timing by a dial gauge in the plug hole. An offset pin or a slanted plug hole changes it a little.";
        {
            let (r, l) = throw(stroke, rod)?;
            let a = angle.value().to_radians();
            Ok(Millimetre(r * (1.0 - a.cos()) + l - (l * l - (r * a.sin()).powi(2)).sqrt()))
        }
    },
    sum! {"piston-angle", "crank angle at a travel of the piston below top dead centre";
        travel: Millimetre [0.0, 500.0] => "How far is the piston below top dead centre?",
        stroke: Millimetre [1.0, 500.0] => "What is the stroke?",
        rod: Millimetre [1.0, 1000.0] => "How long is the rod, from centre to centre?",
        -> CrankDegree to 0.1;
        formula "cos a = ((r + l - s)^2 + r^2 - l^2) / (2 r (r + l - s))"; source CRANK;
        help "The inverse of piston-travel.";
        {
            let (r, l) = throw(stroke, rod)?;
            if travel.value() > stroke.value() {
                return Err(format!("the piston cannot be {} mm down in a stroke of {} mm", travel.value(), stroke.value()));
            }
            let height = r + l - travel.value();
            let cos = (height * height + r * r - l * l) / (2.0 * r * height);
            Ok(CrankDegree(cos.clamp(-1.0, 1.0).acos().to_degrees()))
        }
    },
    sum! {"rotor-distance", "distance along a rotor's rim for an angle";
        angle: RotorDegree [0.0, 360.0] => "How many degrees?",
        diameter: Millimetre [1.0, 1000.0] => "What is the rotor's diameter?",
        -> Millimetre to 0.1;
        formula "distance = pi diameter angle / 360"; source CIRCLE;
        help "Measured along the curve, with a strip of paper. To make a timing mark from the one at top dead centre.";
        { Ok(diameter * (PI * angle.value() / TURN)) }
    },
    sum! {"rotor-angle", "angle for a distance along a rotor's rim";
        distance: Millimetre [0.0, 3200.0] => "How far along the rim?",
        diameter: Millimetre [1.0, 1000.0] => "What is the rotor's diameter?",
        -> RotorDegree to 0.1;
        formula "angle = 360 distance / (pi diameter)"; source CIRCLE;
        help "The inverse of rotor-distance.";
        {
            let angle = TURN * (distance / diameter) / PI;
            if angle > TURN {
                return Err(format!("{} mm is more than once round a rotor of {} mm", distance.value(), diameter.value()));
            }
            Ok(RotorDegree(angle))
        }
    },
    sum! {"sparks-per-minute", "sparks that one points set makes in a minute";
        speed: CrankSpeed [0.0, 30_000.0] => "At what engine speed?",
        lobes: Count [1.0, 12.0] => "How many lobes has the points cam?",
        crank_turns: Count [1.0, 2.0] = 2.0 => "How many turns of the crank to one of the points cam?",
        -> EachMinute to 1.0;
        formula "sparks = n lobes / crank turns"; source "definition of speed";
        help "A double-ended coil makes every one of them at both its plugs, half of them wasted.";
        { Ok(EachMinute(speed.value() * whole(lobes)? / turns(crank_turns)?)) }
    },
    sum! {"strobe-speed", "engine speed from the flashes of a strobe";
        flashes: EachMinute [1.0, 60_000.0] => "How many flashes a minute?",
        crank_turns: Count [0.5, 2.0] = 2.0 => "How many turns of the crank to one flash?",
        -> CrankSpeed to 1.0;
        formula "n = flashes times crank turns"; source "definition of speed";
        help "On a plug lead of a four-stroke the strobe flashes every second turn, with a wasted spark every turn.";
        { Ok(CrankSpeed(flashes.value() * crank_turns.value())) }
    },
    sum! {"strobe-advance", "advance from the delay that a strobe is set to";
        delay: Millisecond [0.0, 1000.0] => "What is the delay?",
        speed: CrankSpeed [1.0, 30_000.0] => "At what engine speed?",
        -> CrankDegree to 0.1;
        formula "angle = 360 t n / 60"; source SPEED;
        help "The delay that brings the mark of top dead centre to the pointer.";
        { Ok(CrankDegree(TURN * delay.value() * speed.value() / MINUTE_MS)) }
    },
    sum! {"advance-time", "time by which the spark leads top dead centre";
        angle: CrankDegree [0.0, 360.0] => "How many degrees of the crank before top dead centre?",
        speed: CrankSpeed [1.0, 30_000.0] => "At what engine speed?",
        -> Millisecond to 0.01;
        formula "t = angle 60 / (360 n)"; source SPEED;
        help "The inverse of strobe-advance.";
        { Ok(Millisecond(angle.value() / TURN * MINUTE_MS / speed.value())) }
    },
    sum! {"advance-at", "advance that a curve of two corners asks for at a speed";
        speed: CrankSpeed [0.0, 30_000.0] => "At what engine speed?",
        idle_advance: CrankDegree [0.0, 90.0] => "What is the advance at idle?",
        from_speed: CrankSpeed [0.0, 30_000.0] => "At what speed does it begin to move?",
        full_advance: CrankDegree [0.0, 90.0] => "What is the full advance?",
        full_speed: CrankSpeed [1.0, 30_000.0] => "At what speed is it full?",
        -> CrankDegree to 0.1;
        formula "straight line between the two corners"; source "the corners are the bike's own; the straight line between them is common practice, no source";
        help "What the strobe should show at that speed.";
        {
            if full_speed <= from_speed {
                return Err(format!("the advance is full at {} rpm and begins at {}: the first has to be higher", full_speed.value(), from_speed.value()));
            }
            if full_advance < idle_advance {
                return Err(format!("the full advance of {} degrees is less than {} at idle", full_advance.value(), idle_advance.value()));
            }
            let way = ((speed - from_speed) / (full_speed - from_speed)).clamp(0.0, 1.0);
            Ok(idle_advance + (full_advance - idle_advance) * way)
        }
    },
    sum! {"turn-time", "time of one turn of the crank";
        speed: CrankSpeed [1.0, 30_000.0] => "At what engine speed?",
        -> Millisecond to 0.01;
        formula "t = 60 / n"; source "definition of speed";
        help "At idle about fifty milliseconds.";
        { Ok(Millisecond(MINUTE_MS / speed.value())) }
    },
];
