//! Sound files for the cases: WAV with any header (Microsoft, "Multimedia Programming Interface and Data Specifications 1.0", 1991), and
//! FLAC as the program writes it, for damaging (RFC 9639).

use probeside::session;
use std::path::Path;

/// A WAV file; `field=value` sets what differs from a sound one of a tenth of a second: format, channels, rate, bits, align, second (bytes a
/// second), riff, data (lengths in the headers), frames (that are there), fmt (length of that chunk), before (bytes of a chunk before the data).
pub fn wav(path: &Path, fields: &[&str]) -> Result<(), String> {
    let field = |name: &str| -> Result<Option<u64>, String> {
        let given = fields.iter().find_map(|field| field.strip_prefix(name)?.strip_prefix('='));
        given.map(|value| value.parse().map_err(|_| format!("{name}={value}"))).transpose()
    };
    for given in fields {
        let known =
            ["format", "channels", "rate", "bits", "align", "second", "riff", "data", "frames", "fmt", "before"];
        if !known.contains(&given.split('=').next().unwrap_or_default()) {
            return Err(format!("{given} is no field"));
        }
    }
    let format = field("format")?.unwrap_or(1);
    let channels = field("channels")?.unwrap_or(1);
    let rate = field("rate")?.unwrap_or(16_000);
    let bits = field("bits")?.unwrap_or(16);
    let align = field("align")?.unwrap_or((channels * bits).div_ceil(8));
    let second = field("second")?.unwrap_or(rate.wrapping_mul(align));
    let frames = field("frames")?.unwrap_or(1_600);
    let there = frames * align;
    let data = field("data")?.unwrap_or(there);
    let mut out = Vec::new();
    let four = |out: &mut Vec<u8>, value: u64| out.extend((value as u32).to_le_bytes());
    let two = |out: &mut Vec<u8>, value: u64| out.extend((value as u16).to_le_bytes());
    out.extend(b"RIFF");
    four(&mut out, field("riff")?.unwrap_or(36 + there));
    out.extend(b"WAVEfmt ");
    four(&mut out, field("fmt")?.unwrap_or(16));
    for (value, wide) in
        [(format, false), (channels, false), (rate, true), (second, true), (align, false), (bits, false)]
    {
        if wide { four(&mut out, value) } else { two(&mut out, value) }
    }
    if let Some(before) = field("before")? {
        out.extend(b"junk");
        four(&mut out, before);
        out.extend(std::iter::repeat_n(0, before.min(1 << 20) as usize));
    }
    out.extend(b"data");
    four(&mut out, data);
    // A tone where it is 16-bit, else bytes that are numbers of any width.
    out.extend((0..there / 2).flat_map(|n| ((((n as f32) * 0.3).sin() * 8_000.0) as i16).to_le_bytes()));
    std::fs::write(path, out).map_err(|error| error.to_string())
}

/// A clip as the program keeps it: a tone of so many samples.
pub fn clip(path: &Path, samples: usize) -> Result<(), String> {
    let tone = (0..samples).map(|n| 0.3 * (n as f32 * 0.17).sin());
    std::fs::write(path, session::flac(tone)?).map_err(|error| error.to_string())
}
