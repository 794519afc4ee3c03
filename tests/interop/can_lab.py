"""What needs a kernel with CAN: on this one if it has a bus "vcan0" and ISO-TP, else inside another one that a helper boots.
The helper is called as `HELPER --timeout SECONDS -- COMMAND…` and ends with the command's code, or 125 when it cannot start
(by default kernel-lab.sh in $FETTLE_PEERS, else in ../shared/peers beside the project).
"""
import os
import socket
import subprocess
import sys
from pathlib import Path

BUS = "vcan0"
SKIPPED = 77  # as ctest's SKIP_RETURN_CODE has it


class Checks:
    """Counts; a wrong one is printed at once."""

    def __init__(self):
        self.made = self.wrong = 0

    def __call__(self, what, found, wanted):
        self.made += 1
        if found != wanted:
            self.wrong += 1
            print(f"wrong: {what}: found {str(found)[:200]!r}, wanted {str(wanted)[:200]!r}", flush=True)

    def code(self):
        print(f"{self.made} checks, {self.wrong} wrong")
        return 1 if self.wrong or not self.made else 0


def has_bus():
    try:
        socket.if_nametoindex(BUS)
        socket.socket(socket.AF_CAN, socket.SOCK_DGRAM, socket.CAN_ISOTP).close()
        return True
    except (OSError, AttributeError):
        return False


def run(script, inner):
    """`script PROGRAM [HELPER]`: inner(PROGRAM) where there is a bus; its result is the exit code."""
    program = os.path.abspath(sys.argv[1])
    if has_bus():
        sys.exit(inner(program))
    named = sys.argv[2] if len(sys.argv) > 2 else ""
    peers = Path(os.environ.get("FETTLE_PEERS", Path(__file__).resolve().parents[2].parent / "shared/peers"))
    helper = named or str(peers / "kernel-lab.sh")
    if os.environ.get("FETTLE_IN_LAB") or not os.path.exists(helper):
        print("skipped: this kernel has no CAN, and no other is at hand")
        sys.exit(SKIPPED)
    env = dict(os.environ, FETTLE_IN_LAB="1")
    command = [helper, "--timeout", "400", "--", "/usr/bin/python3", os.path.abspath(script), program]
    done = subprocess.run(command, env=env)
    if done.returncode == 125:
        print("skipped: the other kernel cannot be started here")
        sys.exit(SKIPPED)
    sys.exit(done.returncode)
