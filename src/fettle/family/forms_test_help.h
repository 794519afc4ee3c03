// A small family whose packages come in any form; for the tests of the forms.
#pragma once

#include <gtest/gtest.h>

#include <string>

#include "fettle/family/family.h"
#include "fettle/family/release.h"

namespace fettle::family {

// The family "wren" with this [package] section.
inline Loaded wren_with(const std::string& package) {
    return load_family_text(R"(
[family]
id = "wren"
marque = "Vellmoor"
words = "Wren radio"
level = "L0"
version_order = { rule = "numeric", fields = ["line", "step", "build"] }
[[box]]
role = "main"
words = "radio"
written_by = "own medium"
[box.plate]
pattern = '58\d{5}[A-F]'
examples = ["5801234A"]
[view]
pattern = '(?P<release>\d+\.\d+\.\d+)'
examples = ["27.1.110"]
)" + package);
}

inline Family wren(const std::string& package) {
    Loaded l = wren_with(package);
    for (const Finding& f : l.mistakes) ADD_FAILURE() << f.line << " " << f.key << ": " << f.problem;
    return l.family;
}

inline std::string replaced(std::string text, const std::string& from, const std::string& to) {
    const auto at = text.find(from);
    EXPECT_NE(at, std::string::npos) << from;
    return at == std::string::npos ? text : text.replace(at, from.size(), to);
}

inline std::string faults_of(const Family& f, const std::string& text) {
    const auto r = read_index(f, text);
    return r ? "" : r.error().problem;
}

// "abc" by FIPS 180-4 and RFC 1321, appendices.
inline const std::string sha256_abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
inline const std::string md5_abc = "900150983cd24fb0d6963f7d28e17f72";

}  // namespace fettle::family
