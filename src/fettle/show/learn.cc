#include "fettle/show/learn.h"

#include <fmt/core.h>

#include "fettle/base/json.h"
#include "fettle/base/text.h"

namespace fettle::show {
namespace {

using workshop::LearntFamily;

std::string line_text(int number, const learn::Line& l) {
    std::string out = fmt::format("  {:>3}  {}{}", number, l.loosens ? "loosens " : "", printable(l.key));
    if (l.before.empty())
        out += ": " + printable(l.after) + "\n";
    else
        out += fmt::format("\n         from {}\n         to   {}\n", printable(l.before), printable(l.after));
    return out + fmt::format("         [{}]\n", l.rests_on);
}

json::object line_json(int number, const learn::Line& l, bool accepted) {
    return {{"line", number},         {"key", l.key},         {"before", l.before},  {"after", l.after},
            {"rests_on", l.rests_on}, {"loosens", l.loosens}, {"accepted", accepted}};
}

std::string headline_of_lesson(const LearntFamily& l) {
    const auto& learnt = l.learnt;
    return fmt::format(
        "Run {} of job {} teaches {} {}{}{}.", l.run, l.job, l.file,
        learnt.lines.empty() ? "nothing new" : plural(learnt.lines.size(), "line"),
        learnt.contradicts.empty() ? "" : ", and says otherwise in " + plural(learnt.contradicts.size(), "place"),
        learnt.seen_before ? "; it was counted before" : "");
}

void add_next(const LearntFamily& l, Page& text) {
    text += "  next        ";
    if (l.written) {
        text += propose(Act::check_family, {given("file", l.file)});
        text += ", then: ";
        text += propose(Act::add_family, {given("file", l.file)});
        text += "\n";
        return;
    }
    text += propose(Act::learn_family, {given("file", l.file), job(l.job), wanted("accept", "all")});
    text += " (or N, or N-M)\n";
}

}  // namespace

Answer learnt(const LearntFamily& l) {
    Answer a;
    a.level = l.level;
    a.judgement = l.judgement;
    json::array lines;
    int n = 0;
    for (const learn::Line& line : l.learnt.lines) {
        const bool taken = l.accepted.contains(++n);
        if (l.accepted.empty() || taken) a.text += line_text(n, line);
        lines.push_back(line_json(n, line, taken));
    }
    for (const std::string& not_learnt : l.learnt.not_learnt) a.text += "  not learnt  " + printable(not_learnt) + "\n";
    a.data = {{"id", l.family},
              {"run", l.run_id},
              {"seen_before", l.learnt.seen_before},
              {"lines", std::move(lines)},
              {"contradicts", texts_as_json(l.learnt.contradicts)},
              {"not_learnt", texts_as_json(l.learnt.not_learnt)},
              {"written", l.written},
              {"file", l.file}};
    if (!l.unnamed.empty()) {
        std::vector<std::string> numbers;
        for (const int u : l.unnamed) numbers.push_back(fmt::format("{}", u));
        a.headline = fmt::format("Not written: line {} would loosen the file.", join(numbers, ", "));
        return a;
    }
    if (l.written)
        a.headline = fmt::format("{} of {} lines of run {} of job {} taken into {}.", l.accepted.size(),
                                 l.learnt.lines.size(), l.run, l.job, printable(l.file));
    else {
        a.headline = headline_of_lesson(l);
        a.verdict_matters = !l.learnt.contradicts.empty();
    }
    if (l.written || !l.learnt.lines.empty()) add_next(l, a.text);
    return a;
}

}  // namespace fettle::show
