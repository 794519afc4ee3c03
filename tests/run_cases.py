#!/usr/bin/python3
"""Runs case files (tests/cases/<area>/<name>.case) against the real program. The format is explained in
tests/cases/README.md; what expressions may use stands in tests/case_lib.py.

    tests/run_cases.py --programs build/dev [--seed N] [--keep] AREA|FILE…
"""

import argparse
import concurrent.futures
import fnmatch
import json
import os
import re
import select
import shlex
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import case_lib
import quick_disk

SOURCE = Path(__file__).resolve().parent.parent
VARIATIONS = 3
TIMEOUT_S = 30
AWAIT_S = 15
VERDICTS = ["fit", "mind", "cant-say", "halt"]


class Broken(Exception):
    """The case file itself cannot be used."""


class Failure(Exception):
    """The program did not do what the case expects."""


def shown_path(path):
    return os.path.relpath(path, SOURCE) if path.is_relative_to(SOURCE) else str(path)


# --- reading a case ---------------------------------------------------------------------------------------------------


class Step:
    def __init__(self, line, text, kind):
        self.line, self.text, self.kind = line, text, kind
        self.checks = []  # (line number, word, rest)


class Spec:
    def __init__(self, path):
        self.path, self.story, self.lets, self.steps, self.further = path, None, [], [], VARIATIONS
        for number, raw in enumerate(path.read_text().splitlines(), 1):
            line = raw.strip()
            if line and not line.startswith("#"):
                self.take(number, line)
        if not any(s.checks for s in self.steps):
            raise Broken(f"{path}: a case without an expectation checks nothing")
        if self.story and sum(1 for x in self.lets if x[3]) < 3:
            raise Broken(f"{path}: a story must vary at least three inputs")

    def take(self, number, line):
        word, _, rest = line.partition(" ")
        rest = rest.strip()
        if word in ("$", ">", "&"):
            self.steps.append(Step(number, rest, word))
        elif word == "story" and not self.steps:
            self.story = rest
        elif word == "further" and not self.steps and rest.isdigit() and not self.story:
            self.further = int(rest)
        elif word == "let" and not self.steps:
            name, equals, expression = rest.partition("=")
            if not equals or not name.strip().isidentifier():
                raise Broken(f"{self.path}:{number}: expected let NAME = EXPRESSION")
            self.lets.append([number, name.strip(), expression.strip(), None])
        elif word == "vary" and self.lets and not self.steps:
            self.lets[-1][3] = rest
        elif word in CHECKS and self.steps and self.steps[-1].kind in FITTING.get(word, "$"):
            self.steps[-1].checks.append((number, word, rest))
        else:
            raise Broken(f"{self.path}:{number}: {word!r} is not understood here")

    def runs(self, most=VARIATIONS):
        return range(1 + min(self.further, most)) if any(x[3] for x in self.lets) else range(1)


# --- running one ------------------------------------------------------------------------------------------------------


def evaluate(names, expression, where):
    try:
        return eval(expression, dict(names))  # noqa: S307 - case files are part of the project
    except case_lib.Retry:
        raise
    except Exception as problem:
        raise Failure(f"{where}: {expression}\n    {type(problem).__name__}: {problem}") from None


def fill(names, text, where):
    """{expression} becomes its value; {{ and }} are plain braces; {3,4} of a regular expression stays."""
    parts = re.split(r"(\{\{|\}\}|\{[^{}0-9][^{}]*\})", text)
    for i, part in enumerate(parts):
        if part in ("{{", "}}"):
            parts[i] = part[0]
        elif len(part) > 2 and part[0] == "{" and part[-1] == "}":
            parts[i] = str(evaluate(names, part[1:-1], where))
    return "".join(parts)


def split_words(text):
    """As a shell does, but {an expression} is of one word, whatever blanks and quotes it holds."""
    expressions = []

    def hide(found):
        expressions.append(found[0])
        return f"\x01{len(expressions) - 1}\x02"

    words = shlex.split(re.sub(r"\{[^{}0-9][^{}]*\}", hide, text))
    return [re.sub("\x01(\\d+)\x02", lambda m: expressions[int(m[1])], w) for w in words]


