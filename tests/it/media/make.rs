//! WAV files written byte by byte, right ones and wrong ones.

/// A chunk with its padding.
pub fn chunk(id: &[u8; 4], body: &[u8]) -> Vec<u8> {
    let mut bytes = id.to_vec();
    bytes.extend_from_slice(&(body.len() as u32).to_le_bytes());
    bytes.extend_from_slice(body);
    if !body.len().is_multiple_of(2) {
        bytes.push(0);
    }
    bytes
}

/// A whole file of chunks.
pub fn riff(id: &[u8; 4], chunks: &[Vec<u8>]) -> Vec<u8> {
    let body = chunks.concat();
    let mut bytes = id.to_vec();
    let size = if id == b"RIFF" {
        body.len() as u32 + 4
    } else {
        u32::MAX
    };
    bytes.extend_from_slice(&size.to_le_bytes());
    bytes.extend_from_slice(b"WAVE");
    bytes.extend_from_slice(&body);
    bytes
}

/// The body of a `fmt ` chunk.
pub fn fmt(tag: u16, channels: u16, rate: u32, bits: u16) -> Vec<u8> {
    let align = channels.wrapping_mul(bits / 8);
    let mut body = tag.to_le_bytes().to_vec();
    body.extend_from_slice(&channels.to_le_bytes());
    body.extend_from_slice(&rate.to_le_bytes());
    body.extend_from_slice(&rate.wrapping_mul(u32::from(align)).to_le_bytes());
    body.extend_from_slice(&align.to_le_bytes());
    body.extend_from_slice(&bits.to_le_bytes());
    body
}

/// The body of an extensible `fmt ` chunk around `tag`.
pub fn extensible(tag: u16, channels: u16, rate: u32, bits: u16) -> Vec<u8> {
    let mut body = fmt(0xFFFE, channels, rate, bits);
    body.extend_from_slice(&22_u16.to_le_bytes());
    body.extend_from_slice(&bits.to_le_bytes());
    body.extend_from_slice(&0_u32.to_le_bytes());
    body.extend_from_slice(&tag.to_le_bytes());
    body.extend_from_slice(&[0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xAA, 0, 0x38, 0x9B, 0x71]);
    body
}

/// A bext chunk of 602 bytes (EBU Tech 3285, without coding history).
pub fn bext(date: &str, time: &str, samples: u64) -> Vec<u8> {
    let mut body = vec![0; 602];
    body[320..320 + date.len()].copy_from_slice(date.as_bytes());
    body[330..330 + time.len()].copy_from_slice(time.as_bytes());
    body[338..346].copy_from_slice(&samples.to_le_bytes());
    chunk(b"bext", &body)
}

/// 16-bit samples that look like nothing else: a slow ramp over noise.
pub fn samples(count: usize) -> Vec<i16> {
    let mut state = 0x2545_F491_u32;
    let noise = move || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 20) as i16 // 12 bits
    };
    std::iter::repeat_with(noise)
        .enumerate()
        .map(|(n, noise)| noise.wrapping_add((n % 20_000) as i16))
        .take(count)
        .collect()
}

/// Samples as the bytes of a data chunk's body.
pub fn bytes_of(samples: &[i16]) -> Vec<u8> {
    samples
        .iter()
        .flat_map(|sample| sample.to_le_bytes())
        .collect()
}

/// A plain 16-bit file.
pub fn plain(channels: u16, rate: u32, samples: &[i16]) -> Vec<u8> {
    riff(
        b"RIFF",
        &[
            chunk(b"fmt ", &fmt(1, channels, rate, 16)),
            chunk(b"data", &bytes_of(samples)),
        ],
    )
}

/// A plain 32-bit float file.
pub fn float(channels: u16, rate: u32, samples: &[f32]) -> Vec<u8> {
    let body: Vec<u8> = samples
        .iter()
        .flat_map(|sample| sample.to_le_bytes())
        .collect();
    riff(
        b"RIFF",
        &[
            chunk(b"fmt ", &fmt(3, channels, rate, 32)),
            chunk(b"data", &body),
        ],
    )
}

/// Something like talk: bursts of three harmonics with a slow rise and fall,
/// `channels` differ in pitch.
pub fn talk(channels: u16, rate: u32, seconds: u32) -> Vec<i16> {
    let frames = rate * seconds;
    let one = |n: u32, channel: u16| {
        let t = f64::from(n) / f64::from(rate);
        let pitch = 110.0 + 23.0 * f64::from(channel) + 9.0 * (t * 5.1).sin();
        let swell = (t * 4.0 * std::f64::consts::PI).sin().max(0.0);
        let voice: f64 = [1.0, 2.0, 3.0, 7.0, 13.0]
            .iter()
            .map(|k| (std::f64::consts::TAU * pitch * k * t).sin() / k)
            .sum();
        (voice * swell * 9_000.0) as i16
    };
    (0..frames)
        .flat_map(|n| (0..channels).map(move |channel| one(n, channel)))
        .collect()
}
