#include "cmd_link.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/files.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/family/label.h"
#include "fettle/link/client.h"
#include "link_options.h"
#include "read_list.h"

namespace fettle::app {
namespace {

using link::BoxFaults;
using link::BoxInventory;
using link::Connection;
using link::Fact;
using link::Inventory;
using link::Known;

struct Item {
    const char* name;
    const Fact BoxInventory::* fact;
};
constexpr Item items[] = {{"plate", &BoxInventory::plate},
                          {"serial", &BoxInventory::serial},
                          {"release", &BoxInventory::release},
                          {"market", &BoxInventory::market},
                          {"pieces", &BoxInventory::pieces_fact}};

const family::LinkBox* box_at(const family::Family& f, std::uint16_t address) {
    const auto b = std::find_if(f.link.begin(), f.link.end(), [&](const auto& x) { return x.address == address; });
    return b == f.link.end() ? nullptr : &*b;
}

// Does the box behind this family's first address give a plate of this family?
bool plate_agrees(Connection& c, const family::Family& f, std::uint16_t only) {
    for (const auto& record : f.link) {
        if (record.did_plate == 0 || (only != 0 && record.address != only)) continue;
        const auto* rule = f.box(record.role);
        const auto reply = c.read(record.address, record.did_plate);
        if (!rule || reply.said != link::Said::value) return false;
        const auto matcher = family::LabelMatcher::make(rule->plate);
        return matcher && matcher->accepts(trim(as_text(reply.data)));
    }
    return false;
}

struct Open {
    link::Options options;
    Connection connection;
    family::Family family;
    std::string only_role;
};

Result<Open> open_link(Context& context, const std::string& at, const std::string& family_id,
                       const std::string& record) {
    const auto address = link::parse_link_address(at);
    if (!address) return pass(address);
    std::vector<family::Family> candidates;
    if (!family_id.empty()) {
        auto one = load_family_by_id(context, family_id);
        if (!one) return pass(one);
        if (one->link.empty())
            return bad_input("no-link-record", "family " + family_id, "it has no [[link]] record",
                             "go on by taps and typed text, or add what its diagnostic papers say to the family file");
        candidates.push_back(std::move(*one));
    } else {
        auto all = load_families(context);
        if (!all) return pass(all);
        for (auto& f : *all)
            if (!f.link.empty()) candidates.push_back(std::move(f));
    }
    auto options = link_options(context, record);
    if (!options) return pass(options);
    auto connection = Connection::open_to(*address, *options);
    if (!connection) return pass(connection);
    for (auto& f : candidates) {
        const auto* box = address->logical == 0 ? nullptr : box_at(f, address->logical);
        if (address->logical != 0 && !box) continue;
        if (family_id.empty() && !plate_agrees(*connection, f, address->logical)) continue;
        return Open{std::move(*options), std::move(*connection), std::move(f), box ? box->role : std::string()};
    }
    if (!family_id.empty())
        return usage_error("bad-address", printable(at), fmt::format("family {} has no box at that address", family_id),
                           "leave the box's address out, or take one of the family file's [[link]] records");
    return outside_error("box-not-known", printable(at), "no box there gives a plate of a family known here",
                         "name the family with --family, and check that ignition is on");
}

Result<std::string> checked_when(const std::string& when) {
    if (when == "before" || when == "after") return when;
    return usage_error("bad-when", printable(when), "it is neither before nor after",
                       "write --when before or --when after");
}

Verdict verdict_of(Known k) {
    return k == Known::read ? Verdict::fit : Verdict::cant_say;
}
std::string reason_code(Known k) {
    switch (k) {
        case Known::read: return "read-over-link";
        case Known::refused: return "not-read-refused";
        case Known::no_answer: return "not-read-no-answer";
        case Known::unreadable: return "not-read-unreadable";
        case Known::not_in_file: return "not-read-not-in-file";
    }
    return {};
}

boost::json::object fact_json(const Fact& f) {
    boost::json::object o{{"known", link::code(f.known)}};
    if (f.known == Known::read)
        o["value"] = f.value;
    else
        o["why"] = f.why;
    return o;
}

std::string shown(const Fact& f) {
    return f.known == Known::read ? printable(f.value) : fmt::format("not read: {}", printable(f.why));
}

std::string status_words(std::uint8_t status) {
    const auto names = link::uds::status_names(status);
    return names.empty() ? "no bit set" : join(std::vector<std::string>(names.begin(), names.end()), ", ");
}

}  // namespace

Judgement judge(const Inventory& inventory) {
    Judgement out;
    for (const auto& b : inventory.boxes)
        for (const auto& item : items) {
            const Fact& f = b.*item.fact;
            if (f.known == Known::read || (f.known == Known::not_in_file && std::string_view(item.name) != "pieces"))
                continue;
            out.add({reason_code(f.known), verdict_of(f.known),
                     fmt::format("{} of the {}: {}", item.name, b.role, printable(f.why)), b.role + "." + item.name,
                     "read over the link"});
        }
    if (out.reasons.empty())
        out.add({"read-over-link", Verdict::fit, "every item that the family file names was read", "",
                 "read over the link"});
    return out;
}

std::string counted(std::size_t entries) {
    return entries == 0 ? "no entry" : entries == 1 ? "1 entry" : fmt::format("{} entries", entries);
}

Judgement judge(const std::vector<BoxFaults>& faults) {
    Judgement out;
    for (const auto& b : faults) {
        const std::string text = b.known == Known::read
                                     ? fmt::format("fault memory of the {} read, {}", b.role, counted(b.faults.size()))
                                     : fmt::format("fault memory of the {} not read: {}", b.role, printable(b.why));
        out.add({reason_code(b.known), verdict_of(b.known), text, b.role, "read over the link"});
    }
    return out;
}

boost::json::object inventory_as_json(const Inventory& inventory) {
    boost::json::array boxes;
    for (const auto& b : inventory.boxes) {
        boost::json::object o{{"box", b.role}, {"address", fmt::format("0x{:04X}", b.address)}};
        for (const auto& item : items) o[item.name] = fact_json(b.*item.fact);
        boost::json::array pieces;
        for (const auto& p : b.pieces) pieces.push_back({{"name", p.name}, {"version", p.version}});
        o["installed"] = std::move(pieces);
        boxes.push_back(std::move(o));
    }
    return {{"boxes", std::move(boxes)}};
}

boost::json::object faults_as_json(const std::vector<BoxFaults>& faults) {
    boost::json::array boxes;
    for (const auto& b : faults) {
        boost::json::object o{
            {"box", b.role}, {"address", fmt::format("0x{:04X}", b.address)}, {"known", link::code(b.known)}};
        if (b.known == Known::read) {
            o["status_availability"] = b.availability;
            boost::json::array entries;
            for (const auto& f : b.faults) {
                boost::json::array names;
                for (const auto n : link::uds::status_names(f.status)) names.emplace_back(n);
                entries.push_back({{"code", f.code}, {"status", f.status}, {"bits", std::move(names)}});
            }
            o["entries"] = std::move(entries);
            o["raw"] = hex(b.raw);
        } else {
            o["why"] = b.why;
        }
        boxes.push_back(std::move(o));
    }
    return {{"boxes", std::move(boxes)}};
}

// "read" only when every box's list of pieces was; a list with a hole in it is no as-left list.
NewEntry as_left_entry(const Inventory& inventory) {
    boost::json::array installed;
    bool whole = !inventory.boxes.empty();
    std::string release;
    for (const auto& b : inventory.boxes) {
        whole = whole && b.pieces_fact.known == Known::read;
        if (release.empty() && b.release.known == Known::read) release = b.release.value;
        for (const auto& p : b.pieces) installed.push_back({{"box", b.role}, {"name", p.name}, {"version", p.version}});
    }
    boost::json::object data{{"origin", whole ? "read" : "not read"}};
    if (!release.empty()) data["release"] = release;
    if (whole) data["installed"] = std::move(installed);
    data["read"] = inventory_as_json(inventory);
    return {"as-left", std::move(data)};
}

NewEntry faults_entry(const std::vector<BoxFaults>& faults, const std::string& when) {
    boost::json::array entries;
    bool whole = !faults.empty();
    for (const auto& b : faults) {
        whole = whole && b.known == Known::read;
        for (const auto& f : b.faults)
            entries.push_back({{"box", b.role}, {"code", f.code}, {"status", fmt::format("0x{:02X}", f.status)}});
    }
    boost::json::object data{{"when", when}, {"origin", whole ? "read" : "not read"}};
    if (whole) data["entries"] = std::move(entries);
    data["read"] = faults_as_json(faults);
    return {"faults", std::move(data)};
}

// --- commands ------------------------------------------------------------------------------------------------------

Result<Answer> link_find(Context& context, const LinkFindOptions& options) {
    const auto at = link::parse_endpoint(options.at);
    if (!at) return pass(at);
    const auto link = link_options(context, options.record);
    if (!link) return pass(link);
    if (!(options.listen_s >= 0 && options.listen_s <= 3600))
        return usage_error("bad-stay", fmt::format("{}", options.listen_s), "it is not between 0 and an hour",
                           "write e.g. --listen 30");
    const auto found =
        options.listen_s > 0
            ? link::hear_announcements(*at, static_cast<std::int64_t>(options.listen_s * 1000), {}, link->record.get())
            : link::find(*at, {}, {}, link->record.get());
    if (!found) return pass(found);
    Answer a;
    boost::json::array list;
    for (const auto& f : *found) {
        const link::BoxAddress address{f.at, f.says.address};
        a.text += fmt::format("  {}  VIN {}, EID {}\n", text_of(address), printable(f.says.vin), hex(f.says.eid));
        list.push_back({{"address", text_of(address)}, {"vin", printable(f.says.vin)}, {"eid", hex(f.says.eid)}});
    }
    a.data = {{"asked", text_of(*at)}, {"found", std::move(list)}};
    if (found->empty()) {
        a.headline = options.listen_s > 0
                         ? fmt::format("Nobody announced itself at {} within {:g} s.", text_of(*at), options.listen_s)
                         : fmt::format("Nobody at {} answered within 2 s.", text_of(*at));
        a.judgement.add({"nobody-answered", Verdict::cant_say,
                         "no answer does not mean that nothing is there: ignition, cable and address come first",
                         text_of(*at), "read over the link"});
    } else {
        a.headline = fmt::format(
            "{} {}.", found->size() == 1 ? std::string("One entity") : fmt::format("{} entities", found->size()),
            options.listen_s > 0 ? "announced itself" : "answered");
        a.judgement.add(
            {"entity-answered", Verdict::fit, "a diagnostic entity answered", text_of(*at), "read over the link"});
    }
    a.text += recording_line(*link);
    return a;
}

Result<Answer> link_read(Context& context, const LinkReadOptions& options) {
    if (const auto ok = checked_when(options.when); !ok) return pass(ok);
    auto open = open_link(context, options.at, options.family, options.record);
    if (!open) return pass(open);
    const Inventory all = link::read_inventory(open->connection, open->family, open->only_role);
    Answer a;
    std::string list;
    std::size_t pieces = 0, read_boxes = 0;
    for (const auto& b : all.boxes) {
        a.text += fmt::format("{} (0x{:04X})\n", b.role, b.address);
        for (const auto& item : items)
            if (const Fact& f = b.*item.fact; std::string_view(item.name) != "pieces")
                a.text += fmt::format("  {:<8} {}\n", item.name, shown(f));
        if (b.pieces_fact.known == Known::read) {
            a.text += fmt::format("  pieces   {}\n", b.pieces.size());
            for (const auto& p : b.pieces) a.text += fmt::format("    {:<20} {}\n", p.name, p.version);
            ++read_boxes;
        } else {
            a.text += fmt::format("  pieces   {}\n", shown(b.pieces_fact));
        }
        for (const auto& p : b.pieces) list += fmt::format("{} {} {}\n", b.role, p.name, p.version);
        pieces += b.pieces.size();
    }
    if (!options.save.empty()) {
        if (read_boxes != all.boxes.size())
            return outside_error("list-not-whole", printable(options.save),
                                 "not every box gave its pieces, so the list was not written",
                                 "read again, or type the list from the box's own view");
        if (auto ok = write_file_durably(options.save, as_read_list(list)); !ok) return pass(ok);
        a.text += fmt::format("The list stands in {}.\n", printable(options.save));
    }
    a.headline = fmt::format("{} of {} boxes of family {} gave their pieces: {} in all.", read_boxes, all.boxes.size(),
                             open->family.id, pieces);
    a.judgement = judge(all);
    a.data = inventory_as_json(all);
    a.data["family"] = open->family.id;
    if (options.when == "after") a.entries.push_back(as_left_entry(all));
    a.text += recording_line(open->options);
    return a;
}

Result<Answer> link_faults(Context& context, const LinkFaultsOptions& options) {
    if (const auto ok = checked_when(options.when); !ok) return pass(ok);
    auto open = open_link(context, options.at, options.family, options.record);
    if (!open) return pass(open);
    const auto all = link::read_faults(open->connection, open->family, open->only_role);
    Answer a;
    std::size_t entries = 0, read_boxes = 0;
    for (const auto& b : all) {
        if (b.known == Known::read) {
            ++read_boxes;
            a.text += fmt::format("{} (0x{:04X}): {}\n", b.role, b.address, counted(b.faults.size()));
        } else {
            a.text += fmt::format("{} (0x{:04X}): not read: {}\n", b.role, b.address, printable(b.why));
        }
        for (const auto& f : b.faults) {
            a.text += fmt::format("  {}  status 0x{:02X}: {}\n", f.code, f.status, status_words(f.status));
            for (const auto& note : open->family.faults)
                if (note.code == f.code)
                    a.text += fmt::format("            {} (family file: explained by {})\n", printable(note.words),
                                          printable(note.explained_by));
        }
        entries += b.faults.size();
    }
    a.headline = read_boxes == all.size()
                     ? fmt::format("Fault memory of {} read: {}.",
                                   read_boxes == 1 ? "1 box" : fmt::format("{} boxes", read_boxes), counted(entries))
                     : fmt::format("Fault memory of {} of {} boxes read; the rest is not read, which is not \"none\".",
                                   read_boxes, all.size());
    a.judgement = judge(all);
    a.data = faults_as_json(all);
    a.data["family"] = open->family.id;
    a.data["when"] = options.when;
    a.entries.push_back(faults_entry(all, options.when));
    a.text += recording_line(open->options);
    return a;
}

}  // namespace fettle::app
