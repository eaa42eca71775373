"""Holds the workflow of docs/catalogue.md to what it promises, on small songs in a folder of their own.

Usage: catalogue.py SNAKEMAKE FAIRPRINT SONGS
"""

import csv
import math
import pathlib
import signal
import struct
import subprocess
import sys
import tempfile
import time
import wave

RATE_HZ = 48_000
SHEET = """fairprint = 1
[song]
title = "Lantern Weather {number}"
artist = "The Tin Orchard"
rate_hz = 48000
[[stem]]
name = "keys"
file = "keys.wav"
to = "mix"
[[bus]]
name = "mix"
[[print]]
name = "for approval"
from = "mix"
chain = [{{ limiter = {{ ceiling_dbtp = -1 }} }}]
loudness = {{ lufs = -16 }}
files = [{{ format = "wav", bits = 24 }}]
"""

snakemake, fairprint, songs = pathlib.Path(sys.argv[1]).absolute(), pathlib.Path(sys.argv[2]).absolute(), int(sys.argv[3])
snakefile = pathlib.Path(__file__).absolute().parent.parent / "catalogue/Snakefile"


def write_tone(path, hz, gain=0.2):
    frames = (gain * math.sin(math.tau * hz * n / RATE_HZ) for n in range(2 * RATE_HZ))
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE_HZ)
        file.writeframes(b"".join(struct.pack("<h", round(32767 * frame)) for frame in frames))


def start(place):
    options = ["--cores", "2", "--keep-going", "--rerun-incomplete", "--quiet", "--config", f"fairprint={fairprint}", "threads=1"]
    command = [snakemake, "-s", snakefile, *options]
    return subprocess.Popen(command, cwd=place, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)


def run(place):
    begun = time.monotonic()
    said = (running := start(place)).communicate()[0]
    assert running.returncode == 0, said
    return time.monotonic() - begun


def rows(place):
    with open(place / "catalogue/catalogue.tsv", encoding="utf-8") as table:
        return {row["song"]: row for row in csv.DictReader(table, delimiter="\t")}


def revisions(place):
    return sorted(path.relative_to(place / "catalogue").as_posix() for path in place.glob("catalogue/*/prints/r*"))


with tempfile.TemporaryDirectory() as place:
    place = pathlib.Path(place)
    names = [f"song {number:03}" for number in range(songs)]
    for number, name in enumerate(names):
        folder = place / "songs" / name
        folder.mkdir(parents=True)
        write_tone(folder / "keys.wav", 220 + 10 * number)
        (folder / "sheet.toml").write_text(SHEET.format(number=number))
    faulty = place / "songs" / names[-1] / "sheet.toml"
    faulty.write_text(faulty.read_text().replace("title", "titel"))

    running = start(place)
    while running.poll() is None and len(list(place.glob("catalogue/*/print.json"))) < songs // 3:
        time.sleep(0.05)
    running.send_signal(signal.SIGKILL)
    running.communicate()
    time.sleep(3)  # What it had begun comes to its end by itself.
    there = len(list(place.glob("catalogue/*/print.json")))
    assert 0 < there < songs, there
    print(f"stopped after {there} of {songs} songs")
    subprocess.run([snakemake, "-s", snakefile, "--unlock", "--quiet"], cwd=place, capture_output=True, check=True)
    print(f"resumed and finished in {run(place):.0f} s")

    table = rows(place)
    assert list(table) == names
    last = table.pop(names[-1])
    assert "titel" in last["failures"] and not last["sha256"], last
    for name, row in table.items():
        assert abs(float(row["integrated_lufs"]) + 16) <= 0.05 and row["finished"] == "True", row
    printed = revisions(place)
    twice = [path for path in printed if not path.endswith("r001")]
    # Only what was under way when the workflow was stopped may have been printed twice.
    assert len(printed) - len(twice) == songs - 1 and len(twice) <= 2, twice
    print(f"one row for each of {songs} songs, the faulty one among them; {len(twice)} printed twice")

    write_tone(place / "songs" / names[0] / "keys.wav", 330)
    faulty.write_text(faulty.read_text().replace("titel", "title"))
    before = rows(place)
    print(f"one recording changed, one sheet mended: again in {run(place):.0f} s")
    new = sorted(set(revisions(place)) - set(printed))
    changed = [name for name, row in rows(place).items() if row["sha256"] != before[name]["sha256"]]
    assert len(new) == 2 and changed == [names[0], names[-1]], (new, changed)
    print("those two songs were printed, and no other")
