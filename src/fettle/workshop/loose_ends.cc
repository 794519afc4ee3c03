#include "fettle/workshop/loose_ends.h"

#include <algorithm>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

// What differs between the two ways.
struct Way {
    const char *option, *words, *missing;  // of the request; "words" is the journal's member, too
    const char* entry;
};
constexpr Way settling{"settle", "how", "settling needs how and by whom", "settled"};
constexpr Way signing{"sign", "reason", "signing needs the reason and by whom", "signed"};

Result<EndDone> done_now(const Workshop& shop, const EndRequest& r, const Way& way) {
    const auto job = load_job(shop, r.job);
    if (!job) return pass(job);
    const auto& ends = job->loose_ends;
    const auto at = std::find_if(ends.begin(), ends.end(), [&](const book::LooseEnd& e) { return e.id == r.id; });
    if (at == ends.end() || at->settled)
        return bad_input("loose-end-unknown", printable(r.id),
                         at == ends.end() ? "no loose end of that id in this job" : "it is settled already",
                         Next{"look at them: ", propose(Act::open_points, {fettle::job(job->number)})});
    json::object data{{"id", r.id}, {way.words, r.words}, {"by", r.by}};
    if (auto kept = append_entries(shop, job->number, {{way.entry, std::move(data)}}, job->last_number); !kept)
        return pass(kept);
    return EndDone{job->number, *at, r.words, r.by};
}

Result<EndDone> done(const Workshop& shop, const EndRequest& r, const Way& way) {
    if (trim(r.words).empty() || trim(r.by).empty())
        return usage_error(
            "loose-end-name", r.id, way.missing,
            Next{"say both: ", propose(Act::open_points, {job(r.job), given(way.option, r.id),
                                                          wanted(way.words, "TEXT"), wanted("by", "NAME")})});
    return until_journal_rests([&] { return done_now(shop, r, way); });
}

}  // namespace

Result<LooseEnds> loose_ends(const Workshop& shop, const std::string& number) {
    auto job = load_job(shop, number);
    if (!job) return pass(job);
    LooseEnds out;
    const auto open = job->open_ends();
    for (const book::LooseEnd& e : open)
        out.judgement.add({"loose-ends-open", Verdict::mind, e.words, e.id, "journal"});
    if (open.empty())
        out.judgement.add(
            {"loose-ends-none", Verdict::fit, "nothing is open that holds up a handover", job->number, "journal"});
    out.job = std::move(*job);
    return out;
}

Result<EndDone> settle_loose_end(const Workshop& shop, const EndRequest& request) {
    return done(shop, request, settling);
}

Result<EndDone> sign_loose_end(const Workshop& shop, const EndRequest& request) {
    return done(shop, request, signing);
}

}  // namespace fettle::workshop
