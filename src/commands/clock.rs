//! The driver's clock: real, or counted in the samples that were spoken and heard.

use crate::session::Now;
use jiff::{SignedDuration, ZonedDateTime as Zoned};
use std::time::Instant;

/// A session's time.
pub struct Clock {
    live: bool,
    began: Instant,
    wall: Zoned,
    base_ms: u64,
    counted_ms: u64,
}

impl Clock {
    /// A clock that goes on from `base_ms`. `live`: real time; else only [`Clock::count`] moves it.
    pub fn new(live: bool, base_ms: u64) -> Self {
        Self { live, began: Instant::now(), wall: Zoned::now(), base_ms, counted_ms: 0 }
    }

    /// Lets sound pass by; without effect in real time.
    pub fn count(&mut self, samples: u64) {
        self.counted_ms += samples * 1000 / u64::from(crate::hear::RATE);
    }

    /// Milliseconds since the session began.
    pub fn mono_ms(&self) -> u64 {
        match self.live {
            true => self.base_ms + self.began.elapsed().as_millis() as u64,
            false => self.base_ms + self.counted_ms,
        }
    }

    /// This moment.
    pub fn now(&self) -> Now {
        let since = (self.mono_ms() - self.base_ms) as i64;
        let wall = match self.live {
            true => Zoned::now(),
            false => self.wall.checked_add(SignedDuration::from_millis(since)).unwrap_or_else(|_| self.wall.clone()),
        };
        Now { mono_ms: self.mono_ms(), wall: rfc3339(&wall) }
    }
}

/// RFC 3339 with milliseconds and offset.
pub fn rfc3339(at: &Zoned) -> String {
    at.strftime("%Y-%m-%dT%H:%M:%S.%3f%:z").to_string()
}

/// Milliseconds of wall time from an RFC 3339 moment to now; zero when the clock was set back.
pub fn since_ms(wall: &str) -> u64 {
    let Ok(then) = wall.parse::<jiff::Timestamp>() else { return 0 };
    jiff::Timestamp::now().as_millisecond().saturating_sub(then.as_millisecond()).max(0) as u64
}
