#include "fettle/workshop/link_options.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>

#include "fettle/base/digest.h"
#include "fettle/base/files.h"
#include "fettle/base/text.h"
#include "fettle/link/recording.h"
#include "fettle/workshop/run_follow.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

// Every state that the run can be in, down to 1 in 100, is safe to poll.
bool safe_to_poll(const Workshop& shop, const std::string& number) {
    const auto run = load_last_run(shop, number);
    if (!run || run->job.runs.empty()) return false;
    const book::Run& which = run->job.runs.back();
    const watch::Where where = where_is(*run, which, shop.clock->now());
    // "stuck" and "astray" name no act: then it can be in any of the script.
    const auto safe = [&](const std::string& id) {
        const auto* act = run->family.act(id);
        return act && act->polling_safe;
    };
    bool any_act = where.odds.empty();
    for (const watch::Odds& o : where.odds) {
        if (!run->family.act(o.act))
            any_act = true;
        else if (!safe(o.act))
            return false;
    }
    return !any_act || std::all_of(run->family.script.begin(), run->family.script.end(),
                                   [&](const family::Act& a) { return safe(a.id); });
}

link::Phase phase_of(const Workshop& shop, const std::string& number) {
    if (number.empty()) return link::Phase::no_run;
    const auto job = load_job(shop, number);
    if (!job) return link::Phase::run_open;  // a record that cannot be read is no leave to ask
    if (job->runs.empty() || job->runs.back().ended) return link::Phase::no_run;
    return safe_to_poll(shop, number) ? link::Phase::run_may_poll : link::Phase::run_open;
}

class Recorded : public link::Recorder {
public:
    Recorded(std::shared_ptr<link::FileRecorder> f, std::string p) : file(std::move(f)), path(std::move(p)) {}
    void opened(const void* line, const link::Endpoint& here, const link::Endpoint& there) override {
        used = true;
        file->opened(line, here, there);
    }
    void tcp(const void* line, bool sent, ByteView b) override { file->tcp(line, sent, b); }
    void udp(bool sent, const link::Endpoint& here, const link::Endpoint& there, ByteView b) override {
        used = true;
        file->udp(sent, here, there, b);
    }
    void can(bool sent, const link::CanFrame& f) override {
        used = true;
        file->can(sent, f);
    }
    std::shared_ptr<link::FileRecorder> file;
    std::string path;
    bool used = false;
};

std::int64_t now_us() {
    return std::chrono::duration_cast<std::chrono::microseconds>(std::chrono::system_clock::now().time_since_epoch())
        .count();
}

}  // namespace

Reason lost_once(const std::string& via) {
    return {"link-lost-once", Verdict::mind,
            "the other side broke off the connection while it was read, and the reading went on over a new one", via,
            "read over the link"};
}

Result<link::Options> link_options(const Workshop& shop, const std::string& number, const std::string& record) {
    link::Options o;
    if (!number.empty()) {
        if (const auto job = load_job(shop, number); !job) return pass(job);
        if (phase_of(shop, number) == link::Phase::run_open)
            return usage_error("run-under-way", "job " + printable(number),
                               "a run of it is open, and from its start to its end the link is silent",
                               "wait for its end and mark it; watch shows where it is");
    }
    o.phase = [&shop, number] { return phase_of(shop, number); };
    std::string path = record;
    if (path.empty() && !number.empty()) {
        const auto folder = shop.home / "recordings";
        if (auto ok = make_folder(folder); !ok) return pass(ok);
        for (int n = 1; path.empty(); ++n) {
            const auto name = folder / fmt::format("{}-{}.pcapng", number, n);
            std::error_code ec;
            if (!std::filesystem::exists(name, ec)) path = name.string();
        }
    }
    if (path.empty()) return o;
    auto file = link::FileRecorder::create(path, now_us);
    if (!file) return pass(file);
    o.record = std::make_shared<Recorded>(std::move(*file), path);
    return o;
}

std::optional<Recording> recording_of(const link::Options& options) {
    const auto* r = dynamic_cast<const Recorded*>(options.record.get());
    if (!r) return std::nullopt;
    return Recording{r->path, r->file->failed()};
}

std::vector<NewEntry> recorded_entry(const Workshop& shop, const std::string& job, const link::Options& options) {
    const auto* r = dynamic_cast<const Recorded*>(options.record.get());
    if (!r || job.empty()) return {};
    namespace fs = std::filesystem;
    std::error_code ec;
    const fs::path whole = fs::absolute(r->path, ec);
    const fs::path ours = fs::absolute(shop.home / "recordings", ec);
    const auto digest = sha256_hex_of_file(whole);
    const auto bytes = fs::file_size(whole, ec);
    if (!digest || ec) return {};
    const std::string name = whole.parent_path() == ours ? whole.filename().string() : whole.string();
    return {{"recorded", {{"file", name}, {"bytes", bytes}, {"sha256", *digest}}}};
}

Status keep_recording(const Workshop& shop, const std::string& job, const link::Options& options) {
    if (const auto* r = dynamic_cast<const Recorded*>(options.record.get()); r && !r->used) {  // nothing was said
        std::error_code ignored;
        std::filesystem::remove(r->path, ignored);
        return {};
    }
    const std::vector<NewEntry> entries = recorded_entry(shop, job, options);
    return entries.empty() ? Status() : append_entries(shop, job, entries);
}

}  // namespace fettle::workshop
