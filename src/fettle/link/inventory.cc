#include "fettle/link/inventory.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <set>

#include "fettle/base/text.h"

namespace fettle::link {

std::string_view words(Known k) {
    switch (k) {
        case Known::read: return "read";
        case Known::refused: return "the box says no";
        case Known::no_answer: return "no answer";
        case Known::unreadable: return "not readable";
        case Known::not_in_file: return "no identifier in the family file";
    }
    return "";
}
std::string_view code(Known k) {
    switch (k) {
        case Known::read: return "read";
        case Known::refused: return "refused";
        case Known::no_answer: return "no-answer";
        case Known::unreadable: return "unreadable";
        case Known::not_in_file: return "not-in-file";
    }
    return "";
}

namespace {

constexpr std::uint8_t failed_bits = 0xAF;  // all but the two "not completed" ones

Known known_of(Said s) {
    switch (s) {
        case Said::value: return Known::read;
        case Said::refused: return Known::refused;
        case Said::no_answer: return Known::no_answer;
        case Said::nonsense: return Known::unreadable;
    }
    return Known::unreadable;
}

// A record as text: padding at its end goes, anything that is not printable ASCII makes it unreadable.
Fact text_fact(const Reply& r) {
    if (r.said != Said::value) return {known_of(r.said), {}, r.why};
    std::string text = as_text(r.data);
    while (!text.empty() && (text.back() == '\0' || text.back() == ' ')) text.pop_back();
    if (text.empty()) return {Known::unreadable, {}, "the record is empty"};
    const bool ascii = std::all_of(text.begin(), text.end(), [](unsigned char c) { return c >= 0x20 && c < 0x7F; });
    if (!ascii)
        return {Known::unreadable,
                {},
                fmt::format("the record {} is no text",
                            hex(ByteView(r.data).first(std::min<std::size_t>(r.data.size(), 32))))};
    return {Known::read, std::move(text), {}};
}

Fact read_text(Connection& c, std::uint16_t box, std::uint16_t did) {
    if (did == 0) return {Known::not_in_file, {}, "the family file gives no identifier for it"};
    return text_fact(c.read(box, did));
}

void read_pieces(Connection& c, const family::LinkBox& record, BoxInventory& out) {
    Fact& fact = out.pieces_fact;
    if (record.did_pieces == 0) {
        fact = {Known::not_in_file, {}, "the family file gives no identifier for it"};
        return;
    }
    if (record.pieces_layout != "lines") {
        fact = {Known::unreadable,
                {},
                fmt::format("record layout '{}' is not built in; \"lines\" is", record.pieces_layout)};
        return;
    }
    const Reply r = c.read(record.address, record.did_pieces);
    fact = {known_of(r.said), {}, r.why};
    if (r.said != Said::value) return;
    auto pieces = parse_lines_record(r.data);
    if (!pieces) {
        fact = {Known::unreadable, {}, pieces.error().place.words() + ": " + pieces.error().problem};
        return;
    }
    fact.value = as_text(r.data);
    out.pieces = std::move(*pieces);
}

void read_history(Connection& c, const family::LinkBox& record, BoxInventory& out) {
    Fact& fact = out.history_fact;
    if (record.did_history == 0) {
        fact = {Known::not_in_file, {}, "the family file gives no identifier for it"};
        return;
    }
    const Reply r = c.read(record.address, record.did_history);
    fact = {known_of(r.said), {}, r.why};
    if (r.said != Said::value) return;
    auto history = parse_history_record(r.data, record.history_layout != "lines");
    if (!history) {
        fact = {Known::unreadable, {}, history.error().place.words() + ": " + history.error().problem};
        return;
    }
    fact.value = as_text(r.data);
    out.history = std::move(*history);
}

}  // namespace

bool BoxInventory::silent() const {
    const auto answered = [](const Fact& f) {
        return f.known == Known::read || f.known == Known::refused || f.known == Known::unreadable;
    };
    return !answered(plate) && !answered(serial) && !answered(release) && !answered(market) && !answered(pieces_fact) &&
           !answered(history_fact);
}

const BoxInventory* Inventory::box(std::string_view role) const {
    const auto b = std::find_if(boxes.begin(), boxes.end(), [&](const BoxInventory& x) { return x.role == role; });
    return b == boxes.end() ? nullptr : &*b;
}

BoxInventory read_box(Connection& c, const family::LinkBox& record) {
    BoxInventory b;
    b.role = record.role;
    b.address = record.address;
    b.plate = read_text(c, record.address, record.did_plate);
    b.serial = read_text(c, record.address, record.did_serial);
    b.release = read_text(c, record.address, record.did_release);
    b.market = read_text(c, record.address, record.did_market);
    read_pieces(c, record, b);
    read_history(c, record, b);
    return b;
}

BoxInventory not_asked(const family::LinkBox& record, const std::string& why) {
    const auto fact = [&](std::uint16_t did) {
        return did == 0 ? Fact{Known::not_in_file, {}, "the family file gives no identifier for it"}
                        : Fact{Known::no_answer, {}, why};
    };
    BoxInventory b;
    b.role = record.role;
    b.address = record.address;
    b.plate = fact(record.did_plate);
    b.serial = fact(record.did_serial);
    b.release = fact(record.did_release);
    b.market = fact(record.did_market);
    b.pieces_fact = fact(record.did_pieces);
    b.history_fact = fact(record.did_history);
    return b;
}

Inventory read_inventory(Connection& c, const family::Family& family, std::string_view only_role) {
    Inventory out;
    for (const auto& record : family.link)
        if (only_role.empty() || record.role == only_role) out.boxes.push_back(read_box(c, record));
    return out;
}

namespace {

// A list that says nothing, or speaks against itself. ISO 14229-1: an entry is listed when its status, the mask and the
// availability byte have a bit in common, so a box with none of the bits of a failure would list none, whatever it has.
std::string not_believed(const uds::CodeList& list) {
    if ((list.availability & failed_bits) == 0)
        return fmt::format("it has none of the status bits by which a fault would be listed (availability {:02X})",
                           list.availability);
    std::map<std::uint32_t, std::uint8_t> seen;
    for (const uds::Dtc& d : list.codes) {
        const auto [there, is_new] = seen.emplace(d.number, d.status);
        if (!is_new && there->second != d.status)
            return fmt::format("{} stands there twice, with {:02X} and with {:02X}", uds::code_text(d.number),
                               there->second, d.status);
    }
    return {};
}

}  // namespace

BoxFaults read_memory(Connection& c, const family::LinkBox& record, std::uint8_t status_mask) {
    const auto codes = c.read_codes(record.address, status_mask);
    BoxFaults b;
    b.role = record.role;
    b.address = record.address;
    b.known = known_of(codes.reply.said);
    b.why = codes.reply.why;
    if (b.known != Known::read) return b;
    if (auto why = not_believed(codes.list); !why.empty()) {
        b.known = Known::unreadable;
        b.why = std::move(why);
        return b;
    }
    b.availability = codes.list.availability;
    b.raw = codes.reply.data;
    std::set<std::uint32_t> listed;
    for (const auto& d : codes.list.codes)
        if (listed.insert(d.number).second) b.faults.push_back({record.role, uds::code_text(d.number), d.status});
    return b;
}

namespace {

Beside beside(Reply r) {
    Beside out;
    out.known = known_of(r.said);
    out.why = r.why;
    if (out.known != Known::read) return out;
    out.raw = std::move(r.data);
    if (const auto records = uds::parse_records(out.raw))
        out.records = records->records;
    else
        out = {Known::unreadable, records.error().problem, {}, {}};
    return out;
}

}  // namespace

void read_details(Connection& c, BoxFaults& b) {
    if (b.known != Known::read) return;
    b.details.clear();
    for (const auto& f : b.faults) {
        const auto number = uds::code_number(f.code);
        if (!number || (f.status & failed_bits) == 0) continue;
        b.details.push_back(
            {f.code, beside(c.read_snapshot(b.address, *number)), beside(c.read_extended(b.address, *number))});
    }
}

std::string snapshot_words(ByteView records, const family::LinkBox& record) {
    if (records.empty()) return {};
    std::string out = fmt::format("record {:02X}", records[0]);
    if (records.size() < 4) return fmt::format("{}, then too few bytes for an identifier", out);
    const std::uint16_t did = load_be16(records, 2);
    const ByteView value = records.subspan(4);
    const char* name = did == 0                    ? nullptr
                       : did == record.did_release ? "release"
                       : did == record.did_market  ? "market"
                       : did == record.did_serial  ? "serial"
                       : did == record.did_plate   ? "plate"
                                                   : nullptr;
    const bool text =
        !value.empty() && std::all_of(value.begin(), value.end(), [](Byte x) { return x >= 0x20 && x < 0x7F; });
    if (records[1] == 1 && name && text) return fmt::format("{}, 0x{:04X} ({}) {}", out, did, name, as_text(value));
    return fmt::format("{}, {}, the first 0x{:04X}; their lengths stand in the maker's papers", out,
                       plural(records[1], "identifier"), did);
}

std::string extended_words(ByteView records) {
    if (records.empty()) return {};
    return fmt::format("record {:02X}, then {} byte{} by the maker's layout", records[0], records.size() - 1,
                       records.size() == 2 ? "" : "s");
}

std::vector<BoxFaults> read_faults(Connection& c, const family::Family& family, std::string_view only_role,
                                   std::uint8_t status_mask) {
    std::vector<BoxFaults> out;
    for (const auto& record : family.link)
        if (only_role.empty() || record.role == only_role) out.push_back(read_memory(c, record, status_mask));
    return out;
}

Result<std::vector<ReadPiece>> parse_lines_record(ByteView record) {
    const auto wrong = [](std::size_t line, std::string problem) {
        return bad_input("record-not-understood", fmt::format("line {} of the piece record", line), std::move(problem),
                         "check did_pieces and pieces_layout in the family file against what the box sends");
    };
    std::string text = as_text(record);
    while (!text.empty() && text.back() == '\0') text.pop_back();
    std::vector<ReadPiece> out;
    std::set<std::string> names;
    if (text.empty()) return out;
    if (text.back() == '\n') text.pop_back();
    std::size_t line = 0;
    for (const auto& one : split(text, '\n')) {
        ++line;
        const auto blank = one.find(' ');
        const bool shape = blank != std::string::npos && blank > 0 && blank + 1 < one.size() &&
                           one.find(' ', blank + 1) == std::string::npos;
        const bool ascii =
            std::all_of(one.begin(), one.end(), [](unsigned char ch) { return ch >= 0x20 && ch < 0x7F; });
        if (!shape || !ascii)
            return wrong(line, fmt::format("'{}' is not a name, one blank and a version", printable(one)));
        ReadPiece p{one.substr(0, blank), one.substr(blank + 1)};
        if (!names.insert(p.name).second) return wrong(line, fmt::format("piece '{}' stands there twice", p.name));
        out.push_back(std::move(p));
    }
    return out;
}

Result<std::vector<std::string>> parse_history_record(ByteView record, bool newest_first) {
    std::string text = as_text(record);
    while (!text.empty() && text.back() == '\0') text.pop_back();
    std::vector<std::string> out;
    if (text.empty()) return out;
    if (text.back() == '\n') text.pop_back();
    std::size_t line = 0;
    for (const auto& one : split(text, '\n')) {
        ++line;
        const bool ascii =
            std::all_of(one.begin(), one.end(), [](unsigned char ch) { return ch >= 0x20 && ch < 0x7F; });
        const std::string release = one.substr(0, one.find(' '));
        if (!ascii || release.empty())
            return bad_input("record-not-understood", fmt::format("line {} of the history record", line),
                             fmt::format("'{}' does not begin with a release", printable(one)),
                             "check did_history and history_layout in the family file against what the box sends");
        out.push_back(release);
    }
    if (newest_first) std::reverse(out.begin(), out.end());
    return out;
}

}  // namespace fettle::link
