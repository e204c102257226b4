// The time of day that a recorder counted, in frames of the event's picture: the same as
// `of_day` in core/timecode, where the counting and its source stand (SMPTE ST 12-1).

const WRITTEN = { "23.976": [24000, 1001], "23.98": [24000, 1001], "29.97": [30000, 1001], "59.94": [60000, 1001], "47.952": [48000, 1001] };

/** The label of a position in a recording; null where the file or the event has no count. */
export function timecode(detail, recording, fileMs) {
  const stamps = detail?.recordings.find(({ id }) => id === recording)?.stamps ?? [];
  const counted = ["bext", "ixml"]
    .flatMap((kind) => stamps.filter((stamp) => stamp.kind === kind))
    .find(({ samples, rate_hz }) => samples !== null && rate_hz);
  const rate = rateOf(detail?.frame_rate);
  if (!counted || !rate || fileMs < 0) return null;
  // Whole numbers: a day of samples times frames is beyond what a double holds.
  const [frames, seconds] = [BigInt(rate.frames), BigInt(rate.seconds)];
  const hz = BigInt(counted.rate_hz);
  const ticks = BigInt(counted.samples) * 1000n + BigInt(Math.floor(fileMs)) * hz;
  const frame = (ticks * frames) / (hz * 1000n * seconds);
  return label(Number(frame), rate);
}

function rateOf(text) {
  const told = /^([0-9./]+)(df|ndf)?$/u.exec(text ?? "");
  if (!told) return null;
  const [frames, seconds] = WRITTEN[told[1]] ?? told[1].split("/").map(Number).concat(1);
  if (!Number.isInteger(frames) || !Number.isInteger(seconds) || frames < 1 || seconds < 1) return null;
  return { frames, seconds, drop: told[2] === "df" };
}

function label(count, { frames, seconds, drop }) {
  const nominal = Math.ceil(frames / seconds);
  let frame = count;
  if (drop) {
    const skips = Math.round(nominal / 15); // 2 labels of 30, 4 of 60, each minute but every tenth
    const minute = nominal * 60 - skips;
    const ten = minute * 10 + skips;
    const inTen = frame % ten;
    const minutes = inTen < nominal * 60 ? 0 : 1 + Math.floor((inTen - nominal * 60) / minute);
    frame += skips * (9 * Math.floor(frame / ten) + minutes);
  }
  frame %= nominal * 86_400;
  const two = (n) => String(n).padStart(2, "0");
  const second = Math.floor(frame / nominal);
  const clock = [Math.floor(second / 3600), Math.floor(second / 60) % 60, second % 60].map(two);
  return `${clock.join(":")}${drop ? ";" : ":"}${two(frame % nominal)}`;
}
