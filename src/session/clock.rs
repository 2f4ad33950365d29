//! A session's clocks: session time, which continues across stops from where the journal ended, and the machine's wall time with offset.
//!
//! Session time is either real or counted in samples spoken and heard. A walk over sound files thus has the times of its sound. A typed
//! walk is counted too but never falls behind real time, because the user may be typing. Wall time is never counted.

use super::record::Now;
use crate::units::names;
use jiff::{Timestamp, ZonedDateTime as Zoned};
use serde::{Deserialize, Serialize};
use std::fmt::Debug;
use std::sync::Arc;
use std::time::{Duration, Instant};

names! {
    /// How session time advances.
    Passing {
        /// With the machine's monotonic clock.
        Real = "real",
        /// With the length of what is said and heard.
        Counted = "counted",
    }
}

/// How session time advances from here on. The body of a [`super::Kind::Time`] entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct SessionTime {
    /// How it advances.
    pub session_time: Passing,
}

/// Where time comes from.
pub trait TimeSource: Debug + Send + Sync {
    /// Time since some moment, which never goes back.
    fn monotonic(&self) -> Duration;

    /// What the machine's wall clock shows.
    fn wall(&self) -> Zoned;
}

/// The machine's own clocks.
#[derive(Debug)]
struct Machine(Instant);

impl TimeSource for Machine {
    fn monotonic(&self) -> Duration {
        self.0.elapsed()
    }

    fn wall(&self) -> Zoned {
        Zoned::now()
    }
}

/// A session's time.
#[derive(Debug, Clone)]
pub struct Clock {
    source: Arc<dyn TimeSource>,
    began: Duration,
    base_ms: u64,
    /// Nanoseconds counted so far. `None` in real time.
    counted: Option<u64>,
    /// Counted time never falls behind real time.
    typed: bool,
    /// When the wall clock was looked at last, and what it showed.
    looked: (Duration, Timestamp),
}

/// Difference between wall and session time from which the wall clock counts as changed, milliseconds. Chosen, no source.
const SET_MS: i128 = 2_000;

impl Clock {
    /// A session that starts now.
    pub fn start() -> Self {
        Self::by(Arc::new(Machine(Instant::now())))
    }

    /// A session that begins now, by another source of time than the machine's.
    pub fn by(source: Arc<dyn TimeSource>) -> Self {
        let began = source.monotonic();
        let looked = (began, source.wall().timestamp());
        Clock { source, began, base_ms: 0, counted: None, typed: false, looked }
    }

    /// A resumed session. The time since `last` counts, by the wall clock, unless that was set back.
    pub fn resume(last: &Now) -> Self {
        Clock { base_ms: last.mono_ms.saturating_add(away_ms(last)), ..Clock::start() }
    }

    /// The same time, but from now on only [`Clock::count`] advances session time.
    pub fn counted(mut self) -> Self {
        self.base_ms = self.mono_ms();
        (self.counted, self.began) = (Some(0), self.source.monotonic());
        self
    }

    /// The same time, but from now on session time is the later of real time and what [`Clock::count`] counted.
    pub fn typed(self) -> Self {
        Clock { typed: true, ..self.counted() }
    }

    /// The same moment; from here on time comes from another source.
    pub fn going_on_by(mut self, source: Arc<dyn TimeSource>) -> Self {
        self.base_ms = self.mono_ms();
        self.counted = self.counted.map(|_| 0);
        self.began = source.monotonic();
        self.looked = (self.began, source.wall().timestamp());
        Clock { source, ..self }
    }

    /// How session time passes.
    pub fn session_time(&self) -> SessionTime {
        SessionTime { session_time: if self.counted.is_some() { Passing::Counted } else { Passing::Real } }
    }

    /// Counts `samples` of audio at `rate` samples per second. No effect in real time.
    pub fn count(&mut self, samples: u64, rate: u32) {
        if let Some(counted) = &mut self.counted {
            *counted += samples.saturating_mul(1_000_000_000) / u64::from(rate.max(1));
        }
    }

    /// Milliseconds of session time since the session started.
    pub fn mono_ms(&self) -> u64 {
        self.base_ms.saturating_add(self.run_ms())
    }

    /// The present moment.
    pub fn now(&self) -> Now {
        let wall = self.source.wall();
        Now { mono_ms: self.mono_ms(), wall: wall.strftime("%Y-%m-%dT%H:%M:%S.%3f%:z").to_string() }
    }

    /// Looks at the wall clock: by how many milliseconds it was set back since the last look. How session time passes does not matter.
    pub fn look(&mut self) -> Option<u64> {
        let (at, wall) = (self.source.monotonic(), self.source.wall().timestamp());
        let (then, showed) = std::mem::replace(&mut self.looked, (at, wall));
        let passed = i128::try_from(at.saturating_sub(then).as_nanos()).unwrap_or(i128::MAX);
        // Rounded: the two clocks are not read at the same moment.
        back((wall.duration_since(showed).as_nanos() - passed - 500_000) / 1_000_000)
    }

    fn run_ms(&self) -> u64 {
        let real = || u64::try_from(self.source.monotonic().saturating_sub(self.began).as_millis()).unwrap_or(u64::MAX);
        match self.counted {
            Some(nanoseconds) if self.typed => (nanoseconds / 1_000_000).max(real()),
            Some(nanoseconds) => nanoseconds / 1_000_000,
            None => real(),
        }
    }
}

