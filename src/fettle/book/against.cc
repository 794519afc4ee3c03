#include "fettle/book/against.h"

#include <algorithm>
#include <set>

#include "fettle/base/text.h"

namespace fettle::book {
namespace {

const std::string* said_last(const Job& job, const std::string& role, std::string BoxSaid::* item) {
    for (const auto* said : {&job.said_after, &job.said_before})
        if (const auto s = said->find(role); s != said->end() && !trim(s->second.*item).empty())
            return &(s->second.*item);
    return nullptr;
}

}  // namespace

std::vector<Otherwise> said_otherwise(const Job& job) {
    std::set<std::string> roles;
    for (const auto* said : {&job.said_before, &job.said_after})
        for (const auto& [role, box] : *said) roles.insert(role);
    std::vector<Otherwise> out;
    bool one_agrees = false;
    for (const std::string& role : roles) {
        const std::string* market = said_last(job, role, &BoxSaid::market);
        if (market && !job.market.empty() && trim(*market) != trim(job.market))
            out.push_back({role, "market", std::string(trim(*market)), job.market, false});
        const std::string* release = job.runs.empty() ? said_last(job, role, &BoxSaid::release) : nullptr;
        const auto own = job.releases_found.find(role);
        const std::string& found = own == job.releases_found.end() ? job.release_found : own->second;
        if (!release || found.empty()) continue;
        if (trim(*release) == trim(found))
            one_agrees = true;
        else
            out.push_back({role, "release", std::string(trim(*release)), found, false});
    }
    for (Otherwise& o : out) o.others_say = o.item == "release" && one_agrees;
    return out;
}

std::string words_of(const Otherwise& o) {
    return "the " + printable(o.box) + " gives " + o.item + " " + printable(o.said) + ", the job says " +
           printable(o.job);
}

}  // namespace fettle::book
