#include "fettle/base/json.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/text.h"

namespace fettle {
namespace {

// One value on one line, as any reader takes it and any terminal may show it: bytes that are no UTF-8 become \\xNN in
// the text, characters that do something else than be seen become \uNNNN.
std::string leaf(const json::value& v) {
    const std::string text = json::serialize(v);
    std::string out;
    for (std::size_t i = 0; i < text.size();) {
        const std::size_t n = utf8_length(std::string_view(text).substr(i));
        const auto at = [&](std::size_t k) { return static_cast<unsigned>(static_cast<unsigned char>(text[i + k])); };
        const std::string_view character = std::string_view(text).substr(i, n ? n : 1);
        if (n == 0)
            out += fmt::format("\\\\x{:02x}", at(0));
        else if (!is_unseen(character))
            out += character;
        else
            out += fmt::format("\\u{:04x}", n == 1   ? at(0)
                                            : n == 2 ? (at(0) & 0x1Fu) << 6 | (at(1) & 0x3Fu)
                                                     : (at(0) & 0x0Fu) << 12 | (at(1) & 0x3Fu) << 6 | (at(2) & 0x3Fu));
        i += character.size();
    }
    return out;
}

void write(std::string& out, const json::value& v, int depth) {
    const std::string pad(static_cast<std::size_t>(2 * depth + 2), ' ');
    if (const auto* o = v.if_object(); o && !o->empty()) {
        out += "{\n";
        bool first = true;
        for (const auto& [key, member] : *o) {
            if (!first) out += ",\n";
            first = false;
            out += pad + leaf(json::value(key)) + ": ";
            write(out, member, depth + 1);
        }
        out += "\n" + pad.substr(2) + "}";
    } else if (const auto* a = v.if_array(); a && !a->empty()) {
        out += "[\n";
        for (std::size_t i = 0; i < a->size(); ++i) {
            if (i) out += ",\n";
            out += pad;
            write(out, (*a)[i], depth + 1);
        }
        out += "\n" + pad.substr(2) + "]";
    } else {
        out += leaf(v);
    }
}

}  // namespace

Result<json::value> parse_json(std::string_view text, std::string_view place) {
    json::stream_parser parser;
    json::error_code ec;
    const std::size_t used = parser.write_some(text.data(), text.size(), ec);
    std::size_t at = used;
    if (!ec && used == text.size()) parser.finish(ec);
    if (!ec) {
        const auto rest = text.substr(used).find_first_not_of(" \t\r\n");
        if (rest == std::string_view::npos) return parser.release();
        at = used + rest;
        ec = json::error::extra_data;
    }
    const std::string_view before = text.substr(0, std::min(at, text.size()));
    const auto line = 1 + std::count(before.begin(), before.end(), '\n');
    const auto newline = before.rfind('\n');
    const auto column = before.size() - (newline == std::string_view::npos ? 0 : newline + 1) + 1;
    return bad_input("json-unreadable", std::string(place) + ":" + std::to_string(line) + ":" + std::to_string(column),
                     "is not JSON from here on (" + ec.message() + ")", "get the file again; it may be cut or edited");
}

std::string pretty(const json::value& v) {
    std::string out;
    write(out, v, 0);
    out += "\n";
    return out;
}

std::string text_of(const json::object& o, std::string_view key, std::string_view otherwise) {
    const json::value* v = o.if_contains(key);
    if (!v || !v->is_string()) return std::string(otherwise);
    return std::string(v->get_string());
}

double number_of(const json::object& o, std::string_view key, double otherwise) {
    const json::value* v = o.if_contains(key);
    if (!v || !v->is_number()) return otherwise;
    return v->to_number<double>();
}

json::array texts_as_json(const std::vector<std::string>& texts) {
    json::array out;
    for (const std::string& t : texts) out.push_back(json::string(t));
    return out;
}

json::object proposal_as_json(const Proposal& proposal) {
    json::object out{{"act", json::string(name_of(proposal.act))}};
    for (const Argument& a : proposal.arguments) {
        if (a.to_fill_in)
            out[a.name] = nullptr;
        else if (a.value.empty())
            out[a.name] = true;
        else
            out[a.name] = a.value;
    }
    return out;
}

json::array reasons_as_json(const std::vector<Reason>& reasons,
                            const std::function<std::string(const Proposal&)>& shown) {
    json::array out;
    for (const Reason& r : reasons) {
        json::object o{{"code", r.code},
                       {"verdict", code(r.verdict)},
                       {"text", r.text},
                       {"where", r.where},
                       {"rests_on", r.rests_on.words()}};
        if (!r.next.empty()) o["next"] = r.next.words(shown);
        if (const Proposal* act = r.next.proposal()) o["act"] = proposal_as_json(*act);
        out.push_back(std::move(o));
    }
    return out;
}

std::string json_word(std::string_view words) {
    std::string out;
    for (const char c : words) {
        const bool kept = (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9');
        if (kept)
            out += c;
        else if (!out.empty() && out.back() != '-')
            out += '-';
    }
    if (!out.empty() && out.back() == '-') out.pop_back();
    return out;
}

}  // namespace fettle
