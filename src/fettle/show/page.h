// A page of text with acts in it: what a face prints, or makes buttons of.
#pragma once

#include <functional>
#include <string>
#include <string_view>
#include <vector>

#include "fettle/base/next.h"

namespace fettle::show {

// How a face shows an act that can be done next: a terminal as a command to type.
using ShowAct = std::function<std::string(const Proposal&)>;

// Grows by texts, acts and whole Next values, in the order they are to be read.
class Page {
public:
    Page() = default;
    Page(const char* text) { *this += std::string_view(text); }
    Page(const std::string& text) { *this += std::string_view(text); }

    Page& operator+=(std::string_view text);
    Page& operator+=(const Proposal& act);
    Page& append(const Next& next);
    Page& append(const Page& other);

    bool empty() const { return parts_.empty(); }
    std::string text(const ShowAct& shown) const;

private:
    std::vector<Next::Part> parts_;
};

}  // namespace fettle::show
