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

Fairprint runs as one would run it: `fairprint print SHEET --threads 1 --quiet`. That also hashes what it reads and writes, reads
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

SCALE = """
## Large songs

Stems into five buses that are equalised and compressed, their sum limited, on two threads (`sh bench/run scale`). Times real
time is the length of the song over half of the processor time: what two cores would give that have nothing else to do.
"""

TRIED = """
## What the time of the network is made of

By a sampling profile of 240 s of the network on one thread (2026-11-28, `perf record -e cpu-clock`), on a processor with
AVX-512: convolution and transforms 23% (products of spectra and their order 14, transforms 9, those of the meters among them),
distortion at 8x, twice, 18% (half-band filters 10, curve 6, means 2), meters but for their transforms 13% (loudness, levels and
envelopes of prints and returns 9, true peaks 3, spectra 1), the system's reading and writing 11%, hashing 6%, limiter 6%, sums and
faders 6%, compressor 4%, copies in memory 3%, decoding and encoding 3%, equalisers 3%, dither 1%. No part stands out: what is left is
spread over a hundred functions.

With two threads, 60 s of the network kept 88% of both cores busy, the same without steps of their own for processors 78% (user and
system time over twice the wall time, `--threads 2`, beside other work but ahead of it). The demo print goes through one MP3 encoder
twice before its ceiling holds, and through another for its file: 85% (median of five; 73% while these three came one after the
other). On a loaded machine this cannot be read from the clock: the processor time of every quarter of a second was laid on as many
cores as threads ran or waited for one, two at most, so wall time would be 10.7 s instead of 13.1. What is left idle is the first trip,
which keeps one thread busy alone, and a quarter of each render of the limiter.

## What was done, and what did not help

All of this but rate conversion left every sample of every print as it was; the sheets of this bench, a sheet with alternates,
stems and all formats, and the demo song were printed before and after and compared. The times above may be older than this:
they tell their commit.

- True peaks: no interpolation where the samples cannot reach the bound (the largest sample times the sum of the weights'
  magnitudes). Exact; with wider registers a third of the instructions that it took.
- Loops over stereo frames whose results are stored pair by pair become vector code two numbers wide, whatever the machine has.
  Summing into a plain array first, and placing the pairs afterwards, took a third off the half-band filters on the way up, and
  let rate conversion and alignment (four frames abreast) use whole registers.
- Two pairs of an equaliser's sections run abreast, the second section a frame behind the first: a third fewer instructions for
  eight bells, and a recursion no longer waits for the one before.
- 512-bit registers where there are any, for the same bytes. Callgrind knows none: its counts are those of 256 bits. Nor does it
  know the hash instructions: there, hashing a byte takes 52 instructions: 312 a frame of every chain for its recording, as many for
  its print, and 5000 a frame of the network. (Until 2026-11-25 recordings were not hashed, nor files laid against each other.)
- A lone thread works one block at a time (four under way at once are 2 MB for this network, more than many a second-level cache).
- A print whose loudness is not sought, and every alternate, goes straight into its files while it is rendered, whatever their rate;
  before, it was written into a 64-bit file and read again: 0.94 to 0.73 s of processor time for 240 s of an empty chain. With what
  stands below, 0.64 s: the median of three in turn with the build before, on a loaded machine, as all seconds in this list.
- Rate conversion in two stages: the sharp filter by transforms, at twice the lower rate or more, then a short polyphase filter. Less
  than half of the time (0.38 to 0.16 s for 100 s of 48 to 44.1 kHz) and half of the instructions (690 to 380 a frame). This moved
  samples: of 60 tones in the pass band, and 60 above it, between 15 pairs of rates, what is not the tone lies 168 dB down or more,
  where with one long filter it was 159 dB; between the two, from 20.0 to 22.05 kHz at 44.1 kHz, the slope is a little steeper.
- The first pass of the transform works out four groups before it puts them in order: a fifth less time for the whole transform,
  with 512-bit registers. Meters weigh frames into the stretches of the spectrum as they come, which spares three ways through memory.
- Dither draws its noise eight frames at a time, with integers that become numbers without a conversion. The first path into a
  sum is laid down instead of added to silence, and a trim of 0 dB multiplies nothing.
- With two threads or more every processor of a chain is a step of its own, in the render and while a loudness is sought, so that the
  processors of one chain work side by side.
- Once a codec has made a print's ceiling give way, the print's files are made beside the next trip through the codec: that ceiling
  holds as a rule, and if it does not, the files are dropped. Not so beside the first trip, which often fails, and not with
  one thread. Several codecs go side by side.
- The spectrum of the meters goes through the transform of the convolution instead of a library's scalar one: 281 instructions
  a frame of every file that is measured. Third octaves moved by less than 1e-13 dB; no sample is touched.
- Did not help, by the machine code that came of it: four other ways to write the butterflies of the transform (at 256 bits the
  compiler keeps half of the turning in 128); reading 24 bits under AVX2 (as many instructions as plain 64-bit loads); wider
  registers for the loudness filter (a serial recursion of two channels, which fill 128 bits).
- Did not help, by processor time in turn on one core: partitions of the convolution that grow by eight or four (1.54 to 1.57 s
  and 1.64 to 1.81 s for 240 s, against 1.21 to 1.27 s; the results differ by less than -302 dB of the peak); a transform of rows
  and columns, eight numbers abreast (its strides meet in the same places of the cache); the meters' transform in four quarters;
  two passes of the transform in one go (1.9 s for what takes 1.2: sixteen groups do not fit the registers); strips of 16 or
  32 groups in its first pass.
- Did not help, by renders and trips of the demo print: the codec tried on the four brightest passages of five seconds first. They
  asked for a ceiling at which the print as a whole just did not hold: six renders instead of five, two whole trips as before, and a
  set of files for nothing. Nor did other laws for what the limiter takes (exponential, or a parabola in place of the line) pay,
  tried by 114 targets on curves of eleven limited sounds: 2.9 to 3.1 renders a search, where the line through the last two tries
  takes 3.0.
- What a search costs: the demo print with its loudness sought, without a codec, took 5% more than with the gain that was found (two
  renders instead of one, 11.1 to 10.6 s on one thread); with the codec, whose trip costs 1.8 s and asks for a second ceiling, five
  renders and two trips come to about 36% more than one of each. A single recording behind a limiter, which is nothing but ending,
  takes 1.4 to 3.7 times as long as with a fixed gain (one to five renders).
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


def scale_table(cases):
    """What large songs take."""
    if not cases:
        return ""
    loads = [case["load"] for case in cases]
    table = row("stems", "seconds", "Hz", "processor s", "times real time", "cores busy", "peak MiB") + row(*["---"] * 7)
    for r in cases:
        factor = r["seconds"] / (r["processor_s"] / 2)
        cells = [r["stems"], r["seconds"], r["rate_hz"], f"{r['processor_s']:.1f}", f"{factor:.1f}"]
        table += row(*map(str, cells), f"{r['processor_s'] / r['wall_s']:.2f}", str(r["mib"]))
    return f"{SCALE}\nLoad {min(loads):.1f} to {max(loads):.1f}; other work takes its share of the cores.\n\n{table}"


def again(standing, kept, scale):
    """The page that stands with its times, and all else as of now."""
    times_and_memory = re.split(r"\n## (?:Large songs|Instructions)\n", standing)[0]
    return (times_and_memory.rstrip() + "\n" + scale_table(scale) + kept_table(kept) + TRIED).rstrip() + "\n"


def whole(jobs, measured, memory, runs, loads, kept, scale):
    """The page."""
    text = INTRODUCTION + circumstances(runs, loads) + "\n## Time\n\n" + times(jobs, measured)
    return (text + memory_table(memory) + scale_table(scale) + kept_table(kept) + TRIED).rstrip()
