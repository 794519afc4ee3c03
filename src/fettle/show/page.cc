#include "fettle/show/page.h"

namespace fettle::show {

Page& Page::operator+=(std::string_view text) {
    if (text.empty()) return *this;
    if (!parts_.empty() && std::holds_alternative<std::string>(parts_.back()))
        std::get<std::string>(parts_.back()) += text;
    else
        parts_.emplace_back(std::string(text));
    return *this;
}

Page& Page::operator+=(const Proposal& act) {
    parts_.emplace_back(act);
    return *this;
}

Page& Page::append(const Next& next) {
    for (const Next::Part& part : next.parts()) {
        if (const auto* text = std::get_if<std::string>(&part))
            *this += std::string_view(*text);
        else
            parts_.push_back(part);
    }
    return *this;
}

Page& Page::append(const Page& other) {
    for (const Next::Part& part : std::vector<Next::Part>(other.parts_)) {
        if (const auto* text = std::get_if<std::string>(&part))
            *this += std::string_view(*text);
        else
            parts_.push_back(part);
    }
    return *this;
}

std::string Page::text(const ShowAct& shown) const {
    std::string out;
    for (const Next::Part& part : parts_) {
        if (const auto* text = std::get_if<std::string>(&part))
            out += *text;
        else
            out += shown(std::get<Proposal>(part));
    }
    return out;
}

}  // namespace fettle::show
