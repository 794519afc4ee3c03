// What regions, flags, the step script and the boot order must keep, so that a map and a watcher can follow them.
#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/family/load_parts.h"

namespace fettle::family {
namespace {

std::string at(std::string_view section, std::size_t i, std::string_view member) {
    return fmt::format("{}[{}].{}", section, i + 1, member);
}

const Flag* flag_of(const Family& f, std::string_view box, std::string_view name) {
    for (const Flag& g : f.flags)
        if (g.box == box && g.name == name) return &g;
    return nullptr;
}

bool has(const std::vector<std::string>& list, std::string_view value) {
    return std::find(list.begin(), list.end(), value) != list.end();
}

bool toggles(const Flag& g) {
    return g.values.size() == 2 && has(g.values, "a") && has(g.values, "b");
}

bool known_box(const Family& f, const std::string& role, const std::string& key, Log& log) {
    if (role.empty()) return false;  // named already
    if (f.box(role)) return true;
    std::vector<std::string> roles;
    for (const Box& b : f.boxes) roles.push_back(b.role);
    const std::string near = nearest(role, roles);
    log.mistake(key, fmt::format("is \"{}\"; the boxes are {}", printable(role), roles_of(f)),
                near.empty() ? "name one of these boxes" : fmt::format("\"{}\" may be meant", near));
    return false;
}

std::vector<std::string> regions_of(const Family& f, std::string_view box) {
    std::vector<std::string> out;
    for (const Region& r : f.regions)
        if (r.box == box) out.push_back(r.name);
    return out;
}

const Region* known_region(const Family& f, const std::string& box, const std::string& name, const std::string& key,
                           Log& log) {
    if (name.empty()) return nullptr;
    if (const Region* r = f.region(box, name)) return r;
    const auto names = regions_of(f, box);
    const std::string near = nearest(name, names);
    log.mistake(key,
                fmt::format("is \"{}\"; the {} box has {}", printable(name), box,
                            names.empty() ? "no region" : "the regions " + join(names, ", ")),
                near.empty() ? "add a [[region]] of that name, or name one of these"
                             : fmt::format("\"{}\" may be meant", near));
    return nullptr;
}

const Flag* known_flag(const Family& f, const std::string& box, const std::string& name, const std::string& key,
                       Log& log) {
    if (name.empty()) return nullptr;
    if (const Flag* g = flag_of(f, box, name)) return g;
    log.mistake(key, fmt::format("names the flag \"{}\", which the {} box does not have", printable(name), box),
                "add a [[flag]] of that name for that box");
    return nullptr;
}

void check_write(const Family& f, const Act& a, std::size_t i, Log& log) {
    const Region* r = known_region(f, a.box, a.region, at("act", i, "region"), log);
    if (!r) return;
    if (r->stores == 2 && a.store.empty())
        log.mistake(at("act", i, "store"),
                    fmt::format("is missing: region \"{}\" of the {} box has two stores", r->name, r->box),
                    "write store = \"spare\" or store = \"active\"");
    if (r->stores == 1 && !a.store.empty())
        log.mistake(at("act", i, "store"),
                    fmt::format("means nothing here: region \"{}\" of the {} box has one store", r->name, r->box),
                    "take the key out, or give the region stores = 2");
}

void check_set(const Family& f, const Act& a, std::size_t i, Log& log) {
    const Flag* g = known_flag(f, a.box, a.flag, at("act", i, "flag"), log);
    if (!g || a.value.empty()) return;
    if (a.value == "other") {
        if (!toggles(*g))
            log.mistake(at("act", i, "value"),
                        fmt::format("\"other\" toggles between \"a\" and \"b\", but flag \"{}\" takes {}", g->name,
                                    join(g->values, ", ")),
                        "write the value itself");
    } else if (!has(g->values, a.value)) {
        log.mistake(at("act", i, "value"),
                    fmt::format("is \"{}\"; flag \"{}\" takes {}", printable(a.value), g->name, join(g->values, ", ")),
                    "take one of these values");
    }
}

void check_restart(const Family& f, const Act& a, std::size_t i, Log& log) {
    if (a.into.empty() || f.boot.empty()) return;
    for (const Box& b : f.boxes) {
        if (a.box != "all" && a.box != b.role) continue;
        std::vector<std::string> modes;
        for (const BootRule& r : f.boot)
            if (r.box == b.role && !has(modes, r.mode)) modes.push_back(r.mode);
        if (!modes.empty() && !has(modes, a.into))
            log.mistake(at("act", i, "into"),
                        fmt::format("is \"{}\"; the {} box has [[boot]] rules for {}", printable(a.into), b.role,
                                    join(modes, ", ")),
                        "name one of these modes, or add the boot rule");
    }
}

void check_ask(const Act& a, std::size_t i, Log& log) {
    if (a.answers.empty()) return;  // missing: named already
    const bool on =
        std::any_of(a.answers.begin(), a.answers.end(), [](const Answer& w) { return w.leads_to == "goes on"; });
    if (!on)
        log.mistake(at("act", i, "answers"), fmt::format("no answer to \"{}\" lets the run go on", printable(a.id)),
                    "add the answer that leads to \"goes on\"");
    std::vector<std::string> hows;
    for (const Answer& w : a.answers) {
        if (has(hows, w.how) && !w.how.empty())
            log.mistake(at("act", i, "answers"), fmt::format("has two answers for \"{}\"", w.how), "take one out");
        hows.push_back(w.how);
    }
}

}  // namespace

void check_writes(const Family& f, Log& log) {
    std::vector<std::string> names, flags;
    for (const Region& r : f.regions) names.push_back(r.name.empty() ? "" : r.box + "/" + r.name);
    for (const Flag& g : f.flags) flags.push_back(g.name.empty() ? "" : g.box + "/" + g.name);
    check_unique(log, "region", "name", names, "the region");
    check_unique(log, "flag", "name", flags, "the flag");
    for (std::size_t i = 0; i < f.flags.size(); ++i) {
        const Flag& g = f.flags[i];
        known_box(f, g.box, at("flag", i, "box"), log);
        check_unique_list(log, at("flag", i, "values"), g.values, "the value");
        if (has(g.values, "other"))
            log.mistake(at("flag", i, "values"), "\"other\" is the word for toggling between \"a\" and \"b\"",
                        "take another word for this value");
        if (!g.start.empty() && !has(g.values, g.start))
            log.mistake(
                at("flag", i, "start"),
                fmt::format("is \"{}\", which is not one of its values ({})", printable(g.start), join(g.values, ", ")),
                "name the value that the flag has at rest");
    }
    for (std::size_t i = 0; i < f.regions.size(); ++i) {
        const Region& r = f.regions[i];
        if (!known_box(f, r.box, at("region", i, "box"), log)) continue;
        if (r.stores == 1 && !r.selected_by.empty())
            log.mistake(at("region", i, "selected_by"), "means nothing here: the region has one store",
                        "take the key out, or write stores = 2");
        if (r.stores != 2) continue;
        if (r.selected_by.empty()) {
            log.mistake(at("region", i, "selected_by"), "is missing: something must say which store is active",
                        "name the [[flag]] of this box whose value is \"a\" or \"b\"");
        } else if (const Flag* g = known_flag(f, r.box, r.selected_by, at("region", i, "selected_by"), log);
                   g && !toggles(*g)) {
            log.mistake(at("region", i, "selected_by"),
                        fmt::format("flag \"{}\" takes {}; a flag that selects a store takes \"a\" and \"b\"", g->name,
                                    join(g->values, ", ")),
                        "name a flag with the values \"a\" and \"b\"");
        }
    }
}

void check_script(const Family& f, Log& log) {
    std::vector<std::string> ids;
    for (const Act& a : f.script) ids.push_back(a.id);
    check_unique(log, "act", "id", ids, "the act");
    std::size_t ends = 0;
    for (std::size_t i = 0; i < f.script.size(); ++i) {
        const Act& a = f.script[i];
        if (a.kind == ActKind::end && ++ends == 2)
            log.mistake(at("act", i, "kind"), "a second \"end\"", "a run ends once: take one out");
        if (a.box == "all") {
            if (a.kind != ActKind::restart)
                log.mistake(at("act", i, "box"), "\"all\" is only for a restart of every box", "name the box");
        } else if (!known_box(f, a.box, at("act", i, "box"), log)) {
            continue;
        }
        switch (a.kind) {
            case ActKind::write: check_write(f, a, i, log); break;
            case ActKind::set: check_set(f, a, i, log); break;
            case ActKind::restart: check_restart(f, a, i, log); break;
            case ActKind::ask: check_ask(a, i, log); break;
            default: break;
        }
    }
    if (f.script.empty()) return;
    if (ends == 0)
        log.mistake("act", "the script has no end", "add a last [[act]] with kind = \"end\"");
    else if (ends == 1 && f.script.back().kind != ActKind::end)
        log.mistake(at("act", f.script.size() - 1, "kind"), "stands after the end of the script",
                    "put the act with kind = \"end\" last");
}

void check_boot(const Family& f, Log& log) {
    for (std::size_t i = 0; i < f.boot.size(); ++i) {
        const BootRule& b = f.boot[i];
        if (!known_box(f, b.box, at("boot", i, "box"), log)) continue;
        for (std::size_t k = 0; k < b.needs.size(); ++k)
            known_region(f, b.box, b.needs[k], fmt::format("{}[{}]", at("boot", i, "needs"), k + 1), log);
        for (const auto& [name, value] : b.when) {
            const std::string key = at("boot", i, "when") + "." + name;
            const Flag* g = known_flag(f, b.box, name, key, log);
            if (g && !has(g->values, value))
                log.mistake(
                    key, fmt::format("is \"{}\"; flag \"{}\" takes {}", printable(value), name, join(g->values, ", ")),
                    "take one of these values");
        }
    }
    for (std::size_t i = 0; i < f.bench.size(); ++i) {
        const BenchRepair& b = f.bench[i];
        if (!known_box(f, b.box, at("bench_repair", i, "box"), log)) continue;
        for (std::size_t k = 0; k < b.needs.size(); ++k)
            known_region(f, b.box, b.needs[k], fmt::format("{}[{}]", at("bench_repair", i, "needs"), k + 1), log);
    }
}

}  // namespace fettle::family
