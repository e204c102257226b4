"""Two reference speech detectors, run on the same files as ours.

Usage: python vad.py OUT_DIR SILERO_ONNX WAV [WAV ...]

Every WAV is 16 kHz mono, 16-bit integer. For WAV number N (from 0) this writes
text files of one character, 0 or 1, per 10 ms:

  OUT_DIR/N.webrtc0 .. N.webrtc3   webrtcvad, modes 0 to 3, its own 10 ms frames
  OUT_DIR/N.silero                 silero-vad, probability of each 32 ms window >= 0.5
  OUT_DIR/N.silero-segments        the same after the package's default rules for
                                   segments (hysteresis 0.5/0.35, silence 100 ms,
                                   speech 250 ms, padding 30 ms)
"""

import sys
import warnings
import wave

import numpy as np
import onnxruntime

warnings.filterwarnings("ignore", message="pkg_resources is deprecated")
import webrtcvad  # noqa: E402

RATE = 16_000
HOP = 160  # 10 ms
WINDOW = 512  # 32 ms, the window of the 16 kHz model
CONTEXT = 64  # samples of the window before, which the model is fed again


def samples_of(path):
    with wave.open(path, "rb") as file:
        form = (file.getframerate(), file.getnchannels(), file.getsampwidth())
        if form != (RATE, 1, 2):
            raise SystemExit(f"{path}: wants 16 kHz mono 16-bit, has {form}")
        return np.frombuffer(file.readframes(file.getnframes()), dtype="<i2")


def webrtc(samples, mode):
    vad = webrtcvad.Vad(mode)
    frames = len(samples) // HOP
    return [
        vad.is_speech(samples[n * HOP : (n + 1) * HOP].tobytes(), RATE)
        for n in range(frames)
    ]


def silero_probabilities(session, samples):
    """One probability for each 32 ms window, the last one padded with zeros."""
    sound = samples.astype(np.float32) / 32768.0
    sound = np.pad(sound, (0, -len(sound) % WINDOW))
    state = np.zeros((2, 1, 128), dtype=np.float32)
    context = np.zeros(CONTEXT, dtype=np.float32)
    answers = []
    for at in range(0, len(sound), WINDOW):
        window = sound[at : at + WINDOW]
        answer, state = session.run(
            None,
            {
                "input": np.concatenate([context, window])[None, :],
                "state": state,
                "sr": np.array(RATE, dtype=np.int64),
            },
        )
        answers.append(float(answer[0, 0]))
        context = window[-CONTEXT:]
    return answers


def silero_segments(chances, length):
    """The package's rule for segments, with its default settings; in samples."""
    min_speech, min_silence, pad = RATE // 4, RATE // 10, RATE * 30 // 1000
    found, start, end = [], None, None
    for n, chance in enumerate(chances):
        at = n * WINDOW
        if chance >= 0.5:
            end = None
            if start is None:
                start = at
        elif start is not None and chance < 0.35:
            if end is None:
                end = at
            if at - end >= min_silence:
                if end - start > min_speech:
                    found.append([start, end])
                start, end = None, None
    if start is not None and length - start > min_speech:
        found.append([start, length])
    for n, piece in enumerate(found):
        if n == 0:
            piece[0] = max(0, piece[0] - pad)
        if n + 1 < len(found):
            gap = found[n + 1][0] - piece[1]
            share = pad if gap >= 2 * pad else gap // 2
            piece[1] += share
            found[n + 1][0] = max(0, found[n + 1][0] - share)
        else:
            piece[1] = min(length, piece[1] + pad)
    return found


def write(path, frames):
    with open(path, "w", encoding="ascii") as file:
        file.write("".join("1" if frame else "0" for frame in frames))


def main():
    out, model, paths = sys.argv[1], sys.argv[2], sys.argv[3:]
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    session = onnxruntime.InferenceSession(
        model, sess_options=options, providers=["CPUExecutionProvider"]
    )
    for number, path in enumerate(paths):
        samples = samples_of(path)
        frames = len(samples) // HOP
        for mode in range(4):
            write(f"{out}/{number}.webrtc{mode}", webrtc(samples, mode))
        chances = silero_probabilities(session, samples)
        middles = np.arange(frames) * HOP + HOP // 2
        write(f"{out}/{number}.silero", [chances[m // WINDOW] >= 0.5 for m in middles])
        flags = np.zeros(frames, dtype=bool)
        for start, end in silero_segments(chances, len(samples)):
            flags |= (middles >= start) & (middles < end)
        write(f"{out}/{number}.silero-segments", flags)


if __name__ == "__main__":
    main()
