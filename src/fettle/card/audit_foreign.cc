// What stands on the card and does not belong to the release: leftovers of desktop systems, second copies, downloads
// that were not finished, anything else.
#include <fmt/core.h>

#include <algorithm>
#include <map>
#include <set>

#include "fettle/base/text.h"
#include "fettle/card/audit_content.h"

namespace fettle::card {
namespace {

struct Foreign {
    std::map<std::string, std::vector<std::string>> leftovers;  // by whose
    std::vector<std::string> at_top, deeper, copies, unfinished;
};

Foreign sorted_out(ContentAudit& c) {
    std::set<std::string> ours;  // top-level folders in which something of the release stands
    for (const auto& n : c.listing.nodes)
        if (const auto slash = n.path.find('/'); c.is_matched(n) && slash != std::string::npos)
            ours.insert(n.path.substr(0, slash));
    Foreign f;
    for (const auto& n : c.listing.nodes) {
        if (c.is_matched(n)) continue;
        const auto slash = n.path.find('/');
        const std::string top = n.path.substr(0, slash);
        const bool is_top = slash == std::string::npos;
        const bool in_ours = ours.contains(top);
        const std::string plain = without_copy_marks(n.path);
        if (const auto whose = leftover_of(is_top ? n.path : last_part(n.path)); !whose.empty())
            f.leftovers[std::string(whose)].push_back(n.path);
        else if (!n.folder && plain != n.path && c.look.at(plain) != nullptr)
            f.copies.push_back(n.path);
        else if (!n.folder && is_unfinished_download(n.path))
            f.unfinished.push_back(n.path);
        else if (is_top && !(n.folder && in_ours) && !(c.archives_said && !n.folder && !c.archive_of(n).empty()))
            f.at_top.push_back(n.path);
        else if (!is_top && !n.folder && in_ours)
            f.deeper.push_back(n.path);
    }
    return f;
}

bool any_at_top(const std::vector<std::string>& names) {
    return std::any_of(names.begin(), names.end(), [](const auto& n) { return n.find('/') == std::string::npos; });
}

}  // namespace

void audit_foreign(ContentAudit& c) {
    const Foreign f = sorted_out(c);
    const auto* rule = c.s.rule();
    const bool strict = rule && rule->foreign == "refused";
    const auto say = [&](const char* code, bool top, const std::vector<std::string>& names, std::string what) {
        if (names.empty()) return;
        const bool refused = strict && top;
        c.s.list(code, names);
        c.s.add(code, refused ? Verdict::halt : Verdict::mind,
                fmt::format("{} {}{}.", some_names(names), what,
                            refused       ? ", and the box lists the top of the card strictly: lay the card again"
                            : rule && top ? ", which the family tolerates: lay the card again if there is time"
                                          : ": lay the card again if there is time"),
                names.front(), rule ? by_family : "common practice");
    };
    for (const auto& [whose, names] : f.leftovers)
        say("desktop-leftover", any_at_top(names), names,
            fmt::format("{} left on the card by {}", names.size() == 1 ? "was" : "were", whose));
    say("copy-name", any_at_top(f.copies), f.copies,
        f.copies.size() == 1 ? "is a second copy of a file that is there already"
                             : "are second copies of files that are there already");
    say("download-unfinished", any_at_top(f.unfinished), f.unfinished,
        f.unfinished.size() == 1 ? "has the name of a download that was not finished"
                                 : "have names of downloads that were not finished");
    say("foreign-file", true, f.at_top,
        f.at_top.size() == 1 ? "does not belong to the release" : "do not belong to the release");
    say("foreign-file", false, f.deeper,
        f.deeper.size() == 1 ? "stands among the release's files and is not named by it"
                             : "stand among the release's files and are not named by it");
}

}  // namespace fettle::card
