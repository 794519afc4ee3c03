#!/usr/bin/python3
"""The case runner itself: each wrong behaviour of a program must be noticed, each right one pass. The program is a
small script made here."""

import subprocess
import sys
import tempfile
import unittest
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
import case_lib  # noqa: E402

RUNNER = Path(__file__).with_name("run_cases.py")
PROGRAM = """#!/bin/sh
case $1 in
    plain) echo "hello $2" ;;
    json) echo '{"fettle": 1, "command": "json", "verdict": "mind", "data": {"n": [1, 2]}, "reasons":
        [{"code": "a-b", "verdict": "mind", "text": "some text", "rests_on": "guess"}]}' ;;
    lies) echo '{"fettle": 1, "command": "lies", "verdict": "fit", "data": {}, "reasons":
        [{"code": "a-b", "verdict": "halt", "text": "some text", "rests_on": "guess"}]}' ;;
    halt) echo '{"fettle": 1, "command": "lies", "verdict": "halt", "data": {}, "reasons":
        [{"code": "a-b", "verdict": "halt", "text": "some text", "rests_on": "guess"}]}' ;;
    noise) echo 'x {}' ;;
    bad) echo "place: problem. Next: this" >&2; exit 3 ;;
    dirty) echo "place: problem. Next: this" >&2; echo x >left; exit 3 ;;
    mute) exit 3 ;;
    serve) printf "READY 127.0.0.1:4711\nALSO here\n"; sleep 60 ;;
    slow) echo x >half; sleep 60 ;;
    crash) kill -SEGV $$ ;;
esac
"""


class Runner(unittest.TestCase):
    def run_case(self, text, *more):
        with tempfile.TemporaryDirectory() as folder:
            program = Path(folder) / "apps/fettle/fettle"
            program.parent.mkdir(parents=True)
            program.write_text(PROGRAM)
            program.chmod(0o755)
            case = Path(folder) / "x.case"
            case.write_text(text)
            done = subprocess.run([sys.executable, RUNNER, "--programs", folder, *more, str(case)],
                                  capture_output=True, text=True)
            return done.returncode, done.stdout

    def passes(self, text):
        code, out = self.run_case(text)
        self.assertEqual(code, 0, out)
        return out

    def fails(self, text, saying):
        code, out = self.run_case(text)
        self.assertEqual(code, 1, out)
        self.assertIn(saying, out)

    def test_expectations_that_hold(self):
        self.passes('let n = "you"\n$ fettle plain {n}\nout hello {n}\nout ~ ^hel{{1}}?l\nout not bye\nerr empty')
        self.passes('$ fettle json --json\nverdict mind\nreason a-b mind some\njson /data/n/1 == 2\njson /x absent')
        self.passes("$ fettle bad\nexit 3\nerr problem")
        self.passes("$ fettle dirty\nexit 3\nmay leave work/left")

    def test_expectations_that_do_not_hold(self):
        self.fails("$ fettle plain you\nout hello me", "expected to hold: hello me")
        self.fails("$ fettle plain you\nout ~ ^ello", "expected to hold")
        self.fails("$ fettle plain you\nout not hello", "expected to hold")
        self.fails("$ fettle plain you\nerr hello", "expected to hold")
        self.fails("$ fettle plain you\nexit 1", "exit code 0, expected 1")
        self.fails("$ fettle bad\nout empty", "exit code 3, expected 0")
        self.fails("$ fettle json --json\nverdict fit", "verdict mind, expected fit")
        self.fails("$ fettle json --json\nreason c-d", "no reason c-d")
        self.fails("$ fettle json --json\nreason a-b fit", "no reason a-b fit")
        self.fails("$ fettle json --json\nreason no a-b", "should not be there")
        self.fails("$ fettle json --json\njson /data/n/1 == 3", "/data/n/1 is 2")
        self.fails("$ fettle json --json\njson /data/n/2 present", "absent")
        self.fails("$ fettle plain\nfile left", "expected: file left")
        self.fails("$ fettle plain\ncheck 1 == 2", "not true")

    def test_rules_of_every_command(self):
        self.fails("$ fettle lies --json\nexit 0", "not the worst")
        self.fails("$ fettle halt --json\nexit 0", "contradict")
        self.fails("$ fettle noise --json\nexit 0", "not one JSON document")
        self.fails("$ fettle mute\nexit 3", "without a next step")
        self.fails("$ fettle dirty\nexit 3", "work/left is left behind")
        self.fails("$ fettle crash\nexit 0 or -11", "no exit code of the program")

    def test_background_and_kills(self):
        self.passes(r"& fettle serve" "\nawait READY (?P<at>\\S+)\n$ fettle plain {at}\nout hello 127.0.0.1:4711")
        self.passes("& fettle serve\nawait READY\nawait ALSO (?P<where>\\S+)\n$ fettle plain {where}\nout hello here")  # said at once
        self.fails("& fettle plain\nawait READY\n$ fettle plain\nout hello", "ended without saying READY")
        self.passes("$ fettle slow\nkilled after 300\n$ fettle plain\nfile half\nout hello")
        self.fails("$ fettle slow\nkilled after 300\n$ fettle plain\nfile half absent", "file half absent")

    def test_cases_that_cannot_be_used(self):
        self.fails("$ fettle plain", "checks nothing")
        self.fails("$ fettle plain\nouf x", "not understood")
        self.fails('story 1\nlet a = 1\nvary 2\n$ fettle plain\nout hello', "at least three inputs")
        self.fails('let a = 1\nvary 1\n$ fettle plain\nout hello', "no suitable values")
        code, out = self.run_case("", "--seed", "1")
        self.assertEqual(code, 1, out)

    def test_variations_run_and_repeat_by_seed(self):
        text = 'let a = 1\nvary number(2, 999999)\n$ fettle plain {a}\nout hello 1'
        first = self.run_case(text, "--seed", "abc")[1]
        self.assertIn("1 passed, 3 failed", first)
        values = lambda t: [line for line in t.splitlines() if "values:" in line]  # noqa: E731
        self.assertEqual(values(first), values(self.run_case(text, "--seed", "abc")[1]))
        self.assertNotEqual(values(first), values(self.run_case(text, "--seed", "abd")[1]))


class Library(unittest.TestCase):
    def test_check_characters(self):
        # ISO/IEC 7064 MOD 11-2: 0794 → 0 and 079 → X are the standard's examples.
        self.assertEqual([case_lib.mod11_2(d) for d in ("0794", "079", "6104183", "6402207")], ["0", "X", "5", "4"])
        # 49 CFR 565.15's worked example, and seventeen ones (weights sum to 89, remainder 1).
        self.assertEqual(case_lib.vin_check("1M8GDM9AXKP042788"), "X")
        self.assertEqual((case_lib.vin_sum("1" * 17), case_lib.vin_check("1" * 17)), (89, "1"))

    def test_pointer(self):
        document = {"a/b": [{"c~d": 5}]}
        self.assertEqual(case_lib.pointer(document, "/a~1b/0/c~0d"), 5)
        self.assertRaises(KeyError, case_lib.pointer, document, "/a~1b/1")


if __name__ == "__main__":
    unittest.main()
