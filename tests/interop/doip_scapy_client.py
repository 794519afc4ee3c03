#!/usr/bin/python3
"""A client nobody here wrote the protocol layers of, against the stand-in: messages are built and read by Scapy.

    doip_scapy_client.py PORT

The stand-in must be of the example family dunnock at release 27.1.110, market NS, on 127.0.0.1:PORT (TCP and UDP).
Needs Debian's python3-scapy under /usr/bin/python3. Exit 0: all agree; 1: something does not; 77: no Scapy here.
"""
import logging
import socket
import sys

logging.getLogger("scapy").setLevel(logging.ERROR)
try:
    from scapy.contrib.automotive.doip import DoIP
    from scapy.contrib.automotive.uds import (UDS, UDS_DSC, UDS_NR, UDS_RDBI, UDS_RDBIPR, UDS_RDTCI, UDS_RDTCIPR, UDS_TP,
                                              UDS_ER)
    from scapy.packet import Raw
except ImportError:
    print("skipped: no Scapy under this Python")
    sys.exit(77)

TESTER, MAIN, DISPLAY = 0x0E80, 0x1041, 0x1042
checks, wrong = 0, 0


def check(what, found, wanted):
    global checks, wrong
    checks += 1
    if found != wanted:
        wrong += 1
        print(f"wrong: {what}: found {found!r}, wanted {wanted!r}")


class Line:
    def __init__(self, port):
        self.socket = socket.create_connection(("127.0.0.1", port), timeout=3)
        self.socket.settimeout(1.0)

    def exactly(self, n):
        out = b""
        while len(out) < n:
            more = self.socket.recv(n - len(out))
            if not more:
                raise EOFError
            out += more
        return out

    def send(self, message):
        self.socket.sendall(bytes(message))

    def receive(self):
        head = self.exactly(8)
        return DoIP(head + self.exactly(int.from_bytes(head[4:], "big")))

    def closed(self):
        try:
            return self.socket.recv(1) == b""
        except OSError:
            return False

    def activate(self, tester=TESTER, kind=0):
        self.send(DoIP(payload_type=5, source_address=tester, activation_type=kind, reserved_iso=0, reserved_oem=b""))
        return self.receive()

    def ask(self, box, request):
        """(acknowledged, answer or None)"""
        self.send(DoIP(payload_type=0x8001, source_address=TESTER, target_address=box) / request)
        first = self.receive()
        if first.payload_type != 0x8002:
            return first, None
        try:
            return first, self.receive()
        except socket.timeout:
            return first, None


def udp(port):
    s = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    s.settimeout(1.0)

    def ask(message):
        s.sendto(bytes(message), ("127.0.0.1", port))
        try:
            return DoIP(s.recv(2048))
        except socket.timeout:
            return None

    seen = ask(DoIP(payload_type=1))
    check("identification answered", seen is not None and seen.payload_type, 4)
    if seen is None:
        return
    check("its VIN", seen.vin, b"ZZ9FETTL70BENCH01")
    check("its logical address", seen.logical_address, MAIN)
    check("no further action", seen.further_action, 0)
    again = ask(DoIP(payload_type=3, vin=seen.vin))
    check("by its VIN", again is not None and again.payload_type, 4)
    again = ask(DoIP(payload_type=2, eid=seen.eid))
    check("by its EID", again is not None and again.eid, seen.eid)
    check("another VIN: silence", ask(DoIP(payload_type=3, vin=b"ZZ9NOBODY00000000")), None)
    bad = ask(DoIP(protocol_version=2, inverse_version=0x02, payload_type=1))
    check("wrong inverse: header nack 00", bad is not None and (bad.payload_type, bad.nack), (0, 0))


def denied(port):
    line = Line(port)
    answer = line.activate(tester=0x1000)
    check("unknown tester denied", answer.routing_activation_response, 0x00)
    check("and the connection closed", line.closed(), True)
    line = Line(port)
    check("unsupported activation type", line.activate(kind=0xE0).routing_activation_response, 0x06)
    line = Line(port)
    line.send(DoIP(payload_type=0x8001, source_address=TESTER, target_address=MAIN) / UDS() / UDS_TP(subFunction=0))
    answer = line.receive()
    check("diagnostic before activation: nack", (answer.payload_type, answer.nack_code), (0x8003, 0x02))


