#include "fettle/show/faults.h"

#include <fmt/core.h>

#include "fettle/base/json.h"
#include "fettle/show/print.h"

namespace fettle::show {

boost::json::array faults_as_json(const prove::Faults& faults) {
    boost::json::array out;
    for (const prove::Attributed& a : faults.entries) {
        boost::json::object o{{"box", a.fault.box},
                              {"code", a.fault.code},
                              {"code_words", prove::code_words(a.fault.code)},
                              {"kind", json_word(prove::words(a.kind))},
                              {"why", a.why},
                              {"next", a.next},
                              {"may_be_cleared", a.may_be_cleared}};
        if (a.fault.status) {
            o["status"] = *a.fault.status;
            boost::json::array bits;
            for (const auto b : prove::status_bits(*a.fault.status)) bits.push_back(boost::json::string(b));
            o["bits"] = bits;
        }
        out.push_back(o);
    }
    return out;
}

namespace {

std::string entries_as_text(const prove::Faults& faults) {
    std::string out;
    for (const prove::Attributed& a : faults.entries)
        out += fmt::format("  {}: {}; next: {}\n", prove::words(a.kind), a.why, a.next);
    return out;
}

}  // namespace

std::string faults_as_text(const prove::Faults& faults) {
    return faults.sentence + "\n" + entries_as_text(faults);
}

Answer faults_kept(const workshop::FaultsKept& kept) {
    Answer a;
    a.judgement = kept.judgement;
    if (kept.faults) {
        a.headline = kept.faults->sentence;
        a.text = entries_as_text(*kept.faults);
        a.data["faults"] = faults_as_json(*kept.faults);
    } else if (kept.entries) {
        a.headline = fmt::format(
            "{} kept as found before the run (typed).",
            kept.entries->size() == 1 ? "1 fault entry" : fmt::format("{} fault entries", kept.entries->size()));
    } else {
        a.headline = "The fault memory was not read before the run; that is not the same as none.";
    }
    a.data["when"] = workshop::code(kept.when);
    a.data["origin"] = kept.entries ? "typed" : "not-read";
    if (!kept.entries) return a;
    json::array entries;
    for (const prove::Fault& f : *kept.entries) {
        json::object o{{"box", f.box}, {"code", f.code}};
        if (f.status) o["status"] = *f.status;
        entries.push_back(std::move(o));
    }
    a.data["entries"] = std::move(entries);
    return a;
}

}  // namespace fettle::show
