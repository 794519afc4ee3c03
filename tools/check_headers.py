#!/usr/bin/python3
"""Heavy third-party headers stay in few .cc files, so that the program builds in minutes; none of our own headers may
include one. The lists say where each may stand; a file listed that no longer needs its header is a finding too, so
the lists only shrink. No type is defined twice in one namespace: the linker would take one for the other and say nothing
([basic.def.odr])."""

import fnmatch
import re

from tree import ROOT, end, files, includes, is_test, shown

# pattern of the header → (globs of the .cc files that may include it, seconds it costs a file with g++ 12 at -O2)
HEAVY = {
    r"boost/asio.*": (["src/fettle/link/*.cc", "src/fettle/standin/*serve*.cc"], 20),
    r"boost/beast.*": ([], 16),
    r"toml\+\+/.*": (["src/fettle/family/*.cc"], 5),
    r"(pango|cairo).*": (["apps/fettle/*pdf.cc"], 2),
    r"CLI/.*": (["apps/fettle/cli*.cc"], 10),
    r"soci/.*": (["src/fettle/records/*.cc"], 2),
    r"archive(_entry)?\.h": (["src/fettle/shelf/*.cc"], 0),
    r"pugixml\.hpp": (["src/fettle/family/index_xml.cc", "src/fettle/contact/forms_xml.cc"], 2),
    r"nlohmann/.*": ([], 5),
    r"spdlog/.*": ([], 8),
    r"regex": ([], 3),
}
TESTS_ONLY = re.compile(r"(gtest|gmock|rapidcheck)(/.*|\.h)")
# Light declarations that headers may have.
LIGHT = {"boost/json/fwd.hpp", "boost/json/object.hpp", "boost/json/value.hpp", "boost/json/array.hpp"}
# Headers that only .cc files of the same room include may have what those files may have.
INNER = {"src/fettle/link/wait.h", "apps/fettle/cli_builder.h"}
MOST_ASIO_FILES = 8


DEFINED = re.compile(r"^(?:struct|class|enum class) (\w+)(?: final)?(?: : [^;{]*)?(?: \{|$)", re.M)


def defined_twice(findings):
    places = {}
    for path in files(".h", below="src") + files(".h", below="apps"):
        text = path.read_text()
        space = re.search(r"^namespace ([\w:]+) \{", text, re.M)
        for name in DEFINED.findall(text) if space and not is_test(path) else ():
            places.setdefault((space[1], name), []).append(shown(path))
    for (space, name), where in places.items():
        if len(where) > 1:
            findings.append(f"{space}::{name} is defined in {' and in '.join(where)}")
    if len(places) < 300:
        findings.append("too few types found in the headers to look for doubles")


def main():
    findings, seen, asio = [], 0, set()
    defined_twice(findings)
    for path in files(".cc", ".h", below="src") + files(".cc", ".h", below="apps") + files(".cc", ".h", below="tests"):
        seen += 1
        name, header = shown(path), path.suffix == ".h"
        for line, included in includes(path):
            inner = "src/" + included
            if inner in INNER and (header or path.parent != (ROOT / inner).parent):
                findings.append(f"{name}:{line}: {included} is for the .cc files of its own room")
            if included in LIGHT:
                continue
            if TESTS_ONLY.fullmatch(included) and not is_test(path):
                findings.append(f"{name}:{line}: {included} belongs into tests only")
            if included.startswith("boost/json") and name != "src/fettle/base/json.h":
                findings.append(f"{name}:{line}: JSON comes by fettle/base/json.h, in .cc files")
            if included == "fettle/base/json.h" and header and not is_test(path):
                findings.append(f"{name}:{line}: base/json.h is for .cc files; headers name types by boost/json/fwd.hpp")
            for pattern, (globs, seconds) in HEAVY.items():
                if not re.fullmatch(pattern, included) or (included == "regex" and is_test(path)):
                    continue
                if header and not is_test(path) and name not in INNER:
                    findings.append(f"{name}:{line}: {included} in a header costs every includer {seconds} s")
                elif name not in INNER and not any(fnmatch.fnmatch(name, g) for g in globs):
                    findings.append(f"{name}:{line}: {included} may stand only in {', '.join(globs) or 'no file'}")
                if included.startswith("boost/asio") and not is_test(path):
                    asio.add(name)
    if len(asio) > MOST_ASIO_FILES:
        findings.append(f"{len(asio)} files include Asio, at most {MOST_ASIO_FILES} may: {', '.join(sorted(asio))}")
    if not (ROOT / "src/fettle/base/json.h").exists():
        findings.append("src/fettle/base/json.h is gone: the rule about JSON looks at nothing")
    end(findings, seen, "source files")


main()
