"""Calls the program with odd files and odd options for some minutes, and tells what it should not have done.

    python3 tests/python/rough.py PROGRAM MINUTES [SEED] [SCORE ...]

Scores are changed at random: elements go, come twice or change places, numbers and words become odd ones, bytes are
flipped, the end is cut. Sheets, decisions and tables are treated likewise. Each call has options drawn from all that its
command takes. A fault is an exit status other than 0 to 4, 4 itself (a copy that failed its proof), a signal, more than
two seconds of processor time, more than 300 MB, more than one line where a call fails, a control character in what
people read, or a file that is left behind half written. Needs Python alone, on Linux.
"""

import json
import os
import random
import re
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

DEMO = Path(__file__).parents[2] / "corpus" / "demo"
SECONDS = 2.0
MEGABYTES = 300
TAG = re.compile(r"<(/?)([A-Za-z-]+)([^<>]*?)(/?)>")
ELEMENT = re.compile(r"<([a-z-]+)(?: [^<>]*)?>[^<>]*</\1>|<[a-z-]+(?: [^<>]*)?/>")
NUMBER = re.compile(r"(?<=>)-?\d+(?=<)|(?<=\")-?\d+(?=\")")
WORDS = re.compile(r"(?<=>)[^<>\n]*[A-Za-z][^<>\n]*(?=<)")
NUMBERS = ["0", "1", "-1", "2", "3", "7", "13", "64", "127", "128", "255", "1000", "65536", "-2147483648", "2147483647",
           "9223372036854775807", "99999999999999999999", "0.5", "1e9", "", "x", "½", "1/3"]
TEXTS = ["", " ", "=1+1", "@x", "a\tb", "a b", "x" * 3000, "\u202eabc", "\u2028", "\u0085x", "&amp;&lt;", "1 a", "12-13",
         "2,3", "𝄞", "\u0301", "'\"'", "-", "P1", "flute", "Violin 1", "C major", "dolce", "D.C. al Fine", "tr", "(f)"]
VITAL = ["step", "octave", "duration", "display-step", "display-octave", "fifths"]


def change(text: str, rng: random.Random) -> str:
    """One change of a text."""
    kind = rng.random()
    pattern = rng.choice([ELEMENT, NUMBER, WORDS, ELEMENT])
    found = list(pattern.finditer(text))
    if not found:
        return text
    own = rng.choice(found)
    around = text[max(0, own.start() - 12) : own.end()]
    # Without them a score is not read at all.
    if any(f"<{name}>" in around for name in VITAL) and rng.random() < 0.97:
        return text
    if pattern is NUMBER:
        return text[: own.start()] + rng.choice(NUMBERS) + text[own.end():]
    if pattern is WORDS:
        return text[: own.start()] + rng.choice(TEXTS) + text[own.end():]
    if kind < 0.4:
        return text[: own.start()] + text[own.end():]
    if kind < 0.6:
        return text[: own.end()] + own.group() * rng.choice([1, 1, 2, 20]) + text[own.end():]
    other = rng.choice(found)
    return text[: own.start()] + other.group() + text[own.end():]


def odd(text: str, rng: random.Random) -> str:
    for _ in range(rng.choice([0, 1, 1, 2, 4, 10, 40])):
        text = change(text, rng)
    # What is broken is not read at all: that is tried, too, but seldom.
    if rng.random() < 0.03 and text:
        return text[: rng.randrange(len(text))]
    if rng.random() < 0.03 and text:
        at = rng.randrange(len(text))
        return text[:at] + rng.choice(TEXTS + ["<", ">", "&", "\"", "\0"]) + text[at + rng.randrange(3):]
    return text


class Files:
    """What a call may name."""

    def __init__(self, folder: Path, scores: list[str], rng: random.Random):
        self.folder, self.scores, self.rng = folder, scores, rng

    def put(self, name: str, text: str) -> str:
        path = self.folder / name
        path.write_bytes(text.encode("utf-8", "surrogatepass"))
        return str(path)

    def score(self, name: str) -> str:
        return self.put(name, odd(self.rng.choice(self.scores), self.rng))

    def pair(self) -> list[str]:
        same = self.rng.choice(self.scores)
        if self.rng.random() < 0.3:
            return [self.put("edition.musicxml", odd(same, self.rng)), self.put("source.musicxml", odd(same, self.rng))]
        if self.rng.random() < 0.6:
            demo = [(DEMO / name).read_text() for name in ("edition.musicxml", "source.musicxml")]
            return [self.put("edition.musicxml", odd(demo[0], self.rng)), self.put("source.musicxml", odd(demo[1], self.rng))]
        return [self.score("edition.musicxml"), self.score("source.musicxml")]

    def toml(self, name: str, text: str) -> str:
        lines = (odd(text, self.rng) if self.rng.random() < 0.4 else text).split("\n")
        if self.rng.random() < 0.1 and lines:
            del lines[self.rng.randrange(len(lines))]
        return self.put(name, "\n".join(lines))


