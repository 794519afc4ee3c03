// CAN addresses as people type them.
#include "fettle/link/address_can.h"

#include <fmt/format.h>

#include "fettle/base/text.h"

namespace fettle::link {

namespace {

constexpr std::string_view how = "write it as can://can0/0x7a1:0x7a9; docs/link.md tells what may stand behind it";
constexpr std::uint32_t fixed = 0x18DA0000, functional = 0x18DB0000, largest_id = 0x1FFFFFFF;

auto bad(std::string_view text, std::string problem) {
    return usage_error("bad-address", printable(text), std::move(problem), std::string(how));
}

std::optional<std::uint32_t> hex_number(std::string_view t, std::size_t most_digits) {
    if (t.starts_with("0x") || t.starts_with("0X"))
        t.remove_prefix(2);
    else
        return std::nullopt;
    if (t.empty() || t.size() > most_digits) return std::nullopt;
    std::uint32_t v = 0;
    for (const char c : t) {
        const auto digit = std::string_view("0123456789abcdef").find(static_cast<char>(c | 0x20));
        if (digit == std::string_view::npos || c < '0') return std::nullopt;
        v = v << 4 | static_cast<std::uint32_t>(digit);
    }
    return v;
}
std::optional<Byte> hex_byte(std::string_view t) {
    const auto b = t.size() == 2 ? unhex(t) : std::nullopt;
    return b ? std::optional(b->front()) : std::nullopt;
}
std::optional<std::uint8_t> small_number(std::string_view t) {
    if (t.empty() || t.size() > 3) return std::nullopt;
    unsigned v = 0;
    for (const char c : t) {
        if (c < '0' || c > '9') return std::nullopt;
        v = v * 10 + static_cast<unsigned>(c - '0');
    }
    return v <= 255 ? std::optional(static_cast<std::uint8_t>(v)) : std::nullopt;
}

struct Words {
    bool extended = false;
    Byte tester = 0xF1;
    std::optional<std::uint16_t> box;
};

// One word behind the identifiers; false: it is none.
bool take_word(std::string_view word, CanAddress& can, Words& w) {
    const auto equals = word.find('=');
    const std::string_view name = word.substr(0, equals);
    const bool valued = equals != std::string_view::npos;
    const std::string_view value = valued ? word.substr(equals + 1) : std::string_view{};
    if (name == "29bit" && !valued) return w.extended = true;
    if (name == "kernel" && !valued) return can.kernel = true;
    if (name == "fd") {
        const auto n = valued ? small_number(value) : std::optional<std::uint8_t>(64);
        if (!n || *n < 8 || *n > 64 || frame_size_for(*n) != *n) return false;
        can.fd = true;
        can.frame_bytes = *n;
        return true;
    }
    if (name == "pad" && value == "none") {
        can.pad.reset();
        return true;
    }
    if (name == "pad" || name == "tester") {
        const auto b = hex_byte(value);
        if (!b) return false;
        if (name == "pad")
            can.pad = *b;
        else
            w.tester = *b;
        return true;
    }
    if (name == "bs" || name == "stmin") {
        const auto n = small_number(value);
        if (!n || (name == "stmin" && *n > 0x7F)) return false;
        (name == "bs" ? can.block_size : can.st_min) = *n;
        return true;
    }
    if (name == "box") {
        const auto n = hex_number(value, 4);
        if (!n || *n == 0) return false;
        w.box = static_cast<std::uint16_t>(*n);
        return true;
    }
    return false;
}

}  // namespace

Result<BoxAddress> parse_can_address(std::string_view text) {
    std::string_view rest = text.substr(std::string_view("can://").size());
    const auto slash = rest.find('/');
    const std::string_view bus = rest.substr(0, slash);
    BoxAddress out;
    CanAddress& can = out.can.emplace();
    if (bus.find(':') != std::string_view::npos) {
        auto at = parse_endpoint(bus);
        if (!at) return bad(text, at.error().problem);
        out.at = *at;
    } else {
        const bool sound = !bus.empty() && bus.size() <= 15 &&
                           bus.find_first_not_of("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-.") ==
                               std::string_view::npos;
        if (!sound) return bad(text, fmt::format("'{}' is no name of an interface", printable(bus)));
        can.interface = bus;
    }
    if (slash == std::string_view::npos || slash + 1 == rest.size())
        return bad(text, "the box's identifiers are missing");
    const auto parts = split(std::string(rest.substr(slash + 1)), ',');
    Words words;
    for (std::size_t i = 1; i < parts.size(); ++i)
        if (!take_word(parts[i], can, words))
            return bad(text, fmt::format("'{}' is not understood", printable(parts[i])));
    const std::string_view ids = parts.front();
    const auto colon = ids.find(':');
    if (colon == std::string_view::npos) {
        const auto target = hex_number(ids, 2);
        if (!target)
            return bad(text,
                       fmt::format("'{}' is not request and answer identifier (0x7a1:0x7a9), nor a box's number of "
                                   "29-bit fixed addressing (0x10)",
                                   printable(ids)));
        if (*target == words.tester) return bad(text, "that is the tester's own number");
        can.request = {fixed | *target << 8 | words.tester, true};
        can.answer = {fixed | std::uint32_t{words.tester} << 8 | *target, true};
    } else {
        const auto q = hex_number(ids.substr(0, colon), 8), a = hex_number(ids.substr(colon + 1), 8);
        if (!q || !a || *q > largest_id || *a > largest_id)
            return bad(text, fmt::format("'{}' are not two identifiers like 0x7a1:0x7a9", printable(ids)));
        if (*q == *a) return bad(text, "request and answer have the same identifier");
        const bool extended = words.extended || *q > 0x7FF || *a > 0x7FF;
        can.request = {*q, extended};
        can.answer = {*a, extended};
    }
    if ((!can.request.extended && can.request.number == 0x7DF) || (can.request.number & 0x1FFF0000) == functional)
        return bad(text, "that identifier addresses a group of boxes; one box at a time is asked");
    if (can.kernel && can.interface.empty()) return bad(text, "the kernel has no bus at a host and port");
    out.logical = words.box.value_or(static_cast<std::uint16_t>(can.request.number));
    if (out.logical == 0) return bad(text, "request identifier 0 belongs to no box; give box=0x1041");
    return out;
}

std::string can_text(const BoxAddress& a) {
    const CanAddress& c = *a.can;
    std::string out = fmt::format("can://{}/0x{:x}:0x{:x}", c.interface.empty() ? text_of(a.at) : c.interface,
                                  c.request.number, c.answer.number);
    if (c.request.extended && c.request.number <= 0x7FF && c.answer.number <= 0x7FF) out += ",29bit";
    if (c.fd) out += fmt::format(",fd={}", c.frame_bytes);
    if (!c.pad)
        out += ",pad=none";
    else if (*c.pad != 0xCC)
        out += fmt::format(",pad={:02x}", *c.pad);
    if (c.block_size != 0) out += fmt::format(",bs={}", c.block_size);
    if (c.st_min != 0) out += fmt::format(",stmin={}", c.st_min);
    if (c.kernel) out += ",kernel";
    if (a.logical != static_cast<std::uint16_t>(c.request.number)) out += fmt::format(",box=0x{:04X}", a.logical);
    return out;
}

}  // namespace fettle::link
