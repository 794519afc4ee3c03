// The INI form: sections in brackets with lines "key = value". Nobody has written it down for all, so the common part
// is read: remarks begin with ';' or '#' at the beginning of a line, values stand as they are without the blanks around
// them (one pair of quotation marks is taken off), nothing is continued on the next line, and whatever stands twice is
// a fault, since readers differ in which of the two counts. The release's values are mapped as "section/key"; pieces
// are the sections whose names fit a text with one '*', and a piece's "*" is what stands there.
#include <fmt/core.h>

#include <algorithm>
#include <set>

#include "fettle/base/text.h"
#include "fettle/family/index_raw.h"

namespace fettle::family {
namespace {

struct Section {
    std::string name;
    int line = 0;
    std::map<std::string, Raw, std::less<>> keys;
};

std::string_view unquoted(std::string_view v) {
    return v.size() >= 2 && v.front() == '"' && v.back() == '"' ? v.substr(1, v.size() - 2) : v;
}

std::vector<Section> read_sections(std::string_view text, Faults& faults) {
    std::vector<Section> out;
    std::set<std::string> names;
    out.push_back({});  // lines before the first section
    Lines lines(text);
    for (std::string_view raw; lines.next(raw);) {
        const std::string_view line = trim(raw);
        const std::string place = fmt::format("line {}", lines.number());
        if (line.empty() || line[0] == ';' || line[0] == '#') continue;
        if (line[0] == '[') {
            const std::string name(trim(line.substr(1, line.size() - 2)));
            if (!line.ends_with(']') || line.size() < 3) {
                faults.add(place, "is no section: a name in brackets was expected");
                continue;
            }
            if (!names.insert(name).second)
                faults.add(place, fmt::format("begins [{}] a second time", printable(name)));
            out.push_back({name, lines.number(), {}});
            continue;
        }
        const std::size_t equals = line.find('=');
        if (equals == std::string_view::npos || equals == 0) {
            faults.add(place, "is neither a section nor \"key = value\"");
            continue;
        }
        const std::string key(trim(line.substr(0, equals)));
        const Raw value{RawKind::plain, std::string(unquoted(trim(line.substr(equals + 1)))), {}, place + " " + key};
        if (!out.back().keys.emplace(key, value).second)
            faults.add(place, fmt::format("gives \"{}\" a second time in its section", printable(key)));
    }
    return out;
}

// What the '*' of the pattern stands for in the name; false when the name is not of that form.
bool star(const std::string& pattern, const std::string& name, std::string& out) {
    const std::size_t at = pattern.find('*');
    const std::string_view before = std::string_view(pattern).substr(0, at);
    const std::string_view behind = std::string_view(pattern).substr(at + 1);
    if (name.size() <= before.size() + behind.size() || !name.starts_with(before) || !name.ends_with(behind))
        return false;
    out = name.substr(before.size(), name.size() - before.size() - behind.size());
    return true;
}

}  // namespace

RawIndex read_ini_index(const PackageRule& rule, std::string_view text, Faults& faults) {
    RawIndex out;
    out.between.assign(1, ' ');
    out.release.place = rule.index;
    const std::vector<Section> sections = read_sections(text, faults);
    for (const auto& [field, mapped] : rule.release_fields) {
        if (field == "pieces") continue;
        const std::size_t slash = mapped.find('/');
        for (const Section& s : sections)
            if (s.name == mapped.substr(0, slash))
                if (const auto at = s.keys.find(mapped.substr(slash + 1)); at != s.keys.end())
                    out.release.fields.emplace(field, at->second);
    }
    const auto pieces = rule.release_fields.find("pieces");
    if (pieces == rule.release_fields.end()) return out;
    for (const Section& s : sections) {
        std::string middle;
        if (!star(pieces->second, s.name, middle)) continue;
        if (out.pieces.size() == most_pieces) {
            faults.add(fmt::format("line {}", s.line),
                       fmt::format("is one more than the {} that are read", most_pieces));
            break;
        }
        RawItem piece;
        piece.place = fmt::format("line {} [{}]", s.line, s.name);
        for (const auto& [field, key] : rule.piece_fields) {
            if (key == "*")
                piece.fields[field] = {RawKind::plain, middle, {}, piece.place};
            else if (const auto at = s.keys.find(key); at != s.keys.end())
                piece.fields[field] = at->second;
        }
        out.pieces.push_back(std::move(piece));
    }
    if (out.pieces.empty()) faults.add(rule.index, fmt::format("has no section [{}]", pieces->second));
    return out;
}

}  // namespace fettle::family
