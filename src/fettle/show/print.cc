#include "fettle/show/print.h"

#include <fmt/core.h>

#include <algorithm>
#include <map>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/family/level.h"

namespace fettle::show {
namespace {

std::string_view words(ErrorKind kind) {
    switch (kind) {
        case ErrorKind::usage: return "usage";
        case ErrorKind::bad_input: return "bad-input";
        case ErrorKind::outside: return "outside";
    }
    return "outside";
}

std::size_t columns(std::string_view utf8) {
    return static_cast<std::size_t>(
        std::count_if(utf8.begin(), utf8.end(), [](char c) { return (static_cast<unsigned char>(c) & 0xC0) != 0x80; }));
}

// Wraps at blanks, continuation lines indented. What has no blank (a digest, a path) stays in one piece.
std::string wrapped(std::string_view text, std::size_t indent, std::size_t width) {
    std::string out;
    std::size_t column = indent;
    std::size_t from = 0;
    while (from < text.size()) {
        std::size_t to = text.find(' ', from);
        if (to == std::string_view::npos) to = text.size();
        const std::string_view word = text.substr(from, to - from);
        if (column > indent && column + 1 + columns(word) > width) {
            out += "\n" + std::string(indent, ' ');
            column = indent;
        } else if (column > indent) {
            out += ' ';
            ++column;
        }
        out += word;
        column += columns(word);
        from = to + 1;
    }
    return out;
}

// A line that is too wide is wrapped under the text behind its leading columns (of a list), else two further in than it
// begins.
std::string wrapped_line(std::string_view line, std::size_t width) {
    constexpr std::size_t leading = 24;
    if (columns(line) <= width || line.starts_with("{ ")) return std::string(line);  // a shell's line is to be pasted
    std::size_t begin = line.find_first_not_of(' ');
    if (begin == std::string_view::npos) return {};
    std::size_t hang = begin + 2;
    while (true) {
        const std::size_t gap = line.find("  ", begin);
        const std::size_t next = gap == std::string_view::npos ? gap : line.find_first_not_of(' ', gap);
        if (next == std::string_view::npos || next > leading) break;
        begin = hang = next;
    }
    return std::string(line.substr(0, begin)) + wrapped(line.substr(begin), hang, width);
}

std::string reason_lines(const Reason& r, std::size_t width, const ShowAct& shown) {
    const bool said = r.where.empty() || (r.text.starts_with(r.where) && r.text.size() > r.where.size() &&
                                          std::string_view(" :,").find(r.text[r.where.size()]) != std::string::npos);
    std::string line = said ? r.text : r.where + ": " + r.text;
    if (!r.rests_on.empty()) line += fmt::format(" [rests on: {}]", r.rests_on.words());
    std::string out =
        fmt::format("  {:<9}  {}\n             ({})\n", fettle::words(r.verdict), wrapped(line, 13, width), r.code);
    if (!r.next.empty()) out += fmt::format("             {}\n", wrapped("next: " + r.next.words(shown), 13, width));
    return out;
}

// A card that is cut off has a finding for each of its thousand pieces: who reads sees some of them and their number.
constexpr std::size_t most_alike = 6, shown_of_many = 3, named_of_many = 6;

std::string the_others(const std::vector<Reason>& reasons, const Reason& last_shown, std::size_t width) {
    std::size_t others = 0;
    std::string places;
    for (const Reason& r : reasons) {
        if (r.code != last_shown.code || &r <= &last_shown) continue;
        if (others++ < named_of_many && !r.where.empty()) places += (places.empty() ? "" : ", ") + r.where;
    }
    if (others > named_of_many && !places.empty()) places += ", …";
    const std::string line =
        fmt::format("and {} more of these{}{} (every one of them: --json)", others, places.empty() ? "" : ": ", places);
    return fmt::format("             {}\n", wrapped(line, 13, width));
}

json::object base_document(const std::string& command) {
    json::object doc;
    doc["fettle"] = 1;
    doc["command"] = command;
    return doc;
}

}  // namespace

std::string harmless(const std::string& text) {
    std::string out;
    std::size_t from = 0;
    while (from < text.size()) {
        const std::size_t to = std::min(text.find('\n', from), text.size());
        out += printable(std::string_view(text).substr(from, to - from));
        if (to < text.size()) out += '\n';
        from = to + 1;
    }
    return out;
}

std::string to_page(const std::string& text, std::size_t width) {
    std::string out;
    std::size_t from = 0;
    while (from < text.size()) {
        const std::size_t to = std::min(text.find('\n', from), text.size());
        out += wrapped_line(std::string_view(text).substr(from, to - from), width);
        if (to < text.size()) out += '\n';
        from = to + 1;
    }
    return out;
}

std::string as_text(const Answer& answer, const ShowAct& shown) {
    std::string out;
    if (!answer.headline.empty()) out += answer.headline + "\n";
    out += answer.text.text(shown);
    if (!answer.level.empty())
        out += fmt::format("known: level {}, {}\n", answer.level, family::level_words(answer.level));
    out = to_page(out, answer.width);
    if (!answer.verdict_matters) return harmless(out);
    out += fmt::format("verdict: {}\n", fettle::words(answer.judgement.verdict()));
    if (answer.reasons_in_text) return harmless(out);
    const auto& reasons = answer.judgement.reasons;
    std::map<std::string_view, std::size_t> times, met;
    for (const Reason& r : reasons) ++times[r.code];
    for (const Reason& r : reasons) {
        const std::size_t nth = ++met[r.code];
        if (times[r.code] <= most_alike || nth <= shown_of_many) out += reason_lines(r, answer.width, shown);
        if (times[r.code] > most_alike && nth == shown_of_many) out += the_others(reasons, r, answer.width);
    }
    return harmless(out);
}

std::string as_json(const std::string& command, const Answer& answer, const ShowAct& shown) {
    json::object doc = base_document(command);
    doc["verdict"] = fettle::code(answer.judgement.verdict());
    doc["reasons"] = reasons_as_json(answer.judgement.reasons, shown);
    doc["headline"] = answer.headline;
    if (!answer.level.empty()) doc["level"] = answer.level;
    doc["data"] = answer.data;
    return pretty(doc);
}

std::string as_json(const std::string& command, const Error& error, const ShowAct& shown) {
    json::object doc = base_document(command);
    doc["verdict"] = fettle::code(Verdict::cant_say);
    doc["reasons"] = json::array();
    doc["headline"] = error.message(shown);
    doc["error"] = json::object{{"kind", words(error.kind)},
                                {"code", error.code},
                                {"place", error.place.words(shown)},
                                {"problem", error.problem},
                                {"next", error.next.words(shown)}};
    doc["data"] = json::object();
    return pretty(doc);
}

int exit_code(const Answer& answer) {
    if (answer.bad_input) return 3;
    if (!answer.verdict_matters) return 0;
    return answer.judgement.verdict() <= Verdict::mind ? 0 : 1;
}

int exit_code(const Error& error) {
    switch (error.kind) {
        case ErrorKind::usage: return 2;
        case ErrorKind::bad_input: return 3;
        case ErrorKind::outside: return 4;
    }
    return 4;
}

}  // namespace fettle::show
