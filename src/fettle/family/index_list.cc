// The digest list: lines of a digest and a path, as sha256sum and its kin write them, in their plain form
// ("DIGEST  path", "DIGEST *path") or with the algorithm's name ("SHA256 (path) = DIGEST"). A line that begins with '#'
// is a remark; "# name: value" gives a value for the release. sha256sum's escaped names (a line that begins with a
// backslash) are refused: such a name would hold a line feed or a backslash.
#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/family/index_raw.h"

namespace fettle::family {
namespace {

struct Entry {
    std::string_view digest, path;
};

// nullptr when the line is of this form; else what was expected.
const char* split_line(std::string_view line, const std::string& algorithm, Entry& out) {
    const std::size_t open = line.find(" (");
    if (open != std::string_view::npos && line.find(' ') == open) {
        const std::size_t close = line.rfind(") = ");
        if (close == std::string_view::npos || close < open + 2) return "has no \") = \" before its digest";
        std::string named = lower(line.substr(0, open));
        std::erase(named, '-');
        if (named != algorithm) return "is of another algorithm than the family file says";
        out = {line.substr(close + 4), line.substr(open + 2, close - open - 2)};
        return nullptr;
    }
    const std::size_t blank = line.find(' ');
    if (blank == std::string_view::npos || blank + 2 >= line.size() ||
        (line[blank + 1] != ' ' && line[blank + 1] != '*'))
        return "is no digest, two blanks (or a blank and *) and a path";
    out = {line.substr(0, blank), line.substr(blank + 2)};
    return nullptr;
}

}  // namespace

RawIndex read_digest_list(const PackageRule& rule, std::string_view text, Faults& faults) {
    RawIndex out;
    out.between.assign(1, ' ');
    out.release.place = rule.index;
    Lines lines(text);
    for (std::string_view line; lines.next(line);) {
        const std::string place = fmt::format("line {}", lines.number());
        if (trim(line).empty()) continue;
        if (line.starts_with('#')) {
            read_remark(line, place, rule, out.release, faults);
            continue;
        }
        Entry entry;
        if (const char* problem = split_line(line, rule.digest, entry)) {
            faults.add(place, problem);
            continue;
        }
        if (out.pieces.size() == most_pieces) {
            faults.add(place, fmt::format("is one more than the {} that are read", most_pieces));
            break;
        }
        RawItem piece;
        piece.place = place;
        std::string_view path = entry.path;
        if (path.starts_with("./")) path.remove_prefix(2);  // as `find . | xargs sha256sum` writes them
        piece.fields["file"] = {RawKind::plain, std::string(path), {}, place + " path"};
        piece.fields[rule.digest] = {RawKind::plain, std::string(entry.digest), {}, place + " digest"};
        out.pieces.push_back(std::move(piece));
    }
    if (out.pieces.empty()) faults.add(rule.index, "lists no file; at least one was expected");
    return out;
}

}  // namespace fettle::family
