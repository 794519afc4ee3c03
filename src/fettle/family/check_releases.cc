// What the releases and the claimed level of knowledge must keep.
#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/family/level.h"
#include "fettle/family/load_parts.h"

namespace fettle::family {
namespace {

std::string key(std::size_t i, std::string_view member) {
    return fmt::format("release[{}].{}", i + 1, member);
}

// A counter never falls from an older release to a newer one; where it rises, the newer one is a one-way door.
void check_counters(const Family& f, Log& log) {
    std::vector<std::size_t> by_age;
    for (std::size_t i = 0; i < f.known.size(); ++i)
        if (compare_versions(f.order, f.known[i].release, f.known[i].release)) by_age.push_back(i);
    std::sort(by_age.begin(), by_age.end(), [&](std::size_t a, std::size_t b) {
        return compare_versions(f.order, f.known[a].release, f.known[b].release).value_or(0) < 0;
    });
    const KnownRelease* before = nullptr;
    for (const std::size_t i : by_age) {
        const KnownRelease& r = f.known[i];
        if (r.one_way_door && !r.counter)
            log.mistake(key(i, "counter"), fmt::format("{} is a one-way door without a counter", r.release),
                        "write the rollback counter that it leaves in the box");
        if (!r.counter) continue;
        if (before && *r.counter < *before->counter)
            log.mistake(key(i, "counter"),
                        fmt::format("is {}, but the older {} leaves {}: a counter never falls{}", *r.counter,
                                    before->release, *before->counter,
                                    r.stepping_stone && before->one_way_door
                                        ? ", and behind that door this stepping stone can never be installed"
                                        : ""),
                        "correct one of the two");
        if (before && *r.counter > *before->counter && !r.one_way_door)
            log.mistake(key(i, "one_way_door"),
                        fmt::format("{} raises the counter from {} to {}, so there is no way back from it", r.release,
                                    *before->counter, *r.counter),
                        "write one_way_door = true");
        before = &r;
    }
}

}  // namespace

void check_releases(const Family& f, Log& log) {
    std::vector<std::string> names;
    for (const KnownRelease& r : f.known) names.push_back(r.release);
    check_unique(log, "release", "release", names, "the release");
    check_unique_list(log, "family.version_order.list", f.order.list, "the release");
    check_unique_list(log, "family.version_order.fields", f.order.fields, "the field");
    if (f.order.rule == "debian" && !f.order.fields.empty())
        log.mistake("family.version_order.fields", "means nothing here: Debian versions have no fixed number of fields",
                    "take the key out");
    if (f.order.rule.empty()) return;
    const auto check_form = [&](const std::string& version, const std::string& at) {
        if (!version.empty() && !compare_versions(f.order, version, version))
            log.mistake(at,
                        f.order.rule == "list"
                            ? fmt::format("\"{}\" is not on family.version_order.list", printable(version))
                            : fmt::format("\"{}\" is no version by the rule \"{}\"", printable(version), f.order.rule),
                        "correct the version, or family.version_order");
    };
    for (std::size_t i = 0; i < f.known.size(); ++i) check_form(f.known[i].release, key(i, "release"));
    check_form(f.newest_release, "family.newest_known.release");
    for (std::size_t i = 0; i < f.known.size(); ++i)
        if (compare_versions(f.order, f.known[i].release, f.newest_release).value_or(0) > 0)
            log.mistake("family.newest_known.release",
                        fmt::format("is {}, but release {} is newer", f.newest_release, f.known[i].release),
                        "name the newest one, with the date at which that was known");
    check_counters(f, log);
}

void check_unique_list(Log& log, std::string_view list_key, const std::vector<std::string>& names,
                       std::string_view what) {
    for (std::size_t i = 0; i < names.size(); ++i)
        if (std::find(names.begin(), names.begin() + static_cast<std::ptrdiff_t>(i), names[i]) !=
            names.begin() + static_cast<std::ptrdiff_t>(i))
            log.mistake(fmt::format("{}[{}]", list_key, i + 1),
                        fmt::format("{} \"{}\" stands twice", what, printable(names[i])), "take one out");
}

void check_level(const Family& f, Log& log) {
    if (f.level.size() != 2) return;
    const int claimed = f.level[1] - '0';
    for (const Rung& r : level_of(f).rungs)
        if (claimed >= r.level && !r.there)
            log.mistake("family.level", fmt::format("claims {}, which needs {}", f.level, r.wants),
                        "add it, or claim a lower level");
}

}  // namespace fettle::family
