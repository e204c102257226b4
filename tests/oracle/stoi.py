"""How intelligible is a recording, held against the dry line? (pystoi)

C. H. Taal et al., "An Algorithm for Intelligibility Prediction of Time-Frequency
Weighted Noisy Speech", IEEE TASLP 19(7), 2011.

Reads pairs of files of 32-bit floats at 16 kHz, NAME.dry and NAME.heard, from a folder;
prints NAME and the measure, a line each.
"""

import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
from pystoi import stoi

RATE_HZ = 16_000


def measure(dry_file: Path) -> str:
    dry = np.fromfile(dry_file, "<f4").astype(float)
    heard = np.fromfile(dry_file.with_suffix(".heard"), "<f4").astype(float)
    return f"{dry_file.stem} {stoi(dry, heard, RATE_HZ, extended=False):.5f}"


if __name__ == "__main__":
    files = sorted(Path(sys.argv[1]).glob("*.dry"))
    with ProcessPoolExecutor() as pool:
        for line in pool.map(measure, files, chunksize=16):
            print(line)
