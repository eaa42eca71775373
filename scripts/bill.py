"""Writes the bill of materials: every crate and every package of the pages that goes into the program.

CycloneDX 1.5, JSON (ECMA-424). From `cargo metadata`, without what only tests use, and from the lock file of the pages. No
date and no random number, so that the same tree gives the same bill.
"""

import json
import subprocess
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
PROGRAM = "fairprint"


def cargo_metadata():
    command = ["cargo", "metadata", "--format-version", "1", "--locked"]
    return json.loads(subprocess.run(command, cwd=ROOT, check=True, capture_output=True).stdout)


def reached(metadata):
    """Ids of the packages that the program is built from, each with those it depends on."""
    nodes = {node["id"]: node for node in metadata["resolve"]["nodes"]}
    start = next(package["id"] for package in metadata["packages"] if package["name"] == PROGRAM)
    found, waiting = {}, [start]
    while waiting:
        name = waiting.pop()
        if name not in found:
            kinds = lambda dep: any(kind["kind"] in (None, "build") for kind in dep["dep_kinds"])
            found[name] = sorted(dep["pkg"] for dep in nodes[name]["deps"] if kinds(dep))
            waiting.extend(found[name])
    return start, found


def checksums():
    with open(ROOT / "Cargo.lock", "rb") as lock:
        packages = tomllib.load(lock)["package"]
    return {(each["name"], each["version"]): each.get("checksum") for each in packages}


def crate(package, sums):
    """A crate as a component."""
    component = {
        "type": "library",
        "bom-ref": f"pkg:cargo/{package['name']}@{package['version']}",
        "name": package["name"],
        "version": package["version"],
        "purl": f"pkg:cargo/{package['name']}@{package['version']}",
    }
    if package.get("license"):
        component["licenses"] = [{"expression": package["license"].replace("/", " OR ")}]
    if checksum := sums.get((package["name"], package["version"])):
        component["hashes"] = [{"alg": "SHA-256", "content": checksum}]
    return component


def pages():
    """The packages that are bundled into the pages."""
    lock = json.loads((ROOT / "crates/pages/web/package-lock.json").read_text())
    for path, package in sorted(lock["packages"].items()):
        if path and not package.get("dev") and not package.get("devOptional"):
            name = path.split("node_modules/")[-1]
            purl = f"pkg:npm/{name.replace('@', '%40')}@{package['version']}"
            component = {"type": "library", "bom-ref": purl, "name": name, "version": package["version"], "purl": purl}
            if package.get("license"):
                component["licenses"] = [{"expression": package["license"]}]
            yield component


def main():
    metadata, sums = cargo_metadata(), checksums()
    start, found = reached(metadata)
    packages = {package["id"]: package for package in metadata["packages"]}
    crates = {name: crate(packages[name], sums) for name in found}
    bundled = list(pages())
    program = {**crates.pop(start), "type": "application"}
    reference = lambda name: program["bom-ref"] if name == start else crates[name]["bom-ref"]
    depends = [{"ref": reference(name), "dependsOn": sorted({reference(dep) for dep in deps})} for name, deps in found.items()]
    page_crate = next(entry for entry in depends if entry["ref"].startswith("pkg:cargo/pages@"))
    page_crate["dependsOn"] = sorted([*page_crate["dependsOn"], *(each["bom-ref"] for each in bundled)])
    components = sorted([*crates.values(), *bundled], key=lambda each: each["bom-ref"])
    bill = {
        "bomFormat": "CycloneDX",
        "specVersion": "1.5",
        "version": 1,
        "metadata": {"component": program},
        "components": components,
        "dependencies": sorted(depends, key=lambda each: each["ref"]),
    }
    print(json.dumps(bill, indent=1, ensure_ascii=False))


main()
