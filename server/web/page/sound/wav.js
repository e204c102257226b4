// The server's slices as samples. They are read here and not by the browser's own
// decoder, since that changes the rate of each slice by itself, which is heard
// where two slices meet, and needs a context that only a click may start.

/**
 * Reads a WAV file of 16-bit PCM, which is what slices are: `{rate, channels,
 * samples}`, `samples` being the mean of all channels, −1 to 1. Throws an `Error`
 * that says what is wrong with it.
 */
export function readWav(buffer) {
  const view = new DataView(buffer);
  const name = (at) => String.fromCharCode(...new Uint8Array(buffer, at, 4));
  if (view.byteLength < 12 || name(0) !== "RIFF" || name(8) !== "WAVE") {
    throw new Error("what the server sent is no WAV file");
  }
  let format = null;
  for (let at = 12; at + 8 <= view.byteLength; ) {
    const length = Math.min(view.getUint32(at + 4, true), view.byteLength - at - 8);
    if (name(at) === "fmt " && length >= 16) {
      format = {
        coding: view.getUint16(at + 8, true),
        channels: view.getUint16(at + 10, true),
        rate: view.getUint32(at + 12, true),
        bits: view.getUint16(at + 22, true),
      };
    } else if (name(at) === "data") {
      return mono(view, at + 8, length, format);
    }
    at += 8 + length + (length % 2);
  }
  throw new Error("the WAV file has no sound in it");
}

function mono(view, at, length, format) {
  const { coding, channels, rate, bits } = format ?? {};
  if (coding !== 1 || bits !== 16 || !(channels > 0) || !(rate > 0)) {
    throw new Error("the WAV file is not of 16-bit samples");
  }
  const frames = Math.floor(length / (2 * channels));
  const samples = new Float32Array(frames);
  // Division by 32,768 is exact, also of the sum of two channels.
  const scale = 1 / (32_768 * channels);
  for (let n = 0; n < frames; n += 1) {
    let sum = 0;
    for (let c = 0; c < channels; c += 1) {
      sum += view.getInt16(at + 2 * (n * channels + c), true);
    }
    samples[n] = sum * scale;
  }
  return { rate, channels, samples };
}
