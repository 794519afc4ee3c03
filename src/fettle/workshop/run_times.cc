#include "fettle/workshop/run_times.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/book/correct.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {

using plan::OwnOutcome;
using plan::speaks_of;

Result<std::vector<json::object>> times_kept(const Workshop& shop) {
    std::vector<json::object> out;
    std::error_code ignored;
    if (!std::filesystem::exists(shop.book_file(), ignored)) return out;
    auto opened = open_book(shop);
    if (!opened) return pass(opened);
    const auto all = opened->entries_of("times");
    const auto put_right = opened->entries_of("corrects");
    const auto taken_back = opened->entries_of("unmark");
    for (const auto* read : {&all, &put_right, &taken_back})
        if (!*read) return pass(*read);
    std::map<std::pair<std::string, std::int64_t>, std::optional<json::object>> by_entry;
    for (const auto& t : *all)
        if (auto v = parse_json(t.data, "times"); v && v->is_object())
            by_entry[{t.job, t.number}] = std::move(v->get_object());
    const auto of = [&](const std::string& job, const json::object& o) {
        return by_entry.find({job, static_cast<std::int64_t>(number_of(o, "entry"))});
    };
    for (const auto& c : *put_right) {
        const auto v = parse_json(c.data, "corrects");
        if (!v || !v->is_object()) continue;
        const auto t = of(c.job, v->get_object());
        const auto* value = v->get_object().if_contains("value");
        std::string before;
        if (t != by_entry.end() && value)
            book::set_member(*t->second, text_of(v->get_object(), "field"), *value, before);
    }
    for (const auto& u : *taken_back)
        if (const auto v = parse_json(u.data, "unmark"); v && v->is_object())
            if (const auto t = of(u.job, v->get_object()); t != by_entry.end()) by_entry.erase(t);
    for (const auto& t : *all)  // in order of time
        if (const auto kept = by_entry.find({t.job, t.number}); kept != by_entry.end())
            out.push_back(std::move(*kept->second));
    return out;
}

bool counts(const json::object& times) {
    return text_of(times, "doubt").empty() && number_of(times, "seconds") > 0;
}

std::map<std::string, std::vector<forecast::PastRun>> own_runs_of(const Workshop& shop, const std::string& family) {
    std::map<std::string, std::vector<forecast::PastRun>> out;
    const auto all = times_kept(shop);
    if (!all) return out;
    for (const json::object& o : *all)
        if (counts(o) && text_of(o, "family") == family)
            out[text_of(o, "release")].push_back({number_of(o, "seconds")});
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

void score(json::object& times, double seconds, double p50_s, double p90_s) {
    times["seconds"] = seconds;
    if (!(p90_s > 0)) return;
    // Pinball loss of a 90 % point: late by a second costs 0.9, early by a second 0.1.
    const double late = seconds - p90_s;
    times["promised_p50_s"] = p50_s;
    times["promised_p90_s"] = p90_s;
    times["kept"] = late <= 0;
    times["loss_s"] = late > 0 ? 0.9 * late : -0.1 * late;
}

NewEntry times_entry(const std::string& family, const book::Run& run, double seconds,
                     const forecast::Quantiles& promised, const std::string& doubt) {
    json::object data{{"family", family}, {"release", run.release}};
    score(data, std::max(0.001, seconds), promised.p50_s, promised.p90_s);
    if (!doubt.empty()) data["doubt"] = doubt;
    return {"times", std::move(data)};
}

std::string odd_length(double seconds, const forecast::Quantiles& promised) {
    if (!(promised.p10_s > 0) || !(promised.p50_s > 0) || !(promised.p90_s > 0)) return "";
    const double tails = 3.719 / 1.2816;  // of the normal law of ln(seconds): 1 in 10,000 by 1 in 10
    if (seconds < promised.p50_s * std::pow(promised.p10_s / promised.p50_s, tails)) return "short";
    if (seconds > promised.p50_s * std::pow(promised.p90_s / promised.p50_s, tails)) return "long";
    return "";
}

}  // namespace fettle::workshop
