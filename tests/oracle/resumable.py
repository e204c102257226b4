"""Sends a file to a server by the public tus client, cut off at random and gone on with.

usage: resumable.py URL FILE SEED

Prints a line of JSON: {"offsets": [where each attempt began], "url": "..."}.
"""

import json
import random
import os
import signal
import sys
import time

from tusclient import client
from tusclient.exceptions import TusCommunicationError


class Cut(BaseException):
    """The connection is lost in the middle of a piece."""


def main(url, path, seed):
    dice = random.Random(int(seed))
    size = os.path.getsize(path)
    tus = client.TusClient(url)
    about = {"filename": os.path.basename(path), "source": "Lectern", "placement": "stand"}
    sender = tus.uploader(file_path=path, chunk_size=size // 7 + 1, metadata=about, upload_checksum=True)
    sender.set_url(sender.create_url())
    offsets = []
    while True:
        # What the server has is the truth, also after being killed in a piece.
        sender = tus.uploader(
            file_path=path,
            url=sender.url,
            chunk_size=dice.randrange(size // 20, size // 3),
            metadata=about,
            upload_checksum=dice.random() < 0.5,
        )
        offsets.append(sender.offset)
        if sender.offset >= size:
            break
        if dice.random() < 0.6:
            signal.signal(signal.SIGALRM, cut)
            signal.setitimer(signal.ITIMER_REAL, dice.uniform(0.001, 0.02))
        try:
            sender.upload_chunk()
        except Cut:
            continue
        except TusCommunicationError as refused:
            # The server has not seen yet that the piece before was cut off.
            if refused.status_code not in (409, 423):
                raise
            time.sleep(0.05)
        finally:
            signal.setitimer(signal.ITIMER_REAL, 0)
    print(json.dumps({"offsets": offsets, "url": sender.url}))


def cut(*_):
    raise Cut


main(*sys.argv[1:])
