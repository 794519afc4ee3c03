#!/usr/bin/python3
"""Fettle's ISO-TP against the kernel's, both ways: questions of 3 to 4,093 bytes that the kernel must put together, answers of
up to 9,000 bytes that it sends; classic CAN, CAN FD, 29-bit identifiers, block sizes and pauses; also `isotprecv` and
`isotpsend` of can-utils, and the kernel's own ISO-TP socket on our side.

    can_kernel.py CAN_TALK [HELPER]

Runs on the bus vcan0 where there is one. Where this kernel has no CAN, HELPER (or $FETTLE_PEERS/kernel-lab.sh) is a
program that runs a command under one that has: HELPER -- COMMAND…. Exit 0: all agree, 1: not, 77: no kernel with CAN here.
"""
import shutil
import socket
import subprocess
import threading

from can_lab import BUS, Checks, run

check = Checks()


def question(count):
    return b"\x22" + b"".join((0xF195 + n & 0xFFFF).to_bytes(2, "big") for n in range(count))


def answer(size):
    return (b"\x62\xF1\x95" + bytes(i * 7 + i // 256 & 0xFF for i in range(size)))[:size]


def kernel_box(request, reply, fd, block=0, stmin=0):
    """The kernel's ISO-TP socket as a box."""
    s = socket.socket(socket.AF_CAN, socket.SOCK_DGRAM, socket.CAN_ISOTP)
    sol = 106  # SOL_CAN_ISOTP
    s.setsockopt(sol, 2, bytes([block, stmin, 0]))  # CAN_ISOTP_RECV_FC
    if fd:
        s.setsockopt(sol, 5, bytes([72, 64, 1]))  # CAN_ISOTP_LL_OPTS: FD frames of 64 bytes
    ext = socket.CAN_EFF_FLAG if request > 0x7FF else 0
    s.bind((BUS, request | ext, reply | ext))
    s.settimeout(30)
    return s


def by_socket(talk, address, request, reply, fd, pairs, block=0, stmin=0):
    box = kernel_box(request, reply, fd, block, stmin)
    heard = []

    def act():
        for _, size in pairs:
            try:
                heard.append(box.recv(10000))
                box.send(answer(size))
            except OSError as e:
                heard.append(str(e).encode())

    thread = threading.Thread(target=act, daemon=True)
    thread.start()
    done = subprocess.run([talk, address, *[str(c) for c, _ in pairs]], capture_output=True, text=True, timeout=200)
    thread.join(35)
    box.close()
    lines = done.stdout.split("\n")[1:]
    for i, (count, size) in enumerate(pairs):
        check(f"{address}: question of {count}", heard[i] if i < len(heard) else None, question(count))
        check(f"{address}: answer of {size} bytes", lines[i] if i < len(lines) else None, "value " + answer(size).hex())


def by_programs(talk, address, request, reply, pairs, both=(), taker=()):
    """isotprecv takes the question, isotpsend gives the answer."""
    for count, size in pairs:
        ids = ["-s", f"{reply:x}", "-d", f"{request:x}", *both]
        taking = subprocess.Popen(["isotprecv", *ids, *taker, BUS], stdout=subprocess.PIPE, text=True)
        asking = subprocess.Popen([talk, address, str(count)], stdout=subprocess.PIPE, text=True)
        heard = taking.communicate(timeout=60)[0]
        check(f"isotprecv, {address}: question of {count}", bytes.fromhex(heard), question(count))
        subprocess.run(["isotpsend", *ids, BUS], input=answer(size).hex(" "), text=True, timeout=60, check=True)
        check(f"isotpsend, {address}: answer of {size} bytes", asking.communicate(timeout=60)[0].split("\n")[1],
              "value " + answer(size).hex())


def inner(talk):
    normal, fixed = (0x7A1, 0x7A9), (0x18DA10F1, 0x18DAF110)
    sizes = [(1, 5), (3, 8), (4, 62), (100, 300), (2046, 4095), (1, 4096), (1, 9000)]
    by_socket(talk, f"can://{BUS}/0x7a1:0x7a9", *normal, False, sizes)
    by_socket(talk, f"can://{BUS}/0x7a1:0x7a9,pad=none,bs=4,stmin=1", *normal, False, [(1, 200), (30, 40)], 3, 1)
    by_socket(talk, f"can://{BUS}/0x10", *fixed, False, [(1, 5), (100, 300)])
    by_socket(talk, f"can://{BUS}/0x7a1:0x7a9,fd", *normal, True, sizes)
    by_socket(talk, f"can://{BUS}/0x10,fd=64,bs=2", *fixed, True, [(1, 61), (40, 63), (100, 300)], 5)
    by_socket(talk, f"can://{BUS}/0x7a1:0x7a9,kernel", *normal, False, [(1, 5), (100, 300), (2046, 4095)])
    by_socket(talk, f"can://{BUS}/0x7a1:0x7a9,fd,kernel", *normal, True, [(1, 61), (100, 300)])
    if shutil.which("isotpsend"):
        by_programs(talk, f"can://{BUS}/0x7a1:0x7a9", *normal, [(1, 5), (100, 300), (2046, 4095)])
        by_programs(talk, f"can://{BUS}/0x7a1:0x7a9", *normal, [(50, 120)], taker=["-b", "4", "-m", "2"])
        by_programs(talk, f"can://{BUS}/0x7a1:0x7a9,fd", *normal, [(1, 61), (100, 300)], ["-L", "72:64:1"])
    else:
        print("skipped: isotprecv and isotpsend, can-utils is not installed")
    # A box that is not there, and one that takes the question and says nothing.
    lone = subprocess.run([talk, f"can://{BUS}/0x7a1:0x7a9", "1"], capture_output=True, text=True, timeout=60).stdout
    check("nobody on the bus", lone.split("\n")[1], "no-answer no answer in time")
    lone = subprocess.run([talk, f"can://{BUS}/0x7a1:0x7a9", "100"], capture_output=True, text=True, timeout=60).stdout
    check("nobody takes a long question", lone.split("\n")[1], "no-answer not delivered: no flow control came in time")
    return check.code()


run(__file__, inner)
