#include "fettle/workshop/run_supply.h"

#include <fmt/format.h>

#include <algorithm>

#include "fettle/base/text.h"
#include "fettle/link/supply_source.h"

namespace fettle::workshop {
namespace {

constexpr UnixMs kSilent_ms = 15'000;  // without a reading: said

}  // namespace

RunSupply::RunSupply(Workshop& shop, const JobRun& run)
    : context_(shop),
      recorder_(shop, run.number, run.job.runs.size(), run.job.runs.back()),
      witness_(shop, run),
      samples_(recorded_supply(shop, run.number, run.job.runs.size(), run.job.runs.back()).samples),
      came_(shop.clock->now()) {
    for (const SupplySample& s : samples_) recorded_.insert(s.t);
}

Result<std::unique_ptr<RunSupply>> RunSupply::open(Workshop& shop, const JobRun& run, const std::string& from,
                                                   const std::string& listen) {
    std::unique_ptr<RunSupply> out(new RunSupply(shop, run));
    if (!from.empty()) {
        auto opened = link::open_supply(from, *shop.clock, run.job.runs.back().started);
        if (!opened) return pass(opened);
        out->source_ = std::move(*opened);
    }
    if (!listen.empty()) {
        if (auto ok = out->witness_.listen_at(listen); !ok) return pass(ok);
    }
    if (auto kept = out->witness_.see_again(out->samples_, out->found_again_); !kept)
        out->journal_says_ = "not kept in the journal: " + kept.error().problem;
    return out;
}

std::vector<ready::Breach> RunSupply::take() {
    std::vector<ready::Breach> seen = std::move(found_again_);
    found_again_.clear();
    std::vector<SupplySample> fresh;
    if (source_) {
        auto got = source_->take();
        source_says_ = got ? "" : "supply: " + got.error().problem;
        if (got) {
            fresh = std::move(*got);
            // A file that an earlier watch has read gives the same lines again: they are recorded already.
            std::erase_if(fresh, [&](const SupplySample& s) { return recorded_.count(s.t) > 0; });
        }
        const UnixMs now = context_.clock->now();
        // By this machine's clock, not by what the readings say of theirs; one that was set back begins anew.
        if (!fresh.empty() || now < came_) came_ = now;
        quiet_ = fresh.empty() ? quiet_ + 1 : 0;
        if (got && now - came_ >= kSilent_ms)
            source_says_ = "supply: no new reading for " + human_duration(static_cast<double>(now - came_) / 1000);
    }
    if (!fresh.empty() && recorder_.ok()) {
        auto kept = recorder_.add(fresh);
        if (kept) kept = recorder_.seal(false);
        recording_says_ = kept ? "" : kept.error().problem + "; " + kept.error().next.words();
    }
    auto kept = witness_.see(fresh, seen);
    journal_says_ = kept ? "" : "not kept in the journal: " + kept.error().problem;
    samples_.insert(samples_.end(), fresh.begin(), fresh.end());
    return seen;
}

void RunSupply::end() {
    if (!recorder_.ok()) return;
    if (auto kept = recorder_.seal(true); !kept) recording_says_ = kept.error().problem;
}

std::vector<std::string> RunSupply::troubles() const {
    std::vector<std::string> out;
    for (const std::string* s : {&source_says_, &recording_says_, &journal_says_})
        if (!s->empty()) out.push_back(printable(shortened(*s)));
    return out;
}

}  // namespace fettle::workshop
