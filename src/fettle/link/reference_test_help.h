// For tests: the published tables of tests/data/reference as rows of named fields.
#pragma once

#include <fstream>
#include <map>
#include <stdexcept>
#include <string>
#include <vector>

#include "fettle/base/bytes.h"
#include "fettle/base/source_path.h"

namespace fettle::link::testing {

using Row = std::map<std::string, std::string>;

inline std::vector<std::string> csv_fields(const std::string& line) {
    std::vector<std::string> out(1);
    bool quoted = false;
    for (const char c : line) {
        if (c == '"')
            quoted = !quoted;
        else if (c == ',' && !quoted)
            out.emplace_back();
        else
            out.back() += c;
    }
    return out;
}

inline std::vector<Row> table(const std::string& name) {
    std::ifstream in(source_path("tests/data/reference/") + name);
    std::vector<std::string> head;
    std::vector<Row> out;
    for (std::string line; std::getline(in, line);) {
        if (line.empty() || line[0] == '#') continue;
        const auto fields = csv_fields(line);
        if (head.empty()) {
            head = fields;
            continue;
        }
        Row r;
        for (std::size_t i = 0; i < head.size() && i < fields.size(); ++i) r[head[i]] = fields[i];
        out.push_back(std::move(r));
    }
    if (out.empty()) throw std::runtime_error("no rows in " + name);
    return out;
}

// Hex with or without blanks between the bytes.
inline Bytes bytes_of(std::string text) {
    std::erase(text, ' ');
    const auto b = unhex(text);
    if (!b) throw std::runtime_error("no hex: " + text);
    return *b;
}

}  // namespace fettle::link::testing