RHYTHMS = "[[rhythm]]\nname = \"limping\"\nlengths = [1, 3]\nbeats = 1\n"
TABLE = "[[instrument]]\nname = \"my flute\"\nwritten = [\"D4\", \"A6\"]\nsounding = [\"F4\", \"C7\"]\n"
APART = "slur = \"dotted\"\ndynamics = \"brackets\"\nhairpin = \"plain\"\nbreath = \"out\"\n"
CATEGORIES = ["dynamics", "slur", "hairpin", "fingering", "breath", "ornament", "text", "tempo", "lyric", "octave-line"]
INSTRUMENTS = ["alto recorder", "violin", "clarinet in B flat", "cello", "tenor recorder", "soprano recorder", "oboe"]


def options(command: str, files: Files, rng: random.Random, decisions: str | None) -> list[str]:
    """The arguments of a call."""
    out = str(files.folder / "out")
    some: list[list[str]] = []

    def maybe(*args: str, chance: float = 0.25) -> None:
        if rng.random() < chance:
            some.append(list(args))

    bars = f"{rng.randrange(6)}-{rng.randrange(40)}" if rng.random() < 0.8 else rng.choice(TEXTS)
    line = lambda: (maybe("--part", rng.choice(["1", "1", "P1", "2"])), maybe("--staff", rng.choice(["1", "2"]), chance=0.1),
                    maybe("--voice", rng.choice(["1", "2", "5"]), chance=0.1))
    instrument = lambda chance=0.4: (maybe("--instrument", rng.choice(INSTRUMENTS), chance=chance),
                                     maybe("--instruments", files.toml("table.toml", TABLE), chance=0.3),
                                     maybe(rng.choice(["--written", "--sounding"]), chance=0.2))
    form = lambda forms: maybe("--format", rng.choice(forms), chance=0.6)
    if command == "audit":
        call = files.pair()
        line(), instrument(), form(["text", "json", "csv", "html"])
        maybe("--bars", bars), maybe("--strict"), maybe("--source-part", "1", chance=0.1)
        maybe("--decisions", out + ".toml"), maybe("--side-by-side", out + ".musicxml"), maybe("-o", out + ".txt", chance=0.2)
    elif command == "clean":
        call = files.pair() + ["-o", rng.choice([out + ".musicxml", out + ".mxl", "-"])]
        line(), instrument()
        maybe("--alone", chance=0.1), maybe("--keep", ",".join(rng.sample(CATEGORIES, 2)))
        maybe("--additions", rng.choice(["strip", "bracket", "color"]), chance=0.5)
        maybe("--apart", files.toml("apart.toml", APART), chance=0.1)
        maybe("--no-restore", rng.choice(["octaves", "passages", "readings", "omissions"]))
        maybe("--transpose", rng.choice(["up a minor third", "down a fifth", "up a major sixth", "down an octave"]))
        maybe("--key", rng.choice(["D minor", "E major", "G flat major"])), maybe("--fit"), maybe("--strict")
        maybe("--for", rng.choice(INSTRUMENTS)), maybe("--notes", out + rng.choice([".md", ".csv"]))
        maybe("--mine", files.toml("marks.toml", (DEMO / "marks.toml").read_text())), form(["text", "json"])
        if decisions:
            maybe("--decisions", files.toml("decisions.toml", decisions))
    elif command == "range":
        call = [files.score("score.musicxml")]
        line(), instrument(), form(["text", "json", "csv"]), maybe("--tempo", rng.choice(["72", "4", "1000"]))
        maybe("--stretches", out + ".csv")
    elif command == "keys":
        call = [files.score("score.musicxml"), "--instrument", rng.choice(INSTRUMENTS)]
        line(), form(["text", "json", "csv"]), maybe("--tempo", "96"), maybe("--written", chance=0.2)
        maybe("--instruments", files.toml("table.toml", TABLE), chance=0.2)
    elif command == "marks":
        call = files.pair()
        maybe("-o", out + ".toml")
    elif command == "exercises":
        call = [files.score("score.musicxml"), "-o", out + ".musicxml"]
        line(), instrument(0.8), maybe("--bars", bars), maybe("--tempo", "80"), form(["text", "json"])
        maybe("--most", rng.choice(["1", "5", "20"])), maybe("--form", rng.choice(["change", "rhythms,wider", "whole,beats"]))
        maybe("--rhythms", files.toml("rhythms.toml", RHYTHMS))
    else:
        call = files.pair()
        call = [call[1], call[0], files.score("third.musicxml")]
        form(["text", "json", "csv", "html"]), maybe("--any-key"), maybe("--lines"), instrument(0.3)
        maybe("--shard", rng.choice(["1/2", "2/2"])), maybe("--part", "1")
    # What excludes another option is refused in a line, which is as good.
    return [command, *call, *[arg for args in some for arg in args]]


