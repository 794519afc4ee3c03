"""Whole packages of the other two example makers, and the words by which they are spoilt: an XML index with a CMS
signature (as brill has it), and a plain digest list, unsigned (pelm). The certificates are made again by the openssl
program for every run, so the families are copies with an id of their own: sedge (XML) and teasel (list)."""

import hashlib
import re
import subprocess
from pathlib import Path

from archive_writers import Entry


def openssl(*args, cwd):
    subprocess.run(["openssl", *args], cwd=cwd, check=True, capture_output=True, timeout=60)


class Makers:
    """Family files and keys in a folder of their own; each family needs `needs` signers."""

    EC = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes"]
    SIGNER = "/CN=Vellmoor example release signing"

    def __init__(self, families, at):
        self.at = at
        self.root("root")
        self.root("stranger")
        self.signer("today", "root", "-days", "20")
        self.signer("ended", "root", "-not_before", "20200101000000Z", "-not_after", "20210101000000Z")
        self.signer("unknown", "stranger", "-days", "20")
        self.signer("other-name", "root", "-days", "20", subject="/CN=Somebody else")
        text = (families / "brill.toml").read_text()
        text = re.sub(r"-----BEGIN CERT.*?END CERTIFICATE-----\n", (at / "root.pem").read_text(), text, flags=re.S)
        for family, needs in (("sedge", 1), ("sedge-two", 2)):
            own = text.replace('id = "brill"', f'id = "{family}"').replace('form = "cms"', f'form = "cms"\nneeds = {needs}')
            (at / f"{family}.toml").write_text(own)
        (at / "teasel.toml").write_text((families / "pelm.toml").read_text().replace('id = "pelm"', 'id = "teasel"'))

    def root(self, name):
        openssl("req", "-x509", *self.EC, "-keyout", f"{name}.key", "-out", f"{name}.pem", "-days", "30", "-subj",
                f"/CN=Vellmoor {name}", cwd=self.at)

    def signer(self, name, root, *dates, subject=SIGNER):
        openssl("req", *self.EC, "-keyout", f"{name}.key", "-out", f"{name}.csr", "-subj", subject, cwd=self.at)
        if dates[0] == "-days":
            openssl("x509", "-req", "-in", f"{name}.csr", "-CA", f"{root}.pem", "-CAkey", f"{root}.key", "-CAcreateserial",
                    *dates, "-out", f"{name}.pem", cwd=self.at)
            return
        # Past dates: only `openssl ca` takes them in OpenSSL 3.0.
        (self.at / "ca.cnf").write_text("[ca]\ndefault_ca = d\n[d]\ndatabase = index.txt\nserial = serial.txt\nnew_certs_dir = .\n"
                                        "default_md = sha256\npolicy = p\n[p]\ncommonName = supplied\n")
        (self.at / "index.txt").write_text("")
        (self.at / "serial.txt").write_text("77\n")
        openssl("ca", "-batch", "-config", "ca.cnf", "-cert", f"{root}.pem", "-keyfile", f"{root}.key", "-in", f"{name}.csr",
                "-startdate", dates[1], "-enddate", dates[3], "-out", f"{name}.pem", "-notext", cwd=self.at)

    def sign(self, text, who, *more):
        (self.at / "text").write_bytes(text)
        openssl("cms", "-sign", "-binary", "-in", "text", "-signer", f"{who}.pem", "-inkey", f"{who}.key", "-outform", "DER",
                "-out", "signature", *more, cwd=self.at)
        return (self.at / "signature").read_bytes()


class Files:
    """Words that both kinds of package have."""

    def __init__(self):
        self.files, self.entries, self.claims, self.extra = {}, [], {}, {}

    def file(self, path, text):
        self.extra[path] = text.encode()

    def drop(self, path):
        del self.files[path]

    def flip(self, path):
        data = bytearray(self.files[path])
        data[len(data) // 2] ^= 1
        self.files[path] = bytes(data)

    def content(self, path, text):
        self.files[path] = text.encode().ljust(len(self.files[path]), b".")

    def entry(self, name, kind, data="x"):
        self.entries.append(Entry(name.encode(), data.encode(), kind))

    def do(self, words):
        getattr(self, words[0].replace(" ", "_"))(*words[1:])


class XmlCms(Files):
    family = "sedge"

    def __init__(self, makers):
        super().__init__()
        self.makers, self.who, self.options, self.given = makers, "today", [], None
        self.head, self.attributes, self.more, self.after = "", "", "", lambda text: text
        for name in ("start", "system"):
            self.files[f"main/{name}-01.bin"] = f"{name} of 27.2.031 ".ljust(3000, ".").encode()
        self.parts = {p: (len(d), hashlib.sha256(d).hexdigest()) for p, d in self.files.items()}

    def signed_by(self, who, *options):
        self.who, self.options = who, list(options)

    def unsigned(self):
        self.who = None

    def signature(self, text):
        self.given = text.encode()

    def needs_two(self):
        self.family = "sedge-two"

    def before_it(self, text):
        self.head = text

    def nested(self, depth):
        self.more = "<a>" * depth + "</a>" * depth

    def inside(self, text):
        self.more = text

    def list(self, path):
        self.parts[path] = (1, hashlib.sha256(b"x").hexdigest())

    def changed_after(self, old, new):
        self.after = lambda text: text.replace(old.encode(), new.encode())

    def all_files(self):
        parts = "".join(f'<part name="{p}" box="main" region="system" version="1"><file bytes="{size}">{p}</file>'
                        f"<sha256>{digest}</sha256></part>" for p, (size, digest) in self.parts.items())
        text = (f'<?xml version="1.0"?>{self.head}<release family="{self.family}" name="27.2.031" counter="4" no-return="true" '
                f'from="26.4.088">{self.more}<markets><market>NS</market></markets><parts>{parts}</parts></release>').encode()
        files = {}
        if self.given is not None:
            files["release.p7s"] = self.given
        elif self.who:
            files["release.p7s"] = self.makers.sign(text, self.who, *self.options)
        return {"release.xml": self.after(text), **files, **self.files, **self.extra}


class DigestList(Files):
    family = "teasel"

    def __init__(self, makers):
        super().__init__()
        self.lines, self.heads = [], {"family": "teasel", "release": "27.2.064", "markets": "NS"}
        for name in ("base/core-01_2.0", "system/radio-01_4.1"):
            self.files[f"{name}.bin"] = f"{name} of 27.2.064 ".ljust(2000, ".").encode()
        for path, data in self.files.items():
            self.lines.append(f"{hashlib.sha256(data).hexdigest()}  {path}")

    def head(self, name, value):
        self.heads[name] = value

    def line(self, text):
        self.lines.append(text)

    def list(self, path):
        self.line(f"{hashlib.sha256(b'x').hexdigest()}  {path}")

    def all_files(self):
        text = "".join(f"# {name}: {value}\n" for name, value in self.heads.items()) + "\n".join(self.lines) + "\n"
        return {"update.sha256": text.encode(), **self.files, **self.extra}


BY_FORM = {"xml": XmlCms, "list": DigestList}
