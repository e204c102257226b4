// Draws what lies above the rows on the same axis: time, parts, who speaks, what is said,
// and what no source or only one has well.

import { lastBefore } from "./said.js";
import { stepOf } from "./scale.js";
import { hatch } from "./wave.js";

/** Heights from the top, CSS pixels; the names beside them have the same in the style. */
export const LANES = [
  ["time", 24],
  ["parts", 24],
  ["who", 20],
  ["words", 26],
  ["cover", 16],
];
export const LANES_PX = LANES.reduce((sum, [, height]) => sum + height, 0);

/** Words are shown where a pixel is no longer than that, ms. */
export const WORDS_MS = 70;
/** And each at its own time where it is no longer than that. */
export const EACH_WORD_MS = 22;

/** A name that has less room is not written. */
const LEAST_NAME_PX = 26;

const TOPS = new Map();
{
  let top = 0;
  for (const [name, height] of LANES) {
    TOPS.set(name, { top, height });
    top += height;
  }
}

/** The lane that lies so far below the top of the lanes, CSS pixels. */
export function laneAt(y) {
  for (const [name, { top, height }] of TOPS) if (y >= top && y < top + height) return name;
  return null;
}

/** `seen`: {scale, outline, parts, said, ink, font}. */
export function drawLanes(pen, { width, height, ratio }, seen) {
  pen.setTransform(1, 0, 0, 1, 0, 0);
  pen.clearRect(0, 0, width, height);
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  const size = width / ratio;
  pen.textBaseline = "middle";
  axis(pen, size, height / ratio, seen);
  bands(pen, size, seen);
  if (!seen.outline) {
    words(pen, seen);
    return;
  }
  people(pen, size, seen);
  words(pen, seen);
  coverage(pen, size, seen);
}

function axis(pen, width, height, { scale, ink, font }) {
  const { top, height: tall } = TOPS.get("time");
  const step = stepOf(scale.perPx, 84);
  const fine = step / (step % 3 === 0 && step > 5000 ? 3 : 5);
  pen.strokeStyle = ink.line;
  pen.lineWidth = 1;
  pen.beginPath();
  const begin = Math.floor(scale.from / step) * step;
  for (let ms = begin; ms <= scale.to; ms += fine) {
    const x = Math.round(scale.x(ms)) + 0.5;
    pen.moveTo(x, tall - 5);
    pen.lineTo(x, tall);
  }
  pen.stroke();
  pen.strokeStyle = ink.edge;
  pen.fillStyle = ink.soft;
  pen.font = font.digits;
  pen.beginPath();
  for (let ms = begin; ms <= scale.to; ms += step) {
    const x = Math.round(scale.x(ms)) + 0.5;
    pen.moveTo(x, top + 3);
    pen.lineTo(x, tall);
    if (x < width) pen.fillText(label(ms, step), x + 4, top + tall / 2 - 1);
  }
  pen.moveTo(0, height - 0.5);
  pen.lineTo(width, height - 0.5);
  pen.stroke();
}

/** An instant as fine as the axis is. */
export function label(ms, step) {
  const sign = ms < 0 ? "-" : "";
  const whole = Math.abs(Math.round(ms));
  const two = (n) => String(n).padStart(2, "0");
  const hours = Math.floor(whole / 3_600_000);
  const minutes = Math.floor(whole / 60_000) % 60;
  const seconds = Math.floor(whole / 1000) % 60;
  const digits = step >= 1000 ? 0 : step >= 100 ? 1 : step >= 10 ? 2 : 3;
  const rest = digits === 0 ? "" : `.${String(whole % 1000).padStart(3, "0").slice(0, digits)}`;
  const clock = hours > 0 ? `${hours}:${two(minutes)}` : String(minutes);
  return `${sign}${clock}:${two(seconds)}${rest}`;
}

function bands(pen, width, { scale, parts, ink, font }) {
  const { top, height } = TOPS.get("parts");
  for (const [n, { name, start_ms, end_ms }] of parts.entries()) {
    const from = Math.max(scale.x(start_ms), -1);
    const to = Math.min(scale.x(end_ms), width + 1);
    if (to <= 0 || from >= width) continue;
    pen.fillStyle = n % 2 === 0 ? ink.band : ink.bandTwo;
    pen.fillRect(from, top + 2, to - from, height - 4);
    pen.strokeStyle = ink.edge;
    pen.lineWidth = 1;
    pen.strokeRect(from + 0.5, top + 2.5, Math.max(to - from - 1, 1), height - 5);
    inside(pen, name, from + 6, to - 4, top + height / 2, ink.ink, font.sans);
  }
}

