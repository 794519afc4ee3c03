#include "fettle/workshop/card_of_job.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

bool has(const std::vector<std::string>& all, const std::string& one) {
    return std::find(all.begin(), all.end(), one) != all.end();
}

// "…, for NS" without the count of what else was found.
std::string cause_of(const std::string& sentence) {
    const auto at = sentence.rfind(" (");
    const bool counted = at != std::string::npos && sentence.ends_with(" below)");
    return counted ? sentence.substr(0, at) : sentence;
}

unsigned number_in(const json::object& o) {
    const auto* n = o.if_contains("card_number");
    return n && n->is_int64() && n->get_int64() >= 2 && n->get_int64() <= 9 ? static_cast<unsigned>(n->get_int64()) : 1;
}

std::vector<std::string> texts_in(const json::object& o, std::string_view key) {
    std::vector<std::string> out;
    const auto* v = o.if_contains(key);
    if (!v || !v->is_array()) return out;
    for (const auto& item : v->get_array())
        if (item.is_string()) out.emplace_back(item.get_string());
    return out;
}

// What cannot be read is no better than a halt.
Verdict verdict_in(const std::string& word) {
    for (const Verdict v : {Verdict::fit, Verdict::mind, Verdict::cant_say})
        if (word == code(v)) return v;
    return Verdict::halt;
}

// In place of what the check said of that card; at the end where it said nothing, or something worse.
void tell(ready::Check& check, const std::string& where, const char* value, Reason r) {
    r.where = where;
    const auto said = std::find_if(check.items.begin(), check.items.end(),
                                   [&](const ready::Item& i) { return i.reason.where == where; });
    if (said == check.items.end() || said->reason.verdict > r.verdict) {
        check.items.push_back({where, value, r});
        check.judgement.add(std::move(r));
        return;
    }
    const auto at = said - check.items.begin();
    said->value = value;
    said->reason = r;
    check.judgement.reasons[static_cast<std::size_t>(at)] = std::move(r);
}

}  // namespace

Judgement against_job(const book::Job& job, const OnCard& card) {
    Judgement out;
    const auto halt = [&](const char* code, std::string text, const char* next) {
        out.add(Reason{code, Verdict::halt, std::move(text), "card", "the job and the package's index", next});
    };
    if (!job.family.empty() && !card.family.empty() && card.family != job.family)
        halt("card-other-family",
             fmt::format("The card is for {}, the boxes of this job are {}.", printable(card.family),
                         printable(job.family)),
             "take this job's card, or lay it");
    if (!job.market.empty() && !card.markets.empty() && !has(card.markets, job.market))
        halt("card-other-market",
             fmt::format("The package on the card is for market {}, the boxes of this job are {}.",
                         printable(join(card.markets, ", ")), printable(job.market)),
             "get the package for this market, shelve it, and lay the card from it");
    // Steps before that of the last run lie behind: their release is older than what may be there by now.
    auto to_come = job.plan.begin();
    if (!job.runs.empty()) {
        to_come = std::find_if(job.plan.begin(), job.plan.end(),
                               [&](const book::PlannedStep& s) { return s.release == job.runs.back().release; });
        if (to_come == job.plan.end()) to_come = job.plan.begin();  // planned anew since
    }
    const bool behind =
        std::any_of(job.plan.begin(), to_come, [&](const auto& s) { return s.release == card.release; });
    const bool planned = std::any_of(to_come, job.plan.end(), [&](const auto& s) { return s.release == card.release; });
    if (!job.plan.empty() && !card.release.empty() && !planned) {
        std::vector<std::string> steps;
        for (auto s = to_come; s != job.plan.end(); ++s) steps.push_back(s->release);
        if (behind)
            halt("card-behind",
                 fmt::format("The card is of release {}, a step that lies behind: {} has been run since.",
                             printable(card.release), printable(job.runs.back().release)),
                 "take the card of the step that is next, or lay it");
        else
            halt("card-other-release",
                 fmt::format("The card is of release {}, and the plan of this job installs {}.",
                             printable(card.release), printable(join(steps, ", then "))),
                 "lay the card for this job's step, or plan to that release first");
    }
    return out;
}

std::map<unsigned, CardOfJob> cards_of(const std::vector<book::Entry>& entries) {
    std::map<unsigned, CardOfJob> out;
    for (const book::Entry& e : entries) {
        const bool audited = e.type == "audited";
        if (!audited && e.type != "laid") continue;
        const auto data = parse_json(e.data, "an entry");
        if (!data || !data->is_object()) continue;  // the fold has said so
        const json::object& o = data->get_object();
        CardOfJob& c = out[number_in(o)];
        if (!audited) c = {};
        const std::string family = text_of(o, "family"), release = text_of(o, "release");
        if (!family.empty()) c.on = {family, texts_in(o, "markets"), c.on.release};
        if (!release.empty()) c.on.release = release;
        if (!audited) continue;
        c.audit = verdict_in(text_of(o, "verdict"));
        c.sentence = cause_of(text_of(o, "sentence"));
    }
    return out;
}

Result<std::map<unsigned, CardOfJob>> cards_of(const Workshop& shop, const std::string& job) {
    const auto record = read_job(shop, job);
    if (!record) return pass(record);
    return cards_of(record->entries);
}

void tell_cards(const book::Job& job, const std::map<unsigned, CardOfJob>& cards, unsigned wanted,
                ready::Check& check) {
    for (const auto& [number, card] : cards) {
        if (number > wanted) break;  // of an earlier step
        const std::string where = number == 1 ? "card" : fmt::format("card.{}", number);
        OnCard on = card.on;
        on.release.clear();  // which release the step wants, the check has asked
        const Judgement against = against_job(job, on);
        if (!against.reasons.empty())
            tell(check, where, "not this job's", against.reasons.front());
        else if (card.audit == Verdict::halt)
            tell(check, where, "the audit stopped",
                 Reason{"card-audit-stopped", Verdict::halt, "the audit stopped at this card: " + card.sentence, where,
                        "audit", "do what it says, then audit the card again"});
        else if (card.audit == Verdict::cant_say)
            tell(check, where, "the audit left something open",
                 Reason{"card-audit-open", Verdict::cant_say,
                        "the audit could not say whether the card is good: " + card.sentence, where, "audit",
                        "settle what it names, then audit the card again"});
    }
}

}  // namespace fettle::workshop
