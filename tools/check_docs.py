#!/usr/bin/python3
"""Every reason and error code in the source stands in docs/reasons.d/<room>.md and the other way round; docs/reasons.md
is those files joined (`--write` joins them); and links between documents lead somewhere."""

import re
import sys

from tree import ROOT, end, files, is_test, shown

KEBAB = r"[a-z0-9]+(?:-[a-z0-9]+)+"
IN_SOURCE = [
    re.compile(rf'\b(?:usage_error|bad_input|outside_error)\(\s*"({KEBAB})"'),
    re.compile(rf'[{{(]\s*"({KEBAB})",\s*(?:fettle::)?Verdict::'),
    re.compile(rf'\bReason\{{\s*"({KEBAB})"'),
    re.compile(rf'\.code = "({KEBAB})"'),
]
ROW = re.compile(rf"^\| *`?({KEBAB})`? *\| *([^|]*?) *\| *([^|]*?) *\| *([^|]*?) *\| *$")
TITLE = """# Reason and error codes

Every verdict comes with its reasons, and each reason with a code that stays the same. So does every error. This list is
joined from `docs/reasons.d/` by `tools/check_docs.py --write`; a test holds it to the source.
"""


def source_codes():
    codes = {}
    for path in files(".cc", ".h", below="src") + files(".cc", ".h", below="apps"):
        if is_test(path):
            continue
        text = path.read_text()
        for pattern in IN_SOURCE:
            for match in pattern.finditer(text):
                codes.setdefault(match[1], f"{shown(path)}:{text.count(chr(10), 0, match.start(1)) + 1}")
    return codes


def all_literals():
    return set(re.findall(rf'"({KEBAB})"', "\n".join(
        p.read_text() for p in files(".cc", ".h", below="src") + files(".cc", ".h", below="apps") if not is_test(p))))


def documented(findings):
    codes, joined = {}, [TITLE]
    for path in files(".md", below="docs/reasons.d"):
        rows = []
        for number, line in enumerate(path.read_text().splitlines(), 1):
            row = ROW.match(line)
            if row:
                if codes.get(row[1], "").startswith(shown(path) + ":"):  # two rooms may give one code; one says it once
                    findings.append(f"{shown(path)}:{number}: {row[1]} stands in {codes[row[1]]} already")
                if not (row[2] and row[3] and row[4]):
                    findings.append(f"{shown(path)}:{number}: {row[1]} lacks its verdict, meaning or next step")
                codes[row[1]] = f"{shown(path)}:{number}"
                rows.append(f"| `{row[1]}` | {row[2]} | {row[3]} | {row[4]} |")
            elif line.startswith("|") and not re.match(r"^\|[ -]*(code)?[ |-]", line):
                findings.append(f"{shown(path)}:{number}: expected | code | verdict | what it means | what to do |")
        if rows:
            joined += [f"\n## {path.stem}\n\n| code | verdict | what it means | what a technician can do |\n|---|---|---|---|\n"
                       + "\n".join(sorted(rows)) + "\n"]
    return codes, "".join(joined)


def dead_links(findings):
    seen = 0
    for path in files(".md"):
        for number, line in enumerate(path.read_text().splitlines(), 1):
            for target in re.findall(r"\]\(([^)#: ]+)(?:#[^)]*)?\)", line):
                seen += 1
                if not (path.parent / target).exists():
                    findings.append(f"{shown(path)}:{number}: the link to {target} leads nowhere")
    return seen


def names_on_the_tour(findings):
    """Every `room::name` of docs/tour.md is in a header of that room, every file it names is there."""
    page = (ROOT / "docs/tour.md").read_text()
    names = sorted(set(re.findall(r"`([a-z]+)::(\w+)`", page)) - {("room", "function")})
    for room, name in names:
        headers = (ROOT / "src/fettle" / room).glob("*.h")
        # As a function or a type: a word of a comment, or a parameter of that name, is none.
        told = rf"^(?![ ]*//).*\b{name}\(|^(?:struct|class|enum class) {name}\b|^using {name}\b"
        if not any(re.search(told, header.read_text(), re.M) for header in headers):
            findings.append(f"docs/tour.md: {room}::{name} is in no header of src/fettle/{room}")
    for name in sorted(set(re.findall(r"`((?:\w+/)+\w+\.(?:cc|h))`", page))):
        if not any((ROOT / top / name).exists() for top in (".", "src/fettle")):
            findings.append(f"docs/tour.md: {name} is no file")
    if len(names) < 20:
        findings.append("docs/tour.md names too few functions to be a tour")


def main():
    findings = []
    names_on_the_tour(findings)
    source = source_codes()
    literals = all_literals()
    docs, joined = documented(findings)
    whole = ROOT / "docs/reasons.md"
    if "--write" in sys.argv:
        whole.write_text(joined)
    for code in sorted(source.keys() - docs.keys()):
        findings.append(f"{source[code]}: {code} is not explained in docs/reasons.d/")
    for code in sorted(docs.keys() - literals):
        findings.append(f"{docs[code]}: {code} is in no source file")
    if not whole.exists() or whole.read_text() != joined:
        findings.append("docs/reasons.md is not what docs/reasons.d/ joins to: run tools/check_docs.py --write")
    dead_links(findings)
    end(findings, len(source), "codes")


main()
