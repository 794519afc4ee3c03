// A line of text built glyph by glyph: one cell a column, each a character of one column's width.
#pragma once

#include <algorithm>
#include <string>
#include <string_view>
#include <vector>

namespace fettle::watch {

class GlyphRow {
public:
    explicit GlyphRow(int width) : cells_(static_cast<std::size_t>(std::max(0, width)), " ") {}

    int width() const { return static_cast<int>(cells_.size()); }
    void put(int column, std::string_view glyph) {
        if (column >= 0 && column < width()) cells_[static_cast<std::size_t>(column)] = glyph;
    }
    // ASCII text; what does not fit is cut.
    void text(int column, std::string_view words) {
        for (const char c : words) put(column++, std::string_view(&c, 1));
    }
    // Nothing stands in [from, to), as far as it is in the row.
    bool free(int from, int to) const {
        from = std::max(0, from);
        return std::all_of(cells_.begin() + std::min(from, width()),
                           cells_.begin() + std::clamp(to, std::min(from, width()), width()),
                           [](const std::string& c) { return c == " "; });
    }
    // Something may be put there whole.
    bool room(int from, int to) const { return from >= 0 && to <= width() && free(from, to); }
    // Without the blanks at the end.
    std::string str() const {
        std::string out;
        for (const std::string& c : cells_) out += c;
        while (!out.empty() && out.back() == ' ') out.pop_back();
        return out;
    }

private:
    std::vector<std::string> cells_;
};

}  // namespace fettle::watch
