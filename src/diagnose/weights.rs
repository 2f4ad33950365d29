//! Every weight that advice and the best order reckon with, and where it comes from.

/// Chance that somebody looks wrong, touches paint or says the wrong word (common practice, no source; for reading a dial in a control room
/// 0.003 is quoted: Swain and Guttmann, NUREG/CR-1278, from memory; a probe on greasy metal is worse).
pub const SLIP: f64 = 0.01;
/// Chance that an accepted answer was misheard and not asked back: 11 of 2,334 test trials were, at most 0.8 % (95 %), rounded up.
pub const MISHEARD: f64 = 0.01;
/// Chance that a told answer is wrong: badly remembered, from another place, or from before something was moved (chosen, no source). It
/// replaces [`SLIP`].
pub const TOLD: f64 = 0.05;
/// A check that was made again with the same result is a slip this many times less often: the two errors are not independent
/// (a tenth is a usual share of common causes; IEC 61508-6, from memory).
pub(super) const AGAIN: f64 = 0.1;
/// Prior of everything outside the library (chosen, no source).
pub const OUTSIDE: f64 = 0.1;
/// Share of it that is nothing at all: the bike is sound, or the fault does not show today (chosen, no source).
pub(super) const NOTHING: f64 = 0.5;
/// A fault outside the library shows something that no healthy bike shows at this share of the checks (chosen, no source).
pub(super) const OUTSIDE_SHOWS: f64 = 0.1;
/// Where the trouble comes and goes, a fault shows at a check as often as not (chosen, no source: a coin).
pub(super) const SHOWS: f64 = 0.5;
/// Where its place is moved three times while the instrument is watched, it shows unless each of them is tails: 1 - 0.5^3.
pub(super) const SHOWS_MOVED: f64 = 0.875;
/// Share of the jobs in which it comes and goes and nobody said so (chosen, no source).
pub(super) const SOMETIMES: f64 = 0.05;
/// From this probability on the choice goes by that.
pub(super) const LIKELY_SOMETIMES: f64 = 0.5;
/// Above this probability of a fault that comes and goes, the bike is not called sound.
pub(super) const HARDLY_SOUND: f64 = 0.3;
/// Nothing inside the library makes the outside lighter than this.
pub(super) const OUTSIDE_LEAST: f64 = 0.01;
/// A fault is weighed in degrees that are at most this many times apart; each stands for all between its neighbours.
pub(super) const STEP: f64 = 2.0;
/// So a reading that the fault changes has at least this spread, as a share of it: half a step, a factor of 1.41, is two of them.
pub(super) const STEP_SPREAD: f64 = 0.2;
/// Least spread of a reading, as a share of it: meter, leads and temperature (common practice, no source).
pub(super) const READING_SPREAD: f64 = 0.05;
/// "About twelve" has this many times the spread.
pub(super) const ABOUT: f64 = 3.0;
/// A suspect that weighs this much counts as left.
pub(super) const LEFT: f64 = 0.01;
/// Most suspects that are written down.
pub(super) const MOST_SUSPECTS: usize = 8;
/// Answers that are named as reasons, and the least weight of evidence that is one (a factor of two).
pub(super) const REASONS: (usize, f64) = (2, 0.3);
/// Less likely a slip than this, and an answer is neither called doubtful nor asked for again.
pub(super) const DOUBTFUL: f64 = 0.2;
/// Decimals of what is written down.
pub(super) const DECIMALS: f64 = 1e4;

/// A cause that is at least this probable ends a walk in best order. Measured: see tests/measure/RESULTS.md.
pub(super) const BAR: f64 = 0.99;
/// Least probability of that cause with any single answer left out. Below it the answer is checked again, so that one slip cannot condemn a part.
/// Measured, as above.
pub(super) const CARRIED: f64 = 0.9;
/// Most times that one check is made in a walk (chosen, no source).
pub(super) const MOST_TIMES: usize = 3;
/// A check that is needed before the bike can be called sound has to be made anyway if it is sound: this share of its minutes then does not
/// count. If none of them counts, faults are found later. Measured, as above.
pub(super) const ANYWAY: f64 = 0.5;
/// A check that tells less than this, bits, is not made.
pub(super) const LEAST_BITS: f64 = 0.03;
/// A fault that is too mild to stop the circuit from doing its work is this many times less likely than one that does: somebody came because
/// it does not work, and the circuit may be wrong about the last step (chosen, no source).
pub(super) const MILD: f64 = 0.1;
/// Number of checks that are examined together with their follow-up, from each of two rankings (chosen, no source).
pub(super) const AHEAD: usize = 6;
/// A check that takes no time is as good as one that takes this long, minutes.
pub(super) const LEAST_MINUTES: f64 = 0.1;
/// Where nothing tells causes apart any more, those at least this probable are named.
pub(super) const WORTH_NAMING: f64 = 0.05;
/// And at most so many.
pub(super) const MOST_NAMED: usize = 4;
