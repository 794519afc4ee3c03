"""What the built program says of itself: its commands, with their arguments and options, out of its own help."""

import re
import subprocess


def run(program, *words, **more):
    return subprocess.run([program, *words], capture_output=True, text=True, stdin=subprocess.DEVNULL, timeout=30, **more)


def command_paths(program, path=()):
    """("job", "open"), …: every command that can be run."""
    listed = run(program, *path, "--help").stdout.partition("\nSubcommands:\n")[2]
    below = re.findall(r"^  ([a-z-]+)", listed, re.M)
    return [p for name in below for p in command_paths(program, (*path, name))] if below else [path]


def help_of(program, path=()):
    """{"arguments": {name: needed}, "options": {name: {"valued", "required", "default"}}} of a command or the program."""
    found = {"arguments": {}, "options": {}}
    part = None
    for line in run(program, *path, "--help").stdout.splitlines():
        title = re.match(r"(Positionals|Options|Subcommands):$", line)
        if title:
            part = title[1]
        row = re.match(r"  (\S+(?: \S+)*?)(?:  +|$)", line)
        if not row or part not in ("Positionals", "Options"):
            continue
        words = row[1].split()
        required = "REQUIRED" in words
        if part == "Positionals":
            found["arguments"][words[0]] = required
            continue
        names = [n for n in words[0].split(",") if n.startswith("--")]
        if names and names[0] != "--help":
            default = re.search(r"=(\S+)( REQUIRED)?$", row[1])
            valued = [w for w in words[1:] if w not in ("REQUIRED", "...")] != []
            found["options"][names[0]] = {
                "valued": valued, "required": required, "default": default[1] if default else ""}
    return found
