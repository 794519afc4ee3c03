#include "fettle/link/address.h"

#include <fmt/format.h>

#include <optional>

#include "fettle/base/text.h"
#include "fettle/link/address_can.h"

namespace fettle::link {

namespace {

constexpr std::string_view scheme = "doip://";
constexpr std::string_view how = "write it as doip://HOST:PORT/0x1041, for example doip://127.0.0.1:13400/0x1041";

auto bad(std::string_view text, std::string problem, std::string_view next = how) {
    return usage_error("bad-address", printable(text), std::move(problem), std::string(next));
}

bool host_like(std::string_view h) {
    for (const char c : h)
        if (!(c >= '0' && c <= '9') && !(c >= 'a' && c <= 'z') && !(c >= 'A' && c <= 'Z') && c != '.' && c != '-' &&
            c != ':')
            return false;
    return !h.empty();
}

Result<Endpoint> endpoint_of(std::string_view text, std::string_view whole, std::string_view next) {
    Endpoint e;
    std::string_view port;
    bool has_port = false;
    if (text.starts_with('[')) {  // IPv6 in brackets
        const auto close = text.find(']');
        if (close == std::string_view::npos) return bad(whole, "the closing ] of the address is missing", next);
        e.host = text.substr(1, close - 1);
        const auto rest = text.substr(close + 1);
        if (!rest.empty() && rest[0] != ':') return bad(whole, "after ] a colon and the port are expected", next);
        has_port = !rest.empty();
        port = has_port ? rest.substr(1) : rest;
    } else {
        const auto colon = text.find(':');
        if (colon != std::string_view::npos && text.find(':', colon + 1) != std::string_view::npos)
            return bad(whole, "more than one colon; an IPv6 address goes in brackets", next);
        e.host = text.substr(0, colon);
        has_port = colon != std::string_view::npos;
        port = has_port ? text.substr(colon + 1) : std::string_view{};
    }
    if (!host_like(e.host)) return bad(whole, "the host is missing or holds a character that no host has", next);
    if (has_port) {
        const auto p = number_in<std::uint16_t>(port);
        if (!p || *p == 0)
            return bad(whole, fmt::format("port '{}' is not a number from 1 to 65535", printable(port)), next);
        e.port = *p;
    }
    return e;
}

}  // namespace

Result<Endpoint> parse_endpoint(std::string_view text) {
    if (text.starts_with(scheme))
        return bad(text, "a host and port are expected here, without doip://", "write HOST:PORT");
    return endpoint_of(text, text, "write it as HOST:PORT, for example 127.0.0.1:13400");
}

Result<BoxAddress> parse_link_address(std::string_view text) {
    if (!text.starts_with(scheme)) {
        const auto colon = text.find("://");
        if (colon == std::string_view::npos) return bad(text, "it does not begin with doip:// or can://");
        if (text.starts_with("can://")) return parse_can_address(text);
        return bad(text,
                   fmt::format("{}:// is no way to a box; doip:// and can:// are", printable(text.substr(0, colon))));
    }
    const std::string_view rest = text.substr(scheme.size());
    const auto slash = rest.find('/');
    auto at = endpoint_of(rest.substr(0, slash), text, how);
    if (!at) return pass(at);
    BoxAddress out{*at, 0, std::nullopt};
    if (slash == std::string_view::npos || slash + 1 == rest.size()) return out;
    const std::string_view box = rest.substr(slash + 1);
    const bool hexed = box.starts_with("0x") || box.starts_with("0X");
    const auto logical = hexed && box.size() <= 6 ? number_in<std::uint16_t>(box.substr(2), 16) : std::nullopt;
    if (!logical) return bad(text, fmt::format("box address '{}' is not of the form 0x1041", printable(box)));
    if (*logical == 0) return bad(text, "box address 0 belongs to no box");
    if (*logical >= 0x0E00 && *logical <= 0x0FFF)
        return bad(text, fmt::format("0x{:04X} is a tester's address, not a box's", *logical));
    if (*logical >= 0xE000 && *logical <= 0xEFFF)
        return bad(text, fmt::format("0x{:04X} addresses a group of boxes; one box at a time is asked", *logical));
    if (*logical >= 0xF000) return bad(text, fmt::format("0x{:04X} is reserved", *logical));
    out.logical = *logical;
    return out;
}

Result<BoxAddress> parse_box_address(std::string_view text) {
    auto a = parse_link_address(text);
    if (a && a->logical == 0 && !a->can) return bad(text, "the box's address is missing");
    return a;
}

std::string text_of(const Endpoint& e) {
    return e.host.find(':') == std::string::npos ? fmt::format("{}:{}", e.host, e.port)
                                                 : fmt::format("[{}]:{}", e.host, e.port);
}

std::string text_of(const BoxAddress& a) {
    if (a.can) return can_text(a);
    return a.logical == 0 ? fmt::format("{}{}", scheme, text_of(a.at))
                          : fmt::format("{}{}/0x{:04X}", scheme, text_of(a.at), a.logical);
}

}  // namespace fettle::link
