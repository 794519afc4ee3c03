// Loading a family file: text → tree → values, then the checks that need more than one section, then what is left open.
// Everything is gone through even after a mistake, so that one look shows all that is to be done.
#include <fmt/core.h>

#include <algorithm>
#include <tuple>

#include "fettle/base/digest.h"
#include "fettle/base/files.h"
#include "fettle/base/text.h"
#include "fettle/family/load_parts.h"

namespace fettle::family {
namespace {

void by_line(std::vector<Finding>& findings) {
    std::sort(findings.begin(), findings.end(),
              [](const Finding& a, const Finding& b) { return std::tie(a.line, a.key) < std::tie(b.line, b.key); });
}

int line_in(const std::string& place) {
    return place.starts_with("line ") ? std::max(1, std::atoi(place.c_str() + 5)) : 1;
}

}  // namespace

std::string roles_of(const Family& f) {
    std::vector<std::string> roles;
    for (const Box& b : f.boxes) roles.push_back(b.role);
    return join(roles, ", ");
}

Loaded load_family_text(std::string_view toml) {
    Loaded out;
    out.family.digest = sha256_hex(toml);
    const auto tree = parse_toml(toml);
    if (!tree) {
        const Error& e = tree.error();
        out.mistakes.push_back({line_in(e.place.words()), "", e.problem, e.next.words(), false});
        return out;
    }
    Log log;
    Family& f = out.family;
    Section top(*tree, "", log);
    read_head(top, f);
    read_labels(top, f);
    read_releases(top, f);
    read_package(top, f);
    read_card(top, f);
    read_regions(top, f);
    read_script(top, f);
    read_boot(top, f);
    read_supply(top, f);
    read_stuck(top, f);
    read_screen(top, f);
    read_touch(top, f);
    read_link(top, f);
    read_watched(top, f);
    top.done();

    check_labels(f, log);
    check_releases(f, log);
    check_writes(f, log);
    check_script(f, log);
    check_boot(f, log);
    check_rules(f, log);
    check_link(f, log);
    check_touch(f, log);
    check_level(f, log);
    list_unknowns(f, log);

    by_line(log.mistakes);
    by_line(log.unknowns);
    out.mistakes = std::move(log.mistakes);
    out.unknowns = std::move(log.unknowns);
    return out;
}

Result<Family> load_family(const std::filesystem::path& file) {
    const auto text = read_text_file(file, family_file_limit_bytes);
    if (!text) return pass(text);
    Loaded loaded = load_family_text(*text);
    if (loaded.mistakes.empty()) return std::move(loaded.family);
    std::vector<std::string> first;
    for (const Finding& m : loaded.mistakes) {
        if (first.size() == 5) break;
        first.push_back(fmt::format("line {}, {}{}", m.line, m.key.empty() ? "" : m.key + ": ", m.problem));
    }
    const std::size_t rest = loaded.mistakes.size() - first.size();
    std::string problem = "may not be used: " + join(first, "; ");
    if (rest > 0) problem += fmt::format("; and {} more", rest);
    return bad_input(
        "family-file-mistakes", file.string(), problem,
        Next{"see every mistake with: ", propose(fettle::Act::check_family, {given("file", file.string())})});
}

}  // namespace fettle::family
