#!/usr/bin/python3
"""Every seeded fault still applies, what it breaks still compiles, the test it names is there, and each pure room has
one. Whether the test notices is asked by `./do fault`.

    tools/seeded_faults/check.py BUILD    a build folder: its flags are used, and what was seen there is kept"""

import concurrent.futures
import hashlib
import json
import re
import shlex
import subprocess
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from faults import ROOT, all_faults  # noqa: E402
from tree import end  # noqa: E402

PURE = "base identity family change forecast cutmap route ready watch learn prove mend".split()
AT_ONCE = 2


def commands(build):
    """.cc file of the tree → the arguments it is compiled with, without its own name and its output."""
    out = {}
    for entry in json.loads((build / "compile_commands.json").read_text()):
        args, name = shlex.split(entry["command"]), Path(entry["file"])
        if ROOT in name.parents and "-o" in args:
            at = args.index("-o")
            out[str(name.relative_to(ROOT))] = [a for a in args[:at] + args[at + 2:] if a not in ("-c", entry["file"])]
    return out


def compiled_for(name, flags):
    """The .cc file to compile for a patched file: itself, or one that includes the header, its own first."""
    if name.endswith(".cc"):
        return name if name in flags else None
    line = f'#include "{name.removeprefix("src/")}"'
    first = name.removesuffix(".h") + ".cc"
    return next((c for c in sorted(flags, key=lambda c: (c != first, c)) if line in (ROOT / c).read_text()), None)


def digest(args, deps):
    h = hashlib.sha256("\0".join(args).encode())
    for dep in deps:
        h.update(Path(dep).read_bytes() if Path(dep).exists() else b"gone")
    return h.hexdigest()


def compiles(source, overlay, args):
    """Empty, or what the compiler says. Not asked again while every file it read is the same."""
    file = overlay / source if (overlay / source).exists() else ROOT / source
    kept = overlay / "seen.json"
    stamp = overlay.parent / (overlay.name + "." + source.replace("/", ".") + ".seen")
    args = [args[0], f"-I{overlay / 'src'}", "-iquote", str((ROOT / source).parent), *args[1:], "-fsyntax-only", "-MMD", "-MF", str(kept), str(file)]
    if stamp.exists():
        before, *deps = stamp.read_text().splitlines()
        if digest(args, deps) == before:
            return ""
    done = subprocess.run(args, cwd=overlay, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    if done.returncode:
        return done.stdout[-2000:]
    deps = kept.read_text().replace("\\\n", " ").split(":", 1)[1].split()
    stamp.write_text("\n".join([digest(args, deps), *deps]))
    return ""


def findings_of(fault, tests, flags, build):
    out = [] if fault.red in tests else [f"no test is named {fault.red}"]
    overlay = build / "seeded_faults" / fault.name
    trouble = fault.overlay(overlay)
    if trouble:
        return out + [f"does not apply any more: {trouble}"]
    for name in fault.files:
        source = compiled_for(name, flags)
        trouble = compiles(source, overlay, flags[source]) if source else "nothing compiles it"
        if trouble:
            out.append(f"{name} with this fault does not compile: {trouble}")
    return out


def main():
    build = Path(sys.argv[1]).resolve()
    faults, flags = all_faults(), commands(build)
    listed = subprocess.run(["ctest", "--test-dir", build, "-N"], stdout=subprocess.PIPE, text=True, check=True).stdout
    tests = set(re.findall(r"^ *Test +#\d+: (\S+)", listed, re.M))
    findings = []
    with concurrent.futures.ThreadPoolExecutor(AT_ONCE) as pool:
        for fault, found in zip(faults, pool.map(lambda f: findings_of(f, tests, flags, build), faults)):
            findings += [f"{fault.path.name}: {text}" for text in found]
    broken = {name for f in faults for name in f.files}
    findings += [f"the room {room} has no seeded fault"
                 for room in PURE if not any(name.startswith(f"src/fettle/{room}/") for name in broken)]
    end(findings, len(faults), "seeded faults")


main()
