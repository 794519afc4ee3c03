// Small families at random, for holding the map against other ways of asking the same question.
#pragma once

#include <rapidcheck.h>

#include <algorithm>
#include <string>
#include <vector>

#include "fettle/change/change.h"
#include "fettle/cutmap/cutmap.h"
#include "fettle/family/family.h"

namespace fettle::cutmap::random_families {

inline family::Act act(std::string id, family::ActKind kind, std::string box) {
    family::Act a;
    a.id = std::move(id);
    a.kind = kind;
    a.box = std::move(box);
    return a;
}

template <class... T>
std::string pick(T... words) {
    return *rc::gen::element(std::string(words)...);
}

// A small family with every freedom that the file format has: one or two boxes, one or two stores, scripts and boot
// rules at random, also senseless ones.
inline family::Family random_family() {
    family::Family f;
    f.id = "random";
    const int boxes = *rc::gen::inRange(1, 3);
    const int supplies = *rc::gen::inRange(1, 3);
    for (int b = 0; b < boxes; ++b) {
        const std::string role = b == 0 ? "main" : "display";
        family::Box box;
        box.role = role;
        f.boxes.push_back(box);
        if (boxes == 2 && supplies == 2) f.boxes.back().supply = role;
        if (supplies == 2) f.boxes.back().written_by = b == 0 ? "own medium" : pick("own medium", "main", "");
        f.flags.push_back({role, "update", {"none", "pending"}, "none"});
        f.flags.push_back({role, "active", {"a", "b"}, "a"});
        for (const char* name : {"start", "system"}) {
            family::Region r;
            r.box = role;
            r.name = name;
            r.rate_mib_s = 1;
            r.overhead_s = 5;
            r.stores = std::string(name) == "system" ? *rc::gen::inRange(1, 3) : 1;
            if (r.stores == 2) r.selected_by = "active";
            r.atomic = *rc::gen::inRange(0, 4) == 0;
            const int buffer = *rc::gen::inRange(0, 3);
            if (buffer == 0) r.buffered_s = 0;
            if (buffer == 1) r.buffered_s = 1e9;
            f.regions.push_back(r);
        }
        const int rules = *rc::gen::inRange(1, 4);
        for (int i = 0; i < rules; ++i) {
            family::BootRule rule;
            rule.box = role;
            rule.mode = i == 0 ? "normal" : pick("normal", "recovery");
            rule.needs =
                *rc::gen::element(std::vector<std::string>{"start"}, std::vector<std::string>{"start", "system"},
                                  std::vector<std::string>{"system"}, std::vector<std::string>{});
            rule.store = pick("active", "active", "spare");
            rule.consistency = pick("same release", "any");
            if (*rc::gen::inRange(0, 3) == 0) rule.when["update"] = pick("none", "pending");
            const bool known = boxes == 2 || *rc::gen::inRange(0, 4) != 0;  // many ways a rule: slow with two boxes
            rule.goes_on = known ? pick("by itself", "with the card", "not at all") : "unknown";
            rule.from = known ? pick("same cell", "same act", "start") : pick("unknown", "same act", "start");
            rule.whole_new_cells = known ? pick("kept", "rewritten") : pick("unknown", "kept", "rewritten");
            rule.net = *rc::gen::inRange(0, 3) == 0;
            f.boot.push_back(rule);
        }
        if (*rc::gen::arbitrary<bool>()) f.bench.push_back({role, "by the bench", {pick("start", "system")}});
    }
    const int acts = *rc::gen::inRange(1, supplies == 2 && boxes == 2 ? 5 : 7);  // each kind of cut at each: slow
    for (int i = 0; i < acts; ++i) {
        const std::string box = boxes == 1 ? "main" : pick("main", "display");
        auto a = act("act-" + std::to_string(i), family::ActKind::write, box);
        switch (*rc::gen::inRange(0, 6)) {
            case 0:
                a.kind = family::ActKind::set;
                a.flag = pick("update", "active");
                a.value = a.flag == "active" ? "other" : pick("none", "pending");
                break;
            case 1:
                a.kind = family::ActKind::restart;
                a.box = pick("main", "all");
                a.into = pick("", "normal", "recovery");
                break;
            case 2: a.kind = family::ActKind::ask; break;
            default:
                a.region = pick("start", "system");
                a.store = pick("active", "spare");
                a.forced = *rc::gen::inRange(0, 3) == 0;
                break;
        }
        if (a.kind == family::ActKind::write && f.region(a.box, a.region)->stores == 1) a.store = "";
        f.script.push_back(a);
    }
    f.script.push_back(act("end", family::ActKind::end, "main"));
    return f;
}

inline change::ChangeSheet random_sheet(const family::Family& f) {
    change::ChangeSheet s;
    s.to = "2";
    const bool apart = f.boxes.size() == 2 && f.boxes[0].supply != f.boxes[1].supply;
    int left =
        apart ? 2
              : 3;  // cells in all stores: the plain enumeration tries every combination of those at risk, for each cut
    for (const auto& r : f.regions) {
        const int n = std::min(left / r.stores, *rc::gen::inRange(0, 3));
        left -= n * r.stores;
        for (int i = 0; i < n; ++i) {
            change::Line l{r.box, r.name + std::to_string(i), r.name, "1", "2", change::Action::replace, "", 1000,
                           false};
            if (*rc::gen::inRange(0, 5) == 0) l.action = change::Action::keep;
            s.lines.push_back(l);
        }
    }
    return s;
}

inline std::string told(const Outcomes& o) {
    std::string out;
    for (const auto x : o) out += std::string(code(x)) + " ";
    return out;
}

}  // namespace fettle::cutmap::random_families
