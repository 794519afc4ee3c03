#include "cmd_learn.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <set>

#include "fettle/base/digest.h"
#include "fettle/base/files.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/learn/learn.h"
#include "fettle/workshop/job_run.h"
#include "fettle/workshop/store.h"
#include "fettle/workshop/supply_record.h"

namespace fettle::app {
namespace {

namespace fs = std::filesystem;

constexpr std::uintmax_t file_limit_bytes = 4u << 20;

Result<const book::Run*> run_of(const book::Job& job, int wanted) {
    if (job.runs.empty())
        return bad_input("no-run", "job " + job.number, "no run was begun",
                         "watch one: fettle watch " + job.number + " --start --by NAME");
    if (wanted < 0 || wanted > static_cast<int>(job.runs.size()))
        return usage_error("run-not-there", fmt::format("--run {}", wanted),
                           fmt::format("the job has {} {}", job.runs.size(), job.runs.size() == 1 ? "run" : "runs"),
                           "name one of them");
    const book::Run* out = wanted > 0 ? &job.runs[static_cast<std::size_t>(wanted) - 1] : nullptr;
    for (const book::Run& r : job.runs)
        if (wanted == 0 && r.outcome == "ended") out = &r;
    if (!out || out->outcome != "ended" || !out->ended)
        return bad_input(
            "run-not-to-its-end", "job " + job.number,
            wanted > 0 ? fmt::format("run {} did not come to its end", wanted) : std::string("no run came to its end"),
            "only a good run shows how a good run goes; mark its end: fettle mark " + job.number + " ended");
    return out;
}

// The card that the run was made with: laid for this job before it, audited good, MBR and FAT32 as Fettle lays.
std::optional<learn::AcceptedCard> card_of(const JobRecord& record, const book::Job& job, const book::Run& run) {
    if (!job.card_audited_good) return std::nullopt;
    std::optional<learn::AcceptedCard> out;
    for (const book::Entry& e : record.entries) {
        if (e.type != "laid" || e.at > run.started) continue;
        const auto v = parse_json(e.data, "laid");
        if (!v || !v->is_object()) continue;
        const double bytes = number_of(v->get_object(), "cluster_bytes");
        const auto kib = static_cast<std::uint32_t>(bytes / 1024);
        out = kib > 0 ? std::optional(learn::AcceptedCard{"fat32", kib}) : std::nullopt;
    }
    return out;
}

Result<std::set<int>> accepted_of(const FamilyLearnOptions& o, std::size_t lines) {
    std::set<int> out;
    for (const std::string& word : o.accept) {
        if (word == "all") {
            for (std::size_t n = 1; n <= lines; ++n) out.insert(static_cast<int>(n));
            continue;
        }
        int from = 0, to = 0;
        const char* end = word.data() + word.size();
        auto read = std::from_chars(word.data(), end, from);
        to = from;
        bool good = read.ec == std::errc();
        if (good && read.ptr != end) {
            good = *read.ptr == '-';
            if (good) read = std::from_chars(read.ptr + 1, end, to);
            good = good && read.ec == std::errc() && read.ptr == end;
        }
        if (!good || from < 1 || to < from || static_cast<std::size_t>(to) > lines)
            return usage_error("line-not-there", "--accept " + printable(word),
                               fmt::format("names no line; there {} {}", lines == 1 ? "is" : "are", lines),
                               "give a number, a range such as 2-5, or all");
        for (int n = from; n <= to; ++n) out.insert(n);
    }
    return out;
}

std::string line_text(int number, const learn::Line& l) {
    std::string out = fmt::format("  {:>3}  {}{}", number, l.loosens ? "loosens " : "", printable(l.key));
    if (l.before.empty())
        out += ": " + printable(l.after) + "\n";
    else
        out += fmt::format("\n         from {}\n         to   {}\n", printable(l.before), printable(l.after));
    return out + fmt::format("         [{}]\n", l.rests_on);
}

json::array texts_json(const std::vector<std::string>& texts) {
    json::array out;
    for (const std::string& t : texts) out.push_back(json::string(t));
    return out;
}

std::string count(std::size_t n, const char* one, const char* many) {
    return fmt::format("{} {}", n, n == 1 ? one : many);
}

}  // namespace

Result<Answer> family_learn(Context& context, const FamilyLearnOptions& options) {
    if (context.job.empty())
        return usage_error("job-missing", "--job", "whose run is to be learnt from is not said", "give --job J");
    std::error_code ec;
    const fs::path file = options.file;
    if (fs::equivalent(file.parent_path().empty() ? "." : file.parent_path(), context.families_folder(), ec) && !ec)
        return bad_input("file-in-use", options.file, "is in use here, and jobs hold on to its digest",
                         "copy it, learn into the copy, then: fettle family add COPY");
    const auto text = read_text_file(file, file_limit_bytes);
    if (!text) return pass(text);
    const auto family = family::load_family(file);
    if (!family) return pass(family);
    const auto job = load_job(context, context.job);
    if (!job) return pass(job);
    if (!job->family.empty() && job->family != family->id)
        return bad_input("family-another", options.file,
                         fmt::format("is of family {}; the job's boxes are of {}", family->id, job->family),
                         "learn into the file of that family");
    const auto run = run_of(*job, options.run);
    if (!run) return pass(run);
    const auto record = read_job(context, context.job);
    if (!record) return pass(record);

    const book::Run& r = **run;
    learn::Seen seen;
    seen.run = r.id;
    seen.day = iso8601(r.started).substr(0, 10);
    seen.ended = *r.ended;
    seen.observed = observed(r, job->place != "vehicle");
    std::erase_if(seen.observed.marks, [](const watch::Mark& m) { return m.undone; });
    for (const book::RunMark& m : r.marks)
        if (!m.undone && !m.how.empty()) seen.replies.push_back({m.at, m.how, m.area});
    const auto number = static_cast<std::size_t>(&r - job->runs.data()) + 1;
    const SupplyRead supply = recorded_supply(context, job->number, number, r);
    if (!supply.changed) seen.observed.supply = supply.samples;
    seen.card = card_of(*record, *job, r);

    learn::Learnt learnt = learn::learn(*family, *text, seen);
    if (supply.changed)
        learnt.not_learnt.push_back("current: the recorded supply is not what the journal knows by its digest");
    const auto accepted = accepted_of(options, learnt.lines.size());
    if (!accepted) return pass(accepted);

    Answer a;
    a.level = family->level;
    json::array lines;
    std::vector<std::string> unnamed;
    for (std::size_t i = 0; i < learnt.lines.size(); ++i) {
        const learn::Line& l = learnt.lines[i];
        const int n = static_cast<int>(i) + 1;
        const bool taken = accepted->contains(n);
        if (taken && l.loosens && trim(options.allowed_by).empty()) unnamed.push_back(fmt::format("{}", n));
        if (accepted->empty() || taken) a.text += line_text(n, l);
        lines.push_back(json::object{{"line", n},
                                     {"key", l.key},
                                     {"before", l.before},
                                     {"after", l.after},
                                     {"rests_on", l.rests_on},
                                     {"loosens", l.loosens},
                                     {"accepted", taken}});
    }
    for (const std::string& c : learnt.contradicts) {
        a.judgement.add({"run-contradicts", Verdict::mind, printable(c), "run", "this run's journal"});
    }
    for (const std::string& n : learnt.not_learnt) a.text += "  not learnt  " + printable(n) + "\n";
    a.data = {{"id", family->id},
              {"run", seen.run},
              {"seen_before", learnt.seen_before},
              {"lines", std::move(lines)},
              {"contradicts", texts_json(learnt.contradicts)},
              {"not_learnt", texts_json(learnt.not_learnt)},
              {"written", false},
              {"file", options.file}};
    const std::string what = fmt::format("run {} of job {}", number, job->number);
    if (!unnamed.empty()) {
        a.headline = fmt::format("Not written: line {} would loosen the file.", join(unnamed, ", "));
        a.judgement.add({"learn-loosens", Verdict::halt,
                         "what weakens a figure or a rule that the file holds needs somebody's name: --allowed-by NAME",
                         options.file, "family file"});
        return a;
    }
    if (accepted->empty()) {
        a.headline = fmt::format(
            "{} teaches {} {}{}{}.", what.substr(0, 1) == "r" ? "R" + what.substr(1) : what, options.file,
            learnt.lines.empty() ? "nothing new" : count(learnt.lines.size(), "line", "lines"),
            learnt.contradicts.empty()
                ? ""
                : fmt::format(", and says otherwise in {}", count(learnt.contradicts.size(), "place", "places")),
            learnt.seen_before ? "; it was counted before" : "");
        if (!learnt.lines.empty())
            a.text += fmt::format("  next        fettle family learn {} --job {} --accept all (or N, or N-M)\n",
                                  printable(options.file), job->number);
        a.verdict_matters = !learnt.contradicts.empty();
        return a;
    }
    const auto next = learn::apply(*text, seen, learnt, *accepted, std::string(trim(options.allowed_by)));
    if (!next) return pass(next);
    const auto still = read_text_file(file, file_limit_bytes);
    if (!still) return pass(still);
    if (*still != *text)
        return outside_error("file-changed", options.file, "the file changed while it was read", "learn again");
    if (const Status written = write_file_durably(file, *next); !written) return pass(written);
    a.headline = fmt::format("{} of {} lines of {} taken into {}.", accepted->size(), learnt.lines.size(), what,
                             printable(options.file));
    a.text +=
        fmt::format("  next        fettle family check {0}, then: fettle family add {0}\n", printable(options.file));
    a.data["written"] = true;
    return a;
}

}  // namespace fettle::app
