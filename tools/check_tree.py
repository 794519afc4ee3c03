#!/usr/bin/python3
"""What no file of the tree may be or hold: larger than 1 MiB, a path of one machine, a host of a package registry, a
line that waits to be resolved after a merge, a C++ file too long to read."""

import re

from tree import end, shown, tracked

LARGEST_BYTES = 1 << 20
MOST_LINES = 400
WORDS = {  # put together from parts, so that this file passes its own check
    "a path of one machine": re.compile(r"(?<![\w.])/(" + "|".join(["work", "root", "Users", r"home/\w+"]) + r")/"),
    "a host of a package registry": re.compile(r"\b(" + "|".join(["registry" + r"\.", "npmjs" + r"\.", "pypi" + r"\.",
                                                                  "proxy" + r"\.golang", "crates" + r"\.io",
                                                                  "snapshot" + r"\.debian", "deb" + r"\.debian"]) + ")"),
    "a mark of an unfinished merge": re.compile(r"^(<{7}|>{7}|={7})( |$)", re.M),
}


def main():
    findings, seen = [], 0
    for path in tracked():
        seen += 1
        name = shown(path)
        if path.is_symlink() and not path.exists():
            findings.append(f"{name}: a link that leads nowhere")
            continue
        size = path.stat().st_size
        if size > LARGEST_BYTES:
            findings.append(f"{name}: {size} bytes, at most {LARGEST_BYTES} belong into the tree")
            continue
        try:
            text = path.read_text()
        except UnicodeDecodeError:
            continue
        for what, pattern in WORDS.items():
            for match in pattern.finditer(text):
                line = text.count("\n", 0, match.start()) + 1
                findings.append(f"{name}:{line}: holds {what}: {match[0]}")
        if name.endswith((".cc", ".h")) and text.count("\n") > MOST_LINES:
            findings.append(f"{name}: {text.count(chr(10))} lines, at most {MOST_LINES} can be read at one go")
    end(findings, seen, "files")


main()
