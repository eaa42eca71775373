"""Prints a song of 30 stems in stems, and holds their sum against the print with numpy and soundfile.

Usage: stems.py FAIRPRINT SECONDS

Says the nulls of the files, and what stems and ten alternates cost beside the print alone: processor time of user and
system, and the most memory (both from wait4). Ends with 1 if a null is not what docs/stems.md promises.
"""

import json
import os
import pathlib
import subprocess
import sys
import tempfile

import numpy as np
import soundfile

RATE_HZ, STEMS, GROUPS = 48_000, 30, ["drums", "bass", "guitars", "keyboards", "voices"]
# Design figures: peak of print minus sum.
NULL_DBFS = {24: -120.0, 32: -140.0}
SONG = """fairprint = 1
[song]
title = "Lantern Weather"
artist = "The Tin Orchard"
rate_hz = 48000
"""
NETWORK = """
[[bus]]
name = "main"
to = "mix"
sends = [{ to = "crush" }, { to = "room", level_db = -6 }, { to = "dirt" }]
chain = [{ compressor = { kind = "bus", threshold_db = -20, ratio = 2 } }, { eq = { bands = [ { shape = "bell", hz = 200, gain_db = -2, q = 1 } ] } }]
[[bus]]
name = "crush"
to = "mix"
level_db = -12
chain = [{ compressor = { kind = "valve", threshold_db = -34, ratio = 8, attack_ms = 0.4, release_ms = 300 } }]
[[bus]]
name = "room"
to = "mix"
level_db = -14
chain = [{ room = { decay_s = 0.6 } }]
[[bus]]
name = "dirt"
to = "mix"
level_db = -24
chain = [{ drive = { shape = "tube", drive_db = 12 } }]
[[bus]]
name = "mix"
[[print]]
name = "for approval"
from = "mix"
chain = [{ compressor = { kind = "bus", threshold_db = -22, ratio = 2 } }, { tape = { ips = "15", drive_db = 3 } }, { limiter = { ceiling_dbtp = -1 } }]
loudness = { lufs = -12 }
files = [{ format = "wav", bits = 24 }, { format = "wav", bits = 32 }]
"""

fairprint, seconds = pathlib.Path(sys.argv[1]).absolute(), float(sys.argv[2])


def write_stems(place):
    """Plucked tones and noises, each with beats of its own; no two alike."""
    noise, times = np.random.default_rng(30), np.arange(int(seconds * RATE_HZ)) / RATE_HZ
    for number in range(STEMS):
        beat = 0.25 * (1 + number % 7)
        envelope = np.exp(-6 * (times % beat) / beat)
        tone = np.sin(2 * np.pi * 55 * 2 ** (number / 6) * times)
        rough = noise.standard_normal(times.size) * (0.3 if number % 3 == 0 else 0.02)
        pan = 0.5 + 0.4 * np.sin(number)
        mono = 0.08 * envelope * (tone + rough)
        soundfile.write(place / f"{number:02}.wav", np.stack([mono * (1 - pan), mono * pan], 1), RATE_HZ, subtype="PCM_24")


def sheet(parts):
    stems = "".join(
        f'[[stem]]\nname = "stem {n:02}"\nfile = "{n:02}.wav"\nto = "{GROUPS[n % len(GROUPS)]}"\n' for n in range(STEMS)
    )
    groups = "".join(f'[[bus]]\nname = "{group}"\nto = "main"\nchain = [{{ compressor = {{ threshold_db = -24 }} }}]\n' for group in GROUPS)
    return SONG + stems + groups + NETWORK + parts


def printed(place, name, parts):
    """Processor seconds, most memory in MB, and the revision's report."""
    (place / f"{name}.toml").write_text(sheet(parts))
    command = [fairprint, "print", f"{name}.toml", "--out", name, "--quiet"]
    process = subprocess.Popen(command, cwd=place)
    _, status, usage = os.wait4(process.pid, 0)
    assert os.waitstatus_to_exitcode(status) < 2, name
    return usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024, json.loads((place / name / "r001/report.json").read_text())


def files_of(report, beginning, ending):
    records = [f for f in report["prints"] if f["name"].startswith(beginning) and ending in f["format"]]
    return [pathlib.Path(record["path"]) for record in records]


failed = False
with tempfile.TemporaryDirectory() as place:
    place = pathlib.Path(place)
    write_stems(place)
    alone, memory, _ = printed(place, "alone", "")
    print(f"the print alone: {alone:.1f} s of processor time, {memory:.0f} MB")
    by_stem = '[[stem_print]]\nname = "stems"\nof = "for approval"\nfiles = [{ format = "wav", bits = 24 }, { format = "wav", bits = 32 }]\n'
    cost, memory, report = printed(place, "stems", by_stem)
    record = report["stems"][0]
    share = record["residue_share_db"]
    print(f"all {STEMS} stems in two formats: {cost:.1f} s, {cost / alone:.2f} prints (asked: {1 + 0.35 * STEMS:.2f}), {memory:.0f} MB")
    print(f"residue against the print: {share:.1f} dB")
    for bits, most in NULL_DBFS.items():
        (whole,) = (place / path for path in files_of(report, "for approval", f"{bits} bit"))
        total = soundfile.read(place / whole, dtype="float64")[0]
        parts = files_of(report, "stems ", f"{bits} bit")
        for path in parts:
            total -= soundfile.read(place / path, dtype="float64")[0]
        peak = np.abs(total).max()
        null = 20 * np.log10(peak) if peak > 0 else float("-inf")
        failed |= null > most or len(parts) != STEMS + 1
        print(f"{'ok  ' if null <= most else 'FAIL'} {bits} bit: print minus {len(parts)} files {null:.1f} dBFS (at most {most:.0f})")
    by_group = "".join(f'  {{ name = "{group}", from = ["{group}"] }},\n' for group in GROUPS)
    grouped = f'[[stem_print]]\nname = "groups"\nof = "for approval"\ngroups = [\n{by_group}]\nfiles = [{{ format = "wav", bits = 24 }}]\n'
    cost, memory, _ = printed(place, "groups", grouped)
    print(f"{len(GROUPS)} groups: {cost:.1f} s, {cost / alone:.2f} prints (asked: {1 + 0.35 * len(GROUPS):.2f}), {memory:.0f} MB")
    for dynamics in ["held", "free"]:
        rules = [f'mute = ["{group}"]' for group in GROUPS] + [f'only = ["{group}"]' for group in GROUPS]
        ten = "".join(
            f'[[alternate]]\nname = "alternate {n}"\nof = "for approval"\n{rule}\ndynamics = "{dynamics}"\nfiles = [{{ format = "wav", bits = 24 }}]\n'
            for n, rule in enumerate(rules)
        )
        cost, memory, _ = printed(place, dynamics, ten)
        print(f"ten {dynamics} alternates: {cost:.1f} s, {cost / alone:.2f} prints (asked: 2.5), {memory:.0f} MB")
sys.exit(failed)
