//! The opened microphone: a ring that the audio callback fills, and the callback's statistics.

use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{BufferSize, ErrorKind, FromSample, InputCallbackInfo, SampleFormat, SizedSample, StreamConfig};
use rtrb::{Consumer, Producer, RingBuffer};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// Capacity of the ring in seconds; a worker that stalls for longer loses sound instead of filling the memory.
const RING_SECONDS: usize = 4;
/// Requested callbacks per second: one every 40 ms.
const CALLBACKS_PER_SECOND: u32 = 25;
/// Shortest interval between logged warnings of the sound system; under load they come in storms.
const LOG_EVERY: Duration = Duration::from_secs(10);

/// What the callbacks report to the worker.
#[derive(Debug, Default)]
pub(super) struct StreamStats {
    pub(super) callbacks: AtomicU64,
    overruns: AtomicU64,
    errors: AtomicU64,
    pub(super) gone: AtomicBool,
    /// Delay from the microphone's membrane to the callback, in microseconds.
    pub(super) delay_us: AtomicU64,
}

/// An open input stream.
pub(super) struct MicStream {
    _stream: cpal::Stream,
    pub(super) ring: Consumer<f32>,
    pub(super) stats: Arc<StreamStats>,
    pub(super) rate: u32,
    pub(super) channels: u16,
}

impl MicStream {
    pub(super) fn open() -> Result<Self, String> {
        let device = cpal::default_host().default_input_device().ok_or("the system names no default input")?;
        let supported = device.default_input_config().map_err(|e| e.to_string())?;
        let mut config: StreamConfig = supported.config();
        let (rate, channels) = (config.sample_rate, config.channels);
        let mut last = String::new();
        for size in [BufferSize::Fixed(rate / CALLBACKS_PER_SECOND), BufferSize::Default] {
            config.buffer_size = size;
            let (into, ring) = RingBuffer::new(rate as usize * usize::from(channels) * RING_SECONDS);
            let stats = Arc::new(StreamStats::default());
            let built = build(&device, config, supported.sample_format(), into, &stats)
                .and_then(|stream| stream.play().map(|()| stream));
            match built {
                Ok(stream) => return Ok(Self { _stream: stream, ring, stats, rate, channels }),
                Err(error) => last = error.to_string(),
            }
        }
        Err(last)
    }
}

fn build(
    device: &cpal::Device,
    config: StreamConfig,
    format: SampleFormat,
    into: Producer<f32>,
    stats: &Arc<StreamStats>,
) -> Result<cpal::Stream, cpal::Error> {
    match format {
        SampleFormat::I8 => build_as::<i8>(device, config, into, stats),
        SampleFormat::I16 => build_as::<i16>(device, config, into, stats),
        SampleFormat::I24 => build_as::<cpal::I24>(device, config, into, stats),
        SampleFormat::I32 => build_as::<i32>(device, config, into, stats),
        SampleFormat::I64 => build_as::<i64>(device, config, into, stats),
        SampleFormat::U8 => build_as::<u8>(device, config, into, stats),
        SampleFormat::U16 => build_as::<u16>(device, config, into, stats),
        SampleFormat::U32 => build_as::<u32>(device, config, into, stats),
        SampleFormat::U64 => build_as::<u64>(device, config, into, stats),
        SampleFormat::F32 => build_as::<f32>(device, config, into, stats),
        SampleFormat::F64 => build_as::<f64>(device, config, into, stats),
        _ => Err(ErrorKind::UnsupportedConfig.into()),
    }
}

fn build_as<T>(
    device: &cpal::Device,
    config: StreamConfig,
    mut into: Producer<f32>,
    stats: &Arc<StreamStats>,
) -> Result<cpal::Stream, cpal::Error>
where
    T: SizedSample,
    f32: FromSample<T>,
{
    let (heard, failed) = (Arc::clone(stats), Arc::clone(stats));
    device.build_input_stream(
        config,
        move |data: &[T], info: &InputCallbackInfo| {
            let room = into.slots().min(data.len());
            if let Ok(chunk) = into.write_chunk_uninit(room) {
                chunk.fill_from_iter(data.iter().map(|s| f32::from_sample_(*s)));
            }
            if room < data.len() {
                heard.overruns.fetch_add(1, Ordering::Relaxed);
            }
            let time = info.timestamp();
            if let Some(delay) = time.callback.checked_duration_since(time.capture) {
                heard.delay_us.store(delay.as_micros() as u64, Ordering::Relaxed);
            }
            heard.callbacks.fetch_add(1, Ordering::Relaxed);
        },
        move |error| {
            failed.errors.fetch_add(1, Ordering::Relaxed);
            let kind = error.kind();
            if matches!(kind, ErrorKind::DeviceNotAvailable | ErrorKind::HostUnavailable | ErrorKind::StreamInvalidated)
            {
                failed.gone.store(true, Ordering::Relaxed);
            }
        },
        None,
    )
}

/// Logs errors and overruns of the sound system, at a limited rate.
#[derive(Debug, Default)]
pub(super) struct TroubleLog {
    logged: u64,
    at: Option<Instant>,
}

impl TroubleLog {
    pub(super) fn look(&mut self, stats: &StreamStats) {
        let troubles = stats.errors.load(Ordering::Relaxed) + stats.overruns.load(Ordering::Relaxed);
        if troubles > self.logged && self.at.is_none_or(|at| at.elapsed() > LOG_EVERY) {
            tracing::warn!("the microphone's sound system reported {} troubles", troubles - self.logged);
            (self.logged, self.at) = (troubles, Some(Instant::now()));
        }
    }
}
