"""The jobs: what Fairprint is asked to do, and how each peer does the same."""

from dataclasses import dataclass, field

import sheets

SONG = 240
LENGTHS = [60, SONG, 1200]


@dataclass
class Job:
    """One job. Commands are made for a place: where things are."""

    name: str
    title: str
    ours: list
    peers: dict = field(default_factory=dict)
    seconds: int = SONG
    # Whether all of it is reading, a chain and writing: then the time of an empty chain can be taken off.
    chain: bool = True


def ffmpeg(*arguments, out="peer.wav"):
    """One thread each for decoding, filters and graph; samples of 24 bits written."""
    quiet = ["ffmpeg", "-nostdin", "-loglevel", "error", "-y"]
    threads = ["-threads", "1", "-filter_threads", "1", "-filter_complex_threads", "1"]
    ending = ["-c:a", "pcm_s24le", "{scratch}/" + out] if out else []
    return [*quiet, *threads, *arguments, *ending]


def filtered(filters, file="mix.wav"):
    """One file through filters that work in 64-bit floating point, planes apart."""
    return ffmpeg("-i", "{material}/" + file, "-af", f"aformat=sample_fmts=dblp,{filters}")


def soxr(rate_hz):
    """The best conversion that ffmpeg offers."""
    return f"aresample={rate_hz}:resampler=soxr:precision=28"


def sox(*effects):
    """One file through effects."""
    return ["sox", "--single-threaded", "-D", "{material}/mix.wav", "-b", "24", "{scratch}/peer.wav", *effects]


def blocks(what):
    """One of the chains of blocks.py."""
    return ["{python}", "{bench}/blocks.py", what, "{material}", "{scratch}", "{seconds}"]


def printed(sheet):
    """Fairprint on a sheet, as one would print it."""
    return ["{fairprint}", "print", "{material}/" + sheet + ".toml", "--threads", "1", "--quiet", "--out", "{scratch}/prints"]


SHAPES = {"low shelf": "lowshelf", "high shelf": "highshelf", "bell": "equalizer", "low cut": "highpass"}


def biquads(of, channel=None):
    """Bands as filters in 64-bit floating point."""
    only = f":c={channel}" if channel else ""
    return ",".join(
        f"{SHAPES[shape]}=f={hz}:t=q:w={q}" + (f":g={gain}" if shape != "low cut" else "") + f"{only}:r=f64"
        for shape, hz, gain, q in of
    )


def ffmpeg_network():
    """The network of `sheets.network` as one graph. Distortion runs at four times the rate."""
    inputs, graph, number = [], [], 0
    for group, levels in enumerate(sheets.GROUPS.values()):
        names = ""
        for level in levels:
            inputs += ["-i", "{material}/stems/" + sheets.stem(number) + ".wav"]
            graph.append(f"[{number}:a]aformat=sample_fmts=dblp,volume={level}dB:precision=double[s{number}]")
            names += f"[s{number}]"
            number += 1
        graph.append(f"{names}amix=inputs={len(levels)}:normalize=0,volume={sheets.GROUP_DB}dB:precision=double[g{group}]")
    inputs += ["-i", "{material}/response.wav"]
    groups = "".join(f"[g{group}]" for group in range(len(sheets.GROUPS)))
    bent = "aresample=192000,volume={}dB,asoftclip=type=tanh,aresample=48000,aformat=sample_fmts=dblp"
    limit = "alimiter=limit=0.891:attack=1.5:release=60:level=0:latency=1"
    graph += [
        f"{groups}amix=inputs={len(sheets.GROUPS)}:normalize=0,pan=stereo|c0=.5*c0+.5*c1|c1=.5*c0-.5*c1,"
        f"{biquads(sheets.MID, 'FL')},{biquads(sheets.SIDE, 'FR')},"
        "pan=stereo|c0=c0+c1|c1=c0-c1,asplit=4[dry][a][b][c]",
        "[a]acompressor=threshold=0.0316:ratio=10:attack=3:release=90:makeup=4:detection=peak:link=maximum,"
        f"volume={sheets.CRUSH_DB}dB:precision=double[crush]",
        f"[{number}:a]aformat=sample_fmts=dblp[response]",
        "[b]adelay=24|24[late];[late][response]afir=gtype=none:dry=1:wet=1,aformat=sample_fmts=dblp,"
        f"stereotools=slev=1.6,volume={sheets.SPACE_DB}dB:precision=double[space]",
        f"[c]{bent.format(12)},volume={sheets.DIRT_DB}dB:precision=double[dirt]",
        "[dry][crush][space][dirt]amix=inputs=4:normalize=0:duration=longest,asplit=2[plain][more]",
        f"[more]{bent.format(6)},{limit}[loud]",
    ]
    plain = ["-map", "[plain]", "-c:a", "pcm_s24le", "{scratch}/plain.wav", "-map", "[loud]"]
    return ffmpeg(*inputs, "-filter_complex", ";".join(graph), *plain)


