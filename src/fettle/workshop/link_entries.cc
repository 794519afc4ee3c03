#include "fettle/workshop/link_entries.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/json.h"

namespace fettle::workshop {

using link::BoxFaults;
using link::BoxInventory;
using link::Inventory;
using link::Known;

// What each box said of itself, box by box; an item that was not read is not there.
NewEntry inventory_entry(const Inventory& inventory, Moment when) {
    boost::json::array boxes;
    for (const auto& b : inventory.boxes) {
        if (b.silent()) continue;
        boost::json::object o{{"box", b.role}, {"address", fmt::format("0x{:04X}", b.address)}, {"via", b.via}};
        for (const auto& [name, fact] :
             {std::pair{"plate", &b.plate}, {"serial", &b.serial}, {"release", &b.release}, {"market", &b.market}})
            if (fact->known == Known::read) o[name] = fact->value;
        if (b.history_fact.known == Known::read) {
            boost::json::array releases;
            for (const auto& r : b.history) releases.push_back(boost::json::string(r));
            o["history"] = std::move(releases);
        }
        if (b.pieces_fact.known == Known::read) {
            boost::json::array pieces;
            for (const auto& p : b.pieces)
                pieces.push_back({{"box", b.role}, {"name", p.name}, {"version", p.version}});
            o["installed"] = std::move(pieces);
        }
        boxes.push_back(std::move(o));
    }
    return {"inventory", {{"when", code(when)}, {"boxes", std::move(boxes)}}};
}

// "read" only when the list of every box that can give one was read, now or by a reading before this one since the run:
// a list with a hole in it is no as-left list.
NewEntry as_left_entry(const Inventory& inventory, const family::Family& family,
                       const std::map<std::string, book::BoxSaid>& earlier) {
    boost::json::array installed;
    bool whole = true, any = false;
    std::string release;
    for (const auto& record : family.link) {
        const BoxInventory* now = inventory.box(record.role);
        const auto before = earlier.find(record.role);
        std::string shown;
        if (now && now->release.known == Known::read)
            shown = now->release.value;
        else if (before != earlier.end())
            shown = before->second.release;
        if (release.empty()) release = shown;
        if (record.did_pieces == 0) continue;
        any = true;
        if (now && now->pieces_fact.known == Known::read) {
            for (const auto& p : now->pieces)
                installed.push_back({{"box", record.role}, {"name", p.name}, {"version", p.version}});
        } else if (before != earlier.end() && before->second.pieces) {
            for (const auto& p : *before->second.pieces)
                installed.push_back({{"box", p.box}, {"name", p.name}, {"version", p.version}});
        } else {
            whole = false;
        }
    }
    whole = whole && any;
    boost::json::object data{{"origin", whole ? "read" : "not read"}};
    if (!release.empty()) data["release"] = release;
    if (whole) data["installed"] = std::move(installed);
    return {"as-left", std::move(data)};
}

// Every box that the family has on the link stands in it: one that was not asked is not read.
NewEntry faults_entry(const std::vector<BoxFaults>& faults, const family::Family& family, Moment when, Place place) {
    boost::json::array entries, boxes;
    std::size_t read = 0;
    for (const auto& record : family.link) {
        const auto b =
            std::find_if(faults.begin(), faults.end(), [&](const BoxFaults& x) { return x.role == record.role; });
        if (b == faults.end()) {
            boxes.push_back({{"box", record.role}, {"known", "not-asked"}, {"why", "it was not asked"}});
            continue;
        }
        boost::json::object o{{"box", b->role},
                              {"address", fmt::format("0x{:04X}", b->address)},
                              {"via", b->via},
                              {"known", link::code(b->known)}};
        if (b->known == Known::read) {
            ++read;
            o["availability"] = b->availability;
            o["raw"] = hex(b->raw);
            boost::json::array details;
            for (const link::Details& d : b->details) {
                boost::json::object x{{"code", d.code}};
                if (d.snapshot.known == Known::read) x["snapshot"] = hex(d.snapshot.raw);
                if (d.extended.known == Known::read) x["extended"] = hex(d.extended.raw);
                details.push_back(std::move(x));
            }
            if (!details.empty()) o["details"] = std::move(details);
        } else {
            o["why"] = b->why;
        }
        boxes.push_back(std::move(o));
        for (const auto& f : b->faults)
            entries.push_back({{"box", b->role}, {"code", f.code}, {"status", fmt::format("0x{:02X}", f.status)}});
    }
    const char* origin = read == 0 ? "not read" : read == boxes.size() ? "read" : "read in part";
    return {"faults",
            {{"when", code(when)},
             {"place", code(place)},
             {"origin", origin},
             {"entries", std::move(entries)},
             {"boxes", std::move(boxes)}}};
}

}  // namespace fettle::workshop
