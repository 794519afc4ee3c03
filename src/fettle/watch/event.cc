#include "fettle/watch/event.h"

#include <algorithm>

namespace fettle::watch {
namespace {

struct Named {
    const char* name;
    Event::Kind kind;
};
constexpr Named kNamed[] = {{"dark", Event::Kind::dark},
                            {"back", Event::Kind::back},
                            {"restarted", Event::Kind::restarted},
                            {"asks", Event::Kind::asks},
                            {"answered", Event::Kind::answered},
                            {"skipped", Event::Kind::skipped},
                            {"ended", Event::Kind::ended},
                            {"still", Event::Kind::still},
                            {"fed", Event::Kind::fed},
                            {"link-answers", Event::Kind::link_answers},
                            {"link-silent", Event::Kind::link_silent}};

}  // namespace

Event event_of(const std::vector<family::Act>& script, std::string_view name) {
    Event out;
    for (std::size_t i = 0; i < script.size(); ++i) {
        if (script[i].id == name) out = {Event::Kind::act, i};
    }
    for (const Named& n : kNamed) {
        if (n.name == name) out.kind = n.kind;
    }
    return out;
}

bool is_event(const family::Family& family, std::string_view name) {
    return event_of(family.script, name).kind != Event::Kind::unknown;
}

std::vector<std::string> events(const family::Family& family) {
    std::vector<std::string> out;
    for (const Named& n : kNamed) out.emplace_back(n.name);
    for (const family::Act& a : family.script) {
        if (std::find(out.begin(), out.end(), a.id) == out.end()) out.push_back(a.id);
    }
    return out;
}

}  // namespace fettle::watch
