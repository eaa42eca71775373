"""Prints ever larger songs, and tells what each takes: whether time grows with stems and length and memory does not.

usage: scale.py FOLDER FAIRPRINT

Four recordings stand under all names, so that a hundred stems take no more room than four. Keeps what it measured in
bench/scale.json, which the page shows.
"""

import json
import os
import shutil
import subprocess
import sys
import time

import numpy
import soundfile

HERE = os.path.dirname(os.path.abspath(__file__))
KEPT = f"{HERE}/scale.json"
SEED = 20_241
RECORDINGS = 4
BUSES = 5
THREADS = 2
# Stems, seconds, Hz.
CASES = [
    (10, 60, 96_000),
    (30, 60, 96_000),
    (100, 60, 96_000),
    (30, 60, 48_000),
    (30, 300, 48_000),
    (30, 1200, 48_000),
    (100, 360, 96_000),
]


def recordings(folder, seconds, rate_hz):
    """Noise that swells and fades, four times, once for each length and rate."""
    os.makedirs(folder, exist_ok=True)
    for number in range(RECORDINGS):
        path = f"{folder}/{number}.wav"
        if os.path.exists(path):
            continue
        random = numpy.random.default_rng([SEED, number])
        with soundfile.SoundFile(f"{path}.part", "w", rate_hz, 2, "PCM_24", format="WAV") as file:
            for second in range(seconds):
                swell = 0.05 * (1 + numpy.sin(0.7 * (number + 1) * second))
                file.write(swell * random.uniform(-1, 1, (rate_hz, 2)))
        os.replace(f"{path}.part", path)


def sheet(stems, rate_hz):
    """Stems into buses that are equalised and compressed, their sum limited."""
    text = f'fairprint = 1\n\n[song]\ntitle = "Lantern Weather"\nartist = "The Tin Orchard"\nrate_hz = {rate_hz}\n'
    for number in range(stems):
        keys = f'name = "stem {number}"\nfile = "stem {number}.wav"\nto = "bus {number % BUSES}"\nlevel_db = -12\n'
        text += f"\n[[stem]]\n{keys}"
    chain = "{ eq = { bands = [{ shape = \"bell\", hz = 300, gain_db = -2, q = 1.2 }] } }, { compressor = {} }"
    for number in range(BUSES):
        text += f'\n[[bus]]\nname = "bus {number}"\nto = "mix"\nchain = [{chain}]\n'
    text += '\n[[bus]]\nname = "mix"\n\n[[print]]\nname = "take"\nfrom = "mix"\n'
    return text + 'chain = [{ limiter = { ceiling_dbtp = -1.0 } }]\nfiles = [{ format = "wav", bits = 24 }]\n'


def measure(folder, fairprint, stems, seconds, rate_hz):
    """Wall seconds, processor seconds and peak MiB of one print."""
    recordings(f"{folder}/{rate_hz}-{seconds}", seconds, rate_hz)
    song = f"{folder}/song"
    shutil.rmtree(song, ignore_errors=True)
    os.makedirs(song)
    for number in range(stems):
        os.link(f"{folder}/{rate_hz}-{seconds}/{number % RECORDINGS}.wav", f"{song}/stem {number}.wav")
    with open(f"{song}/sheet.toml", "w") as file:
        file.write(sheet(stems, rate_hz))
    command = [fairprint, "print", f"{song}/sheet.toml", "--threads", str(THREADS), "--quiet", "--out", f"{song}/prints"]
    start = time.monotonic()
    child = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(child.pid, 0)
    wall = time.monotonic() - start
    if os.waitstatus_to_exitcode(status) not in (0, 1):
        sys.exit(f"This ended with status {status}: {' '.join(command)}")
    shutil.rmtree(song)
    return wall, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024


def main(folder, fairprint):
    """Measures all cases and keeps them."""
    rows = []
    for stems, seconds, rate_hz in CASES:
        print(f"{stems} stems of {seconds} s at {rate_hz} Hz", file=sys.stderr)
        wall, processor, mib = measure(os.path.abspath(folder), os.path.abspath(fairprint), stems, seconds, rate_hz)
        load = os.getloadavg()[0]
        row = {"stems": stems, "seconds": seconds, "rate_hz": rate_hz, "wall_s": wall, "processor_s": processor}
        rows.append({key: round(value, 2) for key, value in row.items()} | {"mib": round(mib), "load": round(load, 1)})
        print(rows[-1])
    with open(KEPT, "w") as file:
        json.dump(rows, file, indent=2)
        file.write("\n")


main(*sys.argv[1:])