def snapshot(*folders):
    """Every path below the folders with what tells a change: kind, size and content."""
    seen = {}
    for folder in folders:
        for at, dirs, files in os.walk(folder):
            for name in dirs + files:
                path = os.path.join(at, name)
                stat = os.lstat(path)
                small = os.path.isfile(path) and stat.st_size < 1 << 20
                content = case_lib.sha256(open(path, "rb").read()) if small else stat.st_mtime_ns
                key = os.path.join(folder.name, os.path.relpath(path, folder))
                seen[key] = "folder" if name in dirs else (stat.st_size, content)
    return seen


class Run:
    """One run of a case: variation 0 has the case's own values, the others have values made at random."""

    def __init__(self, spec, variation, seed, tools, folder):
        self.spec, self.variation, self.tools = spec, variation, tools
        self.work, self.home = Path(folder) / "work", Path(folder) / "home"
        self.work.mkdir(parents=True)
        self.home.mkdir()
        self.case = case_lib.Case(f"{seed}:{spec.path.stem}:{variation}", self.work, tools)
        self.case.call = self.call
        self.values = {}
        self.result = None  # of the last command
        self.shell = None
        self.background = []

    def where(self, line):
        return f"{shown_path(self.spec.path)}:{line}"

    def names(self):
        return self.case.names() | self.values

    def draw(self):
        for _ in range(100):
            self.values = {}
            varied = False
            try:
                for line, name, base, vary in self.spec.lets:
                    value = evaluate(self.names(), base, self.where(line))
                    if vary and self.variation:
                        other = evaluate(self.names(), vary, self.where(line))
                        varied |= other != value
                        value = other
                    self.values[name] = value
            except case_lib.Retry:
                continue
            if varied or not self.variation:
                return
        raise Failure(f"{self.where(1)}: no suitable values in 100 draws")

    def run(self):
        self.draw()
        try:
            for step in self.spec.steps:
                {"$": self.command, ">": self.set_up, "&": self.start}[step.kind](step)
                for line, word, rest in step.checks:
                    CHECKS[word](self, self.where(line), rest)
        finally:
            for process in self.background:
                os.killpg(process.pid, signal.SIGKILL)
                process.wait()

    def set_up(self, step):
        """`> expression` or `> name = expression`."""
        name = re.match(r"([a-z_]\w*) *=(?!=) *(.*)", step.text)
        value = evaluate(self.everything(), name[2] if name else step.text, self.where(step.line))
        if name:
            self.values[name[1]] = value

    def start(self, step):
        """`& COMMAND` goes on in the background until the case ends; `await` waits for what it says."""
        args, _ = self.words(step)
        process = subprocess.Popen(args, cwd=self.work, env=self.environment(), stdout=subprocess.PIPE,
                                   stderr=subprocess.STDOUT, stdin=subprocess.DEVNULL, start_new_session=True)
        process.said = ""
        self.background.append(process)

    def everything(self):
        r = self.result
        if r is None:
            return self.names()
        seen = {"out": r.stdout, "err": r.stderr, "code": r.returncode}
        if r.document is not None:
            seen |= {"doc": r.document, "data": r.document.get("data", {})}
        return self.names() | seen

    def environment(self):
        kept = {k: os.environ[k] for k in ("PATH", "ASAN_OPTIONS", "UBSAN_OPTIONS") if k in os.environ}
        return kept | {"HOME": str(self.home), "LANG": "C.UTF-8", "TZ": "UTC"}

    def words(self, step):
        """(program and arguments, the name of the program)"""
        args = [fill(self.everything(), a, self.where(step.line)) for a in split_words(step.text)]
        self.shell = shlex.join(args)
        program = self.tools.programs.get(args[0]) or shutil.which(args[0])
        if not program:
            raise Failure(f"{self.where(step.line)}: the program {args[0]} is not there")
        return [program, *args[1:]], args[0]

    def call(self, *args, ok=(0,)):
        """For helpers of the library: runs fettle, which must end with one of these."""
        done = subprocess.run([self.tools.programs["fettle"], *map(str, args)], cwd=self.work, env=self.environment(),
                              capture_output=True, text=True, timeout=TIMEOUT_S)
        if done.returncode not in ok:
            raise Failure(f"{shown_path(self.spec.path)}: fettle {shlex.join(map(str, args))} ended with "
                          f"{done.returncode}: {done.stdout}{done.stderr}")
        return done.stdout

    def command(self, step):
        where = self.where(step.line)
        args, name = self.words(step)
        words = {w: rest for _, w, rest in step.checks}
        before = snapshot(self.work, self.home)
        ends = "killed" if "killed" in words else "interrupted" if "interrupted" in words else None
        timeout = float(evaluate(self.everything(), words[ends].removeprefix("after "), where)) / 1000 \
            if ends else TIMEOUT_S
        process = subprocess.Popen(args, cwd=self.work, env=self.environment(), stdout=subprocess.PIPE,
                                   stderr=subprocess.PIPE, text=True, errors="replace", stdin=subprocess.DEVNULL,
                                   start_new_session=True)
        try:
            out, err = process.communicate(timeout=timeout)
        except subprocess.TimeoutExpired:
            # with what it may have started itself
            os.killpg(process.pid, signal.SIGINT if ends == "interrupted" else signal.SIGKILL)
            out, err = process.communicate()
            if not ends:
                raise Failure(f"{where}: $ {self.shell}\n    did not end within {TIMEOUT_S} s") from None
        self.result = r = subprocess.CompletedProcess(args, process.returncode, out, err)
        r.document = None
        if ends == "interrupted" and r.returncode == -signal.SIGINT:
            self.nothing_left(where, step, before)
        if ends:
            return
        if not {"exit", "verdict"} & set(words) and r.returncode != 0:
            raise Failure(f"{where}: exit code {r.returncode}, expected 0{self.shown()}")
        if name == "fettle":
            self.rules_of_every_command(where, args, step, before)

    def rules_of_every_command(self, where, args, step, before):
        """What holds for every command of the program, whatever a case asks for."""
        r = self.result

        def need(condition, text):
            if not condition:
                raise Failure(f"{where}: {text}{self.shown()}")

        need(0 <= r.returncode <= 4, f"ended with {r.returncode}, which is no exit code of the program")
        if "--json" in args and "--help" not in args:
            try:
                r.document = json.loads(r.stdout)
            except ValueError as problem:
                need(False, f"standard output is not one JSON document: {problem}")
            need(r.document.get("fettle") == 1 and "command" in r.document, "the document lacks fettle or command")
            worst = max([VERDICTS.index(x["verdict"]) for x in r.document.get("reasons", [])], default=0)
            if r.returncode < 2 and "verdict" in r.document:
                need(r.document["verdict"] == VERDICTS[worst], "the verdict is not the worst of the reasons' verdicts")
                need(r.returncode == (worst > 1), "exit code and verdict contradict each other")
            for reason in r.document.get("reasons", []):
                need(reason.get("text") and reason.get("code") and reason.get("rests_on"), f"a bare reason: {reason}")
        if r.returncode >= 2:
            need("Next: " in r.stderr, "an error without a next step")
            self.nothing_left(where, step, before)

    def nothing_left(self, where, step, before):
        """An error leaves work folder and home as they were, but for what the case allows with `may leave GLOB`."""
        allowed = [rest.removeprefix("leave ") for _, w, rest in step.checks if w == "may"]
        if "not shelved" in self.result.stdout + self.result.stderr:  # a refusal is noted on a shelf that was there
            allowed.append("home/*/shelf/catalogue.sqlite")
        allowed.append("home/*/recordings*")  # what was said on the link before it failed
        after = snapshot(self.work, self.home)
        for path in sorted(before.keys() | after.keys()):
            if before.get(path) != after.get(path) and not any(fnmatch.fnmatch(path, a) for a in allowed):
                what = "left behind" if path not in before else "lost" if path not in after else "changed"
                raise Failure(f"{where}: after an error {path} is {what}{self.shown()}")

    def shown(self):
        r = self.result
        text = [f"\n    $ {self.shell}"]
        for name, value in (("out", r.stdout), ("err", r.stderr)):
            lines = value.splitlines()
            text += [f"    {name}| {x[:400]}" for x in lines[:40]]
            if len(lines) > 40:
                text.append(f"    {name}| … {len(lines) - 40} more lines")
        return "\n".join(text)


