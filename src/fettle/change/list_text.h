// A typed list of pieces, taken apart into lines and words: what both the as-found list and the offered one want.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace fettle::change {

// No box has as many; beyond it a wrong file was named.
inline constexpr std::size_t most_listed = 10000;

struct ListLine {
    int number = 0;
    std::vector<std::string> words;  // between blanks and tabs; never none
};

struct ListText {
    std::vector<ListLine> lines;    // without remarks ('#' to the end of the line) and empty lines
    std::optional<int> unreadable;  // number of the first line that is no plain UTF-8 text
    std::optional<int> too_many;    // number of the first line beyond most_listed
    std::string problem;            // of that line, for people
};

// A byte order mark before the first line is passed over. Stops at the first line that cannot be taken.
ListText list_text(std::string_view text);

}  // namespace fettle::change
