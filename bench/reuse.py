"""Changes the demo song step by step, prints it with kept work, and prints each revision again without.

Usage: reuse.py FAIRPRINT

Says what each print costs beside one from nothing: processor time of user and system (from wait4), on one thread. Ends
with 1 if a file does not have the bytes that a print from nothing gives it, or if what is kept grows past its bounds.
"""

import os
import pathlib
import subprocess
import sys
import tempfile

# What is changed, the text in the sheet, and what stands there then. The changes add up.
STEPS = [
    ("the first print, which keeps its work", "", ""),
    ("nothing", "", ""),
    ("a label", 'album = "Slack Water"', 'album = "Slack Waters"'),
    ("a return's level", "level_db = -24.0", "level_db = -23.5"),
    ("a return's processor", "size_m = 7,", "size_m = 7.5,"),
    ("a stem", "trim_db = -14.0", "trim_db = -13.5"),
    ("the loud print's chain", 'ips = "15", drive_db = 4', 'ips = "15", drive_db = 3.5'),
]
GIGABYTES = 1.5

fairprint = pathlib.Path(sys.argv[1]).absolute()


def run(place, *args):
    """Processor seconds of a run that must not be refused, and its exit code."""
    process = subprocess.Popen([fairprint, *args], cwd=place, stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    code = os.waitstatus_to_exitcode(status)
    assert code < 2, args
    return usage.ru_utime + usage.ru_stime, code


failed = False
with tempfile.TemporaryDirectory() as place:
    place = pathlib.Path(place)
    run(place, "demo", "song", "--quiet")
    sheet = place / "song/sheet.toml"
    whole, _ = run(place, "print", sheet, "--quiet", "--threads", "1")
    print(f"a print from nothing: {whole:.1f} s of processor time")
    for number, (what, before, after) in enumerate(STEPS, 3):
        text = sheet.read_text()
        assert before in text, before
        sheet.write_text(text.replace(before, after, 1))
        cost, _ = run(place, "print", sheet, f"--reuse={GIGABYTES}", "--quiet", "--threads", "1")
        _, code = run(place, "print", sheet, "--again", f"r{number:03}", "--quiet")
        kept = sum(piece.stat().st_size for piece in (place / "song/prints/.reuse").iterdir())
        failed |= code != 0 or kept > GIGABYTES * 1e9
        same = "same bytes" if code == 0 else "OTHER BYTES"
        print(f"{what}: {cost:.1f} s, {cost / whole:.2f} of a whole print, {same}, {kept / 1e6:.0f} MB kept")
sys.exit(failed)
