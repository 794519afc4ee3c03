#include "fettle/workshop/run_supply.h"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

#include "fettle/base/text.h"
#include "fettle/link/supply_source.h"

namespace fettle::workshop {
namespace {

constexpr UnixMs kSilent_ms = 15'000;  // without a reading: said

}  // namespace

RunSupply::RunSupply(const Workshop& shop, const JobRun& run)
    : context_(shop),
      witness_(shop, run),
      tail_(shop, run.number, run.job.runs.size(), run.job.runs.back()),
      waiting_{tail_.more(), {}},
      came_(shop.clock->now()) {
    for (const SupplySample& s : waiting_.samples) recorded_.insert(s.t);
}

Result<std::unique_ptr<RunSupply>> RunSupply::open(const Workshop& shop, const JobRun& run, const std::string& from,
                                                   const std::string& listen) {
    std::unique_ptr<RunSupply> out(new RunSupply(shop, run));
    if (!from.empty()) {
        auto opened = link::open_supply(from, *shop.clock, run.job.runs.back().started);
        if (!opened) return pass(opened);
        out->source_ = std::move(*opened);
        out->recorder_.emplace(shop, run.number, run.job.runs.size(), run.job.runs.back());
    }
    if (!listen.empty()) {
        if (auto ok = out->witness_.listen_at(listen); !ok) return pass(ok);
    }
    if (auto kept = out->witness_.see_again(out->waiting_.samples, out->waiting_.breaches); !kept)
        out->journal_says_ = "not kept in the journal: " + kept.error().problem;
    return out;
}

RunSupply::Taken RunSupply::take() {
    Taken out = std::exchange(waiting_, {});
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
        // By this machine's clock, not by what the readings say of theirs; one that was set back begins again.
        if (!fresh.empty() || now < came_) came_ = now;
        quiet_ = fresh.empty() ? quiet_ + 1 : 0;
        if (got && now - came_ >= kSilent_ms)
            source_says_ = "supply: no new reading for " + human_duration(static_cast<double>(now - came_) / 1000);
    } else {
        const std::vector<SupplySample> recorded = tail_.more();
        out.samples.insert(out.samples.end(), recorded.begin(), recorded.end());
    }
    if (!fresh.empty() && recorder_ && recorder_->ok()) {
        auto kept = recorder_->add(fresh);
        if (kept) kept = recorder_->seal(false);
        recording_says_ = kept ? "" : kept.error().problem + "; " + kept.error().next.words();
    }
    auto kept = witness_.see(fresh, out.breaches);
    journal_says_ = kept ? "" : "not kept in the journal: " + kept.error().problem;
    out.samples.insert(out.samples.end(), fresh.begin(), fresh.end());
    return out;
}

void RunSupply::end() {
    if (!recorder_ || !recorder_->ok()) return;
    if (auto kept = recorder_->seal(true); !kept) recording_says_ = kept.error().problem;
}

std::vector<std::string> RunSupply::troubles() const {
    std::vector<std::string> out;
    for (const std::string* s : {&source_says_, &recording_says_, &journal_says_})
        if (!s->empty()) out.push_back(printable(shortened(*s)));
    return out;
}

}  // namespace fettle::workshop
