//! The opened loudspeaker: a ring that the audio callback empties, and what the callback tells about it.

use crate::hear::PlayedTo;
use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{BufferSize, ErrorKind, FromSample, OutputCallbackInfo, SampleFormat, SizedSample, StreamConfig};
use rtrb::{Consumer, Producer, RingBuffer};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

/// Sound that the ring holds, in seconds.
const RING_SECONDS: u32 = 2;
/// Callbacks wanted in a second: 50, so 20 ms each; the device holds two of them or more.
const CALLBACKS_PER_SECOND: u32 = 50;
/// A cut fades over this many frames rather than clicking: 3 ms at 48 kHz.
const FADE_FRAMES: usize = 144;
/// The device's word about its own delay is believed up to this.
const MOST_DELAY_US: u64 = 2_000_000;
/// A loudspeaker that asks for no sample for this long is lost.
pub(super) const MUTE: Duration = Duration::from_millis(1500);

/// What the callbacks tell the player.
#[derive(Debug, Default)]
pub(super) struct Told {
    /// Frames that the device asked for since the start, silence included.
    pub(super) asked: AtomicU64,
    /// Frames taken from the ring since the start.
    pub(super) taken: AtomicU64,
    /// The device is gone for good.
    pub(super) gone: AtomicBool,
    errors: AtomicU64,
    delay_us: AtomicU64,
    /// The player wants the ring emptied; the callback answers with the same number.
    silence_wanted: AtomicU64,
    silence_made: AtomicU64,
}

/// Notices a device that asks for nothing any more.
pub(super) struct Watch {
    asked: u64,
    since: Instant,
}

impl Watch {
    pub(super) fn new(told: &Told) -> Self {
        Self { asked: told.asked.load(Ordering::Acquire), since: Instant::now() }
    }

    pub(super) fn is_lost(&mut self, told: &Told) -> bool {
        let asked = told.asked.load(Ordering::Acquire);
        if asked != self.asked {
            (self.asked, self.since) = (asked, Instant::now());
        }
        told.gone.load(Ordering::Relaxed) || self.since.elapsed() > MUTE
    }
}

/// An opened loudspeaker.
pub(super) struct Line {
    _stream: cpal::Stream,
    ring: Producer<f32>,
    pub(super) told: Arc<Told>,
    pub(super) rate: u32,
    idle: Watch,
}

impl Line {
    pub(super) fn open(played: Option<&PlayedTo>) -> Result<Self, String> {
        let device = cpal::default_host().default_output_device().ok_or("the system names no default output")?;
        let supported = device.default_output_config().map_err(|e| e.to_string())?;
        let mut config: StreamConfig = supported.config();
        let rate = config.sample_rate;
        let mut last = String::new();
        for size in [BufferSize::Fixed(rate / CALLBACKS_PER_SECOND), BufferSize::Default] {
            config.buffer_size = size;
            let (ring, out_of) = RingBuffer::new((rate * RING_SECONDS) as usize);
            let told = Arc::new(Told::default());
            let source = Source { ring: out_of, heard: played.map(|p| p.opened(rate)) };
            let built = build(&device, config, supported.sample_format(), source, &told)
                .and_then(|stream| stream.play().map(|()| stream));
            match built {
                Ok(stream) => {
                    let idle = Watch::new(&told);
                    return Ok(Self { _stream: stream, ring, told, rate, idle });
                }
                Err(error) => last = error.to_string(),
            }
        }
        Err(last)
    }

    /// Puts as much into the ring as fits; how much that was.
    pub(super) fn push(&mut self, sound: &[f32]) -> usize {
        let room = self.ring.slots().min(sound.len());
        if let Ok(chunk) = self.ring.write_chunk_uninit(room) {
            return chunk.fill_from_iter(sound[..room].iter().copied());
        }
        0
    }

    /// Microseconds from the callback to the ear, as the device says.
    pub(super) fn latency_us(&self) -> u64 {
        self.told.delay_us.load(Ordering::Relaxed).min(MOST_DELAY_US)
    }

    /// Empties the ring; false when the device did not do so in time.
    pub(super) fn silence(&mut self, within: Duration) -> bool {
        let wanted = self.told.silence_wanted.fetch_add(1, Ordering::AcqRel) + 1;
        let until = Instant::now() + within;
        while self.told.silence_made.load(Ordering::Acquire) < wanted {
            if Instant::now() > until || self.told.gone.load(Ordering::Relaxed) {
                return false;
            }
            std::thread::sleep(Duration::from_millis(1));
        }
        true
    }

    /// Whether the device asked for sound within this time of now.
    pub(super) fn starts_within(&self, within: Duration) -> bool {
        let until = Instant::now() + within;
        while Instant::now() < until && !self.told.gone.load(Ordering::Relaxed) {
            if self.told.asked.load(Ordering::Acquire) > 0 {
                return true;
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        false
    }

    /// Whether the device stopped asking; to be called often while nothing is played.
    pub(super) fn is_idle_lost(&mut self) -> bool {
        self.idle.is_lost(&self.told)
    }
}

/// Where the callback's sound comes from, and where it goes besides.
struct Source {
    ring: Consumer<f32>,
    /// Everything that is played, silence too, for whoever hears it.
    heard: Option<Producer<f32>>,
}

/// Tells what was played: `sound`, then silence up to `frames`. What finds no room is lost.
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
    told: &Arc<Told>,
) -> Result<cpal::Stream, cpal::Error> {
    match format {
        SampleFormat::I8 => build_as::<i8>(device, config, out_of, told),
        SampleFormat::I16 => build_as::<i16>(device, config, out_of, told),
        SampleFormat::I24 => build_as::<cpal::I24>(device, config, out_of, told),
        SampleFormat::I32 => build_as::<i32>(device, config, out_of, told),
        SampleFormat::I64 => build_as::<i64>(device, config, out_of, told),
        SampleFormat::U8 => build_as::<u8>(device, config, out_of, told),
        SampleFormat::U16 => build_as::<u16>(device, config, out_of, told),
        SampleFormat::U32 => build_as::<u32>(device, config, out_of, told),
        SampleFormat::U64 => build_as::<u64>(device, config, out_of, told),
        SampleFormat::F32 => build_as::<f32>(device, config, out_of, told),
        SampleFormat::F64 => build_as::<f64>(device, config, out_of, told),
        _ => Err(ErrorKind::UnsupportedConfig.into()),
    }
}

fn build_as<T>(
    device: &cpal::Device,
    config: StreamConfig,
    mut source: Source,
    told: &Arc<Told>,
) -> Result<cpal::Stream, cpal::Error>
where
    T: SizedSample + FromSample<f32>,
{
    let channels = usize::from(config.channels.max(1));
    let (asked, failed) = (Arc::clone(told), Arc::clone(told));
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
            asked.taken.fetch_add(ready as u64, Ordering::Release);
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
