#include "fettle/workshop/run_witness.h"

#include <fmt/format.h>

#include <algorithm>

#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

// Two breaches that would be told in the same words by the same witness are the same one.
std::string name_of(const std::string& hold, const std::string& witness, const std::string& words) {
    return hold + "\n" + witness + "\n" + words;
}

}  // namespace

NewEntry breach_entry(const Breach& b) {
    return {"breach", {{"hold", b.hold}, {"witness", b.witness}, {"words", b.words}}};
}

std::string breach_words(const Breach& b) {
    return fmt::format("Hold broken ({}): {}. Look now; do not cut power.", b.hold, b.words);
}

RunWitness::RunWitness(const Workshop& shop, const JobRun& run)
    : context_(shop),
      number_(run.number),
      bus_hold_(ready::hold_seen_by(ready::holds_of(run.family, run.on_bench()), "bus")),
      voltage_(run.family, run.on_bench()) {
    for (const book::BreachSeen& b : run.job.runs.back().breaches)
        known_.push_back(name_of(b.hold, b.witness, b.words));
}

Status RunWitness::listen_at(const std::string& at) {
    auto endpoint = link::parse_endpoint(at);
    if (!endpoint) return pass(endpoint);
    auto opened = link::BusListener::open(*endpoint);
    if (!opened) return pass(opened);
    bus_.emplace(std::move(*opened));
    return {};
}

// When it was, where that is not now: readings of a file may be told late.
Status RunWitness::keep(Breach b, std::vector<Breach>& kept) {
    NewEntry entry = breach_entry(b);
    const double ago_s = static_cast<double>(context_.clock->now() - b.at) / 1000;
    if (ago_s >= 2 && ago_s <= 30 * 86400.0) entry.data["ago_s"] = ago_s;
    kept.push_back(std::move(b));
    return append_entries(context_, number_, {entry});
}

Status RunWitness::see(const std::vector<SupplySample>& samples, std::vector<Breach>& kept) {
    Status out;
    const auto take = [&](Breach b) {
        if (auto ok = keep(std::move(b), kept); !ok) out = std::move(ok);
    };
    for (const SupplySample& s : samples) {
        if (auto b = voltage_.observe(s)) take(std::move(*b));
    }
    if (!bus_) return out;
    for (std::string& words : bus_->take()) {
        if (std::find(heard_.begin(), heard_.end(), words) != heard_.end()) continue;
        if (heard_.size() < 64) heard_.push_back(words);
        take({bus_hold_, "bus", std::move(words), context_.clock->now()});
    }
    return out;
}

Status RunWitness::see_again(const std::vector<SupplySample>& samples, std::vector<Breach>& kept) {
    Status out;
    for (const SupplySample& s : samples) {
        auto b = voltage_.observe(s);
        if (!b) continue;
        const auto met = std::find(known_.begin(), known_.end(), name_of(b->hold, b->witness, b->words));
        if (met != known_.end()) {
            known_.erase(met);
        } else if (auto ok = keep(std::move(*b), kept); !ok) {
            out = std::move(ok);
        }
    }
    return out;
}

}  // namespace fettle::workshop
