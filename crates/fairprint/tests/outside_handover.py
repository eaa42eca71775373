"""Opens a handover with programs and libraries from outside the project.

Usage: outside_handover.py FOLDER ARCHIVE OTHER_ARCHIVE CHROMIUM

The archive: Python's zipfile (format of PKWARE's APPNOTE.TXT), its checksums: hashlib. OTHER_ARCHIVE was made of the same
revision at another time. The recall document as it comes out of a printer: Chromium prints it to a PDF, pypdf reads that.
CHROMIUM may be "-": then nothing is printed. Prints one line for each check; ends with 1 if any fails.
"""

import hashlib
import pathlib
import re
import subprocess
import sys
import tempfile
import zipfile

folder, packed, other = (pathlib.Path(name) for name in sys.argv[1:4])
chromium = sys.argv[4]
failures = 0
# A4 (ISO 216) and Letter (ANSI Y14.1) in points of 1/72 inch: what chromium takes for a sheet of paper.
PAPERS = [(595, 842), (612, 792)]


def hold(what, good):
    global failures
    failures += not good
    print(f"{'ok  ' if good else 'FAIL'} {what}")


with zipfile.ZipFile(packed) as archive:
    hold("every entry has its CRC-32", archive.testzip() is None)
    entries = archive.infolist()
    hold("nothing is compressed", all(entry.compress_type == zipfile.ZIP_STORED for entry in entries))
    hold("all entries bear one date", len({entry.date_time for entry in entries}) == 1)
    inside = [entry.filename for entry in entries]
    hold("all lies in one folder of the handover's name", all(name.startswith(f"{folder.name}/") for name in inside))
    on_disk = {f"{folder.name}/{path.relative_to(folder).as_posix()}" for path in folder.rglob("*") if path.is_file()}
    hold("the archive holds the folder's files and no others", sorted(inside) == sorted(on_disk))
    lines = archive.read(f"{folder.name}/SHA256SUMS").decode().splitlines()
    sums = dict(line.split("  ", 1)[::-1] for line in lines)
    found = {name: hashlib.sha256(archive.read(f"{folder.name}/{name}")).hexdigest() for name in sums}
    hold(f"all {len(sums)} checksums are those of the archive's files", found == sums and len(sums) + 1 == len(inside))
hold("packed again, it has the same bytes", packed.read_bytes() == other.read_bytes())

if chromium != "-":
    import pypdf

    with tempfile.TemporaryDirectory() as place:
        pdf = pathlib.Path(place) / "recall.pdf"
        page = (folder / "documents/recall.html").absolute().as_uri()
        options = ["--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={place}/profile", "--no-pdf-header-footer"]
        subprocess.run([chromium, *options, f"--print-to-pdf={pdf}", page], capture_output=True, timeout=120, check=False)
        pages = pypdf.PdfReader(pdf).pages
        sizes = {(round(float(page.mediabox.width)), round(float(page.mediabox.height))) for page in pages}
        hold(f"the recall document prints on {len(pages)} sheets of paper", len(pages) > 1 and all(size in PAPERS for size in sizes))
        texts = [page.extract_text() for page in pages]
        hold("no sheet is empty", all(len(text.strip()) > 100 for text in texts))
        printed = " ".join(" ".join(texts).split())
        sheet = (folder / "documents/sheet.toml").read_text()
        names = set(re.findall(r'(?m)^name = "([^"]+)"', sheet))
        missing = [name for name in names if name not in printed]
        hold(f"all {len(names)} names of the sheet are on paper {missing or ''}", not missing)
        # Text that a page cuts off at its side ends behind its edge.
        edges = []
        for page in pages:
            width = float(page.mediabox.width)
            page.extract_text(visitor_text=lambda text, cm, tm, *_, width=width: edges.append(0 <= tm[4] * cm[0] + cm[4] <= width))
        hold("no line begins off the paper", all(edges))

sys.exit(failures > 0)
