"""What others read in broadcast WAV files: Python's own `wave`, and wavinfo.

Usage: python pulls.py WAV [WAV ...]

Prints a JSON list with an object for each file:

  wave  null where that module knows no such format, else its parameters and
        the SHA-256 of all frames
  bext  the chunk's fields as wavinfo reads them, strictly ASCII
  cues  id, first sample, label, length and text of every cue point
"""

import hashlib
import json
import sys
import wave

import wavinfo


def by_wave(path):
    try:
        with wave.open(path, "rb") as file:
            frames = file.readframes(file.getnframes())
            return {
                "channels": file.getnchannels(),
                "bytes": file.getsampwidth(),
                "rate_hz": file.getframerate(),
                "frames": file.getnframes(),
                "sha256": hashlib.sha256(frames).hexdigest(),
            }
    except wave.Error:
        return None


def by_wavinfo(path):
    info = wavinfo.WavInfoReader(path, info_encoding="utf-8", bext_encoding="ascii")
    bext = info.bext.to_dict()
    bext["umid"] = bext["umid"].hex()
    cues = []
    for cue, at in info.cues.each_cue() if info.cues else []:
        stretch = next((r for r in info.cues.ranges if r.name == cue), None)
        cues.append(
            {
                "id": cue,
                "at": at,
                "label": info.cues.label_and_note(cue)[0],
                "length": stretch.length if stretch else None,
                "text": stretch.text.rstrip("\0") if stretch else None,
                "codepage": stretch.codepage if stretch else None,
            }
        )
    return {"bext": bext, "cues": cues, "frames": info.data.frame_count}


print(json.dumps([{"wave": by_wave(path), **by_wavinfo(path)} for path in sys.argv[1:]]))
