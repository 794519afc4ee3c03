#include "fettle/link/scpi.h"

#include <algorithm>
#include <cctype>
#include <cmath>

#include "fettle/base/text.h"

namespace fettle::link::scpi {
namespace {

constexpr double infinity = 9.9e37;  // SCPI-99 volume 1, 7.2.1.4: at or beyond it stands for no number (from memory)

auto bad(std::string_view text, std::string problem) {
    return usage_error("bad-supply-address", printable(text), std::move(problem),
                       "write it as scpi://HOST:5025, or words://HOST:PORT/VOUT1?,IOUT1? for a supply with words of "
                       "its own");
}

bool is_question(std::string_view q) {
    return q.size() >= 2 && q.size() <= 64 && q.back() == '?' &&
           std::all_of(q.begin(), q.end(), [](char c) { return c >= ' ' && c <= '~' && c != ';'; });
}

}  // namespace

Result<Address> parse_address(std::string_view text) {
    Address out;
    std::string_view rest;
    if (text.starts_with("scpi://")) {
        rest = text.substr(7);
        if (rest.ends_with('/')) rest.remove_suffix(1);
        if (rest.find('/') != std::string_view::npos) return bad(text, "nothing may follow the port");
    } else if (text.starts_with("words://")) {
        rest = text.substr(8);
        const auto slash = rest.find('/');
        if (slash == std::string_view::npos) return bad(text, "the supply's two questions are missing");
        const auto questions = split(rest.substr(slash + 1), ',');
        rest = rest.substr(0, slash);
        if (questions.size() != 2 || !is_question(questions[0]) || !is_question(questions[1]))
            return bad(text, "expected two questions that end with ?, with a comma between: volts, then amperes");
        out.volts = questions[0];
        out.amps = questions[1];
        out.own_words = true;
    } else {
        return bad(text, "this is no address of a supply");
    }
    auto at = parse_endpoint(rest);
    if (!at) return bad(text, at.error().problem);
    const bool has_port =
        rest.starts_with('[') ? rest.find("]:") != std::string_view::npos : rest.find(':') != std::string_view::npos;
    out.at = std::move(*at);
    if (!has_port) out.at.port = port;
    return out;
}

std::optional<double> number(std::string_view line) {
    std::string_view t = trim(line);
    if (t.starts_with("+-")) return std::nullopt;
    if (t.starts_with('+')) t.remove_prefix(1);
    // A number would also be "nan" and "inf"; a figure begins with a digit, a point or a minus before one of them.
    const std::string_view digits = t.starts_with('-') ? t.substr(1) : t;
    if (digits.empty() || (!std::isdigit(static_cast<unsigned char>(digits[0])) && digits[0] != '.'))
        return std::nullopt;
    const auto v = number_in<double>(t);
    return v && std::abs(*v) < infinity ? v : std::nullopt;
}

std::optional<bool> on_or_off(std::string_view line) {
    const std::string t = upper(trim(line));
    if (t == "1" || t == "ON" || t == "+1") return true;
    if (t == "0" || t == "OFF" || t == "+0") return false;
    return std::nullopt;
}

std::optional<QueuedError> queued_error(std::string_view line) {
    const std::string_view t = trim(line);
    const auto comma = t.find(',');
    std::string_view code = t.substr(0, comma);
    if (code.starts_with('+')) code.remove_prefix(1);
    const auto number = number_in<int>(code);
    if (!number) return std::nullopt;
    QueuedError out{*number, {}};
    if (comma == std::string_view::npos) return out;
    std::string_view words = trim(t.substr(comma + 1));
    if (words.size() >= 2 && words.front() == '"' && words.back() == '"') words = words.substr(1, words.size() - 2);
    out.text = words;
    return out;
}

}  // namespace fettle::link::scpi
