// What the index claims of the release's place among others: against the family file and against what is on the shelf.
#include <fmt/core.h>

#include <map>
#include <set>

#include "fettle/base/text.h"
#include "fettle/family/pattern.h"
#include "fettle/shelf/vet.h"

namespace fettle::shelf {
namespace {

Reason reason(std::string code, Verdict verdict, std::string text, std::string rests_on) {
    return {std::move(code), verdict, std::move(text), "index", std::move(rests_on)};
}

bool accepts(const std::string& pattern, const std::string& text) {
    const auto p = family::Pattern::compile(pattern);
    if (!p) return true;  // the family file was checked; what cannot be told is not held against the package
    auto at = p->start();
    for (const char c : text) at = p->step(at, c);
    return p->accepts(at);
}

// Issue letters that no plate of the box can have.
void check_issues(const family::Family& family, const family::Release& release, Judgement& j) {
    std::map<std::string, std::set<std::string>> by_box;
    for (const family::Piece& p : release.pieces)
        if (!p.issues.empty()) by_box[p.box].insert(p.issues.begin(), p.issues.end());
    for (const auto& [role, issues] : by_box) {
        const family::Box* box = family.box(role);
        const auto plate = box ? family::Pattern::compile(box->plate.pattern) : Result<family::Pattern>{};
        const std::string* field = box && plate ? plate->field_pattern("issue") : nullptr;
        if (!field) continue;
        for (const std::string& issue : issues)
            if (!accepts(*field, issue))
                j.add(reason("unknown-issue", Verdict::mind,
                             fmt::format("issue \"{}\" is on no plate of the {} box as the family file knows them",
                                         printable(issue), role),
                             "family file"));
    }
}

// A counter that is not the known one, or that does not rise with the order of the releases, locks or unlocks ways
// back.
void check_counter(const family::Family& family, const family::Release& release, Judgement& j) {
    if (!release.counter) return;
    for (const family::KnownRelease& k : family.known) {
        if (!k.counter) continue;
        const auto order = family::compare_versions(family.order, release.release, k.release);
        if (!order) continue;
        if (*order == 0 && *release.counter != *k.counter)
            j.add(reason("counter-differs", Verdict::halt,
                         fmt::format("leaves the rollback counter {}; by the family file {} leaves {}",
                                     *release.counter, k.release, *k.counter),
                         "family file"));
        if ((*order > 0 && *release.counter < *k.counter) || (*order < 0 && *release.counter > *k.counter))
            j.add(reason("counter-out-of-order", Verdict::halt,
                         fmt::format("leaves the rollback counter {}, but {}, which is {}, leaves {}", *release.counter,
                                     k.release, *order > 0 ? "older" : "newer", *k.counter),
                         "family file"));
    }
}

}  // namespace

Judgement vet_order(const family::Family& family, const family::Release& release) {
    Judgement j;
    check_issues(family, release, j);
    check_counter(family, release, j);
    const auto from = release.installs_from.empty()
                          ? std::nullopt
                          : family::compare_versions(family.order, release.installs_from, release.release);
    if (from && *from > 0)
        j.add(reason("installs-from-newer", Verdict::halt,
                     fmt::format("says that it installs on {} at the earliest, which is newer than itself",
                                 printable(release.installs_from)),
                     "index"));
    const auto newest = family.newest_release.empty()
                            ? std::nullopt
                            : family::compare_versions(family.order, release.release, family.newest_release);
    if (newest && *newest > 0)
        j.add(reason("newer-than-known", Verdict::mind,
                     fmt::format("{} is newer than {}, the newest that the family file knew of on {}",
                                 printable(release.release), family.newest_release, family.newest_as_of),
                     "family file"));
    return j;
}

Judgement vet_against_shelf(const family::Family& family, const family::Release& release,
                            const std::vector<std::string>& shelved) {
    Judgement j;
    std::string newest;
    for (const std::string& other : shelved) {
        const auto order = family::compare_versions(family.order, other, newest.empty() ? release.release : newest);
        if (order && *order > 0) newest = other;
    }
    if (!newest.empty())
        j.add({"older-than-shelved", Verdict::mind,
               fmt::format(
                   "{} is on the shelf, which is newer: this one is a step on the way or a way back, not the newest",
                   newest),
               "index", "version order"});
    return j;
}

}  // namespace fettle::shelf
