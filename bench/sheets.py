"""The sheets that Fairprint prints from, and the one network that the peers build by their own means."""

# Name of the bus, and the gain of each stem into it in dB. Stems are numbered through.
GROUPS = {
    "drums": [0.0, -1.0, -4.5, -6.0],
    "low end": [-1.0, -3.0],
    "harmony": [-3.0, -2.0, -4.5],
    "voices": [0.0, -4.5, -4.5],
}
GROUP_DB = -6.0
MID = [("low shelf", 60, 1.5, 0.7071), ("bell", 300, -2, 1.2), ("bell", 3200, 1.5, 0.9), ("high shelf", 10_000, 1, 0.7071)]
SIDE = [("low cut", 120, 0, 0.7071), ("bell", 450, -1.5, 1), ("bell", 5000, 2, 0.8), ("high shelf", 12_000, 2.5, 0.7071)]
CRUSH_DB, SPACE_DB, DIRT_DB = -10.5, -16.5, -18.5

EIGHT = [
    ("low shelf", 60, 1.5, 0.7071),
    ("bell", 120, -1.5, 1.1),
    ("bell", 300, -2, 1.2),
    ("bell", 800, 1, 1),
    ("bell", 2000, -1, 0.9),
    ("bell", 3200, 1.5, 0.9),
    ("bell", 7000, 2, 0.8),
    ("high shelf", 10_000, 1, 0.7071),
]

HEAD = """fairprint = 1

[song]
title = "Lantern Weather"
artist = "The Tin Orchard"
rate_hz = 48000
"""


def stem(number):
    """Name of a stem, and of its file."""
    return f"part {number + 1:02d}"


def table(name, keys):
    """One table of an array of tables."""
    return f"\n[[{name}]]\n" + "".join(f"{key} = {value}\n" for key, value in keys.items())


def bands(of):
    """Rows of an equaliser."""
    rows = (f'{{ shape = "{shape}", hz = {hz}, gain_db = {gain}, q = {q} }}' for shape, hz, gain, q in of)
    return "bands = [" + ", ".join(rows) + "]"


def single(chain, file="mix.wav", rate_hz=None):
    """One file through one chain to one print."""
    rate = f", rate_hz = {rate_hz}" if rate_hz else ""
    return (
        HEAD
        + table("stem", {"name": '"mix"', "file": f'"{file}"', "to": '"out"'})
        + table("bus", {"name": '"out"', "chain": f"[{chain}]"})
        + table("print", {"name": '"take"', "from": '"out"', "files": f'[{{ format = "wav", bits = 24{rate} }}]'})
    )


def network():
    """Twelve stems, four groups, middle and side equalised, three returns under the dry sum, two prints."""
    text, number = HEAD, 0
    for group, levels in GROUPS.items():
        for level in levels:
            name = stem(number)
            text += table(
                "stem", {"name": f'"{name}"', "file": f'"stems/{name}.wav"', "to": f'"{group}"', "level_db": level}
            )
            number += 1
    for group in GROUPS:
        text += table("bus", {"name": f'"{group}"', "to": '"main"', "level_db": GROUP_DB})
    equalisers = f'[{{ eq = {{ of = "mid", {bands(MID)} }} }}, {{ eq = {{ of = "side", {bands(SIDE)} }} }}]'
    sends = '[{ to = "crush" }, { to = "space" }, { to = "dirt" }]'
    text += table("bus", {"name": '"main"', "to": '"mix"', "chain": equalisers, "sends": sends})
    crush = '{ kind = "bus", threshold_db = -30, ratio = 10, attack_ms = 3, release_ms = 90, make_up_db = 12 }'
    for name, level, chain in [
        ("crush", CRUSH_DB, f"[{{ compressor = {crush} }}]"),
        ("space", SPACE_DB, '[{ convolution = { file = "response.wav", pre_delay_ms = 24, spread_percent = 60 } }]'),
        ("dirt", DIRT_DB, '[{ drive = { shape = "tanh", drive_db = 12, oversampling = "8x" } }]'),
    ]:
        text += table("bus", {"name": f'"{name}"', "to": '"mix"', "level_db": level, "chain": chain})
    text += table("bus", {"name": '"mix"'})
    files = '[{ format = "wav", bits = 24 }]'
    loud = (
        '[{ drive = { shape = "tanh", drive_db = 6, oversampling = "8x" } }, '
        "{ limiter = { ceiling_dbtp = -1.0, look_ahead_ms = 1.5, release_ms = 60 } }]"
    )
    text += table("print", {"name": '"for mastering"', "from": '"mix"', "files": files})
    return text + table("print", {"name": '"for approval"', "from": '"mix"', "chain": loud, "files": files})


def all_sheets():
    """Text of every sheet by its name."""
    compressor = "threshold_db = -20, ratio = 4, attack_ms = 5, release_ms = 90, make_up_db = 6"
    return {
        "network": network(),
        "empty": single(""),
        "bells": single(f"{{ eq = {{ {bands(EIGHT)} }} }}"),
        "compressor": single(f"{{ compressor = {{ {compressor} }} }}"),
        "convolution": single('{ convolution = { file = "response.wav", gain_db = -14 } }'),
        "room": single("{ room = { decay_s = 1.5, size_m = 20 } }"),
        "saturation": single('{ drive = { shape = "tanh", drive_db = 18, oversampling = "8x" } }'),
        "limiter": single("{ limiter = { gain_db = 6, ceiling_dbtp = -1.0, look_ahead_ms = 1.5, release_ms = 60 } }", "hot.wav"),
        "to 44.1 kHz": single("", rate_hz=44_100),
        "from 44.1 kHz": single("", "mix_44100.wav"),
    }
