#include "fettle/show/link.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/show/faults.h"

namespace fettle::show {
namespace {

using link::BoxFaults;
using link::Fact;
using link::Known;
using workshop::Item;
using workshop::items;

json::object fact_json(const Fact& f) {
    json::object o{{"known", link::code(f.known)}};
    if (f.known == Known::read)
        o["value"] = f.value;
    else
        o["why"] = f.why;
    return o;
}

json::object beside_json(const link::Beside& b) {
    json::object o{{"known", link::code(b.known)}};
    if (b.known == Known::read)
        o["raw"] = hex(b.raw);
    else
        o["why"] = b.why;
    return o;
}

std::string shown(const Fact& f) {
    return f.known == Known::read ? printable(f.value) : fmt::format("not read: {}", printable(f.why));
}

std::string box_as_text(const link::BoxInventory& b) {
    std::string out = fmt::format("{} (0x{:04X})\n", b.role, b.address);
    for (const Item& item : items)
        if (!item.is_list) out += fmt::format("  {:<8} {}\n", item.name, shown(b.*item.fact));
    if (b.history_fact.known == Known::read)
        out += fmt::format("  history  {}\n", b.history.empty() ? "nothing yet" : join(b.history, ", "));
    else if (b.history_fact.known != Known::not_in_file)
        out += fmt::format("  history  {}\n", shown(b.history_fact));
    if (b.pieces_fact.known != Known::read) return out + fmt::format("  pieces   {}\n", shown(b.pieces_fact));
    out += fmt::format("  pieces   {}\n", b.pieces.size());
    for (const auto& p : b.pieces) out += fmt::format("    {:<20} {}\n", p.name, p.version);
    return out;
}

std::string beside_text(const char* what, const link::Beside& b, const std::string& words) {
    if (b.known != Known::read) return fmt::format("            {}: not read: {}\n", what, printable(b.why));
    if (b.records.empty()) return fmt::format("            {}: it keeps none\n", what);
    return fmt::format("            {} {}: {}\n", what, hex(b.records), printable(words));
}

std::string status_words(std::uint8_t status) {
    const auto names = prove::status_bits(status);
    return names.empty() ? "no bit set" : join(std::vector<std::string>(names.begin(), names.end()), ", ");
}

std::string memory_as_text(const BoxFaults& b, const family::Family& family) {
    if (b.known != Known::read)
        return fmt::format("{} (0x{:04X}): not read: {}\n", b.role, b.address, printable(b.why));
    std::string out = fmt::format("{} (0x{:04X}): {}\n", b.role, b.address, workshop::counted(b.faults.size()));
    const auto record =
        std::find_if(family.link.begin(), family.link.end(), [&](const auto& l) { return l.role == b.role; });
    for (const auto& f : b.faults) {
        out += fmt::format("  {}  {}\n            status 0x{:02X}: {}\n", f.code, prove::code_words(f.code), f.status,
                           status_words(f.status));
        for (const auto& note : family.faults)
            if (note.code == f.code)
                out += fmt::format("            {} (family file: explained by {})\n", printable(note.words),
                                   printable(note.explained_by));
        for (const link::Details& d : b.details) {
            if (d.code != f.code || record == family.link.end()) continue;
            out += beside_text("snapshot", d.snapshot, link::snapshot_words(d.snapshot.records, *record));
            out += beside_text("extended", d.extended, link::extended_words(d.extended.records));
        }
    }
    return out;
}

json::object memory_json(const BoxFaults& b) {
    json::object o{{"box", b.role}, {"address", fmt::format("0x{:04X}", b.address)}, {"known", link::code(b.known)}};
    if (!b.via.empty()) o["via"] = b.via;
    if (b.known != Known::read) {
        o["why"] = b.why;
        return o;
    }
    o["status_availability"] = b.availability;
    json::array entries, details;
    for (const auto& f : b.faults) {
        json::array names;
        for (const auto n : prove::status_bits(f.status)) names.emplace_back(n);
        entries.push_back({{"code", f.code},
                           {"code_words", prove::code_words(f.code)},
                           {"status", f.status},
                           {"bits", std::move(names)}});
    }
    o["entries"] = std::move(entries);
    o["raw"] = hex(b.raw);
    for (const link::Details& d : b.details)
        details.push_back(
            {{"code", d.code}, {"snapshot", beside_json(d.snapshot)}, {"extended", beside_json(d.extended)}});
    if (!b.details.empty()) o["details"] = std::move(details);
    return o;
}

const std::string broken_off = "Broken off by hand; what was not asked until then is not read. ";

std::string not_kept(const workshop::Stranger& s) {
    return s.certain ? fmt::format("Not kept: the {} that answers is not the one of this job.", s.box)
                     : fmt::format("Not kept: whether the {} that answers is the one of this job is not known.", s.box);
}

}  // namespace

std::string recording_line(const std::optional<workshop::Recording>& r) {
    if (!r) return {};
    return r->failed.empty() ? fmt::format("Recorded in {}.\n", printable(r->file))
                             : fmt::format("The recording {} is not whole: {}.\n", printable(r->file), r->failed);
}

json::object inventory_as_json(const link::Inventory& inventory) {
    json::array boxes;
    for (const auto& b : inventory.boxes) {
        json::object o{{"box", b.role}, {"address", fmt::format("0x{:04X}", b.address)}};
        if (!b.via.empty()) o["via"] = b.via;
        for (const Item& item : items) o[item.name] = fact_json(b.*item.fact);
        json::array pieces;
        for (const auto& p : b.pieces) pieces.push_back({{"name", p.name}, {"version", p.version}});
        o["installed"] = std::move(pieces);
        if (b.history_fact.known == Known::read) o["releases"] = texts_as_json(b.history);
        boxes.push_back(std::move(o));
    }
    return {{"boxes", std::move(boxes)}};
}

json::object memories_as_json(const std::vector<BoxFaults>& faults) {
    json::array boxes;
    for (const BoxFaults& b : faults) boxes.push_back(memory_json(b));
    return {{"boxes", std::move(boxes)}};
}

Answer boxes_found(const workshop::BoxesFound& found) {
    Answer a;
    json::array list;
    for (const link::Found& f : found.found) {
        const std::string address = "doip://" + text_of(f.at), entity = fmt::format("0x{:04X}", f.says.address);
        a.text +=
            fmt::format("  {}  entity {}, VIN {}, EID {}\n", address, entity, printable(f.says.vin), hex(f.says.eid));
        list.push_back(
            {{"address", address}, {"entity", entity}, {"vin", printable(f.says.vin)}, {"eid", hex(f.says.eid)}});
    }
    a.data = {{"asked", found.asked}, {"found", std::move(list)}};
    const std::size_t n = found.found.size();
    a.headline = n > 0 ? fmt::format("{} {}.", n == 1 ? std::string("One entity") : fmt::format("{} entities", n),
                                     found.listened_s ? "announced itself" : "answered")
                 : found.listened_s
                     ? fmt::format("Nobody announced itself at {} within {:g} s.", found.asked, *found.listened_s)
                     : fmt::format("Nobody at {} answered within 2 s.", found.asked);
    a.judgement = found.judgement;
    a.text += recording_line(found.recording);
    return a;
}

Answer boxes_read(const workshop::BoxesRead& read) {
    Answer a;
    a.data = inventory_as_json(read.inventory);
    a.data["family"] = read.family;
    a.judgement = read.judgement;
    if (read.stranger) {
        a.headline = not_kept(*read.stranger);
        return a;
    }
    std::size_t pieces = 0, gave = 0;
    for (const auto& b : read.inventory.boxes) {
        a.text += box_as_text(b);
        pieces += b.pieces.size();
        gave += b.pieces_fact.known == Known::read;
    }
    if (!read.list.empty()) a.text += fmt::format("The list stands in {}.\n", printable(read.list));
    a.headline = fmt::format("{}{} of {} boxes of family {} gave their pieces: {} in all.",
                             read.broken_off ? broken_off : "", gave, read.inventory.boxes.size(), read.family, pieces);
    a.text += recording_line(read.recording);
    return a;
}

Answer memory_read(const workshop::MemoryRead& read) {
    Answer a;
    a.data = memories_as_json(read.boxes);
    a.data["family"] = read.family.id;
    a.data["when"] = workshop::code(read.when);
    a.judgement = read.judgement;
    if (read.stranger) {
        a.headline = not_kept(*read.stranger);
        return a;
    }
    std::size_t entries = 0, gave = 0;
    for (const BoxFaults& b : read.boxes) {
        gave += b.known == Known::read;
        a.text += memory_as_text(b, read.family);
        entries += b.faults.size();
    }
    a.headline = gave == read.boxes.size()
                     ? fmt::format("Fault memory of {} read: {}.", gave == 1 ? "1 box" : fmt::format("{} boxes", gave),
                                   workshop::counted(entries))
                     : fmt::format("Fault memory of {} of {} boxes read; the rest is not read, which is not \"none\".",
                                   gave, read.boxes.size());
    if (read.broken_off) a.headline = broken_off + a.headline;
    a.text += recording_line(read.recording);
    if (read.faults) {
        a.text += faults_as_text(*read.faults);
        a.data["faults"] = faults_as_json(*read.faults);
    }
    return a;
}

Answer faults_cleared(const workshop::FaultsCleared& c, const std::string& allowed_by) {
    Answer a;
    a.judgement = c.judgement;
    a.data = {{"box", c.box},
              {"sent", c.sent},
              {"certain", c.result.certain},
              {"asked", c.sent ? texts_as_json(c.choice.codes) : json::array()},
              {"done", texts_as_json(c.result.done)},
              {"stay", texts_as_json(c.choice.others)}};
    if (!c.sent) {
        a.headline = fmt::format("Nothing was cleared: no entry of the {} is explained and not failing.", c.box);
        return a;
    }
    a.data["all"] = c.result.all;
    a.data["after"] = memories_as_json({c.again});
    a.data["faults"] = faults_as_json(c.faults);
    a.headline = !c.result.certain
                     ? fmt::format("The {} was asked to clear and did not answer: whether it did is not known.", c.box)
                 : c.result.answers.empty() ? fmt::format("Nothing was asked of the {}, so nothing was cleared: {}.",
                                                          c.box, printable(c.result.why))
                 : c.result.done.empty()
                     ? fmt::format("Nothing was cleared: the {} does not do it.", c.box)
                     : fmt::format("The {} has cleared {}{}; allowed by {}.", c.box, join(c.result.done, ", "),
                                   c.result.all ? " (it takes only \"all\")" : "", printable(allowed_by));
    a.text = faults_as_text(c.faults) + recording_line(c.recording);
    return a;
}

}  // namespace fettle::show
