//! The opened loudspeaker: a ring that the audio callback empties, and the callback's statistics.

use crate::hear::PlayedTo;
use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{BufferSize, ErrorKind, FromSample, OutputCallbackInfo, SampleFormat, SizedSample, StreamConfig};
use rtrb::{Consumer, Producer, RingBuffer};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// Capacity of the ring in seconds.
const RING_SECONDS: u32 = 2;
/// Requested callbacks per second: one every 20 ms. The device buffers two or more.
const CALLBACKS_PER_SECOND: u32 = 50;
/// Frames over which a cut fades out, to avoid a click: 3 ms at 48 kHz.
const FADE_FRAMES: usize = 144;
/// Largest device delay that is believed, in microseconds.
const MOST_DELAY_US: u64 = 2_000_000;
/// A loudspeaker that requests no sample for this long is lost.
pub(super) const MUTE: Duration = Duration::from_millis(1500);

/// What the callbacks report to the player.
#[derive(Debug, Default)]
pub(super) struct StreamStats {
    /// Frames requested by the device since the start, silence included.
    pub(super) asked: AtomicU64,
    /// Frames consumed from the ring since the start.
    pub(super) consumed: AtomicU64,
    /// The device has gone for good.
    pub(super) gone: AtomicBool,
    errors: AtomicU64,
    delay_us: AtomicU64,
    /// The player requests an empty ring with a new number; the callback confirms with the same number.
    silence_wanted: AtomicU64,
    silence_made: AtomicU64,
}

/// Detects a device that has stopped requesting samples.
pub(super) struct StallDetector {
    asked: u64,
    since: Instant,
}

impl StallDetector {
    pub(super) fn new(stats: &StreamStats) -> Self {
        Self { asked: stats.asked.load(Ordering::Acquire), since: Instant::now() }
    }

    pub(super) fn is_lost(&mut self, stats: &StreamStats) -> bool {
        let asked = stats.asked.load(Ordering::Acquire);
        if asked != self.asked {
            (self.asked, self.since) = (asked, Instant::now());
        }
        stats.gone.load(Ordering::Relaxed) || self.since.elapsed() > MUTE
    }
}

/// An opened loudspeaker.
pub(super) struct OutputStream {
    _stream: cpal::Stream,
    ring: Producer<f32>,
    pub(super) stats: Arc<StreamStats>,
    pub(super) rate: u32,
    idle: StallDetector,
}

impl OutputStream {
    pub(super) fn open(played: Option<&PlayedTo>) -> Result<Self, String> {
        let device = cpal::default_host().default_output_device().ok_or("the system names no default output")?;
        let supported = device.default_output_config().map_err(|e| e.to_string())?;
        let mut config: StreamConfig = supported.config();
        let rate = config.sample_rate;
        let mut last = String::new();
        for size in [BufferSize::Fixed(rate / CALLBACKS_PER_SECOND), BufferSize::Default] {
            config.buffer_size = size;
            let (ring, out_of) = RingBuffer::new((rate * RING_SECONDS) as usize);
            let stats = Arc::new(StreamStats::default());
            let source = Source { ring: out_of, heard: played.map(|p| p.opened(rate)) };
            let built = build(&device, config, supported.sample_format(), source, &stats)
                .and_then(|stream| stream.play().map(|()| stream));
            match built {
                Ok(stream) => {
                    let idle = StallDetector::new(&stats);
                    return Ok(Self { _stream: stream, ring, stats, rate, idle });
                }
                Err(error) => last = error.to_string(),
            }
        }
        Err(last)
    }

    /// Writes as much into the ring as fits, and returns how much.
    pub(super) fn push(&mut self, sound: &[f32]) -> usize {
        let room = self.ring.slots().min(sound.len());
        if let Ok(chunk) = self.ring.write_chunk_uninit(room) {
            return chunk.fill_from_iter(sound[..room].iter().copied());
        }
        0
    }

    /// Delay from the callback to the ear in microseconds, as reported by the device.
    pub(super) fn latency_us(&self) -> u64 {
        self.stats.delay_us.load(Ordering::Relaxed).min(MOST_DELAY_US)
    }

    /// Empties the ring; false if the device did not respond in time.
    pub(super) fn silence(&mut self, within: Duration) -> bool {
        let wanted = self.stats.silence_wanted.fetch_add(1, Ordering::AcqRel) + 1;
        let until = Instant::now() + within;
        while self.stats.silence_made.load(Ordering::Acquire) < wanted {
            if Instant::now() > until || self.stats.gone.load(Ordering::Relaxed) {
                return false;
            }
            std::thread::sleep(Duration::from_millis(1));
        }
        true
    }

