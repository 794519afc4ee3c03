// The set that a stand-in plays: its boxes as the request describes them.
#include <algorithm>

#include "fettle/base/bytes.h"
#include "fettle/base/text.h"
#include "fettle/link/uds.h"
#include "fettle/shelf/shelf.h"
#include "fettle/workshop/families.h"
#include "fettle/workshop/stand_in.h"

namespace fettle::workshop {
namespace {

Result<std::map<std::uint16_t, link::BoxAddress>> boxes_on_can(const family::Family& f,
                                                               const std::vector<std::string>& words) {
    std::map<std::uint16_t, link::BoxAddress> out;
    for (const auto& w : words) {
        const auto equals = w.find('=');
        const auto role = w.substr(0, equals);
        const auto box = std::find_if(f.link.begin(), f.link.end(), [&](const auto& l) { return l.role == role; });
        if (equals == std::string::npos || box == f.link.end())
            return usage_error("bad-can-box", printable(w),
                               "it does not begin with a box of the family that has a link record",
                               Next{"write ", with(wanted("can", "ROLE=can://127.0.0.1:PORT/0x7a1:0x7a9"))});
        auto address = link::parse_box_address(std::string_view(w).substr(equals + 1));
        if (!address) return pass(address);
        if (!address->can)
            return usage_error("bad-can-box", printable(w), "it is no address on CAN",
                               Next{"write ", with(wanted("can", "ROLE=can://127.0.0.1:PORT/0x7a1:0x7a9"))});
        if (!out.empty() && address->at != out.begin()->second.at)
            return usage_error("bad-can-box", printable(w), "its boxes stand on two buses",
                               "give all of them the same port");
        out[box->address] = *address;
    }
    return out;
}

Result<std::map<std::string, std::string>> plates_of(const family::Family& family,
                                                     std::map<std::string, std::string> plates) {
    for (const auto& [role, plate] : plates)
        if (!family.box(role))
            return usage_error(
                "bad-plate", printable(role), "is no box of the family " + family.id,
                Next{"write two words, the box and its plate, e.g. ", with(wanted("plate", "main 6104183C5"))});
    for (const auto& b : family.boxes)
        if (!plates.contains(b.role) && !b.plate.examples.empty()) plates[b.role] = b.plate.examples.front();
    return plates;
}

Result<std::string> market_of(const family::Family& family, const family::Release& release, const std::string& typed) {
    const auto known = family.view.values.find("market");
    const bool listed = known != family.view.values.end() && !known->second.empty();
    if (!typed.empty() && listed && !known->second.contains(typed)) {
        std::vector<std::string> names;
        for (const auto& [name, words] : known->second) names.push_back(name);
        return usage_error("bad-market", printable(typed), "is no market of the family " + family.id,
                           "name one of these: " + join(names, ", "));
    }
    if (!typed.empty()) return typed;
    if (!release.markets.empty()) return release.markets.front();
    return listed ? known->second.begin()->first : std::string();
}

// "main:B1A4F-13:28"
Status store_entry(const family::Family& family, const std::string& typed, standin::StartState& start) {
    const auto parts = split(typed, ':');
    const auto status = parts.size() == 3 ? unhex(parts[2]) : std::nullopt;
    if (!status || status->size() != 1 || !family.box(parts[0]) || !link::uds::code_number(parts[1]))
        return usage_error("bad-stored", printable(typed), "it is no box, code and status of a fault entry",
                           Next{"write e.g. ", with(given("stored", "main:B1A4F-13:28"))});
    start.stored[parts[0]].push_back({parts[1], (*status)[0]});
    return {};
}

}  // namespace

Result<Practice> practice_for(const Workshop& shop, const StandInRequest& r) {
    auto shelf = shelf::Shelf::open(shop.shelf_folder());
    if (!shelf) return pass(shelf);
    auto shelved = shelf->find(r.family, r.from);
    if (!shelved) return pass(shelved);
    auto family = load_family_by_id(shop, shelved->family);
    if (!family) return pass(family);
    const auto plates = plates_of(*family, r.plates);
    if (!plates) return pass(plates);
    const auto market = market_of(*family, shelved->release, r.market);
    if (!market) return pass(market);
    auto start = standin::start_at(*family, shelved->release, *plates, *market);
    if (!start) return pass(start);
    start->answers_asks = r.answer_asks;
    start->partners_missing = r.on_bench;
    start->must_be_woken = r.on_bench && !r.answer_asks;
    start->clears = r.clears;
    start->history = r.history;
    for (const std::string& typed : r.stored)
        if (auto ok = store_entry(*family, typed, *start); !ok) return pass(ok);
    auto on_can = boxes_on_can(*family, r.can);
    if (!on_can) return pass(on_can);
    auto set = standin::VirtualSet::make(std::make_shared<const family::Family>(std::move(*family)), std::move(*start),
                                         r.seed);
    if (!set) return pass(set);
    return Practice{std::move(*set), std::move(*on_can)};
}

}  // namespace fettle::workshop
