// Draws the wave of one recording as far as it is seen: a column of device pixels at a
// time, from the finest bins there are. What is speech is drawn inside, in its own colour,
// as high as its share of the column is large.

import { BIN_BYTES, BIN_MS, TILE_BINS, levelFor } from "./peaks.js";

/** Bins wider than so many pixels are joined by lines, not drawn as steps. */
const SMOOTH_PX = 2;
/** An end whose place is not sure is hatched at least so far, CSS pixels. */
const HATCH_PX = 9;

let lows = new Float32Array(0);
let highs = new Float32Array(0);
let shares = new Float32Array(0);

/**
 * `pen` of a canvas of `width` × `height` device pixels, `ratio` of them to a CSS pixel.
 * Adds to `wanted` the tiles that would make it finer (`seen`) and those `beside` them.
 */
export function drawWave(pen, { width, height, ratio }, row, scale, peaks, ink, wanted) {
  pen.clearRect(0, 0, width, height);
  const perPx = scale.perPx / ratio;
  for (const span of row.spans) {
    const from = Math.max(Math.round((span.from - scale.from) / perPx), 0);
    const to = Math.min(Math.round((span.to - scale.from) / perPx), width);
    if (to < 0 || from >= width || to < from) continue;
    const last = Math.max(to, from + 1);
    pen.fillStyle = ink.sheet;
    pen.fillRect(from, 0, last - from, height);
    if (peaks.has(row.id)) {
      measure(row.id, span, scale.from, perPx, from, last, peaks, wanted);
      paint(pen, from, last, height, ink);
    } else {
      pen.fillStyle = ink.edge;
      for (let x = from; x < last; x += 6 * ratio) pen.fillRect(x, height >> 1, 2 * ratio, ratio);
    }
  }
  ends(pen, { width, height, ratio }, row, scale, ink);
}

/** Lowest, highest and share of speech of each column from `from` to `to`. */
function measure(id, span, left, perPx, from, to, peaks, wanted) {
  if (lows.length < to) {
    lows = new Float32Array(to);
    highs = new Float32Array(to);
    shares = new Float32Array(to);
  }
  const perColumn = perPx * span.speed; // ms of the file
  const level = levelFor(perColumn);
  const tileMs = BIN_MS[level] * TILE_BINS;
  const fileAt = (x) => span.fileFrom + (left + x * perPx - span.from) * span.speed;
  let x = from;
  const first = Math.max(Math.floor(fileAt(from) / tileMs), 0);
  while (x < to) {
    const tile = Math.max(Math.floor(fileAt(x) / tileMs), 0);
    const source = peaks.find(id, level, tile);
    if (source.level > level) wanted.seen.push([id, level, tile]);
    // The first column that begins in the next tile.
    const next = Math.ceil(x + ((tile + 1) * tileMs - fileAt(x)) / perColumn);
    const until = Math.min(Math.max(next, x + 1), to);
    fill(source, fileAt(x), perColumn, x, until);
    x = until;
  }
  const last = Math.floor(fileAt(to) / tileMs);
  wanted.beside.push([id, level, last + 1], [id, level, first - 1]);
}

function fill({ level, first, body }, fileMs, perColumn, from, to) {
  const binMs = BIN_MS[level];
  const bins = body.length / BIN_BYTES;
  const smooth = binMs / perColumn > SMOOTH_PX;
  let at = fileMs / binMs - first;
  const step = perColumn / binMs;
  for (let x = from; x < to; x += 1, at += step) {
    if (smooth) between(body, bins, at + step / 2 - 0.5, x);
    else among(body, bins, Math.floor(at), Math.ceil(at + step), x);
  }
}

/** A column that lies between the middles of two bins. */
function between(body, bins, at, x) {
  const left = Math.min(Math.max(Math.floor(at), 0), bins - 1);
  const right = Math.min(left + 1, bins - 1);
  const share = Math.min(Math.max(at - left, 0), 1);
  const mix = (k) => signed(body[left * 3 + k]) * (1 - share) + signed(body[right * 3 + k]) * share;
  lows[x] = bins > 0 ? mix(0) : 0;
  highs[x] = bins > 0 ? mix(1) : 0;
  shares[x] = bins > 0 ? body[(share < 0.5 ? left : right) * 3 + 2] / 255 : 0;
}

/** A column of several bins. */
function among(body, bins, from, to, x) {
  const begin = Math.min(Math.max(from, 0), bins);
  const end = Math.min(Math.max(to, begin + 1), bins);
  let low = 0;
  let high = 0;
  let speech = 0;
  for (let n = begin; n < end; n += 1) {
    low = Math.min(low, signed(body[n * 3]));
    high = Math.max(high, signed(body[n * 3 + 1]));
    speech += body[n * 3 + 2];
  }
  lows[x] = low;
  highs[x] = high;
  shares[x] = end > begin ? speech / (end - begin) / 255 : 0;
}

/** A signed byte, −127 to 127: the root of a sample, so that what is quiet can be seen. */
const signed = (byte) => (byte << 24) >> 24;

function paint(pen, from, to, height, ink) {
  const middle = height / 2;
  const unit = (middle - 1) / 127;
  // In whole pixels, so that edges are sharp.
  const bar = (x, part) => {
    const top = Math.round(middle - highs[x] * part);
    pen.fillRect(x, top, 1, Math.max(Math.round(middle - lows[x] * part) - top, 1));
  };
  pen.fillStyle = ink.wave;
  for (let x = from; x < to; x += 1) if (shares[x] < 1) bar(x, unit);
  pen.fillStyle = ink.speech;
  for (let x = from; x < to; x += 1) if (shares[x] > 0) bar(x, unit * shares[x]);
}

/** Hatches both ends of a recording as far as they may be off. */
function ends(pen, { width, height, ratio }, row, scale, ink) {
  if (row.unsureMs === 0) return;
  const reach = Number.isFinite(row.unsureMs) ? row.unsureMs / scale.perPx : 0;
  const wide = Math.max(reach, HATCH_PX) * ratio;
  for (const ms of [row.startMs, row.endMs]) {
    const x = scale.x(ms) * ratio;
    if (x + wide < 0 || x - wide > width) continue;
    hatch(pen, Math.max(x - wide, 0), 0, Math.min(x + wide, width), height, 5 * ratio, ink.edge);
  }
}

/** Slanting lines in a box. */
export function hatch(pen, left, top, right, bottom, gap, colour) {
  pen.save();
  pen.beginPath();
  pen.rect(left, top, right - left, bottom - top);
  pen.clip();
  pen.strokeStyle = colour;
  pen.lineWidth = Math.max(gap / 5, 1);
  pen.beginPath();
  const tall = bottom - top;
  for (let x = Math.floor(left / gap) * gap - tall; x < right; x += gap) {
    pen.moveTo(x, bottom);
    pen.lineTo(x + tall, top);
  }
  pen.stroke();
  pen.restore();
}
