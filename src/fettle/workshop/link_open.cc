#include "fettle/workshop/link_open.h"

#include <fmt/core.h>

#include <algorithm>
#include <chrono>
#include <optional>
#include <thread>

#include "fettle/base/text.h"
#include "fettle/family/label.h"
#include "fettle/workshop/families.h"
#include "fettle/workshop/link_options.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

using link::Connection;

struct Wanted {  // one --at, taken apart
    std::string typed, role;
    link::BoxAddress address;
    std::size_t transport = 0;
};
struct Transport {
    std::string via;
    Connection* connection = nullptr;
    std::optional<Error> trouble;
};

const family::LinkBox* record_at(const family::Family& f, std::uint16_t address) {
    const auto b = std::find_if(f.link.begin(), f.link.end(), [&](const auto& x) { return x.address == address; });
    return b == f.link.end() ? nullptr : &*b;
}
const family::LinkBox* record_of(const family::Family& f, std::string_view role) {
    const auto b = std::find_if(f.link.begin(), f.link.end(), [&](const auto& x) { return x.role == role; });
    return b == f.link.end() ? nullptr : &*b;
}

Result<Wanted> taken_apart(const std::string& typed) {
    Wanted out;
    out.typed = typed;
    std::string address = typed;
    const auto equals = typed.find('=');
    if (equals != std::string::npos && typed.find("://") > equals) {
        out.role = typed.substr(0, equals);
        address = typed.substr(equals + 1);
    }
    const auto parsed = link::parse_link_address(address);
    if (!parsed) return pass(parsed);
    out.address = *parsed;
    return out;
}

// Without a family only an address that was typed, or that of the entity itself, is asked: the addresses of a family
// that nobody named are nobody's here.
struct Probe {
    std::uint16_t address = 0;
    std::uint16_t did = 0;
    link::Reply reply;
};
constexpr std::uint16_t spare_part_number = 0xF187;  // ISO 14229-1 Annex C: vehicleManufacturerSparePartNumber

bool stands_at(const family::LinkBox& record, const Wanted& w, std::uint16_t address) {
    if (record.did_plate == 0 || (!w.role.empty() && record.role != w.role)) return false;
    return w.address.can || !w.role.empty() || record.address == address;
}

// The plate identifiers of the families that have a box at that address, each once.
std::vector<Probe> probed(const std::vector<family::Family>& all, const Wanted& w, Connection& c) {
    const std::uint16_t address = w.address.logical ? w.address.logical : c.entity();
    std::vector<Probe> out;
    const auto add = [&](std::uint16_t did) {
        if (std::none_of(out.begin(), out.end(), [&](const Probe& p) { return p.did == did; }))
            out.push_back({address, did, {}});
    };
    for (const auto& f : all)
        for (const auto& record : f.link)
            if (stands_at(record, w, address)) add(record.did_plate);
    if (out.empty()) add(spare_part_number);
    for (Probe& p : out) p.reply = c.read(address, p.did);
    return out;
}

bool is_plate_of(const family::Family& f, const Wanted& w, const Probe& p) {
    return p.reply.said == link::Said::value && std::any_of(f.link.begin(), f.link.end(), [&](const auto& record) {
               if (record.did_plate != p.did || !stands_at(record, w, p.address)) return false;
               const auto* rule = f.box(record.role);
               if (!rule) return false;
               const auto matcher = family::LabelMatcher::make(rule->plate);
               return matcher && matcher->accepts(trim(as_text(p.reply.data)));
           });
}

std::string told(const Probe& p) {
    if (p.reply.said == link::Said::value)
        return fmt::format("0x{:04X} gives \"{}\"", p.address, printable(trim(as_text(p.reply.data))));
    return fmt::format("0x{:04X} asked for its plate: {}", p.address, printable(p.reply.why));
}

Result<family::Family> family_for(const Workshop& shop, const std::string& named, const std::vector<Wanted>& wanted,
                                  const std::vector<Transport>& transports) {
    if (!named.empty()) {
        auto one = load_family_by_id(shop, named);
        if (one && one->link.empty())
            return bad_input("no-link-record", "family " + named, "it has no [[link]] record",
                             "go on by taps and typed text, or add what its diagnostic papers say to the family file");
        return one;
    }
    auto all = load_families(shop);
    if (!all) return pass(all);
    std::vector<std::string> said;
    for (const Wanted& w : wanted) {
        const Transport& t = transports[w.transport];
        if (!t.connection) {
            said.push_back(t.via + ": " + t.trouble->problem);
            continue;
        }
        for (const Probe& p : probed(*all, w, *t.connection)) {
            for (auto& f : *all)
                if (is_plate_of(f, w, p)) return std::move(f);
            said.push_back(told(p));
        }
    }
    return outside_error("box-not-known", printable(wanted.front().typed),
                         "no box there gives a plate of a family known here: " + join(said, "; "),
                         Next{"name the family with ", with(flag("family")), ", and check that ignition is on"});
}

