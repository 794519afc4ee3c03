#include "run_times.h"

#include <algorithm>

#include "fettle/base/json.h"
#include "job_store.h"

namespace fettle::app {

std::map<std::string, std::vector<forecast::PastRun>> own_runs_of(const Context& context, const std::string& family) {
    std::map<std::string, std::vector<forecast::PastRun>> out;
    std::error_code ignored;
    if (!std::filesystem::exists(context.book_file(), ignored)) return out;
    auto opened = open_book(context);
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

}  // namespace fettle::app
