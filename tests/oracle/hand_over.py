"""What others read in files that are handed over.

In: a JSON list of {"kind", "path", "rate"} on standard input. Out: a JSON list of what is
in each file, by OpenTimelineIO, its adapter cmx_3600, webvtt-py, srt, and Python's own
readers of tables and HTML.
"""

import csv
import html
import html.parser
import json
import sys


def span(range_):
    if range_ is None:
        return None
    start, length = range_.start_time, range_.duration
    return {
        "start": start.value,
        "length": length.value,
        "rate": start.rate,
        "at_s": start.to_seconds(),
        "length_s": length.to_seconds(),
    }


def clip(item):
    reference = item.media_reference
    return {
        "name": item.name,
        "in_parent": span(item.range_in_parent()),
        "source": span(item.source_range),
        "available": span(getattr(reference, "available_range", None)),
        "url": getattr(reference, "target_url", None),
        "metadata": json.loads(serialised(item.metadata)),
        "of_media": json.loads(serialised(reference.metadata)),
        "markers": [
            {
                "name": marker.name,
                "color": marker.color,
                "comment": marker.comment,
                "marked": span(marker.marked_range),
                "metadata": json.loads(serialised(marker.metadata)),
            }
            for marker in item.markers
        ],
    }


def serialised(metadata):
    import opentimelineio as otio

    return otio.core.serialize_json_to_string(dict(metadata), indent=-1)


def tracks(timeline):
    import opentimelineio as otio

    start = timeline.global_start_time
    return {
        "name": timeline.name,
        "start": None if start is None else [start.value, start.rate],
        "metadata": json.loads(serialised(timeline.metadata)),
        "tracks": [
            {
                "name": track.name,
                "kind": track.kind,
                "enabled": track.enabled,
                "range": span(track.trimmed_range()) if len(track) else None,
                "clips": [clip(i) for i in track if isinstance(i, otio.schema.Clip)],
            }
            for track in timeline.tracks
        ],
    }


def timeline(path, rate):
    import opentimelineio as otio

    return tracks(otio.adapters.read_from_file(path))


def edl(path, rate):
    import opentimelineio as otio

    try:
        return tracks(otio.adapters.read_from_file(path, "cmx_3600", rate=rate))
    except Exception as error:  # What it says is part of what is compared.
        return {"refused": f"{type(error).__name__}: {error}"}


def labels(path, rate):
    """The labels of the frames in a file, and the frames of these labels."""
    import opentimelineio as otio

    with open(path, encoding="utf-8") as file:
        asked = json.load(file)
    drop = asked["drop"]
    time = lambda frame: otio.opentime.RationalTime(frame, rate)
    found = [otio.opentime.to_timecode(time(f), rate, drop_frame=drop) for f in asked["frames"]]
    return [[label, otio.opentime.from_timecode(label, rate).value] for label in found]


def vtt(path, rate):
    import webvtt

    cues = webvtt.read(path)
    ms = lambda at: at.in_milliseconds()
    # It leaves escapes as they are.
    plain = lambda text: None if text is None else html.unescape(text)
    return [[ms(c.start_time), ms(c.end_time), plain(c.text), plain(c.voice)] for c in cues]


def subrip(path, rate):
    import srt

    with open(path, encoding="utf-8") as file:
        cues = list(srt.parse(file.read(), ignore_errors=False))
    ms = lambda at: round(at.total_seconds() * 1000)
    return [[ms(c.start), ms(c.end), c.content, c.index] for c in cues]


def table(path, rate):
    with open(path, encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, strict=True))


class Page(html.parser.HTMLParser):
    EMPTY = {"meta"}

    def __init__(self):
        super().__init__()
        self.open, self.quotes, self.tags, self.lost = [], [], set(), []

    def handle_starttag(self, tag, attributes):
        self.tags.add(tag)
        if tag == "li":
            self.quotes.append({})
        if tag not in self.EMPTY:
            self.open.append((tag, dict(attributes).get("class")))

    def handle_endtag(self, tag):
        if not self.open or self.open.pop()[0] != tag:
            self.lost.append(tag)

    def handle_data(self, data):
        if self.quotes and self.open and self.open[-1][1]:
            at = self.quotes[-1]
            at[self.open[-1][1]] = at.get(self.open[-1][1], "") + data


def page(path, rate):
    reader = Page()
    with open(path, encoding="utf-8") as file:
        reader.feed(file.read())
    reader.close()
    lost = reader.lost + [tag for tag, _ in reader.open]
    return {"quotes": reader.quotes, "tags": sorted(reader.tags), "lost": lost}


KINDS = {
    "otio": timeline,
    "edl": edl,
    "labels": labels,
    "vtt": vtt,
    "srt": subrip,
    "csv": table,
    "page": page,
}
jobs = json.load(sys.stdin)
json.dump([KINDS[job["kind"]](job["path"], job.get("rate")) for job in jobs], sys.stdout)
