// Two answers that cannot both be true: neither counts, and nothing starts before one is put right.
#include <fmt/format.h>

#include "fettle/ready/checker.h"
#include "fettle/ready/holds.h"
#include "fettle/ready/told.h"

namespace fettle::ready {

void Checker::contradict(const std::string& where, const std::string& one, const std::string& other,
                         const std::string& other_words, const std::string& otherwise) {
    std::erase_if(out_.items,
                  [&](const Item& i) { return i.reason.code == "hold-confirmed" && i.reason.where == where; });
    item("answers", "contradict each other",
         {"answers-contradict", Verdict::halt,
          fmt::format("said were both {} and {} ({}): they cannot both be true", one, other, other_words), where,
          "typed"},
         "look which of the two is true, then answer " + otherwise);
}

void Checker::contradictions() {
    const bool running = !s_.on_bench && yes(s_.told, "engine", "running", "off").value_or(false);
    const bool unsupported = !yes(s_.told, "support", "yes", "no").value_or(true);
    const bool may_crank = !s_.on_bench && yes(s_.told, "stop-start", "on", "off").value_or(false);
    const auto all = yes(s_.told, "holds", "yes", "no");
    for (const family::Hold& h : holds_of(family_, s_.on_bench)) {
        const auto own = yes(s_.told, "hold." + h.id, "yes", "no");
        if (!own.value_or(all.value_or(false))) continue;
        const std::string key = own ? "hold." + h.id : "holds", no = " or hold." + h.id + "=no";
        if (running && h.engine_off) contradict(h.id, "engine=running", key + "=yes", h.words, "engine=off" + no);
        if (may_crank && h.id == "stop-start")
            contradict(h.id, "stop-start=on", key + "=yes", h.words, "stop-start=off" + no);
        if (unsupported && is_support(h))
            contradict(h.id, "support=no", key + "=yes", h.words,
                       "support=yes once a support supply feeds it: this family wants one");
    }
    const auto call = s_.told.find("call");
    if (call == s_.told.end() || call->second != "staying") return;
    for (const HandsDue& h : out_.hands) {
        std::string key = "person." + h.act;
        auto there = yes(s_.told, key, "yes", "no");
        if (!there) there = yes(s_.told, key = "person", "yes", "no");
        if (there.value_or(true)) continue;
        contradict("call", "call=staying", key + "=no", "nobody will be there when it " + h.words,
                   key + "=yes, or how you are called");
        return;
    }
}

}  // namespace fettle::ready
