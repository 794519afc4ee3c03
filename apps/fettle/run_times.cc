#include "run_times.h"

#include <fmt/format.h>

#include <algorithm>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/forecast/by_hand.h"
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

std::vector<OwnOutcome> own_outcomes_of(const Context& context, const std::string& family, const std::string& complaint,
                                        const std::string& but_job) {
    std::error_code ignored;
    if (trim(complaint).empty() || !std::filesystem::exists(context.book_file(), ignored)) return {};
    auto book = open_book(context);
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

namespace {

struct Promises {  // of one family and release
    std::int64_t made = 0, kept = 0;
    double loss_s = 0;
};

std::string per_cent(double share) {
    return fmt::format("{:.0f} %", 100 * share);
}

}  // namespace

Result<Answer> book_promises(Context& context, const BookPromisesOptions& options) {
    Answer a;
    std::map<std::string, Promises> by_step;
    Promises all;
    std::error_code ignored;
    if (std::filesystem::exists(context.book_file(), ignored)) {
        auto opened = open_book(context);
        if (!opened) return pass(opened);
        auto texts = opened->data_of("times");
        if (!texts) return pass(texts);
        for (const std::string& text : *texts) {
            const auto v = parse_json(text, "times");
            if (!v || !v->is_object()) continue;
            const json::object& o = v->get_object();
            if (!o.contains("kept") || !o.at("kept").is_bool()) continue;
            if (!options.family.empty() && text_of(o, "family") != options.family) continue;
            Promises& of = by_step[text_of(o, "family") + " to " + text_of(o, "release")];
            for (Promises* p : {&of, &all}) {
                ++p->made;
                p->kept += o.at("kept").as_bool();
                p->loss_s += number_of(o, "loss_s");
            }
        }
    }
    json::array steps;
    const auto bounds = [](const Promises& p) {
        return std::pair{forecast::lower_share(p.kept, p.made, 0.975), forecast::upper_share(p.kept, p.made, 0.975)};
    };
    for (const auto& [what, p] : by_step) {
        const auto [low, high] = bounds(p);
        a.text += fmt::format("  {}: {} of {} kept, loss {:.0f} s each\n", printable(what), p.kept, p.made,
                              p.loss_s / static_cast<double>(p.made));
        steps.push_back({{"step", what},
                         {"made", p.made},
                         {"kept", p.kept},
                         {"low", low},
                         {"high", high},
                         {"loss_s", p.loss_s / static_cast<double>(p.made)}});
    }
    a.data = {{"made", all.made}, {"kept", all.kept}, {"steps", std::move(steps)}};
    if (all.made == 0) {
        a.headline = "No promise was made yet that has come due.";
        a.judgement.add({"no-promise-yet", Verdict::cant_say,
                         "no run that was promised a time has ended yet: how honest the forecasts are cannot be said",
                         "book", "no run"});
        return a;
    }
    const auto [low, high] = bounds(all);
    a.data["low"] = low;
    a.data["high"] = high;
    a.headline = fmt::format("{} of {} promises kept; each said nine in ten. By this record, {} to {} are.", all.kept,
                             all.made, per_cent(low), per_cent(high));
    const std::string rests = fmt::format("measured {}; Clopper-Pearson, 95 % two-sided", all.made);
    if (high < 0.9)
        a.judgement.add({"promises-too-short", Verdict::mind,
                         "fewer are kept than promised: say longer times, until the own runs have caught up", "book",
                         rests});
    else if (low > 0.9)
        a.judgement.add({"promises-too-long", Verdict::mind, "more are kept than promised: the times could be shorter",
                         "book", rests});
    else
        a.judgement.add(
            {"promises-as-said", Verdict::fit, "this record does not contradict nine in ten", "book", rests});
    return a;
}

}  // namespace fettle::app
