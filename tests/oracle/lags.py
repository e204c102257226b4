"""Lags and lines as numpy and scipy compute them, for the same numbers as ours.

Usage: python lags.py lags FILE [FILE ...]     two stretches each: float32, the first
                                               half of the file and the second
       python lags.py lines FILE [FILE ...]    points: float64 pairs (time ms, lag ms)

Prints a line per file:
  lags   lag in ms of the second behind the first by the smoothed coherence
         transform, the same by PHAT (both in double precision, the correlation
         interpolated 32 times by zeros behind its spectrum)
  lines  slope and its 95 % interval by scipy.stats.theilslopes, slope by least
         squares reweighted with Tukey's bisquare (c = 4.685, scale from the median
         absolute deviation), all in ppm
"""

import sys

import numpy as np
from scipy import stats

RATE = 16_000
LOW, HIGH = 150, 4_000  # Hz
UP = 32
REACH = 0.25  # s


def peak(cross):
    """Where the correlation is highest within REACH, s."""
    length = 2 * (len(cross) - 1) * UP
    lags = np.fft.irfft(cross, length)
    reach = int(REACH * RATE * UP)
    near = np.concatenate([lags[-reach:], lags[: reach + 1]])
    return (int(np.argmax(near)) - reach) / (RATE * UP)


def lags(path):
    both = np.fromfile(path, dtype="<f4").astype(float)
    count = len(both) // 2
    hann = 0.5 - 0.5 * np.cos(2 * np.pi * (np.arange(count) + 0.5) / count)
    size = 65_536
    first = np.fft.rfft(both[:count] * hann, size)
    second = np.fft.rfft(both[count:] * hann, size)
    hz = np.fft.rfftfreq(size, 1 / RATE)
    band = (hz >= LOW) & (hz < HIGH)
    cross = second * np.conj(first)
    smooth = lambda x: np.convolve(np.abs(x) ** 2, np.ones(41) / 41, "same")
    coherent = np.where(band, cross / np.sqrt(smooth(first) * smooth(second)), 0)
    phat = np.where(band, cross / np.abs(cross), 0)
    print(f"{peak(coherent) * 1000:.6f} {peak(phat) * 1000:.6f}")


def lines(path):
    at, lag = np.fromfile(path, dtype="<f8").reshape(-1, 2).T
    slope, _, low, high = stats.theilslopes(lag, at)
    line = np.array([np.median(lag - slope * at), slope])
    design = np.stack([np.ones_like(at), at], axis=1)
    for _ in range(50):
        off = lag - design @ line
        scale = np.median(np.abs(off)) / stats.norm.ppf(0.75)
        u = np.clip(np.abs(off) / (4.685 * max(scale, 1e-9)), 0, 1)
        root = 1 - u**2
        line = np.linalg.lstsq(design * root[:, None], lag * root, rcond=None)[0]
    print(" ".join(f"{x * 1e6:.6f}" for x in (slope, low, high, line[1])))


if __name__ == "__main__":
    for path in sys.argv[2:]:
        {"lags": lags, "lines": lines}[sys.argv[1]](path)
