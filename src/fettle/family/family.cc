#include "fettle/family/family.h"

#include <algorithm>

namespace fettle::family {
namespace {

template <class List, class Same>
auto find(const List& list, Same same) -> decltype(&list.front()) {
    const auto at = std::find_if(list.begin(), list.end(), same);
    return at == list.end() ? nullptr : &*at;
}

}  // namespace

std::string_view words(ActKind k) {
    switch (k) {
        case ActKind::read: return "read";
        case ActKind::compare: return "compare";
        case ActKind::write: return "write";
        case ActKind::set: return "set";
        case ActKind::restart: return "restart";
        case ActKind::ask: return "ask";
        case ActKind::wait: return "wait";
        case ActKind::end: return "end";
    }
    return "wait";
}

const Box* Family::box(std::string_view role) const {
    return find(boxes, [&](const Box& b) { return b.role == role; });
}

const Region* Family::region(std::string_view of, std::string_view name) const {
    return find(regions, [&](const Region& r) { return r.box == of && r.name == name; });
}

const Act* Family::act(std::string_view act_id) const {
    return find(script, [&](const Act& a) { return a.id == act_id; });
}

const KnownRelease* Family::known_release(std::string_view release) const {
    return find(known, [&](const KnownRelease& r) { return r.release == release; });
}

}  // namespace fettle::family