def tcp(port):
    line = Line(port)
    answer = line.activate()
    check("activated", (answer.payload_type, answer.routing_activation_response), (6, 0x10))
    check("tester's address echoed", answer.logical_address_tester, TESTER)
    check("entity's address", answer.logical_address_doip_entity, MAIN)

    def uds(box, request):
        ack, got = line.ask(box, request)
        check("acknowledged", (ack.payload_type, ack.source_address, ack.target_address), (0x8002, box, TESTER))
        return None if got is None else UDS(bytes(got.payload))

    def text(box, did):
        got = uds(box, UDS() / UDS_RDBI(identifiers=[did]))
        check("positive answer", got.service, 0x62)
        check("identifier echoed", got[UDS_RDBIPR].dataIdentifier, did)
        return bytes(got[UDS_RDBIPR].payload)

    check("plate of the main box", text(MAIN, 0xF187), b"6104183C5")
    check("plate of the display box", text(DISPLAY, 0xF187), b"6402207A4")
    check("release", text(MAIN, 0xF195), b"27.1.110")
    check("market", text(DISPLAY, 0xF1A0), b"NS")
    lines = text(MAIN, 0x0200).decode("ascii").splitlines()
    check("each piece is a name and a version", [len(x.split(" ")) for x in lines], [2] * len(lines))
    check("pieces of the main box", len(lines), 27)  # 28 in the index, one of them for other issues

    several = uds(MAIN, UDS() / UDS_RDBI(identifiers=[0xF187, 0xF1A0]))
    check("two identifiers at once", bytes(several)[1:], b"\xf1\x876104183C5" + b"\xf1\xa0NS")

    session = uds(MAIN, UDS() / UDS_DSC(diagnosticSessionType=3))
    check("extended session", bytes(session), bytes.fromhex("5003003201f4"))
    refused = uds(MAIN, UDS() / UDS_DSC(diagnosticSessionType=2))
    check("no programming session", (refused[UDS_NR].requestServiceId, refused[UDS_NR].negativeResponseCode), (0x10, 0x12))
    refused = uds(MAIN, UDS() / UDS_ER(resetType=1))
    check("no reset", refused[UDS_NR].negativeResponseCode, 0x11)
    refused = uds(MAIN, UDS() / UDS_RDBI(identifiers=[0x1234]))
    check("unknown identifier", refused[UDS_NR].negativeResponseCode, 0x31)
    check("tester present", bytes(uds(MAIN, UDS() / UDS_TP(subFunction=0))), b"\x7e\x00")
    check("tester present, suppressed", uds(MAIN, UDS() / UDS_TP(subFunction=0x80)), None)
    codes = uds(DISPLAY, UDS() / UDS_RDTCI(reportType=2, DTCStatusMask=0xFF))
    check("code list", (codes.service, codes[UDS_RDTCIPR].reportType, codes[UDS_RDTCIPR].DTCStatusAvailabilityMask), (0x59, 2, 0xFF))

    nack, _ = line.ask(0x2222, UDS() / UDS_TP(subFunction=0))
    check("unknown box: nack 03", (nack.payload_type, nack.nack_code), (0x8003, 0x03))
    line.send(DoIP(payload_type=0x1234, previous_msg=b"") / Raw(b"abc"))
    answer = line.receive()
    check("unknown payload type: header nack 01", (answer.payload_type, answer.nack), (0, 1))
    check("and the connection goes on", bytes(uds(MAIN, UDS() / UDS_TP(subFunction=0))), b"\x7e\x00")
    line.send(bytes.fromhex("02fd000500000001ff"))
    answer = line.receive()
    check("length against type: header nack 04", (answer.payload_type, answer.nack), (0, 4))
    check("and the connection is closed", line.closed(), True)


def main():
    port = int(sys.argv[1])
    for part in (udp, denied, tcp):
        try:
            part(port)
        except (OSError, EOFError, AttributeError, IndexError) as e:
            check(part.__name__ + " ran to its end", f"{type(e).__name__}: {e}", None)
    print(f"{checks} checks, {wrong} wrong")
    return 1 if wrong else 0


sys.exit(main())