def call(program: str, args: list[str], folder: Path) -> dict:
    """Runs the program, and measures it."""
    def limits() -> None:
        resource.setrlimit(resource.RLIMIT_CPU, (20, 20))
        resource.setrlimit(resource.RLIMIT_AS, (4 << 30, 4 << 30))

    with open(folder / ".stdout", "wb") as out, open(folder / ".stderr", "wb") as err:
        started = subprocess.Popen([program, *args], stdout=out, stderr=err, stdin=subprocess.DEVNULL, preexec_fn=limits, cwd=folder)
        _, status, usage = os.wait4(started.pid, 0)
        started.returncode = 0
    return {
        "status": os.waitstatus_to_exitcode(status),
        "seconds": usage.ru_utime + usage.ru_stime,
        "megabytes": usage.ru_maxrss / 1024,
        "stdout": (folder / ".stdout").read_bytes(),
        "stderr": (folder / ".stderr").read_bytes().decode("utf-8", "replace"),
    }


CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069]")


def faults(args: list[str], done: dict) -> list[str]:
    out = []
    # With --strict it is asked for.
    if done["status"] not in ((0, 1, 2, 3, 4) if "--strict" in args else (0, 1, 2, 3)):
        out.append(f"status {done['status']}")
    if done["seconds"] > SECONDS:
        out.append(f"{done['seconds']:.1f} s")
    if done["megabytes"] > MEGABYTES:
        out.append(f"{done['megabytes']:.0f} MB")
    if done["status"] in (2, 3, 4) and len(done["stderr"].splitlines()) > 1 and args[0] != "rank":
        out.append("several lines of one fault")
    is_text = not any(form in args for form in ("json", "csv", "html", "--lines", "-"))
    printed = done["stdout"].decode("utf-8", "replace") if is_text and args[0] != "marks" else ""
    if CONTROL.search(printed) or CONTROL.search(done["stderr"].replace("\n", "")):
        out.append("a control character")
    return out


def main() -> None:
    program, minutes = sys.argv[1], float(sys.argv[2])
    seed = int(sys.argv[3]) if len(sys.argv) > 3 else 1
    paths = [Path(p) for p in sys.argv[4:]] or sorted(DEMO.glob("*.musicxml"))
    scores = [path.read_text(encoding="utf-8", errors="replace") for path in paths]
    rng = random.Random(seed)
    end = time.monotonic() + 60 * minutes
    calls, found, statuses, decisions, most = 0, [], {}, None, {"seconds": 0.0, "megabytes": 0.0}
    commands = ["audit", "clean", "clean", "range", "keys", "marks", "exercises", "rank"]
    while time.monotonic() < end:
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            command = rng.choice(commands)
            args = options(command, Files(folder, scores, rng), rng, decisions)
            done = call(program, args, folder)
            calls += 1
            statuses[done["status"]] = statuses.get(done["status"], 0) + 1
            most = {key: max(most[key], done[key]) for key in most}
            wrong = faults(args, done)
            if any(path.name.startswith(".obelus-") for path in folder.iterdir()):
                wrong.append("a file left behind")
            if (folder / "out.toml").exists() and command == "audit":
                decisions = (folder / "out.toml").read_text()
            if wrong:
                keep = Path(tempfile.mkdtemp(prefix="rough-"))
                for path in folder.iterdir():
                    if path.is_file():
                        (keep / path.name).write_bytes(path.read_bytes())
                found.append({"wrong": wrong, "args": [a.replace(name, str(keep)) for a in args], "stderr": done["stderr"][:300]})
                print(json.dumps(found[-1]), flush=True)
    print(json.dumps({"calls": calls, "statuses": statuses, "faults": len(found), **most}))
    sys.exit(1 if found else 0)


if __name__ == "__main__":
    main()
