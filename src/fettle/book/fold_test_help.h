// A journal written down as pairs of type and data.
#pragma once

#include <gtest/gtest.h>

#include <algorithm>
#include <utility>

#include "fettle/book/job.h"

namespace fettle::book {

using Pairs = std::vector<std::pair<std::string, std::string>>;

inline std::vector<Entry> entries_of(const Pairs& pairs) {
    std::vector<Entry> out;
    for (const auto& [type, data] : pairs) {
        Entry e;
        e.number = static_cast<std::int64_t>(out.size()) + 1;
        e.at = 1000 * e.number;
        e.type = type;
        e.data = data;
        out.push_back(e);
    }
    return out;
}

inline Result<Job> folded(Pairs more) {
    Pairs all{{"opened", R"({"customer":"1007","complaint":"Reversing picture freezes","boxes":["6104183C5"]})"}};
    all.insert(all.end(), more.begin(), more.end());
    return fold("0001X", entries_of(all));
}

inline std::vector<std::string> ids(const std::vector<LooseEnd>& ends) {
    std::vector<std::string> out;
    for (const LooseEnd& e : ends) out.push_back(e.id);
    return out;
}

using Ids = std::vector<std::string>;
inline const std::pair<std::string, std::string> begun{"started", R"({"release":"26.4.102","step":1})"};
inline const std::pair<std::string, std::string> done{"ended", R"({"outcome":"ended"})"};
inline const std::pair<std::string, std::string> proven{"proved", R"({"verdict":"fit","word":"proved","reasons":[]})"};

}  // namespace fettle::book
