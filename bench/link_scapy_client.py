#!/usr/bin/python3
"""A Scapy client asking a minimal peer for one identifier again and again: round trips a second. For bench/link_speed.cc.

    link_scapy_client.py PORT TIMES        (Debian's python3-scapy; exit 77 where it is not)
"""
import logging
import socket
import sys
import time

logging.getLogger("scapy").setLevel(logging.ERROR)
try:
    from scapy.contrib.automotive.doip import DoIP
    from scapy.contrib.automotive.uds import UDS, UDS_RDBI, UDS_RDBIPR
except ImportError:
    sys.exit(77)


def exactly(s, n):
    out = b""
    while len(out) < n:
        more = s.recv(n - len(out))
        if not more:
            sys.exit("the peer is gone")
        out += more
    return out


def receive(s):
    head = exactly(s, 8)
    return DoIP(head + exactly(s, int.from_bytes(head[4:], "big")))


def main():
    s = socket.create_connection(("127.0.0.1", int(sys.argv[1])))
    s.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    s.sendall(bytes(DoIP(payload_type=5, source_address=0x0E80, activation_type=0, reserved_iso=0, reserved_oem=b"")))
    receive(s)
    times = int(sys.argv[2])
    began = time.monotonic()
    for _ in range(times):
        s.sendall(bytes(DoIP(payload_type=0x8001, source_address=0x0E80, target_address=0x1041)
                        / UDS() / UDS_RDBI(identifiers=[0xF195])))
        receive(s)
        answer = receive(s)
        if UDS_RDBIPR not in answer or answer[UDS_RDBIPR].dataIdentifier != 0xF195:
            sys.exit("a wrong answer")
    print(times / (time.monotonic() - began))


main()
