#include "fettle/workshop/asks_skipped.h"

#include <algorithm>
#include <set>

namespace fettle::workshop {
namespace {

bool settled_by_somebody(const book::Job& job, const book::Run& last) {
    return std::any_of(job.loose_ends.begin(), job.loose_ends.end(), [&](const book::LooseEnd& e) {
        return e.id.starts_with("ask-") && e.settled && e.settled_by != "the journal" &&
               (last.marks.empty() || e.entry > last.marks.front().entry);
    });
}

}  // namespace

std::vector<std::string> asks_skipped(const family::Family& family, const book::Job& job) {
    if (job.runs.empty() || settled_by_somebody(job, job.runs.back())) return {};
    const book::Run& last = job.runs.back();
    std::vector<std::string> asks;
    for (const family::Act& a : family.script)
        if (a.kind == family::ActKind::ask) asks.push_back(a.id);
    std::set<std::string> skipped;
    std::size_t next = 0;  // the ask that comes next
    bool waits = false;
    for (const book::RunMark& m : last.marks) {
        if (m.undone) continue;
        const auto named = std::find(asks.begin(), asks.end(), m.event);
        const bool is_ask = named != asks.end() || m.event == "asks";
        if ((is_ask && waits) || m.event == "skipped") {
            if (next < asks.size()) skipped.insert(asks[next]);
        }
        if ((is_ask && waits) || m.event == "skipped" || m.event == "answered") {
            ++next;
            waits = false;
        }
        if (named != asks.end()) next = static_cast<std::size_t>(named - asks.begin());
        waits = waits || is_ask;
    }
    if (waits && next < asks.size()) skipped.insert(asks[next]);
    // A run that ended has asked all that its script asks: what was not marked was not marked as answered.
    for (std::size_t i = next; last.outcome == RunState::ended && i < asks.size(); ++i) skipped.insert(asks[i]);
    return {skipped.begin(), skipped.end()};
}

}  // namespace fettle::workshop