    /// Waits at most this long for the device's first request.
    pub(super) fn starts_within(&self, within: Duration) -> bool {
        let until = Instant::now() + within;
        while Instant::now() < until && !self.stats.gone.load(Ordering::Relaxed) {
            if self.stats.asked.load(Ordering::Acquire) > 0 {
                return true;
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        false
    }

    /// Whether the device has stopped requesting samples. Call it often while nothing is played.
    pub(super) fn is_idle_lost(&mut self) -> bool {
        self.idle.is_lost(&self.stats)
    }
}

/// The callback's source of sound, and its copy for the microphone.
struct Source {
    ring: Consumer<f32>,
    /// Takes everything that is played, silence included, for the microphone.
    heard: Option<Producer<f32>>,
}

/// Copies what was played to the microphone: `sound`, then silence up to `frames`. What does not fit is lost.
fn tell(heard: &mut Option<Producer<f32>>, sound: impl Iterator<Item = f32>, frames: usize) {
    let Some(heard) = heard else { return };
    if let Ok(chunk) = heard.write_chunk_uninit(heard.slots().min(frames)) {
        chunk.fill_from_iter(sound.chain(std::iter::repeat(0.0)));
    }
}

fn build(
    device: &cpal::Device,
    config: StreamConfig,
    format: SampleFormat,
    out_of: Source,
    stats: &Arc<StreamStats>,
) -> Result<cpal::Stream, cpal::Error> {
    match format {
        SampleFormat::I8 => build_as::<i8>(device, config, out_of, stats),
        SampleFormat::I16 => build_as::<i16>(device, config, out_of, stats),
        SampleFormat::I24 => build_as::<cpal::I24>(device, config, out_of, stats),
        SampleFormat::I32 => build_as::<i32>(device, config, out_of, stats),
        SampleFormat::I64 => build_as::<i64>(device, config, out_of, stats),
        SampleFormat::U8 => build_as::<u8>(device, config, out_of, stats),
        SampleFormat::U16 => build_as::<u16>(device, config, out_of, stats),
        SampleFormat::U32 => build_as::<u32>(device, config, out_of, stats),
        SampleFormat::U64 => build_as::<u64>(device, config, out_of, stats),
        SampleFormat::F32 => build_as::<f32>(device, config, out_of, stats),
        SampleFormat::F64 => build_as::<f64>(device, config, out_of, stats),
        _ => Err(ErrorKind::UnsupportedConfig.into()),
    }
}

fn build_as<T>(
    device: &cpal::Device,
    config: StreamConfig,
    mut source: Source,
    stats: &Arc<StreamStats>,
) -> Result<cpal::Stream, cpal::Error>
where
    T: SizedSample + FromSample<f32>,
{
    let channels = usize::from(config.channels.max(1));
    let (asked, failed) = (Arc::clone(stats), Arc::clone(stats));
    device.build_output_stream(
        config,
        move |data: &mut [T], info: &OutputCallbackInfo| {
            let time = info.timestamp();
            if let Some(delay) = time.playback.checked_duration_since(time.callback) {
                asked.delay_us.store(delay.as_micros() as u64, Ordering::Relaxed);
            }
            let wanted = asked.silence_wanted.load(Ordering::Acquire);
            let cut = wanted != asked.silence_made.load(Ordering::Relaxed);
            let frames = data.len() / channels;
            let most = if cut { frames.min(FADE_FRAMES) } else { frames };
            let ready = source.ring.slots().min(most);
            let fade = |n: usize| if cut { 1.0 - n as f32 / ready as f32 } else { 1.0 };
            if let Ok(chunk) = source.ring.read_chunk(ready) {
                let (first, second) = chunk.as_slices();
                let faded = || first.iter().chain(second).enumerate().map(|(n, sample)| sample * fade(n));
                for (frame, sample) in data.chunks_mut(channels).zip(faded()) {
                    frame.fill(T::from_sample_(sample));
                }
                tell(&mut source.heard, faded(), frames);
                chunk.commit_all();
            }
            for frame in data.chunks_mut(channels).skip(ready) {
                frame.fill(T::EQUILIBRIUM);
            }
            asked.consumed.fetch_add(ready as u64, Ordering::Release);
            asked.asked.fetch_add(frames as u64, Ordering::Release);
            if cut {
                if let Ok(rest) = source.ring.read_chunk(source.ring.slots()) {
                    rest.commit_all();
                }
                asked.silence_made.store(wanted, Ordering::Release);
            }
        },
        move |error| {
            failed.errors.fetch_add(1, Ordering::Relaxed);
            if matches!(
                error.kind(),
                ErrorKind::DeviceNotAvailable | ErrorKind::HostUnavailable | ErrorKind::StreamInvalidated
            ) {
                failed.gone.store(true, Ordering::Relaxed);
            }
        },
        None,
    )
}
