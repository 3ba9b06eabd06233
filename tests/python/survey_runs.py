#!/usr/bin/env python3
"""survey_runs.py PROGRAM SCORE: runs of the program on one score, and what they cost, as JSON.

A process of its own for each score, in which nothing large is loaded: the
memory that the system tells of a new process is never less than that of the
process which started it.
"""

import filecmp
import json
import os
import subprocess
import sys
import tempfile
import threading
import zipfile

import files

# Seconds after which a run is ended.
PATIENCE = 120
# What the system counts memory in.
UNIT = 1 if sys.platform == "darwin" else 1024


class Run:
    """One run: status (negative: the signal that ended it), output, errors, seconds, bytes of memory."""

    def __init__(self, command, folder):
        out, err = os.path.join(folder, "out"), os.path.join(folder, "err")
        with open(out, "wb") as stdout, open(err, "wb") as stderr:
            process = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=stdout, stderr=stderr)
            clock = threading.Timer(PATIENCE, process.kill)
            clock.start()
            _, status, usage = os.wait4(process.pid, 0)
            clock.cancel()
        self.status = process.returncode = os.waitstatus_to_exitcode(status)
        # The processor's time: it depends least on what else the machine does.
        self.seconds = usage.ru_utime + usage.ru_stime
        self.memory = usage.ru_maxrss * UNIT
        with open(out, encoding="utf-8") as handle:
            self.output = handle.read()
        with open(err, encoding="utf-8", errors="replace") as handle:
            self.errors = handle.read().strip()

    def broke(self):
        """Ended by a signal or a panic, rather than with a status of its own."""
        return self.status < 0 or self.status == 101


def members(path):
    with zipfile.ZipFile(path) as archive:
        return [(name, archive.read(name)) for name in archive.namelist()]


def same(before, after):
    """Byte for byte; an archive in each of its members."""
    if zipfile.is_zipfile(before):
        return zipfile.is_zipfile(after) and members(before) == members(after)
    return filecmp.cmp(before, after, shallow=False)


def itself(program, path, folder):
    """(refused, complaints, runs): the score compared with itself, and cleaned by itself."""
    audit = Run([program, "audit", path, path, "--format", "json"], folder)
    # The ending tells the program whether an archive is wanted.
    clean_path = os.path.join(folder, "clean" + os.path.splitext(path)[1])
    clean = Run([program, "clean", path, path, "-o", clean_path], folder)
    runs = [audit, clean]
    broken = ["%s ended with status %d: %s" % (name, run.status, run.errors[-300:])
              for name, run in (("audit", audit), ("clean", clean)) if run.broke()]
    if broken:
        return False, broken, runs
    if audit.status and clean.status:
        return True, ["clean wrote a file and refused it"] if os.path.exists(clean_path) else [], runs
    if audit.status or clean.status:
        return False, ["one of audit and clean refused it: %s%s" % (audit.errors[-300:], clean.errors[-300:])], runs
    complaints = []
    found = [finding for part in json.loads(audit.output)["parts"] for finding in part["findings"]]
    if found:
        complaints.append("audit found %d things, first %s" % (len(found), json.dumps(found[0])[:300]))
    if not same(path, clean_path):
        complaints.append("clean did not give it back byte for byte")
    os.remove(clean_path)
    return False, complaints, runs


def sizes(path):
    """Bytes of the score's text, and of the file."""
    return len(files.read_bytes(path)), os.path.getsize(path)


if __name__ == "__main__":
    program, path = sys.argv[1:]
    with tempfile.TemporaryDirectory() as folder:
        refused, complaints, runs = itself(program, path, folder)
    costs = [{"seconds": run.seconds, "memory": run.memory} for run in runs]
    text, packed = sizes(path)
    print(json.dumps({"refused": refused, "complaints": complaints, "runs": costs, "text": text, "packed": packed}))
