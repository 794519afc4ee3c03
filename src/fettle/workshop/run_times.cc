#include "fettle/workshop/run_times.h"

#include <fmt/format.h>

#include <algorithm>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {

using plan::OwnOutcome;
using plan::speaks_of;

std::map<std::string, std::vector<forecast::PastRun>> own_runs_of(const Workshop& shop, const std::string& family) {
    std::map<std::string, std::vector<forecast::PastRun>> out;
    std::error_code ignored;
    if (!std::filesystem::exists(shop.book_file(), ignored)) return out;
    auto opened = open_book(shop);
    if (!opened) return out;
    const auto all = opened->data_of("times");
    if (!all) return out;
    for (const std::string& text : *all) {
        const auto v = parse_json(text, "times");
        if (!v || !v->is_object()) continue;
        const json::object& o = v->get_object();
        const double seconds = number_of(o, "seconds");
        if (text_of(o, "family") == family && seconds > 0) out[text_of(o, "release")].push_back({seconds});
    }
    return out;
}

std::vector<OwnOutcome> own_outcomes_of(const Workshop& shop, const std::string& family, const std::string& complaint,
                                        const std::string& but_job) {
    std::error_code ignored;
    if (trim(complaint).empty() || !std::filesystem::exists(shop.book_file(), ignored)) return {};
    auto book = open_book(shop);
    if (!book) return {};
    const auto numbers = book->jobs();
    if (!numbers) return {};
    std::vector<book::Job> such;  // oldest first
    for (const std::string& number : *numbers) {
        const auto entries = book->read(number);
        if (!entries) continue;
        const auto job = book::fold(number, *entries);
        if (job && speaks_of(job->complaint, complaint)) such.push_back(*job);
    }
    std::map<std::string, OwnOutcome> by_release;
    for (auto job = such.begin(); job != such.end(); ++job) {
        if (job->number == but_job || job->family != family || (job->proved != "proved" && job->proved != "partly"))
            continue;
        const std::string& release = job->as_left_release.empty() ? job->target : job->as_left_release;
        if (release.empty()) continue;
        const bool again = std::any_of(job + 1, such.end(), [&](const book::Job& later) {
            return std::any_of(later.plates.begin(), later.plates.end(), [&](const auto& plate) {
                return std::any_of(job->plates.begin(), job->plates.end(),
                                   [&](const auto& mine) { return mine.second == plate.second; });
            });
        });
        OwnOutcome& o = by_release[release];
        o.release = release;
        ++o.units;
        o.came_back += again ? 1 : 0;
    }
    std::vector<OwnOutcome> out;
    for (auto& [release, o] : by_release) out.push_back(o);
    return out;
}

NewEntry times_entry(const std::string& family, const book::Run& run, UnixMs ended, double p50_s, double p90_s) {
    const double seconds = std::max(0.001, static_cast<double>(ended - run.started) / 1000);
    json::object data{{"family", family}, {"release", run.release}, {"seconds", seconds}};
    if (p90_s > 0) {
        // Pinball loss of a 90 % point: late by a second costs 0.9, early by a second 0.1.
        const double late = seconds - p90_s;
        data["promised_p50_s"] = p50_s;
        data["promised_p90_s"] = p90_s;
        data["kept"] = late <= 0;
        data["loss_s"] = late > 0 ? 0.9 * late : -0.1 * late;
    }
    return {"times", std::move(data)};
}

}  // namespace fettle::workshop
