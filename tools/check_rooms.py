#!/usr/bin/python3
"""A room includes only rooms that its CMake link list names; no room links one below itself, so there is no cycle; and
the rooms of the pure core touch no file, clock, thread or socket. No room talks to a terminal or names a command of the
program: a next step is an act with its arguments (fettle/base/next.h), which apps/fettle/commands.cc makes a command;
nor does one name an option, which is an argument there (with()), unless it makes the pages or starts other programs."""

import re

from tree import ROOT, end, files, includes, is_test, shown

PURE = {"identity", "contact", "change", "forecast", "cutmap", "route", "plan", "ready", "watch", "learn", "prove", "mend", "show"}
EFFECTS = re.compile(
    r"^(fstream|filesystem|iostream|cstdio|stdio\.h|thread|mutex|future|ctime|time\.h|unistd\.h|fcntl\.h|sys/.*|netinet/.*"
    r"|boost/asio.*|soci/.*|sqlite3\.h|fettle/base/files\.h)$")

NAMES_OPTIONS = {"show", "rehearse", "alarm"}  # the first two speak for the command line, the last starts programs
SIGNED_HEAD = "fettle family file\\n{}\\n{}"  # what stands above a family file where it is signed; no command
TERMINAL = re.compile(r"\bisatty\b|(?<!n)(?<!\w)printf\b|<iostream>|std::(?:cin|cout|cerr)\b")


def commands():
    """The first words of the program's commands, as docs/commands.md has them (check_commands.py holds it to them)."""
    page = (ROOT / "docs/commands.md").read_text()
    return sorted({title.split()[0] for title in re.findall(r"^### `fettle ([a-z -]+)", page, re.M)})


def literals(text):
    """(line, string literal), comments left out."""
    for number, line in enumerate(text.splitlines(), 1):
        for literal in re.findall(r'"((?:[^"\\]|\\.)*)"', re.sub(r"(^|\s)//.*", "", line)):
            yield number, literal


def named_commands(text, words):
    """(line, command) of each string literal that names one."""
    named = re.compile(r"\bfettle (" + "|".join(words) + r")\b")
    for number, literal in literals(text):
        if literal != SIGNED_HEAD:
            yield from ((number, match[0]) for match in named.finditer(literal))


def named_options(text):
    """(line, option) of each string literal that names one."""
    for number, literal in literals(text):
        yield from ((number, match[0]) for match in re.finditer(r"--[a-z][a-z-]*", literal))


def link_lists():
    """room → (rooms its code may include, rooms its tests may include as well), in the order of the build."""
    top = (ROOT / "CMakeLists.txt").read_text()
    order = re.search(r"foreach\(room ([^)]*)\)", top)[1].split()
    rooms = {}
    for room in order:
        text = (ROOT / "src/fettle" / room / "CMakeLists.txt").read_text()
        words = re.search(r"fettle_room\(([^)]*)\)", text)[1].split()
        assert words[0] == room, f"{room}/CMakeLists.txt declares {words[0]}"
        part, lists = "rooms", {"rooms": [], "LIBRARIES": [], "TEST_ROOMS": []}
        for word in words[1:]:
            if word in lists:
                part = word
            else:
                lists[part].append(word)
        rooms[room] = (lists["rooms"], lists["TEST_ROOMS"])
    return rooms


def main():
    rooms, findings, seen = link_lists(), [], 0
    order, words = list(rooms), commands()
    if len(words) < 10:
        findings.append("docs/commands.md: too few commands found to look for them in the rooms")
    for room, (links, _) in rooms.items():
        for other in links:
            if other not in rooms:
                findings.append(f"src/fettle/{room}/CMakeLists.txt: {other} is no room")
            elif order.index(other) >= order.index(room):
                findings.append(f"src/fettle/{room}/CMakeLists.txt: links {other}, which stands below it")
    for path in files(".cc", ".h", below="src/fettle"):
        seen += 1
        room = path.relative_to(ROOT / "src/fettle").parts[0]
        if room not in rooms:
            findings.append(f"{shown(path)}: the folder {room} is no room of CMakeLists.txt")
            continue
        if not is_test(path):
            text = path.read_text()
            for match in TERMINAL.finditer(text):
                findings.append(f"{shown(path)}: {match[0]}: only apps/ talks to a terminal")
            for line, command in named_commands(text, words):
                findings.append(f'{shown(path)}:{line}: names the command "{command}"; give an Act (fettle/base/next.h)')
            for line, option in () if room in NAMES_OPTIONS else named_options(text):
                findings.append(f"{shown(path)}:{line}: names the option {option}; give it with() (fettle/base/next.h)")
        links, test_links = rooms[room]
        allowed = {room, *links, *(test_links if is_test(path) else ())}
        for line, name in includes(path):
            parts = name.split("/")
            if parts[0] == "fettle" and parts[1] not in allowed:
                findings.append(f"{shown(path)}:{line}: includes {name}, but {room} does not link {parts[1]}")
            if room in PURE and not is_test(path) and EFFECTS.match(name):
                findings.append(f"{shown(path)}:{line}: includes {name}, but {room} computes on values only")
    end(findings, seen, "source files")


main()
