#include "fettle/show/ready.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/clock.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"

namespace fettle::show {
namespace {

using workshop::ReadyChecked;

constexpr const char* kUnderAnItem = "             ";

// Cautions stand together at the end; one next step for several items in a row is said once.
Page items_page(const ReadyChecked& c) {
    Page out;
    Next said;
    for (const ready::Item& i : c.check.items) {
        const Reason& r = i.reason;
        out += fmt::format("  {:<9}  {}: {}\n", words(r.verdict), i.words, i.value);
        if (r.verdict == Verdict::fit) continue;
        out += fmt::format("{}{} ({})\n", kUnderAnItem, r.text, r.code);
        const std::string key = ready::acceptance_key(r);
        for (const Acceptance& a : c.signed_for)
            if (a.code == key || a.code == r.code)
                out += fmt::format("{}signed for by {}: {}\n", kUnderAnItem, printable(a.by), printable(a.reason));
        const auto& cautions = c.check.cautions;
        const bool is_caution = std::find(cautions.begin(), cautions.end(), r.next.words()) != cautions.end();
        if (!r.next.empty() && r.next != said && !is_caution) {
            out += fmt::format("{}next: ", kUnderAnItem);
            out.append(r.next);
            out += "\n";
        }
        said = r.next;
        if (r.verdict == Verdict::cant_say) out += fmt::format("{}or sign for: {}\n", kUnderAnItem, key);
    }
    return out;
}

Page as_page(const ReadyChecked& c) {
    Page out = items_page(c);
    for (const ready::HandsDue& h : c.check.hands)
        out += fmt::format("  hands: it {} between {} and {} after the start{}\n", h.words, human_duration(h.from_s),
                           human_duration(h.to_s), h.control.empty() ? "" : " (" + h.control + ")");
    if (c.check.judgement.verdict() != Verdict::fit) {
        out += "Answer with:    ";
        out += propose(Act::answer, {job(c.job), wanted("answer", "KEY=VALUE …")});
        out += "\nSign for with:  ";
        out +=
            propose(Act::accept, {job(c.job), wanted("code", "CODE"), wanted("by", "NAME"), wanted("reason", "TEXT")});
        out += "\n";
    }
    if (!c.check.cautions.empty()) out += "Cautions\n";
    for (const std::string& caution : c.check.cautions) out += "  " + caution + "\n";
    return out;
}

json::object item_json(const ready::Item& i, const ShowAct& shown) {
    json::object out{{"words", i.words},
                     {"value", i.value},
                     {"verdict", code(i.reason.verdict)},
                     {"code", i.reason.code},
                     {"accept_as", ready::acceptance_key(i.reason)},
                     {"next", i.reason.next.words(shown)}};
    if (const Proposal* act = i.reason.next.proposal()) out["act"] = proposal_as_json(*act);
    return out;
}

json::object as_data(const ReadyChecked& c, const ShowAct& shown) {
    json::array hands, standing;
    for (const ready::HandsDue& h : c.check.hands)
        hands.push_back({{"act", h.act}, {"control", h.control}, {"from_s", h.from_s}, {"to_s", h.to_s}});
    for (const Reason& r : c.may.standing) standing.push_back(json::string(ready::acceptance_key(r)));
    return {{"step", c.step},
            {"may_start", c.may.yes},
            {"standing", std::move(standing)},
            {"items", list_as_json(c.check.items, [&](const ready::Item& i) { return item_json(i, shown); })},
            {"hands", std::move(hands)},
            {"wanted", texts_as_json(c.check.wanted)},
            {"cautions", texts_as_json(c.check.cautions)},
            {"remedies", texts_as_json(c.check.remedies)}};
}

std::string headline(const ReadyChecked& c) {
    const std::string what = c.planned           ? "the step to " + c.release
                             : c.release.empty() ? "a run"
                                                 : "a run to " + c.release + ", which no plan looked at,";
    const auto& standing = c.may.standing;
    if (c.may.yes) {
        const bool bare = c.check.judgement.verdict() == Verdict::fit;
        return fmt::format("Ready: {} may start{}.", what, bare ? "" : ", knowing what is said below");
    }
    const auto halt =
        std::find_if(standing.begin(), standing.end(), [](const Reason& r) { return r.verdict == Verdict::halt; });
    if (halt != standing.end()) return fmt::format("Halt: {} must not start: {}.", what, halt->text);
    return fmt::format("Not ready: {} {} open before {} may start.", standing.size(),
                       standing.size() == 1 ? "point is" : "points are", what);
}

}  // namespace

Answer ready_checked(const ReadyChecked& c, const ShowAct& shown) {
    Answer a;
    a.headline = headline(c);
    a.level = c.level;
    a.text = as_page(c);
    for (const Reason& r : c.check.judgement.reasons)
        if (r.verdict != Verdict::fit) a.judgement.add(r);
    a.reasons_in_text = true;
    a.data = as_data(c, shown);
    return a;
}

Answer answered(const workshop::Answered& answered) {
    Answer a;
    a.verdict_matters = false;
    a.headline = fmt::format("Kept {}.", plural(answered.kept.size(), "answer"));
    json::object kept;
    for (const auto& [key, value] : answered.kept) {
        a.text += fmt::format("  {} = {}\n", key, value);
        kept[key] = value;
    }
    a.data["answers"] = std::move(kept);
    return a;
}

Answer accepted(const workshop::Accepted& accepted) {
    const Acceptance& s = accepted.signature;
    Answer a;
    a.verdict_matters = false;
    a.headline = fmt::format("{} signed for \"{}\": {}", printable(s.by), s.code, printable(s.reason));
    a.data = {{"code", s.code}, {"by", s.by}, {"reason", s.reason}};
    return a;
}

}  // namespace fettle::show