/// Milliseconds by which a wall clock was set back, if any. `by_ms` is how much further it moved than it should have.
fn back(by_ms: i128) -> Option<u64> {
    (by_ms < -SET_MS).then(|| u64::try_from(by_ms.unsigned_abs()).unwrap_or(u64::MAX))
}

/// Milliseconds of wall time since `then`. Zero if the clock was set back.
pub fn away_ms(then: &Now) -> u64 {
    let Ok(then) = then.wall.parse::<Timestamp>() else { return 0 };
    u64::try_from(Timestamp::now().duration_since(then).as_millis()).unwrap_or(0)
}

/// Milliseconds by which the wall clock was changed between two times, negative if set back. `None` if it was not.
pub fn set_ms(then: &Now, now: &Now) -> Option<i128> {
    let passed = now.mono_ms.saturating_sub(then.mono_ms);
    let by = wall_ms(then, now)? - i128::from(passed);
    (by.abs() > SET_MS).then_some(by)
}

/// Milliseconds by which the wall clock was set back between two times. `None` if it was not.
pub fn set_back_ms(then: &Now, now: &Now) -> Option<u64> {
    set_ms(then, now).and_then(back)
}

/// Milliseconds of wall time between two times, negative if it went backwards. `None` if one of them cannot be parsed.
pub fn wall_ms(then: &Now, now: &Now) -> Option<i128> {
    let at = |now: &Now| now.wall.parse::<Timestamp>().ok();
    Some(at(now)?.duration_since(at(then)?).as_millis())
}

/// Test double: the machine's clocks, the wall clock set by some milliseconds.
#[cfg(test)]
#[derive(Debug)]
pub(crate) struct SetClock(Machine, std::sync::atomic::AtomicI64);

#[cfg(test)]
impl SetClock {
    /// One that has not been set.
    pub(crate) fn start() -> Arc<Self> {
        Arc::new(Self(Machine(Instant::now()), Default::default()))
    }

    /// From here on the wall clock differs from the machine's by this.
    pub(crate) fn set_by(&self, ms: i64) {
        self.1.store(ms, std::sync::atomic::Ordering::Relaxed);
    }
}

#[cfg(test)]
impl TimeSource for SetClock {
    fn monotonic(&self) -> Duration {
        self.0.monotonic()
    }

    fn wall(&self) -> Zoned {
        self.0.wall() + jiff::SignedDuration::from_millis(self.1.load(std::sync::atomic::Ordering::Relaxed))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_that_was_set_is_noticed_and_time_that_passes_is_not() {
        let at = |mono_ms, wall: &str| Now { mono_ms, wall: format!("2026-11-25T{wall}") };
        let then = at(10_000, "10:14:03.000+01:00");
        assert_eq!(set_ms(&then, &at(70_000, "10:15:03.100+01:00")), None);
        assert_eq!(set_ms(&then, &at(70_000, "09:15:03.100+00:00")), None, "another offset, the same time");
        assert_eq!(set_ms(&then, &at(11_000, "09:14:04.000+01:00")), Some(-3_600_000));
        assert_eq!(set_ms(&then, &at(11_000, "10:14:14.000+01:00")), Some(10_000));
    }

    #[test]
    fn resumed_time_goes_on() {
        let now = Clock::start().now();
        assert!(now.wall.parse::<Timestamp>().is_ok(), "{}", now.wall);
        let before = Now { mono_ms: 5_000, wall: "2020-01-01T00:00:00.000+00:00".into() };
        assert!(Clock::resume(&before).now().mono_ms > 5_000 + 86_400_000);
        let future = Now { mono_ms: 5_000, wall: "2999-01-01T00:00:00.000+00:00".into() };
        let resumed = Clock::resume(&future).now().mono_ms;
        assert!((5_000..86_400_000).contains(&resumed), "a clock set back counts as no time");
    }

    /// Contract: wall times come from the machine, however session time advances.
    #[test]
    fn counted_time_moves_by_samples_alone_and_wall_time_does_not() {
        let source = SetClock::start();
        let mut clock = Clock::by(source.clone()).counted();
        let before = clock.now();
        for _ in 0..3 {
            clock.count(5_333_000, 16_000);
        }
        let (after, machine) = (clock.now(), Timestamp::now());
        assert_eq!(after.mono_ms - before.mono_ms, 999_937, "no rounding piles up: 15,999,000 samples");
        let ahead = after.wall.parse::<Timestamp>().unwrap().duration_since(machine).as_millis();
        assert!((-1_000..=0).contains(&ahead), "the wall is {ahead} ms ahead of the machine's clock");
        assert_eq!(clock.look(), None, "session time that runs ahead is no clock that was set");
        source.set_by(-3_600_000);
        assert!(clock.look().is_some_and(|by| (3_599_000..=3_601_000).contains(&by)));
        assert_eq!(clock.look(), None);
    }

    #[test]
    fn a_typed_walk_never_falls_behind_the_real_time() {
        let clock = Clock::start().typed();
        let before = clock.mono_ms();
        std::thread::sleep(std::time::Duration::from_millis(30));
        assert!(clock.mono_ms() >= before + 30);
        let counted = Clock::start().counted();
        let before = counted.mono_ms();
        std::thread::sleep(std::time::Duration::from_millis(30));
        assert_eq!(counted.mono_ms(), before);
    }
}