# --- expectations -----------------------------------------------------------------------------------------------------


def check_text(stream):
    def check(run, where, rest):
        value = getattr(run.result, stream)
        if rest == "empty":
            good, wanted = not value, "nothing"
        else:
            word, _, text = rest.partition(" ")
            text = fill(run.everything(), text if word in ("~", "not") else rest, where)
            good = {"~": lambda: re.search(text, value, re.M), "not": lambda: text not in value}.get(
                word, lambda: text in value)()
            wanted = rest if rest.endswith(text) else f"{rest} ({text})"
        if not good:
            raise Failure(f"{where}: std{stream[3:]} was expected to hold: {wanted}{run.shown()}")
    return check


def check_exit(run, where, rest):
    if run.result.returncode not in [int(x) for x in rest.split(" or ")]:
        raise Failure(f"{where}: exit code {run.result.returncode}, expected {rest}{run.shown()}")


def document(run, where):
    if run.result.document is None:
        raise Failure(f"{where}: needs --json in the command")
    return run.result.document


def check_json(run, where, rest):
    """POINTER present | absent | OPERATOR EXPRESSION"""
    path, _, rest = rest.partition(" ")
    operator, _, expression = rest.strip().partition(" ")
    path = fill(run.everything(), path, where)
    try:
        found = case_lib.pointer(document(run, where), path)
        there = True
    except KeyError:
        found, there = None, False
    if operator in ("present", "absent"):
        good = there == (operator == "present")
        wanted = operator
    else:
        wanted = evaluate(run.everything(), expression, where)
        operators = {
            "==": lambda: found == wanted, "!=": lambda: found != wanted, "<": lambda: found < wanted,
            ">": lambda: found > wanted, "<=": lambda: found <= wanted, ">=": lambda: found >= wanted,
            "has": lambda: wanted in found, "in": lambda: found in wanted,
            "~": lambda: re.search(wanted, found), "about": lambda: abs(found - wanted) <= 0.01 * abs(wanted),
        }
        if operator not in operators:
            raise Broken(f"{where}: {operator!r} is no operator")
        good = there and operators[operator]()
    if not good:
        raise Failure(f"{where}: {path} is {found if there else 'absent'!r}, expected {operator} {wanted!r}{run.shown()}")