function people(pen, width, { scale, outline, ink, font }) {
  const { top, height } = TOPS.get("who");
  let drawn = -1;
  each(outline, scale, (n) => {
    const person = outline.person[n];
    const from = Math.max(scale.x(outline.start_ms[n]), -2);
    const to = Math.max(scale.x(outline.end_ms[n]), from + 1);
    // Where moments are thinner than a pixel, one a pixel is drawn.
    if (to < drawn) return;
    drawn = Math.ceil(to);
    pen.fillStyle = person === null ? ink.nobody : ink.who[person % 8];
    pen.fillRect(from, top + height - 6, to - from, 5);
  });
  // So many in sight leave no name room.
  const seen = lastBefore(outline.start_ms, scale.to) - lastBefore(outline.start_ms, scale.from);
  if (seen > width) return;
  for (const { person, from, to } of turns(outline, scale)) {
    const name = person === null ? "nobody knows who" : (outline.people[person]?.name ?? "");
    const right = Math.min(scale.x(to), width) - 3;
    inside(pen, name, scale.x(from), right, top + 7, ink.ink, font.small, LEAST_NAME_PX);
  }
}

/** Moments of one person after another, so that a name has room: from and to, ms. */
function turns(outline, scale) {
  const found = [];
  each(outline, scale, (n) => {
    const last = found.at(-1);
    const person = outline.person[n];
    if (last && last.person === person) last.to = outline.end_ms[n];
    else found.push({ person, from: outline.start_ms[n], to: outline.end_ms[n] });
  });
  return found;
}

function words(pen, { scale, said, detail, timeline, ink, font }) {
  if (scale.perPx > WORDS_MS) return;
  const { top, height } = TOPS.get("words");
  const middle = top + height / 2;
  for (const moment of said) {
    const from = scale.x(moment.start_ms);
    const to = scale.x(moment.end_ms);
    pen.fillStyle = ink.sheet;
    pen.fillRect(from, top + 2, to - from, height - 4);
    const known = scale.perPx <= EACH_WORD_MS ? detail(moment.id) : null;
    if (known?.words.length > 0 && known.words_from && timeline) {
      const line = (fileMs) => scale.x(timeline.toLine(known.words_from.id, fileMs));
      for (const [n, word] of known.words.entries()) {
        const at = line(word.start_ms);
        const next = known.words[n + 1];
        pen.fillStyle = ink.edge;
        pen.fillRect(Math.round(at), top + 3, 1, height - 6);
        inside(pen, word.text, at + 3, next ? line(next.start_ms) : to - 1, middle, ink.ink, font.text);
      }
      continue;
    }
    const text = moment.text ?? "not written down yet";
    inside(pen, moment.doubt ? `? ${text}` : text, Math.max(from, 0) + 3, to - 2, middle, ink.ink, font.text);
  }
}

/** What has no backup, and what nobody has: patterns, not colours alone. */
function coverage(pen, width, { scale, outline, ink }) {
  const { top, height } = TOPS.get("cover");
  let drawn = -1;
  each(outline, scale, (n) => {
    const good = outline.good[n];
    if (good !== 0 && good !== 1) return;
    const from = Math.max(scale.x(outline.start_ms[n]), -2);
    const to = Math.min(Math.max(scale.x(outline.end_ms[n]), from + 2), width + 2);
    if (to < drawn) return;
    drawn = Math.ceil(to);
    if (good === 0) {
      pen.fillStyle = ink.wrong;
      pen.fillRect(from, top + 2, to - from, height - 5);
    } else if (to - from < 5) {
      pen.fillStyle = ink.edge;
      pen.fillRect(from, top + height / 2, to - from, height / 2 - 3);
    } else {
      hatch(pen, from, top + 2, to, top + height - 3, 5, ink.edge);
    }
  });
}

/** Calls `draw(n)` for each moment of an outline that is seen. */
function each(outline, scale, draw) {
  // One that began before may reach into sight.
  let n = Math.max(lastBefore(outline.start_ms, scale.from) - 8, 0);
  for (; n < outline.start_ms.length && outline.start_ms[n] < scale.to; n += 1) draw(n);
}

/** A text between two places, cut off where it does not fit. */
function inside(pen, text, from, to, y, colour, font, least = 8) {
  if (to - Math.max(from, 0) < least || text === "") return;
  pen.save();
  pen.beginPath();
  pen.rect(Math.max(from, 0), y - 14, to - Math.max(from, 0), 28);
  pen.clip();
  pen.fillStyle = colour;
  pen.font = font;
  pen.fillText(text, Math.max(from, 2), y + 0.5);
  pen.restore();
}
