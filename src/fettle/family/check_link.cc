// What link addresses, fault codes, messages and holds must keep.
#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/family/load_parts.h"

namespace fettle::family {
namespace {

// "B1A4F-13": letter, a digit 0-3, three hex digits (SAE J2012 form), a dash and the failure type's two hex digits.
bool is_fault_code(std::string_view s) {
    constexpr std::string_view hex_digits = "0123456789ABCDEF";
    if (s.size() != 8 || s[5] != '-') return false;
    if (std::string_view("PCBU").find(s[0]) == std::string_view::npos || s[1] < '0' || s[1] > '3') return false;
    for (const std::size_t i : {2u, 3u, 4u, 6u, 7u})
        if (hex_digits.find(s[i]) == std::string_view::npos) return false;
    return true;
}

}  // namespace

void check_link(const Family& f, Log& log) {
    std::vector<std::string> roles, addresses, codes, messages, holds;
    for (const LinkBox& b : f.link) {
        roles.push_back(b.role);
        addresses.push_back(b.address ? fmt::format("0x{:04X}", b.address) : "");
    }
    check_unique(log, "link", "role", roles, "the role");
    check_unique(log, "link", "address", addresses, "the address");
    for (std::size_t i = 0; i < f.link.size(); ++i)
        if (!f.link[i].role.empty() && !f.box(f.link[i].role))
            log.mistake(fmt::format("link[{}].role", i + 1),
                        fmt::format("is \"{}\"; the boxes are {}", printable(f.link[i].role), roles_of(f)),
                        "name one of these boxes");
    for (std::size_t i = 0; i < f.faults.size(); ++i) {
        const FaultNote& n = f.faults[i];
        codes.push_back(n.code);
        if (!n.code.empty() && !is_fault_code(n.code))
            log.mistake(fmt::format("fault[{}].code", i + 1),
                        fmt::format("is \"{}\"; a code such as B1A4F-13 was expected", printable(n.code)),
                        "write the letter form in capitals, a dash, and the two hex digits of the failure type");
        if (n.ask.empty()) continue;
        const Act* a = f.act(n.ask);
        if (!a || a->kind != ActKind::ask)
            log.mistake(fmt::format("fault[{}].ask", i + 1),
                        fmt::format("is \"{}\", which is no act with kind = \"ask\"", printable(n.ask)),
                        "name the id of the ask whose skipping leaves this entry");
    }
    std::vector<std::string> ways;
    for (std::size_t i = 0; i < f.mend.size(); ++i) {
        ways.push_back(f.mend[i].kind);
        for (std::size_t k = 0; k < f.mend[i].writes.size(); ++k) {
            const std::string& region = f.mend[i].writes[k];
            const auto dot = region.find('.');
            if (dot == std::string::npos || !f.region(region.substr(0, dot), region.substr(dot + 1)))
                log.mistake(fmt::format("mend[{}].writes[{}]", i + 1, k + 1),
                            fmt::format("is \"{}\", which is no region of a box", printable(region)),
                            "write box.region, as the [[region]] sections name them");
        }
    }
    check_unique(log, "mend", "kind", ways, "the kind");
    for (const Message& m : f.messages) messages.push_back(m.text);
    for (const Hold& h : f.holds) holds.push_back(h.id);
    check_unique(log, "fault", "code", codes, "the code");
    check_unique(log, "message", "text", messages, "the text");
    check_unique(log, "hold", "id", holds, "the hold");
    for (std::size_t i = 0; i < f.holds.size(); ++i)
        if (!f.holds[i].on_bench && !f.holds[i].in_vehicle)
            log.mistake(fmt::format("hold[{}]", i + 1), "holds neither on a bench nor in a vehicle",
                        "say where it holds, or take it out");
    if (f.tally) {
        const std::pair<const char*, std::string> classes[] = {{"landed", f.tally->landed},
                                                               {"passed_over", f.tally->passed_over},
                                                               {"refused", f.tally->refused},
                                                               {"to_come", f.tally->to_come}};
        for (std::size_t i = 1; i < std::size(classes); ++i)
            for (std::size_t j = 0; j < i; ++j)
                if (!classes[i].second.empty() && classes[i].second == classes[j].second)
                    log.mistake(fmt::format("tally.{}", classes[i].first),
                                fmt::format("is \"{}\", as {} is: nobody could tell them apart",
                                            printable(classes[i].second), classes[j].first),
                                "write what the box calls each class");
    }
}

}  // namespace fettle::family
