"""A peer: pedalboard, fed in blocks of 8192 frames, 32-bit floating point.

usage: blocks.py network|room|empty MATERIAL SCRATCH SECONDS
"""

import sys

import numpy
import pedalboard
from pedalboard.io import AudioFile

import sheets

BLOCK = 8192
RATE_HZ = 48_000


def gain(db):
    """A factor from dB."""
    return numpy.float32(10 ** (db / 20))


def board(of):
    """Bands as a chain."""
    filters = {
        "low shelf": lambda hz, db, q: pedalboard.LowShelfFilter(hz, db, q),
        "high shelf": lambda hz, db, q: pedalboard.HighShelfFilter(hz, db, q),
        "bell": lambda hz, db, q: pedalboard.PeakFilter(hz, db, q),
        "low cut": lambda hz, db, q: pedalboard.HighpassFilter(hz),
    }
    return pedalboard.Pedalboard([filters[shape](hz, db, q) for shape, hz, db, q in of])


class Network:
    """The network of `sheets.network`; its distortion has no oversampling, its dynamics do not link the channels."""

    def __init__(self, material):
        self.mid, self.side = board(sheets.MID), board(sheets.SIDE)
        self.crush = pedalboard.Pedalboard([pedalboard.Compressor(-30, 10, 3, 90), pedalboard.Gain(12)])
        response = pedalboard.Convolution(f"{material}/response.wav", 1.0)
        self.space = pedalboard.Pedalboard([pedalboard.Delay(0.024, 0, 1), response])
        self.dirt = pedalboard.Pedalboard([pedalboard.Distortion(12)])
        self.loud = pedalboard.Pedalboard([pedalboard.Distortion(6), pedalboard.Limiter(-1, 60)])

    @staticmethod
    def turned(frames):
        """Left and right to middle and side, and back but for a half."""
        return numpy.stack([frames[0] + frames[1], frames[0] - frames[1]])

    def process(self, groups):
        """The plain and the loud print of a block of stems, by groups."""
        run = {"sample_rate": RATE_HZ, "reset": False}
        total = gain(sheets.GROUP_DB) * sum(sum(stems) for stems in groups)
        mid, side = numpy.float32(0.5) * self.turned(total)
        main = self.turned([self.mid(mid, **run).reshape(-1), self.side(side, **run).reshape(-1)])
        space = self.turned(self.space(main, **run)) * numpy.float32([[0.5], [0.8]])
        plain = main + gain(sheets.CRUSH_DB) * self.crush(main, **run)
        # This convolution plays its response at an eighth of its level.
        plain += 8 * gain(sheets.SPACE_DB) * self.turned(space) + gain(sheets.DIRT_DB) * self.dirt(main, **run)
        return plain, self.loud(plain, **run)


def network(material, scratch, frames):
    """Twelve stems to two prints."""
    levels = [[gain(db) for db in group] for group in sheets.GROUPS.values()]
    numbers = iter(range(12))
    files = [[AudioFile(f"{material}/stems/{sheets.stem(next(numbers))}.wav") for _ in group] for group in levels]
    bench = Network(material)
    outputs = [AudioFile(f"{scratch}/{name}.wav", "w", RATE_HZ, 2, 24) for name in ("plain", "loud")]
    for done in range(0, frames, BLOCK):
        count = min(BLOCK, frames - done)
        groups = [[g * file.read(count) for g, file in zip(gs, fs)] for gs, fs in zip(levels, files)]
        for output, signal in zip(outputs, bench.process(groups)):
            output.write(signal)
    for output in outputs:
        output.close()


def chain(effects, material, scratch):
    """One file through a chain."""
    effect = pedalboard.Pedalboard(effects)
    with AudioFile(f"{material}/mix.wav") as file, AudioFile(f"{scratch}/peer.wav", "w", RATE_HZ, 2, 24) as output:
        while file.tell() < file.frames:
            output.write(effect(file.read(BLOCK), RATE_HZ, reset=False))


def main(what, material, scratch, seconds):
    """One of the chains."""
    if what == "network":
        network(material, scratch, int(seconds) * RATE_HZ)
    else:
        chain([pedalboard.Reverb(0.5, 0.5, 0.33, 0.4, 1.0)] if what == "room" else [], material, scratch)


main(*sys.argv[1:])
