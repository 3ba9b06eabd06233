#!/usr/bin/env python3
"""survey.py PROGRAM FILES LISTS [--timed]: surveys real scores.

FILES is a JSON file: `files`, each with its package, its path there and on the
disk, and what the program's library read of it; `all`, the number of files in
the packages. LISTS is the folder of refused.toml and disagreements.toml.

Prints figures. Exits 1 if a run breaks, uses too much memory (with --timed:
or time), finds anything, or does not give the score back; or if the lists are
not true.
"""

import argparse
import collections
import concurrent.futures
import json
import os
import subprocess
import sys
import tomllib
import xml.etree.ElementTree as ET

import files

WORKERS = 2
MB = 1 << 20
# What the program may use: seconds, bytes for each byte of text, and bytes in any case.
SECONDS, FACTOR, BASE = 2, 20, 64 * MB
# Most files, in a hundred, that may be on a list.
MOST = {"refused": 1, "disagreements": 2}


class List:
    """One of the lists; its files are named by the ends of their paths."""

    def __init__(self, folder, name):
        self.name = name
        with open(os.path.join(folder, name + ".toml"), "rb") as handle:
            self.entries = tomllib.load(handle).get("file", [])

    def find(self, file):
        for entry in self.entries:
            if entry["package"] == file["package"] and ("/" + file["file"]).endswith("/" + entry["name"]):
                entry.setdefault("found", []).append(file["file"])
                return entry
        return None

    def complaints(self, all_files, whole):
        if len(self.entries) * 100 > MOST[self.name] * all_files:
            yield "%s: %d of %d files are more than %d in 100" % (
                self.name, len(self.entries), all_files, MOST[self.name])
        for entry in self.entries:
            if len(entry.get("found", [])) > 1 or whole and not entry.get("found"):
                yield "%s: %s names %d files" % (self.name, entry["name"], len(entry.get("found", [])))


def root_of(path):
    try:
        return ET.fromstring(files.read_bytes(path)).tag.rsplit("}", 1)[-1]
    except ET.ParseError:
        return "not XML"


RUNS = os.path.join(os.path.dirname(os.path.abspath(__file__)), "survey_runs.py")


def run(program, file):
    command = [sys.executable, "-B", "-X", "utf8", RUNS, program, file["path"]]
    return json.loads(subprocess.run(command, stdout=subprocess.PIPE, check=True).stdout)


def compare(file):
    import survey_notes  # only in the workers: it is large

    return survey_notes.compare(file)


class Survey:
    def __init__(self, given, lists, timed):
        self.files, self.all, self.timed = given["files"], given["all"], timed
        self.lists = {name: List(lists, name) for name in MOST}
        self.complaints, self.figures = [], []

    def complain(self, file, what):
        self.complaints.append("%s, %s: %s" % (file["package"], file["file"], what))

    def figure(self, name, value):
        self.figures.append("%-24s %s" % (name, value))

    def runs(self, program):
        """All runs of the program; gives the files that it reads."""
        roots = collections.Counter(root_of(file["path"]) for file in self.files)
        self.figure("files", "%d of %d" % (len(self.files), self.all))
        self.figure("their outermost elements", ", ".join("%s %d" % pair for pair in roots.most_common()))
        with concurrent.futures.ThreadPoolExecutor(WORKERS) as workers:
            done = list(workers.map(lambda file: run(program, file), self.files))
        read, refusals, costs = [], 0, []
        for file, ran in zip(self.files, done):
            for what in ran["complaints"]:
                self.complain(file, what)
            costs += [(one, ran["text"], ran["packed"], file) for one in ran["runs"]]
            refused = ran["refused"]
            if refused != (file["refusal"] is not None):
                self.complain(file, "the library and the program do not agree whether to refuse it")
            self.check_refusal(file, refused)
            refusals += refused
            if file["refusal"] is None:
                read.append(file)
        self.figure("refused", refusals)
        self.cost(costs)
        return read

    def check_refusal(self, file, refused):
        listed = self.lists["refused"].find(file)
        if refused and not listed:
            self.complain(file, "refused, and not on the list: %s" % file["refusal"])
        elif listed and not refused:
            self.complain(file, "on the list of refused files, but read")
        elif listed and listed["says"] not in (file["refusal"] or ""):
            self.complain(file, "refused for another reason than is listed: %s" % file["refusal"])

    def cost(self, costs):
        for one, text, _, file in costs:
            if one["memory"] > BASE + FACTOR * text:
                self.complain(file, "%d MB of memory for %d bytes" % (one["memory"] // MB, text))
            if self.timed and one["seconds"] > SECONDS:
                self.complain(file, "%.1f s" % one["seconds"])
        over = lambda one, size: max(0, one["memory"] - BASE) / size
        slowest = max(costs, key=lambda cost: cost[0]["seconds"])
        largest = max(costs, key=lambda cost: cost[0]["memory"])
        ratio = max(costs, key=lambda cost: over(cost[0], cost[1]))
        packed = max(costs, key=lambda cost: over(cost[0], cost[2]))
        above = "%.1f bytes for each byte of %s above " + "%d MB (%%s)" % (BASE // MB)
        self.figure("slowest run", "%.2f s (%s)" % (slowest[0]["seconds"], slowest[3]["file"]))
        self.figure("largest memory", "%.1f MB (%s)" % (largest[0]["memory"] / MB, largest[3]["file"]))
        self.figure("for its text", above % (over(ratio[0], ratio[1]), "text", ratio[3]["file"]))
        self.figure("for its file", above % (over(packed[0], packed[2]), "the file", packed[3]["file"]))

    def notes(self, read):
        """What the program read beside what music21 reads."""
        # The largest first, so that the workers end together.
        read.sort(key=lambda file: -os.path.getsize(file["contents"]))
        reasons, notes, stretched = collections.Counter(), 0, 0
        with concurrent.futures.ProcessPoolExecutor(WORKERS) as workers:
            for file, (what, first, count, longer) in zip(read, workers.map(compare, read)):
                notes += count
                stretched += longer
                listed = self.lists["disagreements"].find(file)
                if what:
                    reasons[listed["reason"] if listed else "not listed"] += 1
                if what and not listed:
                    self.complain(file, "music21 reads other %s: %s" % (", ".join(what), first))
                elif listed and not what:
                    self.complain(file, "on the list of disagreements, but music21 reads the same")
                elif listed and what != sorted(listed["differs"]):
                    self.complain(file, "what differs is %s, not as listed: %s" % (what, first))
        self.figure("notes compared", notes)
        self.figure("directions beyond bars", "%d files" % stretched)
        self.figure("music21 reads otherwise", "%d files" % reasons.total())
        for reason, count in reasons.most_common():
            self.figure("", "%3d  %s" % (count, reason))

    def close(self):
        whole = len(self.files) == self.all
        for one in self.lists.values():
            self.complaints += one.complaints(self.all, whole)
        print("\n".join(self.figures))
        for line in self.complaints:
            print(line)
        return 1 if self.complaints else 0


def main():
    options = argparse.ArgumentParser(description="Surveys real scores.")
    options.add_argument("program")
    options.add_argument("files")
    options.add_argument("lists")
    options.add_argument("--timed", action="store_true")
    given = options.parse_args()
    with open(given.files, encoding="utf-8") as handle:
        survey = Survey(json.load(handle), given.lists, given.timed)
    survey.notes(survey.runs(given.program))
    sys.exit(survey.close())


if __name__ == "__main__":
    main()
