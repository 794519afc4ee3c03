#include "fettle/link/clear.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <set>

#include "fettle/base/text.h"

namespace fettle::link {
namespace {

constexpr std::array<std::string_view, 3> kinds = {"infotainment", "display", "audio"};

std::string described(const StoredFault& f) {
    return fmt::format("{} (status {:02X})", f.code, f.status);
}

// ISO 14229-1 D.2: bits 4 and 6 alone say that a test has not run, which is no entry that could go.
bool has_failed(const StoredFault& f) {
    return (f.status & 0xAF) != 0;
}

// Nullopt: the same entries with the same status bytes, in any order.
std::optional<std::string> difference(const std::vector<StoredFault>& saved, const std::vector<StoredFault>& now) {
    const auto same = [](const StoredFault& a, const StoredFault& b) {
        return a.code == b.code && a.status == b.status;
    };
    for (const auto& f : now)
        if (std::none_of(saved.begin(), saved.end(), [&](const auto& s) { return same(s, f); }))
            return described(f) + " stands there and was not saved so";
    for (const auto& s : saved)
        if (std::none_of(now.begin(), now.end(), [&](const auto& f) { return same(s, f); }))
            return described(s) + " was saved and is not there any more";
    return std::nullopt;
}

}  // namespace

bool may_be_cleared(std::string_view kind) {
    return std::find(kinds.begin(), kinds.end(), kind) != kinds.end();
}
std::vector<std::string_view> kinds_that_may_be_cleared() {
    return {kinds.begin(), kinds.end()};
}

Result<Clearing> Clearing::prepare(Connection& c, ClearOrder order) {
    const std::string who = order.box.role;
    if (!may_be_cleared(order.kind))
        return bad_input("clear-kind", who,
                         order.kind.empty() ? "the family file does not say of which kind this box is"
                                            : fmt::format("boxes of the kind \"{}\" are never cleared from here",
                                                          printable(order.kind)),
                         "leave it to whoever is licensed for that system, with the maker's own means");
    if (!c.loopback())
        return bad_input("clear-address", who, "clearing goes only to boxes on this machine (127.0.0.1, ::1) for now",
                         "clear it with the maker's own means, and read the memory again afterwards");
    const BoxInventory said = read_box(c, [&] {
        family::LinkBox identity = order.box;  // plate and serial number only
        identity.did_release = identity.did_market = identity.did_pieces = identity.did_history = 0;
        return identity;
    }());
    if (said.plate.known != Known::read)
        return outside_error("identity-not-read", who, "its plate was not read: " + said.plate.why,
                             "nothing was cleared; read it again when the box answers");
    if (trim(said.plate.value) != order.plate)
        return bad_input("other-box", who,
                         fmt::format("its plate is {}, that of the job {}", printable(said.plate.value), order.plate),
                         "nothing was cleared; look which box stands at that address");
    if (said.serial.known == Known::read && !order.serial.empty() && said.serial.value != order.serial)
        return bad_input("other-box", who,
                         fmt::format("its serial number is {}, {} was read before", printable(said.serial.value),
                                     printable(order.serial)),
                         "nothing was cleared; it is another box of the same kind");
    if (said.serial.known != Known::read && !order.serial.empty())
        return outside_error("identity-not-read", who, "its serial number was not read: " + said.serial.why,
                             "nothing was cleared; read it again when the box answers");
    Clearing out(c, std::move(order));
    out.serial_ = said.serial.known == Known::read ? said.serial.value : "";
    out.memory_ = read_memory(c, out.order_.box);
    if (out.memory_.known != Known::read)
        return outside_error("memory-not-read", who, "its memory was not read again: " + out.memory_.why,
                             "nothing was cleared; read it when the box answers");
    if (const auto other = difference(out.order_.memory, out.memory_.faults))
        return bad_input("memory-moved", who, *other,
                         "nothing was cleared; save the memory as it is now, then ask again");
    if ((out.memory_.availability & uds::test_failed) == 0)
        return bad_input("clear-active", who, "it does not say whether an entry is failing now (bit 0 of its status)",
                         "nothing was cleared; use the maker's own means");
    for (const auto& f : out.memory_.faults) {
        const bool goes = std::find(out.order_.codes.begin(), out.order_.codes.end(), f.code) != out.order_.codes.end();
        if ((goes || out.order_.others_may_go) && (f.status & uds::test_failed) != 0)
            return bad_input("clear-active", who, described(f) + " is failing now",
                             "nothing was cleared; find the cause first");
    }
    return out;
}

ClearResult Clearing::send() {
    ClearResult out;
    const auto say_why = [&](const std::string& why) {
        if (out.why.empty()) out.why = why;
    };
    bool only_all = false;
    std::set<std::uint32_t> asked;
    for (const auto& code : order_.codes) {
        const auto number = uds::code_number(code);
        if (!number) {
            say_why(code + " is no code of three bytes");
            continue;
        }
        if (!asked.insert(*number).second) continue;
        const uds::ClearRequest request(*number);
        const Reply r = connection_.clear(order_.box.address, request);
        if (r.sent) out.answers.push_back({request.bytes(), r});
        if (r.said == Said::value) {
            out.done.push_back(code);
            continue;
        }
        if (r.said == Said::refused) {
            only_all = only_all || r.nrc == 0x31 || r.nrc == 0x12;
            say_why(fmt::format("{}: {}", code, r.why));
            if (!only_all) break;  // conditions: asking for the next would be pressing it
            continue;
        }
        out.certain = !r.sent;  // it may have done it: nothing more is sent
        say_why(fmt::format("{}: {}", code, r.why));
        return out;
    }
    if (out.done.size() == order_.codes.size() || !only_all) return out;
    const bool others = std::any_of(memory_.faults.begin(), memory_.faults.end(), [&](const StoredFault& f) {
        return has_failed(f) && std::find(order_.codes.begin(), order_.codes.end(), f.code) == order_.codes.end();
    });
    if (others && !order_.others_may_go) {
        out.why += "; it takes only \"all\", and others are stored that nobody signed for";
        return out;
    }
    const uds::ClearRequest request(uds::ClearRequest::all);
    const Reply r = connection_.clear(order_.box.address, request);
    if (r.sent) out.answers.push_back({request.bytes(), r});
    out.all = r.sent;
    if (r.said == Said::value) {
        out.why.clear();
        out.done.clear();
        for (const auto& f : memory_.faults)
            if (has_failed(f)) out.done.push_back(f.code);
        for (const auto& code : order_.codes)
            if (std::find(out.done.begin(), out.done.end(), code) == out.done.end()) out.done.push_back(code);
    } else {
        out.certain = r.said == Said::refused || !r.sent;
        out.why = "all: " + r.why;
    }
    return out;
}

}  // namespace fettle::link
