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
}

impl Clock {
    /// A session that begins now.
    pub fn start() -> Self {
        Clock { began: Instant::now(), wall: Zoned::now(), base_ms: 0, counted: None }
    }

    /// A session taken up again: the time between, by the wall clock, counts; if that was set back, none does.
    pub fn resume(last: &Now) -> Self {
        Clock { base_ms: last.mono_ms.saturating_add(away_ms(last)), ..Clock::start() }
    }

    /// The same moment, but from now on only [`Clock::count`] moves it.
    pub fn counted(self) -> Self {
        Clock { base_ms: self.mono_ms(), counted: Some(0), began: Instant::now(), wall: Zoned::now() }
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

#[cfg(test)]
mod tests {
    use super::*;

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