def check_verdict(run, where, rest):
    if document(run, where).get("verdict") != rest:
        raise Failure(f"{where}: verdict {run.result.document.get('verdict')}, expected {rest}{run.shown()}")


def check_reason(run, where, rest):
    """CODE [VERDICT] [text it must hold], or `no CODE`"""
    reasons = document(run, where).get("reasons", [])
    if rest.startswith("no "):
        if any(r["code"] == rest[3:] for r in reasons):
            raise Failure(f"{where}: the reason {rest[3:]} should not be there{run.shown()}")
        return
    code, _, rest = rest.partition(" ")
    found = [r for r in reasons if r["code"] == code]
    verdict = rest.split(" ")[0] if rest.split(" ")[0] in VERDICTS else None
    text = fill(run.everything(), rest.removeprefix(verdict or "").strip(), where)
    if not any((verdict in (None, r["verdict"])) and text in r["text"] for r in found):
        raise Failure(f"{where}: no reason {code} {verdict or ''} {text}{run.shown()}")


def check_true(run, where, rest):
    if not evaluate(run.everything(), rest, where):
        raise Failure(f"{where}: not true: {rest}{run.shown()}")


def check_await(run, where, rest):
    """Waits until the program in the background says it, after what the last `await` found; the expression's named groups
    become values."""
    process, limit = run.background[-1], time.monotonic() + AWAIT_S
    said = process.said
    while True:
        found = re.search(rest, said, re.M)
        if found:
            run.values.update(found.groupdict())
            process.said = said[found.end():]
            return
        left = limit - time.monotonic()
        if left < 0 or not select.select([process.stdout], [], [], left)[0]:
            raise Failure(f"{where}: $ {run.shell}\n    did not say {rest} within {AWAIT_S} s, but:\n{said}")
        block = os.read(process.stdout.fileno(), 65536)
        if not block:
            raise Failure(f"{where}: $ {run.shell}\n    ended without saying {rest}, but:\n{said}")
        said += block.decode(errors="replace")


