#!/usr/bin/env python3
"""What the program is built from: licences, banned crates and sources against deny.toml, known advisories, and a bill of materials.

    checks/supply.py [--no-install]

Always: every package that cargo resolves has a licence of the list (the expression is worked out, OR and AND), none is banned, all come from the one registry or from this repository; and
target/sbom.cdx.json (CycloneDX 1.5) names every package that is built in, with version, licence, checksum and what it needs. Then `cargo deny` says the same in its own words; it is installed
by cargo where it is missing. Advisories are checked where their database can be fetched, and it is said where it cannot. Exits with 1 if anything is not as it should be.
"""
import json
import pathlib
import re
import shutil
import subprocess
import sys
import tomllib

ROOT = pathlib.Path(__file__).resolve().parent.parent


def holds(expression, allowed):
    """Whether a licence expression can be met from the list."""
    tokens = re.findall(r"\(|\)|[^\s()]+", expression.replace("/", " OR "))

    def either():
        value = both()
        while tokens and tokens[0] == "OR":
            tokens.pop(0)
            value = both() | value
        return value

    def both():
        value = one()
        while tokens and tokens[0] == "AND":
            tokens.pop(0)
            value = one() & value
        return value

    def one():
        token = tokens.pop(0)
        if token == "(":
            value = either()
            tokens.pop(0)
            return value
        if tokens and tokens[0] == "WITH":
            tokens.pop(0)
            token = f"{token} WITH {tokens.pop(0)}"
        return token in allowed

    value = either()
    assert not tokens, expression
    return value


def self_test():
    allowed = {"MIT", "ISC", "Apache-2.0 WITH LLVM-exception"}
    for expression, want in [("MIT", True), ("GPL-3.0", False), ("GPL-3.0 OR MIT", True), ("GPL-3.0 AND MIT", False), ("(MIT OR GPL-3.0) AND ISC", True), ("(MIT OR ISC) AND GPL-3.0", False), ("GPL-3.0/MIT", True), ("Apache-2.0 WITH LLVM-exception", True), ("Apache-2.0", False)]:
        assert holds(expression, allowed) == want, expression


def main():
    self_test()
    deny = tomllib.loads((ROOT / "deny.toml").read_text())
    allowed, banned = set(deny["licenses"]["allow"]), {b["crate"] for b in deny["bans"]["deny"]}
    meta = json.loads(subprocess.run(["cargo", "metadata", "--format-version", "1", "--locked"], cwd=ROOT, check=True, capture_output=True).stdout)
    faults, own = [], set(meta["workspace_members"])
    for p in meta["packages"]:
        shown = f"{p['name']} {p['version']}"
        if not p["license"] or not holds(p["license"], allowed):
            faults.append(f"{shown}: licence {p['license']}")
        if p["name"] in banned:
            faults.append(f"{shown}: banned")
        if p["id"] not in own and p["source"] not in [f"registry+{r}" for r in deny["sources"]["allow-registry"]]:
            faults.append(f"{shown}: from {p['source']}")
    print(f"{len(meta['packages'])} packages, {len(own)} of them our own; licences, bans and sources: {len(faults)} faults")

    # What is built into the program: the normal and build edges that lead from it.
    nodes = {n["id"]: n for n in meta["resolve"]["nodes"]}
    packages = {p["id"]: p for p in meta["packages"]}
    root = next(p["id"] for p in meta["packages"] if p["name"] == "partwright" and p["id"] in own)
    edges, left = {}, [root]
    while left:
        at = left.pop()
        if at not in edges:
            edges[at] = sorted(d["pkg"] for d in nodes[at]["deps"] if any(k["kind"] in (None, "build") for k in d["dep_kinds"]))
            left.extend(edges[at])
    lock = {(p["name"], p["version"]): p.get("checksum") for p in tomllib.loads((ROOT / "Cargo.lock").read_text())["package"]}
    ref = lambda i: f"pkg:cargo/{packages[i]['name']}@{packages[i]['version']}"

    def component(i):
        p = packages[i]
        out = {"type": "application" if i == root else "library", "bom-ref": ref(i), "name": p["name"], "version": p["version"], "purl": ref(i)}
        if p["license"]:
            out["licenses"] = [{"expression": p["license"].replace("/", " OR ")}]
        if lock.get((p["name"], p["version"])):
            out["hashes"] = [{"alg": "SHA-256", "content": lock[p["name"], p["version"]]}]
        return out

    bom = {
        "bomFormat": "CycloneDX",
        "specVersion": "1.5",
        "version": 1,
        "metadata": {"component": component(root)},
        "components": [component(i) for i in sorted(edges, key=ref) if i != root],
        "dependencies": [{"ref": ref(i), "dependsOn": sorted({ref(d) for d in edges[i]})} for i in sorted(edges, key=ref)],
    }
    out = ROOT / "target" / "sbom.cdx.json"
    out.parent.mkdir(exist_ok=True)
    out.write_text(json.dumps(bom, indent=1) + "\n")
    assert all(c.get("hashes") or c["purl"] in {ref(i) for i in own} for c in bom["components"]), "a package without a checksum"
    print(f"{out.relative_to(ROOT)}: {len(bom['components'])} components")

    if not shutil.which("cargo-deny") and "--no-install" not in sys.argv:
        subprocess.run(["cargo", "install", "--quiet", "--locked", "cargo-deny"], cwd=ROOT)
    if shutil.which("cargo-deny"):
        if subprocess.run(["cargo", "deny", "check", "licenses", "bans", "sources"], cwd=ROOT).returncode:
            faults.append("cargo deny: licences, bans or sources")
        fetched = subprocess.run(["cargo", "deny", "fetch", "db"], cwd=ROOT, capture_output=True, text=True)
        if fetched.returncode:
            print("advisories: not checked, their database cannot be fetched from here")
        elif subprocess.run(["cargo", "deny", "check", "advisories"], cwd=ROOT).returncode:
            faults.append("cargo deny: advisories")
    else:
        print("cargo deny is not on this machine: the same lists were checked by this script alone, advisories not at all")
    for f in faults:
        print(f)
    sys.exit(1 if faults else 0)


main()
