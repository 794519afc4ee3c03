"""Shared by the check scripts: the project's own files, and how a check ends."""

import os
import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(os.environ.get("FETTLE_TREE") or Path(__file__).resolve().parent.parent)
SKIPPED = {"build", ".git", ".cache", "node_modules", "__pycache__"}


def files(*suffixes, below="."):
    """All files below a folder of the tree with one of the suffixes (all, if none is given), sorted."""
    found = []
    for at, folders, names in os.walk(ROOT / below):
        folders[:] = [f for f in folders if f not in SKIPPED]
        found += [Path(at) / n for n in names if n not in SKIPPED and (not suffixes or n.endswith(suffixes))]
    return sorted(found)


def tracked():
    """The files that belong to the tree, whatever else lies in its folders: by git, or all where there is none."""
    try:
        told = subprocess.run(["git", "-C", ROOT, "ls-files", "-z"], capture_output=True, check=True).stdout
    except (OSError, subprocess.CalledProcessError):
        return files()
    names = {ROOT / name for name in told.decode().split("\0") if name}
    return [f for f in files() if f in names] if names else files()


def shown(path):
    return str(path.relative_to(ROOT))


def is_test(path):
    return bool(re.search(r"_(test|fuzz)\.cc$|/test_[a-z_]+\.(cc|h)$|/[a-z_]+_test_[a-z_]+\.(cc|h)$", str(path)))


def includes(path):
    """(line number, included name) of each #include."""
    for number, line in enumerate(path.read_text().splitlines(), 1):
        match = re.match(r'\s*#\s*include\s*[<"]([^>"]+)[>"]', line)
        if match:
            yield number, match[1]


def end(findings, seen, what):
    """Prints findings and leaves: a check that saw nothing to look at has failed too."""
    for finding in findings:
        print(finding)
    if not seen:
        print(f"no {what} seen: this check looked at nothing")
    print(f"{seen} {what} looked at, {len(findings)} findings")
    sys.exit(1 if findings or not seen else 0)
