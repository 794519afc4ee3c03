"""Reads the patches of this folder: what each breaks, which test must notice it, and how it is put on a copy."""

import re
import shutil
import subprocess
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent.parent


class Fault:
    """A patch starts with lines `Why: …`, `Red: <ctest name>` and `Build: <targets>` (none for a rule over files)."""

    def __init__(self, path):
        self.path, self.name = path, path.stem
        text = path.read_text()
        head = text.split("\n--- ", 1)[0]
        self.why, self.red = (self._line(head, key, r"(\S.*)") for key in ("Why", "Red"))
        self.build = self._line(head, "Build", r"(.*)").split()
        self.files = re.findall(r"^\+\+\+ b/(\S+)", text, re.M)
        if not self.files:
            raise ValueError(f"{path.name}: changes no file")

    def _line(self, head, key, form):
        match = re.search(rf"^{key}:[ \t]*{form}$", head, re.M)
        if not match:
            raise ValueError(f"{self.path.name}: no line \"{key}: …\" at its head")
        return match[1].strip()

    def apply(self, tree):
        """Empty, or what patch says. Nothing is guessed: the lines around must be those of the patch."""
        done = subprocess.run(["patch", "-p1", "--fuzz=0", "--no-backup-if-mismatch", "-i", self.path], cwd=tree,
                              stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
        return done.stdout.strip() if done.returncode else ""

    def overlay(self, folder):
        """The patched files alone, in a folder of their own. Empty, or what went wrong."""
        shutil.rmtree(folder, ignore_errors=True)
        for name in self.files:
            if not (ROOT / name).exists():
                return f"{name} is not there"
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(ROOT / name, folder / name)
        return self.apply(folder)


def all_faults(names=()):
    """Sorted by name; a name that is none of them is a ValueError."""
    found = [Fault(p) for p in sorted(HERE.glob("*.patch"))]
    for name in names:
        if name not in [f.name for f in found]:
            raise ValueError(f"no seeded fault {name}: {', '.join(f.name for f in found)}")
    return [f for f in found if not names or f.name in names]
