"""The page that a run makes, in Markdown."""

import datetime
import os
import re
import subprocess

INTRODUCTION = """# Speed

<!-- Made by `sh bench/run > docs/speed.md`. Run it again, change no figure by hand. -->

How fast Fairprint works beside general-purpose tools that do the same offline work on the same files. They are peers in speed
alone: none of them aligns a network, proves true peak, finds a loudness or writes a report. `sh bench/run` makes the material
(seeded, 48 kHz, 24 bits, stereo), installs the peers, runs each party in turn and prints this page; `bench/jobs.py` holds every
command.

Each figure is a ratio of medians, Fairprint over peer: below 1, Fairprint is faster or smaller. Processor time is user and system
time together. All runs are whole processes on one core: start-up, reading 24-bit files, the work, writing 24-bit files. Absolute
seconds do not travel between machines.

Fairprint runs as one would run it: `fairprint print SHEET --threads 1 --quiet`. That also renders into 64-bit spool files, reads
every written file back, measures it, and writes a report, which peers do not. So the last column takes the time of an empty chain
(first row) off both sides: what is left is the job itself. Small differences of large numbers are uncertain; it is left out where
less than 0.05 s remains.
"""

COUNTS = """
## Instructions

Counted by callgrind on an excerpt of 5 s, start-up included: what each job takes a frame, and so less the empty chain. Counts do
not depend on load, so a change of some percent shows on any machine. `sh bench/run count` compares with these,
`sh bench/run count keep` replaces them. They depend on compiler and kind of processor.
"""

# Less than this much processor time is not worth a ratio.
LEAST_S = 0.05


def said(*command):
    """First line of what a command says."""
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    return (done.stdout or done.stderr).strip().split("\n")[0]


def version_of(command, pattern):
    """The version in what a command says."""
    found = re.search(pattern, said(*command))
    return found[1] if found else "unknown"


def machine():
    """Processor and cores."""
    with open("/proc/cpuinfo") as file:
        model = re.search(r"model name\s*: (.*)", file.read())
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    return f"{model[1] if model else 'unknown'}, {os.cpu_count()} cores, {memory:.0f} GiB"


def circumstances(runs, loads):
    """When, where and with what it was measured."""
    commit = said("git", "rev-parse", "--short", "HEAD") + (" and changes" if said("git", "status", "--porcelain") else "")
    crate = re.search(r'name = "ebur128"\nversion = "(.*)"', open("bench/loudness/Cargo.lock").read())
    packages = said("target/bench/venv/bin/python", "-c", "import pedalboard; print(pedalboard.__version__)")
    versions = [
        "ffmpeg " + version_of(["ffmpeg", "-version"], r"version (\S+)"),
        "sox " + version_of(["sox", "--version"], r"v(\S+)"),
        f"pedalboard {packages}",
        f"crate ebur128 {crate[1] if crate else 'unknown'}",
        version_of(["rustc", "--version"], r"(rustc \S+)"),
    ]
    rounds = "1 round" if runs == 1 else f"{runs} rounds"
    idle = max(loads) < 1.5
    load = "nothing else ran" if idle else "the machine was shared and loaded, so take the ratios as rough"
    return (
        f"\nMeasured {datetime.date.today()} at commit {commit}, {rounds}, on {machine()}. "
        f"Load {min(loads):.1f} to {max(loads):.1f}: {load}. Peers: {', '.join(versions)}.\n"
    )


def row(*cells):
    """A row of a table."""
    return "| " + " | ".join(cells) + " |\n"


def ratio(ours, theirs):
    """A ratio to be read."""
    return f"{ours / theirs:.2f}"


def without_empty(job, peer, ours, theirs, empty):
    """Ratio of processor times less those of an empty chain, where they mean something."""
    tool = next((name for name in empty or {} if peer.startswith(name)), None)
    if not job.chain or tool is None:
        return ""
    ours, theirs = ours - empty["Fairprint"][1], theirs - empty[tool][1]
    return ratio(ours, theirs) if ours > LEAST_S and theirs > LEAST_S else "–"


def times(jobs, measured):
    """The table of times."""
    table = row("job", "beside", "wall", "processor", "peak memory", "Fairprint s", "peer s", "processor, less empty")
    table += row(*["---"] * 8)
    for job in jobs:
        if job.name not in measured:
            continue
        medians = dict(measured[job.name])
        ours = medians.pop("Fairprint")
        for peer, theirs in medians.items():
            ratios = [ratio(*pair) for pair in zip(ours, theirs)]
            less = without_empty(job, peer, ours[1], theirs[1], measured.get("empty"))
            table += row(f"{job.name}: {job.title}", peer, *ratios, f"{ours[1]:.2f}", f"{theirs[1]:.2f}", less)
    return table


def memory_table(memory):
    """Peak memory of the network by its length."""
    if not memory:
        return ""
    parties = list(next(iter(memory.values())))
    table = "\n## Memory\n\nPeak MiB of the whole network by the length of the song; about 12 MiB is the least that can be told.\n\n"
    table += row("seconds", *parties) + row(*["---"] * (len(parties) + 1))
    for seconds, medians in memory.items():
        table += row(str(seconds), *[f"{medians[party][2]:.0f}" for party in parties])
    return table


def counted(counts, before):
    """Instructions a frame by job, beside those of before."""
    table = row("job", "instructions a frame", "less empty", "kept", "change")
    table += row(*["---"] * 5)
    empty = counts.get("empty", before.get("empty", 0))
    for name, count in counts.items():
        old = before.get(name)
        change = f"{100 * (count / old - 1):+.1f}%" if old else ""
        table += row(name, str(count), less_empty(name, count, empty), str(old or ""), change)
    return table


def less_empty(name, count, empty):
    """What a job takes beyond an empty chain; nothing for one that prints no chain."""
    return str(count - empty) if name not in ("empty", "measure") else ""


def kept_table(kept):
    """The instructions that were kept."""
    if not kept:
        return ""
    table = row("job", "instructions a frame", "less empty") + row(*["---"] * 3)
    rows = (row(name, str(count), less_empty(name, count, kept["empty"])) for name, count in kept.items())
    return COUNTS + "\n" + table + "".join(rows)


def whole(jobs, measured, memory, runs, loads, kept):
    """The page."""
    text = INTRODUCTION + circumstances(runs, loads) + "\n## Time\n\n" + times(jobs, measured)
    return (text + memory_table(memory) + kept_table(kept)).rstrip()
