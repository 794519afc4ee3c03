#!/usr/bin/python3
"""A job whose box stands on the kernel's CAN: a brill of the example world behind the kernel's own ISO-TP socket, asked by
fettle over SocketCAN, classic and FD. What it says must stand in the job; what fails now is halt; nothing is cleared, because
that bus could end in a vehicle; while a run is open not one frame goes out.

    can_job.py FETTLE [HELPER]

Bus and HELPER as for can_kernel.py. Exit 0: all agree, 1: not, 77: no kernel with CAN here.
"""
import json
import socket
import subprocess
import tempfile
import threading
from pathlib import Path

from can_lab import BUS, Checks, run

PLATE, SERIAL = "5201176B5", "S5201176"
MEMORY = bytes.fromhex("5902ff" + "9b071628" + "d4180009")  # B1B07-16 stored, U1418-00 failing now
check = Checks()


class Box:
    """Answers until closed; keeps what it was asked."""

    def __init__(self, fd):
        pieces = "".join(f"main-system-{n:02} 2.{n}\n" for n in range(1, 40)).encode()
        self.records = {0xF187: PLATE.encode(), 0xF18C: SERIAL.encode(), 0xF195: b"26.4.088", 0xF1A0: b"NS", 0x0210: pieces}
        self.pieces = pieces
        self.asked = []
        self.socket = socket.socket(socket.AF_CAN, socket.SOCK_DGRAM, socket.CAN_ISOTP)
        if fd:
            self.socket.setsockopt(106, 5, bytes([72, 64, 1]))  # SOL_CAN_ISOTP, CAN_ISOTP_LL_OPTS
        self.socket.bind((BUS, 0x7A1, 0x7A9))
        self.socket.settimeout(0.2)
        self.open = True
        self.thread = threading.Thread(target=self.act, daemon=True)
        self.thread.start()

    def answer(self, q):
        if q[0] == 0x22 and int.from_bytes(q[1:3], "big") in self.records:
            return b"\x62" + q[1:3] + self.records[int.from_bytes(q[1:3], "big")]
        if q[:2] == b"\x19\x02":
            return MEMORY
        if q[0] == 0x3E:
            return b"\x7e\x00"
        return bytes([0x7F, q[0], 0x31])

    def act(self):
        while self.open:
            try:
                q = self.socket.recv(8192)
            except OSError:
                continue
            self.asked.append(q)
            self.socket.send(self.answer(q))

    def close(self):
        self.open = False
        self.thread.join()
        self.socket.close()


def inner(fettle):
    for fd in (False, True):
        with tempfile.TemporaryDirectory() as home:

            def call(*args, ok=(0, 1)):
                done = subprocess.run([fettle, "--home", home, *args, "--json"], capture_output=True, text=True, timeout=60)
                check(f"exit code of {args[:3]}", done.returncode in ok, True)
                if done.returncode not in ok:
                    print(done.stdout, done.stderr)
                return json.loads(done.stdout)

            box = Box(fd)
            at = f"can://{BUS}/0x7a1:0x7a9,box=0x1061" + (",fd" if fd else "")
            job = call("job", "open", "--customer", "1007", "--plate", PLATE)["data"]["job"]
            call("identify", PLATE, "--view", "26.4.088 NS", "--family", "brill", "--job", job)
            read = call("link", "read", "--at", at, "--job", job, ok=(0,))["data"]["boxes"][0]
            check("plate", read["plate"].get("value"), PLATE)
            check("serial", read["serial"].get("value"), SERIAL)
            said = "".join(f"{p['name']} {p['version']}\n" for p in read["installed"]).encode()
            check("pieces", said, box.pieces)
            faults = call("link", "faults", "--at", at, "--job", job, ok=(0,))["data"]["boxes"][0]
            check("raw memory", bytes.fromhex(faults["raw"]), MEMORY)
            held = call("job", "show", job)["data"]["job"]["faults_before"]
            check("memory in the job", held["raw"]["main"], MEMORY.hex())
            asked = len(box.asked)
            call("link", "clear", job, "main", "--at", at, "--allowed-by", "R. Moor", ok=(1, 3, 4))
            check("nothing cleared", [q for q in box.asked if q[0] == 0x14], [])
            call("watch", job, "--start", "--by", "R. Moor", "--once", "--against-halt")
            asked = len(box.asked)
            call("link", "read", "--at", at, "--job", job, ok=(2,))
            check("silent while the run is open", len(box.asked), asked)
            call("mark", job, "ended")
            call("link", "read", "--at", at, "--job", job, ok=(0,))
            after = call("link", "faults", "--at", at, "--job", job, ok=(0, 1))
            check("after the run", {r["code"] for r in after["reasons"]} & {"fault-active", "fault-partner-absent"} != set(), True)
            refused = subprocess.run([fettle, "--home", home, "link", "clear", job, "main", "--at", at, "--allowed-by", "R. Moor"],
                                     capture_output=True, text=True, timeout=60)
            check("clearing toward the kernel's bus is refused", refused.returncode in (1, 3, 4), True)
            check("still nothing cleared", [q for q in box.asked if q[0] == 0x14], [])
            check("recordings", len(list(Path(home).rglob("*.pcapng"))) >= 4, True)
            box.close()
    return check.code()


run(__file__, inner)