def check_file(run, where, rest):
    path = fill(run.everything(), rest.removesuffix(" absent"), where)
    if bool(list(run.work.glob(path))) == rest.endswith(" absent"):
        raise Failure(f"{where}: expected: file {rest}{run.shown()}")


CHECKS = {
    "exit": check_exit, "out": check_text("stdout"), "err": check_text("stderr"), "json": check_json,
    "verdict": check_verdict, "reason": check_reason, "check": check_true, "file": check_file,
    "await": check_await,
    "may": lambda run, where, rest: None,  # see Run.nothing_left
    "killed": lambda run, where, rest: None,  # see Run.command
    "interrupted": lambda run, where, rest: None,
}


# Which kinds of line an expectation may follow, where it is not only a command.
FITTING = {"await": "&", "check": "$>", "file": "$>"}

# --- running many -----------------------------------------------------------------------------------------------------


def find(wanted, folder):
    """Case files named, or of the areas named."""
    found = []
    for name in wanted:
        path = Path(name)
        found += sorted(folder.glob(f"{name}/*.case")) if not path.suffix else [path.resolve()]
    return found


def run_one(spec, variation, tools, seed, keep):
    """What went wrong, or nothing."""
    quick_disk.use()
    folder = tempfile.mkdtemp(prefix="fettle-case-")
    run = None
    try:
        run = Run(spec, variation, seed, tools, folder)
        run.run()
    except (Failure, Broken, RuntimeError) as problem:
        told = {k: repr(v) for k, v in run.values.items()} if run else {}  # a value may be 100,000 characters long
        values = ", ".join(f"{k} = {t if len(t) <= 200 else t[:160] + ' … ' + str(len(t))}" for k, t in told.items())
        return (f"{problem}\n    values: {values}\n    again: tests/run_cases.py --seed {seed} "
                f"{shown_path(spec.path)} (variation {variation})" + (f"\n    folder: {folder}" if keep else ""))
    finally:
        if not keep:
            shutil.rmtree(folder, ignore_errors=True)
    return ""


def runs_of(paths, most):
    """Every variation of every file, up to so many beside its own values; and what is wrong with the files themselves."""
    runs, broken = [], []
    for path in paths:
        try:
            spec = Spec(path)
            runs += [(spec, variation) for variation in spec.runs(most)]
        except Broken as problem:
            broken.append(str(problem))
    return runs, broken


def main():
    parser = argparse.ArgumentParser(description="Runs case files against the real program.")
    parser.add_argument("--programs", default="build/dev", help="build folder with fettle and fettle-maker")
    parser.add_argument("--cases", default=SOURCE / "tests/cases", help="folder of the areas")
    parser.add_argument("--seed", default=os.environ.get("FETTLE_CASE_SEED") or os.urandom(4).hex())
    parser.add_argument("--variations", type=int, default=VARIATIONS, help="runs with values made at random, of each case")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--keep", action="store_true", help="keep each run's folder")
    parser.add_argument("names", nargs="+", metavar="AREA|FILE")
    given = parser.parse_args()
    build = Path(given.programs).resolve()
    programs = {"fettle": str(build / "apps/fettle/fettle"), "fettle-maker": str(build / "tests/fettle-maker")}
    tools = case_lib.Tools(SOURCE, programs, build / "case-packages")
    paths = find(given.names, Path(given.cases))
    print(f"seed {given.seed}, {len(paths)} case files")
    runs, failures = runs_of(paths, given.variations)
    broken = len(failures)
    for text in failures:
        print(f"\nFAILED {text}", flush=True)
    with concurrent.futures.ThreadPoolExecutor(given.workers) as pool:
        for text in pool.map(lambda r: run_one(*r, tools, given.seed, given.keep), runs):
            if text:
                failures.append(text)
                print(f"\nFAILED {text}", flush=True)
    passed, failed = len(runs) + broken - len(failures), len(failures)
    print(f"{passed} passed, {failed} failed")
    return 0 if passed and not failed else 1


if __name__ == "__main__":
    sys.exit(main())
