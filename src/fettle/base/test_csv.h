// For tests only: the reference tables of tests/data/reference.
#pragma once

#include <fstream>
#include <map>
#include <stdexcept>
#include <string>
#include <vector>

#include "fettle/base/source_path.h"

namespace fettle {

using CsvRow = std::map<std::string, std::string>;

// First line names the columns; comma, double quotes where needed, line feed. Throws when the file is not there or has
// no rows: a check that sees no data must fail.
inline std::vector<CsvRow> read_csv(const std::string& name) {
    const std::string path = source_path("tests/data/reference/") + name;
    std::ifstream in(path);
    if (!in) throw std::runtime_error("cannot read " + path);
    const auto fields = [](const std::string& line) {
        std::vector<std::string> out(1);
        bool quoted = false;
        for (std::size_t i = 0; i < line.size(); ++i) {
            const char c = line[i];
            if (c == '"' && quoted && i + 1 < line.size() && line[i + 1] == '"')
                out.back() += line[++i];
            else if (c == '"')
                quoted = !quoted;
            else if (c == ',' && !quoted)
                out.emplace_back();
            else
                out.back() += c;
        }
        return out;
    };
    std::string line;
    std::getline(in, line);
    const auto names = fields(line);
    std::vector<CsvRow> rows;
    while (std::getline(in, line)) {
        if (line.empty()) continue;
        const auto values = fields(line);
        CsvRow row;
        for (std::size_t i = 0; i < names.size(); ++i) row[names[i]] = i < values.size() ? values[i] : "";
        rows.push_back(std::move(row));
    }
    if (rows.empty()) throw std::runtime_error(path + " has no rows");
    return rows;
}

}  // namespace fettle