// The ways to each box: what names it first, then every transport that names none.
Status set_ways(OpenLink& open, const std::vector<Wanted>& wanted, const std::vector<Transport>& transports) {
    const auto way = [&](const Wanted& w, family::LinkBox record) {
        if (w.address.logical != 0) record.address = w.address.logical;
        const Transport& t = transports[w.transport];
        return Way{t.connection, std::move(record), t.via, t.trouble ? t.trouble->problem : std::string()};
    };
    std::vector<AskedBox> boxes;
    for (const auto& record : open.family.link) boxes.push_back({record.role, {}});
    const auto named = [&](std::string_view role) {
        return std::find_if(boxes.begin(), boxes.end(), [&](const AskedBox& b) { return b.role == role; });
    };
    for (const Wanted& w : wanted) {
        if (w.role.empty() && w.address.logical == 0) continue;
        const auto* record =
            w.role.empty() ? record_at(open.family, w.address.logical) : record_of(open.family, w.role);
        if (!record && w.role.empty() && w.address.can && open.family.link.size() == 1)
            record = &open.family.link.front();  // one box: its number on the bus is nobody's concern
        if (!record)
            return usage_error("bad-address", printable(w.typed),
                               w.role.empty() ? fmt::format("family {} has no box at that address", open.family.id)
                                              : fmt::format("family {} has no box \"{}\" on the link", open.family.id,
                                                            printable(w.role)),
                               "say which box it is: BOX=ADDRESS, with a box of the family file's [[link]] records");
        named(record->role)->ways.push_back(way(w, *record));
    }
    for (AskedBox& b : boxes) {
        if (!b.ways.empty()) continue;
        for (const Wanted& w : wanted)
            if (w.role.empty() && w.address.logical == 0) b.ways.push_back(way(w, *record_of(open.family, b.role)));
    }
    std::erase_if(boxes, [](const AskedBox& b) { return b.ways.empty(); });
    open.boxes = std::move(boxes);
    return {};
}

}  // namespace

namespace {

// A box that restarts takes no connection for a while: once a second it is tried again, as long as it is to be waited
// for.
Result<Connection> open_patiently(const link::BoxAddress& at, const std::string& via, const link::Options& options,
                                  const LinkHow& how) {
    using Clock = std::chrono::steady_clock;
    const auto began = Clock::now();
    while (true) {
        auto connection = Connection::open_to(at, options, how.timing, how.cancel);
        const double waited_s = std::chrono::duration<double>(Clock::now() - began).count();
        const bool away = !connection && connection.error().code == "link-not-reachable";
        if (!away || waited_s >= how.wait_s) return connection;
        if (how.progress) how.progress(fmt::format("{} does not answer yet; waited {:.0f} s", via, waited_s));
        for (int i = 0; i < 20 && !how.cancel.cancelled(); ++i)
            std::this_thread::sleep_for(std::chrono::milliseconds(50));
    }
}

Status open_into(const Workshop& shop, OpenLink& out, std::vector<Wanted>& wanted, const std::string& family_id,
                 const LinkHow& how) {
    std::vector<Transport> transports;
    for (Wanted& w : wanted) {
        const std::string via = w.address.can ? text_of(w.address) : "doip://" + text_of(w.address.at);
        const auto there =
            std::find_if(transports.begin(), transports.end(), [&](const Transport& t) { return t.via == via; });
        w.transport = static_cast<std::size_t>(there - transports.begin());
        if (there != transports.end()) continue;
        Transport t{via, nullptr, std::nullopt};
        auto connection = open_patiently(w.address, via, out.options, how);
        if (connection) {
            out.connections.push_back(std::make_unique<Connection>(std::move(*connection)));
            t.connection = out.connections.back().get();
        } else {
            t.trouble = connection.error();
        }
        transports.push_back(std::move(t));
    }
    if (out.connections.empty()) return tl::unexpected<Error>(*transports.front().trouble);
    auto family = family_for(shop, family_id, wanted, transports);
    if (!family) return pass(family);
    out.family = std::move(*family);
    if (auto ok = set_ways(out, wanted, transports); !ok) return pass(ok);
    return {};
}

}  // namespace

Result<OpenLink> open_links(const Workshop& shop, const std::string& job, const std::vector<std::string>& at,
                            const std::string& family_id, const std::string& record, const LinkHow& how) {
    std::vector<Wanted> wanted;
    for (const auto& typed : at) {
        auto one = taken_apart(typed);
        if (!one) return pass(one);
        wanted.push_back(std::move(*one));
    }
    auto options = link_options(shop, job, record);
    if (!options) return pass(options);
    OpenLink out;
    out.options = *options;
    out.options.tester = how.tester;
    out.options.reconnects = how.reconnects;
    out.options.waits = how.progress;
    auto opened = open_into(shop, out, wanted, family_id, how);
    // What was said before it failed is on disk, and the job knows of it.
    if (!opened) (void)keep_recording(shop, job, out.options);
    if (!opened) return pass(opened);
    return out;
}

link::BoxInventory read_over(const AskedBox& box) {
    link::BoxInventory last;
    for (const Way& w : box.ways) {
        last = w.connection ? link::read_box(*w.connection, w.record) : link::not_asked(w.record, w.trouble);
        last.via = w.via;
        if (!last.silent()) break;
    }
    return last;
}

link::BoxFaults read_memory_over(const AskedBox& box, bool details) {
    link::BoxFaults last;
    for (const Way& w : box.ways) {
        if (w.connection) {
            last = link::read_memory(*w.connection, w.record);
        } else {
            last = {};
            last.role = w.record.role;
            last.address = w.record.address;
            last.why = w.trouble;
        }
        last.via = w.via;
        if (last.known == link::Known::no_answer) continue;
        if (details) link::read_details(*w.connection, last);
        break;
    }
    return last;
}

}  // namespace fettle::workshop
