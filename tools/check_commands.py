#!/usr/bin/python3
"""docs/commands.md tells of every command, argument and option that the built program has, with the same defaults and the
same ones required; it tells of no other; and the journal's entries that it names are explained in docs/journal.md.

    tools/check_commands.py PROGRAM
"""

import re
import sys

import program
from tree import ROOT, end

PAGE = ROOT / "docs/commands.md"


def option_row(line):
    """("--to", {"valued", "required", "default"}) of "| `--to R` | the release (default newest) |"."""
    row = re.match(r"\| *`(--[a-z0-9-]+)( [^`]+)?` *\| *(.+?) *\|$", line)
    if not row:
        return None
    default = re.search(r"\(default `([^`]+)`\)", row[3])
    return row[1], {"valued": bool(row[2]), "required": row[3].startswith("required"), "default": default[1] if default else ""}


def told():
    """{path: (line number, help as program.help_of gives it)}; the path () stands for the options of every command."""
    page, here = {}, None
    for number, line in enumerate(PAGE.read_text().splitlines(), 1):
        if re.match(r"#{1,3} ", line):
            here = None
        title = re.match(r"### `fettle ([a-z -]+?)((?: \[?[A-Z][A-Z=|]*\]?…?)*)`$", line)
        if title:
            names = re.findall(r"(\[?)([A-Z=|]+)\]?…?", title[2])
            here = tuple(title[1].split())
            page[here] = (number, {"arguments": {name: not bracket for bracket, name in names}, "options": {}})
        elif line == "## Options of every command":
            here = ()
            page[here] = (number, {"arguments": {}, "options": {}})
        row = option_row(line)
        if row and here is not None:
            page[here][1]["options"][row[0]] = row[1]
    return page


def compare(name, number, on_page, real, findings):
    where = f"docs/commands.md:{number}"
    for part, what in (("arguments", "argument"), ("options", "option")):
        for key in sorted(real[part].keys() - on_page[part].keys()):
            findings.append(f"{where}: {name}: the {what} {key} is missing")
        for key in sorted(on_page[part].keys() - real[part].keys()):
            findings.append(f"{where}: {name}: the program has no {what} {key}")
        for key in sorted(on_page[part].keys() & real[part].keys()):
            if on_page[part][key] != real[part][key]:
                findings.append(f"{where}: {name}: {key} is told as {on_page[part][key]}, the program has {real[part][key]}")


def main():
    binary = sys.argv[1]
    findings, page = [], told()
    real = {path: program.help_of(binary, path) for path in [(), *program.command_paths(binary)]}
    for path in sorted(real.keys() - page.keys()):
        findings.append(f"docs/commands.md: {' '.join(('fettle',) + path)} is missing")
    for path in sorted(page.keys() - real.keys()):
        findings.append(f"docs/commands.md:{page[path][0]}: the program has no command {' '.join(path)}")
    for path in sorted(real.keys() & page.keys()):
        compare(" ".join(("fettle",) + path), *page[path], real[path], findings)
    known = set(re.findall(r"^\| `([a-z-]+)` \|", (ROOT / "docs/journal.md").read_text(), re.M))
    for number, line in enumerate(PAGE.read_text().splitlines(), 1):
        for entry in re.findall(r"`([a-z]+(?:-[a-z]+)*)`", line.partition("Journal:")[2]):
            if entry not in known:
                findings.append(f"docs/commands.md:{number}: docs/journal.md knows no entry {entry}")
    end(findings, len(real) - 1, "commands")


main()
