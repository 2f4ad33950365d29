//! A session's time: monotonic milliseconds that go on over stops where the journal left off, and wall time with offset. Real, or
//! counted in the samples that were spoken and heard, so that a walk over sound files has times of its own.

use super::record::Now;
use jiff::{SignedDuration, Timestamp, ZonedDateTime as Zoned};
use std::time::Instant;

/// A session's time.
#[derive(Debug, Clone)]
pub struct Clock {
    began: Instant,
    wall: Zoned,
    base_ms: u64,
    /// Nanoseconds that were counted; `None` in real time.
    counted: Option<u64>,
    /// Tests set the wall clock by this, milliseconds.
    #[cfg(test)]
    pub(crate) set_by_ms: std::sync::Arc<std::sync::atomic::AtomicI64>,
}

/// Difference between wall and session time from which the wall clock is said to have been set, milliseconds. Chosen, no source.
const SET_MS: i128 = 2_000;

impl Clock {
    /// A session that begins now.
    pub fn start() -> Self {
        Clock {
            began: Instant::now(),
            wall: Zoned::now(),
            base_ms: 0,
            counted: None,
            #[cfg(test)]
            set_by_ms: Default::default(),
        }
    }

    /// A session taken up again: the time between, by the wall clock, counts; if that was set back, none does.
    pub fn resume(last: &Now) -> Self {
        Clock { base_ms: last.mono_ms.saturating_add(away_ms(last)), ..Clock::start() }
    }

    /// The same moment, but from now on only [`Clock::count`] moves it.
    pub fn counted(mut self) -> Self {
        self.base_ms = self.mono_ms();
        (self.counted, self.began, self.wall) = (Some(0), Instant::now(), Zoned::now());
        self
    }

    /// Lets `samples` of sound at `rate` samples per second pass by; without effect in real time.
    pub fn count(&mut self, samples: u64, rate: u32) {
        if let Some(counted) = &mut self.counted {
            *counted += samples.saturating_mul(1_000_000_000) / u64::from(rate.max(1));
        }
    }

    /// Milliseconds since the session began.
    pub fn mono_ms(&self) -> u64 {
        self.base_ms.saturating_add(self.run_ms())
    }

    /// The present moment.
    pub fn now(&self) -> Now {
        let run = i64::try_from(self.run_ms()).unwrap_or(i64::MAX);
        let wall = match self.counted {
            None => Zoned::now(),
            Some(_) => self.wall.checked_add(SignedDuration::from_millis(run)).unwrap_or_else(|_| self.wall.clone()),
        };
        #[cfg(test)]
        let wall = {
            let by = SignedDuration::from_millis(self.set_by_ms.load(std::sync::atomic::Ordering::Relaxed));
            wall.checked_add(by).unwrap_or(wall)
        };
        Now { mono_ms: self.mono_ms(), wall: wall.strftime("%Y-%m-%dT%H:%M:%S.%3f%:z").to_string() }
    }

    fn run_ms(&self) -> u64 {
        match self.counted {
            Some(nanoseconds) => nanoseconds / 1_000_000,
            None => u64::try_from(self.began.elapsed().as_millis()).unwrap_or(u64::MAX),
        }
    }
}

/// Milliseconds of wall time from a moment to the present; zero when the clock was set back.
pub fn away_ms(then: &Now) -> u64 {
    let Ok(then) = then.wall.parse::<Timestamp>() else { return 0 };
    u64::try_from(Timestamp::now().duration_since(then).as_millis()).unwrap_or(0)
}

/// By how many milliseconds the wall clock was set between two moments, back where it is negative; `None` where it was not.
pub fn set_ms(then: &Now, now: &Now) -> Option<i128> {
    let at = |now: &Now| now.wall.parse::<Timestamp>().ok();
    let passed = now.mono_ms.saturating_sub(then.mono_ms);
    let by = at(now)?.duration_since(at(then)?).as_millis() - i128::from(passed);
    (by.abs() > SET_MS).then_some(by)
}

/// By how many milliseconds the wall clock was set back between two moments; `None` where it was not.
pub fn set_back_ms(then: &Now, now: &Now) -> Option<u64> {
    set_ms(then, now).filter(|by| *by < 0).map(|by| u64::try_from(by.unsigned_abs()).unwrap_or(u64::MAX))
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

    #[test]
    fn counted_time_moves_by_samples_alone() {
        let mut clock = Clock::start().counted();
        let before = clock.now();
        assert_eq!(before, clock.now());
        for _ in 0..3 {
            clock.count(5_333, 16_000);
        }
        let after = clock.now();
        assert_eq!(after.mono_ms - before.mono_ms, 999, "no rounding piles up: 15,999 samples");
        let [a, b] = [&before, &after].map(|n| n.wall.parse::<Timestamp>().unwrap().as_millisecond());
        assert_eq!(b - a, 999);
    }
}
