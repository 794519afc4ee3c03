#include "fettle/change/list_text.h"

#include <fmt/format.h>

#include <algorithm>

#include "fettle/base/text.h"

namespace fettle::change {
namespace {

std::vector<std::string> words_of(std::string_view line) {
    std::vector<std::string> out;
    std::size_t at = 0;
    while (at < line.size()) {
        const std::size_t from = line.find_first_not_of(" \t\r", at);
        if (from == std::string_view::npos) break;
        const std::size_t to = std::min(line.find_first_of(" \t\r", from), line.size());
        out.emplace_back(line.substr(from, to - from));
        at = to;
    }
    return out;
}

// The first character that is not seen when it is shown: a name that holds one is another than it looks.
std::string_view unseen_in(std::string_view line) {
    while (!line.empty()) {
        const std::string_view c = line.substr(0, utf8_length(line));
        if (c != "\t" && c != "\r" && is_unseen(c)) return c;
        line.remove_prefix(c.size());
    }
    return {};
}

}  // namespace

ListText list_text(std::string_view text) {
    ListText out;
    Lines lines(text);
    for (std::string_view raw; lines.next(raw);) {
        const std::string_view line = raw.substr(0, raw.find('#'));
        const int number = lines.number();
        if (!is_utf8(line)) {
            out.unreadable = number;
            out.problem = "this is no UTF-8 text";
            return out;
        }
        if (const auto c = unseen_in(line); !c.empty()) {
            out.unreadable = number;
            out.problem = fmt::format("holds a character that cannot be seen, {}", printable(c));
            return out;
        }
        auto words = words_of(line);
        if (words.empty()) continue;
        if (out.lines.size() == most_listed) {
            out.too_many = number;
            out.problem = fmt::format("this is the piece after number {}, more than any box has", most_listed);
            return out;
        }
        out.lines.push_back({number, std::move(words)});
    }
    return out;
}

}  // namespace fettle::change
