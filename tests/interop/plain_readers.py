"""Reads the files of FAT and exFAT volumes as plainly as a small reader would: by Microsoft's FAT specification 1.03 and
exFAT specification 1.00, believing every field and checking none. Shares no code with Fettle. Where the Linux drivers
are known to differ from the specification it does as they do: the FAT type by the layout (fs/fat/inode.c: FAT32 when the
16-bit FAT size is 0), always the first FAT, entries behind the end mark still read (fs/fat/dir.c skips free ones)."""

import struct


class Broken(Exception):
    """The volume cannot be read so."""


def u16(b, at):
    return int.from_bytes(b[at:at + 2], "little")


def u32(b, at):
    return int.from_bytes(b[at:at + 4], "little")


def u64(b, at):
    return int.from_bytes(b[at:at + 8], "little")


def lfn_sum(short):
    total = 0
    for c in short:
        total = ((total & 1) << 7) + (total >> 1) + c & 0xFF
    return total


class Volume:
    """Bytes of a device from `start`; clusters by first data byte and size."""

    def __init__(self, device, start):
        self.device, self.start = device, start

    def at(self, offset, length):
        data = self.device[self.start + offset:self.start + offset + length]
        if len(data) != length:
            raise Broken("beyond the device")
        return data

    def chain(self, first):
        seen, cluster = set(), first
        while 2 <= cluster < self.clusters + 2:
            if cluster in seen or len(seen) > 4096:
                raise Broken("a chain that does not end")
            seen.add(cluster)
            yield self.at(self.data + (cluster - 2) * self.cluster, self.cluster)
            cluster = self.next(cluster)
        if cluster < self.end_mark:
            raise Broken("a chain that breaks off")

    def content(self, first, size):
        out = b""
        if size == 0:
            return out
        if first == 0:
            raise Broken("no cluster")
        for part in self.chain(first):
            out += part
            if len(out) >= size:
                return out[:size]
        raise Broken("a chain too short")


class Fat(Volume):
    def __init__(self, device, start):
        super().__init__(device, start)
        b = self.at(0, 512)
        sector, per, reserved, fats, roots = u16(b, 11), b[13], u16(b, 14), b[16], u16(b, 17)
        size16, size32 = u16(b, 22), u32(b, 36)
        if sector not in (512, 1024, 2048, 4096) or per == 0 or per & (per - 1) or not reserved or not fats:
            raise Broken("boot sector")
        size = size16 or size32
        total = u16(b, 19) or u32(b, 32)
        root = reserved + fats * size
        first = root + (roots * 32 + sector - 1) // sector
        self.clusters = (total - first) // per
        if self.clusters <= 0:
            raise Broken("no clusters")
        self.bits = 32 if size16 == 0 else 12 if self.clusters <= 0xFF4 else 16
        self.end_mark = {32: 0x0FFFFFF8, 16: 0xFFF8, 12: 0xFF8}[self.bits]
        self.cluster, self.data, self.fat = per * sector, first * sector, reserved * sector
        if self.bits == 32:
            self.top = b"".join(self.chain(u32(b, 44)))
        else:
            self.top = self.at(root * sector, roots * 32)

    def next(self, cluster):
        if self.bits == 12:
            v = u16(self.at(self.fat + cluster + cluster // 2, 2), 0)
            return v >> 4 if cluster & 1 else v & 0xFFF
        width = self.bits // 8
        v = int.from_bytes(self.at(self.fat + cluster * width, width), "little")
        return v & 0x0FFFFFFF if self.bits == 32 else v

    def files(self):
        out = {}
        self.walk(self.top, "", out, 0)
        return out

    def walk(self, folder, path, out, depth):
        long, sum_of = {}, None
        for i in range(0, len(folder) - 31, 32):
            e = folder[i:i + 32]
            if e[0] in (0, 0xE5):
                long = {}
                continue
            if e[11] & 0x3F == 0x0F:
                if e[0] & 0x40:
                    long, sum_of = {}, e[13]
                if e[13] == sum_of:
                    long[e[0] & 0x1F] = e[1:11] + e[14:26] + e[28:32]
                continue
            short, name = e[:11], None
            if long and sorted(long) == list(range(1, len(long) + 1)) and sum_of == lfn_sum(short):
                units = b"".join(long[k] for k in sorted(long))
                name = units.decode("utf-16-le", "replace").split("\0")[0]
            long = {}
            if e[11] & 0x08 or short[:1] == b".":
                continue
            if not name:
                stem, ext = short[:8].rstrip().decode("latin-1"), short[8:].rstrip().decode("latin-1")
                name = stem + ("." + ext if ext else "")
            first = u16(e, 26) | (u16(e, 20) << 16 if self.bits == 32 else 0)
            whole = (path + "/" + name).lower() if path else name.lower()
            try:
                if e[11] & 0x10:
                    if depth < 4:
                        self.walk(b"".join(self.chain(first)), whole, out, depth + 1)
                else:
                    out.setdefault(whole, self.content(first, u32(e, 28)))
            except Broken:
                out.setdefault(whole, None)


class ExFat(Volume):
    end_mark = 0xFFFFFFF8

    def __init__(self, device, start):
        super().__init__(device, start)
        b = self.at(0, 512)
        sector = 1 << b[108]
        if not 9 <= b[108] <= 12 or b[109] > 16:
            raise Broken("boot sector")
        self.cluster, self.fat = sector << b[109], u32(b, 80) * sector
        self.data, self.clusters = u32(b, 88) * sector, u32(b, 92)
        self.top = b"".join(self.chain(u32(b, 96)))

    def next(self, cluster):
        return u32(self.at(self.fat + cluster * 4, 4), 0)

    def stretch(self, first, size, contiguous):
        if not contiguous or size == 0:
            return self.content(first, size)
        if not 2 <= first < self.clusters + 2:
            raise Broken("no cluster")
        return self.at(self.data + (first - 2) * self.cluster, size)

    def files(self):
        out = {}
        self.walk(self.top, "", out, 0)
        return out

    def walk(self, folder, path, out, depth):
        i = 0
        while i + 32 <= len(folder) and folder[i] != 0:
            e = folder[i:i + 32]
            i += 32
            if e[0] != 0x85:
                continue
            stream = folder[i:i + 32]
            if len(stream) < 32 or stream[0] != 0xC0:
                continue
            units = b"".join(folder[k + 2:k + 32] for k in range(i + 32, i + 32 * e[1], 32) if folder[k:k + 1] == b"\xc1")
            name = units[:2 * stream[3]].decode("utf-16-le", "replace")
            whole = (path + "/" + name).lower() if path else name.lower()
            first, size, valid = u32(stream, 20), u64(stream, 24), u64(stream, 8)
            try:
                if size > 1 << 24:
                    raise Broken("too large")
                data = self.stretch(first, size, stream[1] & 2)
                if u16(e, 4) & 0x10:
                    if depth < 4:
                        self.walk(data, whole, out, depth + 1)
                else:
                    out.setdefault(whole, data[:valid] + bytes(max(0, size - valid)))
            except Broken:
                out.setdefault(whole, None)


def read(device, start, exfat):
    """{path in small letters: bytes, or None where the file is broken}; empty where nothing can be read."""
    try:
        return (ExFat if exfat else Fat)(device, start).files()
    except (Broken, struct.error, IndexError, MemoryError, RecursionError):
        return {}
