"""Runs the jobs and prints the page. See `run` beside this file, which makes all that it needs.

usage: bench.py FOLDER [count [keep] | page]
"""

import json
import os
import re
import shutil
import statistics
import subprocess
import sys
import time

import jobs
import page

HERE = os.path.dirname(os.path.abspath(__file__))
SHORT = 5
RATE_HZ = 48_000
KEPT = f"{HERE}/instructions.json"
SCALE = f"{HERE}/scale.json"
PAGE = f"{HERE}/../docs/speed.md"


class Bench:
    """Where things are, and how often to run them."""

    def __init__(self, folder):
        self.folder = os.path.abspath(folder)
        self.runs = int(os.environ.get("RUNS", 5))
        self.only = re.compile(os.environ.get("ONLY", ""))
        self.core = int(os.environ.get("CORE", 0))
        self.loads = []

    def command(self, words, seconds):
        """A command with its places filled in."""
        places = {
            "python": f"{self.folder}/venv/bin/python",
            "fairprint": f"{self.folder}/../release/fairprint",
            "loudness": f"{self.folder}/loudness/release/loudness",
            "bench": HERE,
            "material": f"{self.folder}/material/{seconds}",
            "scratch": f"{self.folder}/scratch",
            "seconds": str(seconds),
        }
        return [word.format(**places) if "{" in word else word for word in words]

    def run(self, words, seconds):
        """Wall seconds, processor seconds and peak MiB of one run on one core."""
        shutil.rmtree(f"{self.folder}/scratch", ignore_errors=True)
        os.makedirs(f"{self.folder}/scratch")
        command = self.command(words, seconds)
        start = time.monotonic()
        child = subprocess.Popen(
            command,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            preexec_fn=lambda: os.sched_setaffinity(0, {self.core}),
        )
        errors = child.stderr.read().decode()
        _, status, usage = os.wait4(child.pid, 0)
        wall = time.monotonic() - start
        if status != 0:
            sys.exit(f"This ended with status {status}: {' '.join(command)}\n{errors}")
        self.loads.append(os.getloadavg()[0])
        return wall, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024

    def measure(self, job, runs):
        """Medians of a job's parties, Fairprint first, in turn each round."""
        parties = {"Fairprint": job.ours} | job.peers
        results = {name: [] for name in parties}
        for turn in range(runs):
            for name, words in parties.items():
                print(f"{job.name}, round {turn + 1} of {runs}: {name}", file=sys.stderr)
                results[name].append(self.run(words, job.seconds))
        return {name: [statistics.median(part) for part in zip(*rounds)] for name, rounds in results.items()}

    def wanted(self, of):
        """The jobs that were asked for."""
        return [job for job in of if self.only.search(job.name)]

    def times(self):
        """All jobs by time, as a page."""
        measured = {job.name: self.measure(job, self.runs) for job in self.wanted(jobs.JOBS)}
        # How much memory a run takes does not vary.
        memory = {job.seconds: self.measure(job, 1) for job in self.wanted(jobs.MEMORY)}
        shutil.rmtree(f"{self.folder}/scratch", ignore_errors=True)
        return page.whole(jobs.JOBS, measured, memory, self.runs, self.loads, kept(), kept(SCALE))

    def count(self):
        """Instructions of Fairprint on the excerpt, a frame, by job."""
        counts = {}
        for job in self.wanted(jobs.JOBS):
            print(f"{job.name}: counting", file=sys.stderr)
            shutil.rmtree(f"{self.folder}/scratch", ignore_errors=True)
            os.makedirs(f"{self.folder}/scratch")
            tool = ["valgrind", "--tool=callgrind", "--callgrind-out-file=/dev/null"]
            command = tool + self.command(job.ours, SHORT)
            done = subprocess.run(command, capture_output=True, text=True, check=False)
            collected = re.search(r"Collected : (\d+)", done.stderr)
            if done.returncode != 0 or not collected:
                sys.exit(f"This did not work: {' '.join(command)}\n{done.stderr}")
            counts[job.name] = round(int(collected[1]) / (SHORT * RATE_HZ))
        return counts


def kept(path=KEPT):
    """What was kept: the instructions by job, or what large songs take."""
    try:
        with open(path) as file:
            return json.load(file)
    except FileNotFoundError:
        return {}


def main(folder, mode="times", keep=""):
    """Prints the page, or counts."""
    if mode == "page":
        with open(PAGE) as file:
            text = page.again(file.read(), kept(), kept(SCALE))
        with open(PAGE, "w") as file:
            file.write(text)
        return
    bench = Bench(folder)
    if mode == "times":
        print(bench.times())
        return
    counts = bench.count()
    print(page.counted(counts, kept()))
    if keep == "keep":
        everything = kept() | counts
        with open(KEPT, "w") as file:
            json.dump(everything, file, indent=2)
            file.write("\n")


main(*sys.argv[1:])
