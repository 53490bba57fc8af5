"""What the tests have processes do: one of the surveys ends the process that checks it, once or always."""

import os
import signal
import time
from pathlib import Path

from flatness.building import Checked, blank_row


def checked(file):
    return Checked({**blank_row(file), "verdict": "pass", "title": str(os.getpid())})


def ends(asked, file):
    """A deadly survey ends its process, one that is so once only the first time: a file beside it tells of it."""
    mark = Path(file.path).with_suffix(".seen")
    if "deadly" in file.name and not ("once" in file.name and mark.exists()):
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return checked(file)


def slow(asked, file):
    """Who checks is written beside the survey before it is done, so that a test can end the process meanwhile."""
    Path(file.path).with_suffix(".pid").write_text(str(os.getpid()))
    time.sleep(0.15)
    return checked(file)
