#!/bin/bash
# What does an open dissector say about recorded DoIP? Prints a line a packet: its number, the DoIP payload types in it,
# "UDS" if it found such a message inside; after them "malformed N", the number of packets that it marks as malformed.
#
#   tshark_read.sh FILE.pcap
#
# Reads a file only, so it needs no rights. Needs Debian's tshark. Exit 77: it is not there.
set -u
export LC_ALL=C.UTF-8
file=${1:?usage: tshark_read.sh FILE.pcap}
command -v tshark >/dev/null || { echo "skipped: tshark is not installed"; exit 77; }
work=$(mktemp -d) || exit 1
trap 'rm -rf "$work"' EXIT
# The whole tree of every packet: without it the dissector does not look at every field, and marks nothing.
HOME=$work tshark -n -r "$file" -V 2>"$work/err" >"$work/out" || { cat "$work/err"; exit 1; }
awk '
    function done() { if (n) print n, types, uds; bad += marked }
    /^Frame [0-9]+:/ { done(); n = $2; sub(":", "", n); types = ""; uds = ""; marked = 0; doip = 0 }
    /^[A-Z]/ { doip = /^DoIP/ }
    doip && /^ +Type: .*\(0x[0-9a-f][0-9a-f]*\)$/ { t = $0; sub(/.*\(/, "", t); sub(/\)$/, "", t); types = types " " t }
    /^Unified Diagnostic Services/ { uds = "UDS" }
    /^\[Malformed Packet/ || /Expert Info \(Error/ { marked = 1 }
    END { done(); print "malformed " bad + 0 }' "$work/out"
