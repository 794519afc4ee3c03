#include "fettle/change/offered.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "fettle/base/text.h"
#include "fettle/change/list_text.h"

namespace fettle::change {
namespace {

bool counted(const family::Family& family, const family::Release& release, const Line& line) {
    if (line.action != Action::does_not_apply) return true;
    return family.tally && family.tally->counts_not_applying && release.piece(line.box, line.name) != nullptr;
}

}  // namespace

Result<std::vector<Offered>> parse_offered(const family::Family& family, std::string_view text,
                                           std::string_view place) {
    std::vector<Offered> out;
    auto lines = list_text(text);
    if (lines.unreadable)
        return bad_input("offered-encoding", fmt::format("{}, line {}", place, *lines.unreadable), lines.problem,
                         "save the list as plain UTF-8 text");
    if (lines.too_many)
        return bad_input("offered-long", fmt::format("{}, line {}", place, *lines.too_many), lines.problem,
                         "check that this is the right file");
    for (auto& [number, w] : lines.lines) {
        const auto here = fmt::format("{}, line {}", place, number);
        if (w.size() > 3)
            return bad_input("offered-line", here, fmt::format("{} words found, one to three expected", w.size()),
                             "write one line a piece: its name, if wanted with the box before and the version behind");
        Offered o;
        o.line = number;
        if (w.size() > 1 && family.box(w.front()) != nullptr) {
            o.box = w.front();
            w.erase(w.begin());
        } else if (w.size() == 3) {
            return bad_input("offered-line", here,
                             fmt::format("\"{}\" is no box of the {}", printable(w.front()), family.id),
                             "write the box's role first, or leave it out");
        }
        o.name = w.front();
        if (w.size() == 2) o.version = w.back();
        out.push_back(std::move(o));
    }
    if (out.empty())
        return bad_input("offered-empty", std::string(place), "no piece is listed in it",
                         "write one line for each piece that the box offers");
    return out;
}

OfferedAnswer compare_offered(const family::Family& family, const family::Release& release, const ChangeSheet& sheet,
                              const std::vector<Offered>& offered) {
    OfferedAnswer a;
    a.listed = static_cast<int>(offered.size());
    std::vector<const Line*> open;  // expected and not yet seen in the list
    for (const Line& line : sheet.lines) {
        if (counted(family, release, line)) open.push_back(&line);
    }
    a.expected = static_cast<int>(open.size());
    for (const Offered& o : offered) {
        const auto is_it = [&](const Line* l) { return l->name == o.name && (o.box.empty() || l->box == o.box); };
        const auto version_of = [&](const Line* l) {
            const auto* piece = release.piece(l->box, l->name);
            return piece == nullptr ? std::string() : piece->version;
        };
        auto at = std::find_if(open.begin(), open.end(),
                               [&](const Line* l) { return is_it(l) && version_of(l) == o.version; });
        if (at == open.end()) at = std::find_if(open.begin(), open.end(), is_it);
        if (at == open.end()) {
            const auto before = std::find_if(offered.begin(), offered.end(), [&](const Offered& b) {
                return b.line < o.line && b.name == o.name && (b.box.empty() || o.box.empty() || b.box == o.box);
            });
            if (before != offered.end()) {
                a.surprises.push_back(fmt::format("line {}: {} is listed once more; it was on line {}", o.line,
                                                  printable(o.name), before->line));
                continue;
            }
            const auto known =
                std::find_if(sheet.lines.begin(), sheet.lines.end(), [&](const Line& l) { return l.name == o.name; });
            a.surprises.push_back(
                known == sheet.lines.end()
                    ? fmt::format("line {}: {} is listed, and is no piece of {}", o.line, printable(o.name), sheet.to)
                    : fmt::format("line {}: {} is listed, and was not expected: {}", o.line, printable(o.name),
                                  known->because));
            continue;
        }
        const std::string wanted = version_of(*at);
        if (!o.version.empty() && !wanted.empty() && o.version != wanted)
            a.surprises.push_back(fmt::format("line {}: {} is listed at version {}, {} has {}", o.line,
                                              printable(o.name), printable(o.version), sheet.to, wanted));
        open.erase(at);
    }
    for (const Line* l : open) a.surprises.push_back(fmt::format("{} of the {} box is not listed", l->name, l->box));
    const std::string counts =
        fmt::format("{} listed, {} expected, {}", a.listed, a.expected, plural(a.surprises.size(), "surprise"));
    if (a.surprises.empty()) {
        a.judgement.add(
            {"offered-as-expected", Verdict::fit, counts, "offered list", "the list and the package index"});
        return a;
    }
    constexpr std::size_t named = 5;
    std::vector<std::string> first(
        a.surprises.begin(), a.surprises.begin() + static_cast<std::ptrdiff_t>(std::min(named, a.surprises.size())));
    if (a.surprises.size() > named) first.push_back(fmt::format("and {} more", a.surprises.size() - named));
    a.judgement.add({"offered-surprise", Verdict::halt,
                     fmt::format("{}: {}; do not start before it is known why", counts, join(first, "; ")),
                     "offered list", "the list and the package index"});
    return a;
}

}  // namespace fettle::change
