#!/usr/bin/env python3
"""Writes what is linked into the programs: a bill of materials (CycloneDX 1.5, JSON) and the licences' texts.

usage: contents.py --target TRIPLE --features LIST --commit COMMIT --sbom FILE --licences FILE

Asks cargo alone: `cargo tree` which crates the resolver links for that target and those features, `cargo metadata`
what they say of themselves, Cargo.lock their checksums. The same commit gives the same bytes; the date is that of
SOURCE_DATE_EPOCH.
"""

import argparse
import datetime
import json
import os
import pathlib
import subprocess
import tomllib
import uuid

PROGRAMS = ["peakorder-daemon", "peakorder-analysis"]
# C code that crates carry along and build: its licence is not the crate's.
VENDORED = {"libdbus-sys": ("vendor/dbus", "D-Bus reference library", "AFL-2.1 OR GPL-2.0-or-later"),
            "zstd-sys": ("zstd", "Zstandard", "BSD-3-Clause OR GPL-2.0-only")}
LICENCE_NAMES = ("LICENSE", "LICENCE", "COPYING", "NOTICE", "COPYRIGHT", "UNLICENSE")


def cargo(*arguments):
    return subprocess.run(["cargo", *arguments], check=True, stdout=subprocess.PIPE, text=True).stdout


def linked(target, features):
    """(name, version) of every crate whose code ends up in the programs; build scripts and macros do not."""
    asked = [word for program in PROGRAMS for word in ("--package", program)]
    lines = cargo("tree", "--locked", *asked, "--features", features, "--target", target, "--edges",
                  "normal,no-proc-macro", "--prefix", "none", "--format", "{p}").splitlines()
    return sorted({(words[0], words[1].lstrip("v")) for words in (line.split() for line in lines) if words})


def licence_files(folder):
    found = [p for p in folder.iterdir()
             if p.is_file() and p.name.upper().startswith(LICENCE_NAMES) and p.suffix not in (".rs", ".py")]
    for inner in folder.iterdir():
        if inner.is_dir() and inner.name.upper() in ("LICENSES", "LICENCES"):
            found += [p for p in inner.iterdir() if p.is_file()]
    return sorted(found)


def licences(packages):
    """Every crate with its licence, then every text once, with the crates that have it."""
    out = ["Libraries that are linked into peakorder's programs, with their licences.",
           "The texts follow, each once, under the libraries whose files hold it.", ""]
    texts = {}
    for package in packages:
        label = f"{package['name']} {package['version']}"
        out.append(f"{label}: {package['license']}")
        folder = pathlib.Path(package["manifest_path"]).parent
        if not licence_files(folder):
            authors = ", ".join(package["authors"]) or "its authors, who are not named"
            out.append(f"    its package holds no text; by {authors}")
        places = [(label, folder)]
        if package["name"] in VENDORED:
            inside, title, expression = VENDORED[package["name"]]
            out.append(f"    contains {title}: {expression}")
            places.append((f"{title}, in {label}", folder / inside))
        for who, place in places:
            for file in licence_files(place):
                text = file.read_text(encoding="utf-8", errors="replace").strip().replace("\r\n", "\n")
                texts.setdefault(text, []).append(f"{who} ({file.name})")
    for text, owners in sorted(texts.items(), key=lambda item: item[1]):
        out += ["", "=" * 79, *owners, "-" * 79, text]
    return "\n".join(out) + "\n"


def purl(package):
    return f"pkg:cargo/{package['name']}@{package['version']}"


def component(package, checksums):
    made = {"type": "library", "bom-ref": purl(package), "name": package["name"], "version": package["version"],
            "purl": purl(package)}
    if package["description"]:
        made["description"] = " ".join(package["description"].split())
    if package["license"]:
        # Some manifests still have the slash of before SPDX expressions.
        made["licenses"] = [{"expression": package["license"].replace("/", " OR ")}]
    checksum = checksums.get((package["name"], package["version"]))
    if checksum:
        made["hashes"] = [{"alg": "SHA-256", "content": checksum}]
    if package["repository"]:
        made["externalReferences"] = [{"type": "vcs", "url": package["repository"]}]
    if package["name"] in VENDORED:
        _, title, expression = VENDORED[package["name"]]
        made["components"] = [{"type": "library", "name": title, "licenses": [{"expression": expression}]}]
    return made


def sbom(packages, by_id, nodes, version, arguments):
    lock = tomllib.loads(pathlib.Path("Cargo.lock").read_text())
    checksums = {(p["name"], p["version"]): p.get("checksum") for p in lock["package"]}
    shown = {p["id"] for p in packages}
    date = datetime.datetime.fromtimestamp(int(os.environ["SOURCE_DATE_EPOCH"]), datetime.timezone.utc)
    depends = [{"ref": "peakorder", "dependsOn": sorted(purl(p) for p in packages if p["name"] in PROGRAMS)}]
    for package in packages:
        inner = {d["pkg"] for d in nodes[package["id"]]["deps"]
                 if any(kind["kind"] is None for kind in d["dep_kinds"])}
        depends.append({"ref": purl(package), "dependsOn": sorted(purl(by_id[i]) for i in inner & shown)})
    name = f"{version}/{arguments.commit}/{arguments.target}"
    return {
        "bomFormat": "CycloneDX", "specVersion": "1.5", "version": 1,
        "serialNumber": f"urn:uuid:{uuid.uuid5(uuid.NAMESPACE_URL, 'peakorder/' + name)}",
        "metadata": {
            "timestamp": date.strftime("%Y-%m-%dT%H:%M:%SZ"),
            "component": {"type": "application", "bom-ref": "peakorder", "name": "peakorder", "version": version,
                          "licenses": [{"expression": "MIT OR Apache-2.0"}],
                          "properties": [{"name": "commit", "value": arguments.commit},
                                         {"name": "target", "value": arguments.target},
                                         {"name": "features", "value": arguments.features}]}},
        "components": [component(p, checksums) for p in packages],
        "dependencies": depends,
    }


def main():
    parser = argparse.ArgumentParser()
    for option in ("target", "features", "commit", "sbom", "licences"):
        parser.add_argument(f"--{option}", required=True)
    arguments = parser.parse_args()
    wanted = linked(arguments.target, arguments.features)
    known = json.loads(cargo("metadata", "--locked", "--format-version", "1", "--features", arguments.features,
                             "--filter-platform", arguments.target))
    by_id = {p["id"]: p for p in known["packages"]}
    by_name = {(p["name"], p["version"]): p for p in known["packages"]}
    packages = [by_name[crate] for crate in wanted]
    nodes = {n["id"]: n for n in known["resolve"]["nodes"]}
    unlicensed = [p["name"] for p in packages if not p["license"]]
    if unlicensed:
        raise SystemExit(f"no licence is stated by: {', '.join(unlicensed)}")
    version = by_name[next(c for c in wanted if c[0] == PROGRAMS[0])]["version"]
    document = sbom(packages, by_id, nodes, version, arguments)
    pathlib.Path(arguments.sbom).write_text(json.dumps(document, indent=1, sort_keys=True) + "\n")
    pathlib.Path(arguments.licences).write_text(licences(packages))


main()