EMPTY = {"ffmpeg": filtered("anull"), "sox": sox(), "pedalboard": blocks("empty")}

NETWORK = {"ffmpeg, distortion at 4x": ffmpeg_network(), "pedalboard in blocks, 32 bits, 1x": blocks("network")}

CONVOLVED = ffmpeg(
    *["-i", "{material}/mix.wav", "-i", "{material}/response.wav", "-filter_complex"],
    "[0:a]aformat=sample_fmts=dblp[a];[1:a]aformat=sample_fmts=dblp[b];[a][b]afir=gtype=none:dry=1:wet=1,volume=0.2",
)

LIMITED = (
    f"volume=6dB,{soxr(384_000)},alimiter=limit=0.8913:attack=1.5:release=60:level=0:latency=1,{soxr(48_000)}",
    "volume=6dB,aresample=384000,alimiter=limit=0.8913:attack=1.5:release=60:level=0:latency=1,aresample=48000",
)

JOBS = [
    Job("empty", "reading and writing only", printed("empty"), EMPTY, chain=False),
    Job("network", "12 stems, 3 returns, 2 prints", printed("network"), NETWORK, chain=False),
    Job("bells", "equaliser of 8 bands", printed("bells"), {"ffmpeg": filtered(biquads(sheets.EIGHT))}),
    Job(
        "compressor",
        "linked compressor",
        printed("compressor"),
        {"ffmpeg": filtered("acompressor=threshold=.1:ratio=4:attack=5:release=90:makeup=2:detection=rms:link=maximum")},
    ),
    Job("convolution", "response of 2.5 s, stereo", printed("convolution"), {"ffmpeg": CONVOLVED}),
    Job(
        "room",
        "synthetic room",
        printed("room"),
        {"pedalboard": blocks("room"), "sox": sox("gain", "-6", "reverb", "-w", "50", "50", "100", "100", "30")},
    ),
    Job(
        "saturation",
        "tanh at 8x",
        printed("saturation"),
        {"ffmpeg, soxr 28 bits": filtered(f"{soxr(384_000)},volume=18dB,asoftclip=type=tanh,{soxr(48_000)}")},
    ),
    Job(
        "limiter",
        "true-peak limiter to -1 dBTP",
        printed("limiter"),
        {"ffmpeg at 8x": filtered(LIMITED[1], "hot.wav"), "ffmpeg at 8x, soxr 28 bits": filtered(LIMITED[0], "hot.wav")},
    ),
    Job(
        "measure",
        "loudness, range, true peak (Fairprint: more)",
        ["{fairprint}", "measure", "{material}/mix.wav"],
        {"crate ebur128": ["{loudness}", "{material}/mix.wav"]},
        chain=False,
    ),
    Job("to 44.1 kHz", "48 to 44.1 kHz", printed("to 44.1 kHz"), {"ffmpeg, soxr 28 bits": filtered(soxr(44_100))}),
    Job(
        "from 44.1 kHz",
        "44.1 to 48 kHz",
        printed("from 44.1 kHz"),
        {"ffmpeg, soxr 28 bits": filtered(soxr(48_000), "mix_44100.wav")},
    ),
]

MEMORY = [Job(f"memory {s}", f"network, {s} s", printed("network"), NETWORK, s, chain=False) for s in LENGTHS]
